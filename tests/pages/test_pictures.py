"""Pictures on the pages: attached by a form without script, shown where the part and its reasons are."""

import re
from collections.abc import AsyncIterator, Callable

import httpx
import pytest

from tests.pages.test_edit import OWN, Editor, signed_in, text_of, token_in
from tests.pictures.drawn import SVG, photograph, sketch

pytestmark = pytest.mark.anyio

OF_DISC = "/pictures/component/QB-3302"
CHASSIS = "24PL-018412"


@pytest.fixture
async def editor(demo_copy: Callable[[], str]) -> AsyncIterator[Editor]:
    async with signed_in(demo_copy()) as editor:
        yield editor


async def attach(
    editor: Editor, address: str, content: bytes, caption: str = "", **fields: str
) -> httpx.Response:
    return await editor.client.post(
        address,
        data={"form_token": await editor.token(), "caption": caption, **fields},
        files={"picture": ("a.jpg", content, "image/jpeg")},
        headers=OWN,
    )


def sources(answer: httpx.Response) -> list[str]:
    return re.findall(r'<img src="([^"]*)"', answer.text)


async def test_a_picture_is_attached_by_a_form_and_taken_away(editor: Editor):
    component = await editor.get("/component/QB-3302")
    assert f'href="{OF_DISC}"' in component.text
    assert "There are none" in text_of(await editor.get(OF_DISC))
    answer = await attach(editor, OF_DISC, photograph(), "Seen from <behind>")
    assert answer.status_code == 200
    assert "Attached." in text_of(answer)
    assert "Seen from <behind>" in text_of(answer)
    assert "the editor (" in text_of(answer), "who attached it"
    (source,) = sources(answer)
    assert (await editor.get(source)).headers["content-type"] == "image/jpeg"
    assert sources(await editor.get("/component/QB-3302")) == [f"{source}?size=small"]
    digest = source.rpartition("/")[2]
    answer = await editor.client.post(
        OF_DISC, files={"form_token": (None, token_in(answer.text)), "away": (None, digest)}, headers=OWN
    )
    assert "Taken away." in text_of(answer)
    assert not sources(answer)


@pytest.mark.parametrize(
    ("content", "caption", "status", "words"),
    [
        (b"", "", 422, "Choose a picture first"),
        (SVG, "", 415, "That cannot be read as a picture. Send a photograph or sketch as JPEG, PNG or WebP."),
        (b"\0" * 12_000_001, "", 413, "A picture has at most 12 MB here"),
        (sketch(), "x" * 201, 422, "Say what it shows in 200 characters at most"),
        (sketch(), "\u202e", 422, "cannot be stored"),
    ],
)
async def test_what_cannot_be_kept_is_said_beside_the_form(
    editor: Editor, content: bytes, caption: str, status: int, words: str
):
    answer = await attach(editor, OF_DISC, content, caption)
    assert answer.status_code == status
    assert words in text_of(answer)
    assert 'name="picture"' in answer.text, "the form is there again"


async def test_without_signing_in_there_is_nothing_to_send(browser: httpx.AsyncClient):
    answer = await browser.get(OF_DISC)
    assert answer.status_code == 200
    assert 'name="picture"' not in answer.text
    sent = await browser.post(OF_DISC, files={"picture": ("a.jpg", photograph())}, headers=OWN)
    assert sent.status_code == 401
    assert "You are not signed in, or no longer. Nothing was stored." in text_of(sent)
    assert f'<a class="button" href="/signin?next={OF_DISC}" data-back-to-form>Sign in</a>' in sent.text


async def test_a_form_from_elsewhere_attaches_nothing(editor: Editor):
    sent = {"picture": ("a.jpg", photograph(), "image/jpeg")}
    answer = await editor.client.post(OF_DISC, files=sent, headers=OWN)
    assert answer.status_code == 403
    assert not sources(await editor.get(OF_DISC))


async def test_an_opened_row_shows_its_part_and_the_rule_behind_it(editor: Editor):
    bench = f"/answer?chassis={CHASSIS}&fit=QB-3302"
    before = await editor.get(bench)
    assert not sources(before)
    rules = re.findall(r'<span class="aside">([\w.:/ -]*[a-z][\w.:/ -]*), [a-z ]+</span></li>', before.text)
    assert rules, "rules stand in the way back to the wish"
    await attach(editor, OF_DISC, photograph(), "the disc")
    of_rule = await attach(editor, f"/pictures/companion/{rules[0]}", sketch(), "why it needs it")
    assert of_rule.status_code == 200, text_of(of_rule)
    shown = await editor.get(bench)
    words = text_of(shown)
    assert words.count("the disc") - text_of(before).count("the disc") >= 1
    assert "why it needs it" in words
    assert len(sources(shown)) >= 2


async def test_the_form_of_a_record_leads_to_its_pictures(editor: Editor):
    form = await editor.get("/edit/component/QB-3302")
    assert f'href="{OF_DISC}"' in form.text
    assert 'href="/history/component/QB-3302"' in form.text
