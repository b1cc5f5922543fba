"""Proposing on the pages of editing, and deciding on the page of proposals."""

from collections.abc import AsyncIterator, Callable

import pytest

from tests.api.test_proposals import REPORT
from tests.pages.conftest import text_of
from tests.pages.test_edit import CALIPER, OWN, Editor, fields_of, signed_in

pytestmark = pytest.mark.anyio

STORED = ("fitment", "QB-3310@brake.front.left/earlier")
SHEET = "[evidence]\nname,grade,reference\nour-bench,trial fitted,our own bench\n"


@pytest.fixture
async def editor(demo_copy: Callable[[], str]) -> AsyncIterator[Editor]:
    async with signed_in(demo_copy()) as editor:
        yield editor


async def propose(editor: Editor, minutes: str) -> str:
    """The address of the proposal's page."""
    sent = {**await editor.form(CALIPER), "head.minutes": minutes, "do": "propose", "why": "clocked twice"}
    page = await editor.post(CALIPER, sent)
    assert page.status_code == 200, text_of(page)
    assert page.url.path.startswith("/review/")
    assert "Nothing is published until somebody accepts it" in text_of(page)
    assert f"minutes 85 {minutes}" in text_of(page)
    return page.url.path


async def test_a_change_is_proposed_looked_at_and_accepted(editor: Editor) -> None:
    address = await propose(editor, "80")
    assert editor.rows(*STORED)[0]["minutes"] == 85
    assert "1 proposed change" in text_of(await editor.get("/edit"))
    token = {"form_token": await editor.token()}
    effect = text_of(await editor.post(address, {**token, "do": "effect"}))
    assert "The effect" in effect
    assert "1 record would change" in effect
    without = await editor.post(address, {**token, "do": "accept"})
    assert without.status_code == 422
    assert "Nothing was decided" in text_of(without)
    done = await editor.post(address, {**token, "do": "accept", "reason": "seen on the vehicle"})
    assert "Accepted as revision 2" in text_of(done)
    assert "seen on the vehicle" in text_of(done)
    assert editor.rows(*STORED)[0]["minutes"] == 80
    again = await editor.post(address, {**token, "do": "refuse", "reason": "no"})
    assert "decided" in text_of(again)


async def test_several_are_decided_together(editor: Editor) -> None:
    one, two = await propose(editor, "80"), await propose(editor, "90")
    sheet = {"form_token": await editor.token(), "sheet": SHEET, "do": "propose", "why": "from the bench"}
    three = (
        await editor.client.post("/edit/import", data=sheet, files={"file": ("", "")}, headers=OWN)
    ).url.path
    listed = text_of(await editor.get("/review"))
    assert listed.count("clocked twice") == 2
    assert "import" in listed
    ticked = {f"proposal-{path.rsplit('/')[-1]}": "on" for path in (one, two, three)}
    token = {"form_token": await editor.token()}
    clash = await editor.post("/review", {**token, **ticked, "do": "accept", "reason": "all of them"})
    assert clash.status_code == 409
    assert "changed by two of these" in text_of(clash)
    del ticked[f"proposal-{two.rsplit('/')[-1]}"]
    done = await editor.post("/review", {**token, **ticked, "do": "accept", "reason": "these"})
    assert "Accepted as revision 2" in text_of(done)
    assert "from the bench" not in text_of(done)
    assert "from the bench" in text_of(await editor.get("/review?show=all"))
    assert editor.rows("evidence", "our-bench")
    stale = text_of(await editor.get(two))
    assert "says something else by now" in stale
    assert "Withdraw it" in stale
    editor.client.cookies.clear()
    assert "Withdraw it" not in text_of(await editor.get(two)), "only who proposed it can"


async def test_ones_own_proposal_is_withdrawn(editor: Editor) -> None:
    address = await propose(editor, "80")
    gone = await editor.post(f"{address}/withdraw", {"form_token": await editor.token()})
    assert "Withdrawn" in text_of(gone)
    assert "Withdraw it" not in text_of(gone)


async def test_a_record_is_proposed_to_go(editor: Editor) -> None:
    address = "/edit/other_word/muffler"
    form = await editor.form(address)
    page = await editor.post(address, {**form, "do": "remove-propose", "why": "nobody says that"})
    assert page.url.path.startswith("/review/"), text_of(page)
    assert "removed" in text_of(page)
    assert editor.rows("other_word", "muffler")


async def test_what_was_changed_after_the_form_was_opened_is_not_proposed_over(editor: Editor) -> None:
    old = await editor.form(CALIPER)
    fresh = await editor.form(CALIPER)
    await editor.post(CALIPER, {**fresh, "head.minutes": "80", "do": "save", "why": "first"})
    late = await editor.post(CALIPER, {**old, "head.minutes": "95", "do": "propose", "why": "second"})
    assert late.status_code == 412


async def test_where_the_house_reviews_there_is_no_save(demo_copy: Callable[[], str]) -> None:
    async with signed_in(demo_copy(), review="on") as editor:
        page = await editor.get(CALIPER)
        assert 'value="save"' not in page.text
        assert 'value="propose"' in page.text
        forced = await editor.post(CALIPER, {**fields_of(page.text), "do": "save", "why": "I may"})
        assert forced.status_code == 403
        assert editor.rows(*STORED)[0]["minutes"] == 85
        address = await propose(editor, "80")
        token = {"form_token": await editor.token()}
        report = {**token, **REPORT, "on": "2026-11-02"}
        told = await editor.post("/report", report)
        assert told.url.path.startswith("/review/"), text_of(told)
        assert "North Road: QB-3310 did not fit" in text_of(told)
        shown = await editor.get(address)
        assert 'value="accept"' not in shown.text, "what would be refused is not offered"
        assert "somebody else decides" in text_of(shown)
        assert "Withdraw it" in text_of(shown)
        own = await editor.post(address, {**token, "do": "accept", "reason": "mine"})
        assert "Somebody else must look" in text_of(own)
        assert editor.rows(*STORED)[0]["minutes"] == 85


async def test_a_proposal_that_was_overtaken_says_so_in_whole_sentences_and_leads_to_the_record(
    editor: Editor,
) -> None:
    """What was typed as a reason stays through a look at the effect."""
    address = await propose(editor, "95")
    stored = {**await editor.form(CALIPER), "head.minutes": "80", "do": "save", "why": "first"}
    await editor.post(CALIPER, stored)
    token = {"form_token": await editor.token(), "reason": "seen on the vehicle"}
    looked = await editor.post(address, {**token, "do": "effect"})
    assert 'value="seen on the vehicle"' in looked.text
    refused = await editor.post(address, {**token, "do": "accept"})
    assert "propose it anew. Nothing was decided." in text_of(refused)
    assert f'href="{CALIPER}"' in refused.text


async def test_what_was_decided_is_not_told_as_waiting(editor: Editor) -> None:
    address = await propose(editor, "80")
    token = {"form_token": await editor.token()}
    await editor.post(address, {**token, "do": "refuse", "reason": "clocked wrong"})
    shown = text_of(await editor.get(f"{address}?done=proposed"))
    assert "refused" in shown
    assert "Nothing is published" not in shown
