"""Editing: forms of every kind, mistakes beside fields, the effect first, two editors, take-back, import."""

import io
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from html import unescape
from typing import Any
from urllib.parse import quote, unquote

import httpx
import openpyxl
import pytest
from fastapi import FastAPI
from sqlalchemy import select

from graftbook.catalogue.compiling import books
from graftbook.catalogue.format.records import KIND_BY_WORD, KINDS
from graftbook.catalogue.history.snapshots import key_of
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.editing import effect
from graftbook.editing.records.service import record_state
from graftbook.pages.editing.imports import LARGEST_WORKBOOK_HERE
from graftbook.problems import UnknownRecord
from tests import locks
from tests.catalogue.sheet import sheet
from tests.conftest import application, client_of, make_key
from tests.pages.conftest import BROWSER

pytestmark = pytest.mark.anyio

OWN = {"Sec-Fetch-Site": "same-origin"}
REPORT = """[report]
outcome,workshop,on,chassis,component,position,measured,note
fitted after work,The Yard,2026-02-07,24PL-018412,QB-3310,brake.front.left,,"a bracket, filed"
did not fit,The Yard,2026-03-01,24PL-018412,QB-3310,brake.front.left,,
"""
CALIPER = "/edit/fitment/" + quote("QB-3310@brake.front.left/earlier")
CHASSIS = "24PL-018412"


class Editor:
    """A browser that is signed in, and what it fills in."""

    def __init__(self, app: FastAPI, client: httpx.AsyncClient) -> None:
        self.app, self.client = app, client

    async def get(self, address: str) -> httpx.Response:
        return await self.client.get(address)

    async def form(self, address: str) -> dict[str, str]:
        """The fields of a record's form as a browser would send them unchanged."""
        answer = await self.client.get(address)
        assert answer.status_code == 200, text_of(answer)
        action = re.search(r'<form method="post" action="([^"]*)" class="record">', answer.text)
        assert action, "no form"
        assert answer.headers["cache-control"] == "no-store", "another editor's state would be shown"
        assert unquote(action[1]) == unquote(address.partition("?")[0])
        return fields_of(answer.text)

    async def post(self, address: str, fields: dict[str, str]) -> httpx.Response:
        return await self.client.post(address, data=fields, headers=OWN)

    async def token(self) -> str:
        return token_in((await self.client.get("/edit")).text)

    def rows(self, kind: str, name: str) -> list[dict[str, object]]:
        """What is stored."""
        return record_state(self.app.state.service.engine, kind, name).rows


def token_in(page: str) -> str:
    found = re.search(r'name="form_token" value="(\w+)"', page)
    assert found, "no token on the page"
    return found[1]


def fields_of(page: str) -> dict[str, str]:
    """The fields of the page's record form: inputs, ticked boxes, texts, chosen options."""
    form = page[page.index('class="record"') :]
    sent: dict[str, str] = {}
    for tag in re.findall(r"<input ([^>]*)>", form):
        told = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if told.get("type") != "checkbox" or re.search(r"\bchecked\b", tag):
            sent[told["name"]] = unescape(told.get("value", ""))
    for name, text in re.findall(r'<textarea [^>]*name="([^"]*)"[^>]*>\n?([^<]*)<', form):
        sent[name] = unescape(text)
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        sent[name] = unescape(chosen[1]) if chosen else ""
    return sent


def text_of(answer: httpx.Response) -> str:
    """What a reader sees of the page's content, roughly."""
    content = answer.text[answer.text.index("<main") : answer.text.index("</main>")]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", content)).replace("\u00a0", " ").split())


def beside(answer: httpx.Response, field: str) -> str:
    """The mistake that stands beside a field, which points at it."""
    assert re.search(rf'id="{re.escape(field)}"[^>]*aria-invalid="true"', answer.text), field
    found = re.search(rf'id="{re.escape(field)}-wrong">([^<]*)<', answer.text)
    assert found, f"nothing stands beside {field}"
    return unescape(found[1])


@asynccontextmanager
async def editor_of(app: FastAPI) -> AsyncIterator[Editor]:
    """Who is signed in to an application with a key that may edit."""
    key = make_key(app.state.service.engine, "edit", "the editor")
    async with client_of(app, headers=BROWSER, follow_redirects=True) as client:
        assert (await client.post("/signin", data={"key": key}, headers=OWN)).status_code == 200
        yield Editor(app, client)


@asynccontextmanager
async def signed_in(url: str, **more: Any) -> AsyncIterator[Editor]:
    with application(url, **more) as app:
        async with editor_of(app) as editor:
            yield editor


@pytest.fixture
async def editor(demo_copy: Callable[[], str]) -> AsyncIterator[Editor]:
    """An editor of a copy of the demo range of its own."""
    async with signed_in(demo_copy()) as editor:
        yield editor


@pytest.fixture
async def editor_on_each(databases: Any, untouched_demo_url: str) -> AsyncIterator[Editor]:
    """The same, on each engine in turn."""
    async with signed_in(databases.copy(untouched_demo_url)) as editor:
        yield editor


@pytest.mark.parametrize("address", ["/edit", "/edit/component", CALIPER, "/edit/import", "/edit/revision/1"])
async def test_who_is_not_signed_in_goes_to_sign_in_and_back(
    browser: httpx.AsyncClient, address: str
) -> None:
    answer = await browser.get(address)
    assert answer.url.path == "/signin"
    assert answer.url.params["next"] == address.replace("%40", "@")


async def test_a_wrong_key_brings_the_form_again_with_what_to_look_at(demo_copy: Callable[[], str]) -> None:
    async with signed_in(demo_copy()) as editor:
        answer = await editor.client.post(
            "/signin", data={"key": "graftbook_1", "next": "/edit"}, headers=OWN
        )
        assert (answer.status_code, "Bearer" in answer.text) == (401, False)
        assert "This key is not usable" in text_of(answer)
        assert 'name="next" value="/edit"' in answer.text
        for _ in range(10):
            await editor.client.post("/signin", data={"key": "graftbook_1"}, headers=OWN)
        slowed = await editor.client.post("/signin", data={"key": "graftbook_1"}, headers=OWN)
        assert (slowed.status_code, "then send the right key" in text_of(slowed)) == (429, True)
        assert 'name="key"' in slowed.text


async def test_a_key_that_may_only_order_is_refused(demo_copy: Callable[[], str]) -> None:
    with application(demo_copy()) as app:
        async with client_of(app, scope="order", headers=BROWSER) as client:
            assert (await client.get("/edit")).status_code == 403
            assert (await client.post("/edit/component", data={})).status_code == 403


async def test_a_form_of_every_kind_sent_back_unchanged_changes_nothing(editor: Editor) -> None:
    """The form holds everything that the record says, and reads it back: the record itself is the measure."""
    engine = editor.app.state.service.engine
    assert load(engine, sheet(REPORT)).ok
    for kind in (one.kind_of_record for one in KINDS):
        with reading(engine) as session:
            names = list(session.connection().execute(select(key_of(kind)).distinct().limit(400)).scalars())
        assert names, kind
        for name in (names[0], names[-1]):
            address = f"/edit/{kind}/{quote(name)}"
            answer = await editor.post(address, {**await editor.form(address), "do": "save", "why": "none"})
            assert answer.url.params.get("same") == "1", (address, text_of(answer)[:600])


async def test_save_stores_and_says_so_and_is_taken_back(editor: Editor) -> None:
    form = await editor.form(CALIPER)
    assert form["head.minutes"] == "85"
    answer = await editor.post(CALIPER, {**form, "head.minutes": "80", "do": "save", "why": "timed twice"})
    assert answer.history[0].status_code == 303
    assert answer.url.path == "/edit/revision/2"
    assert "Stored as revision 2" in text_of(answer)
    assert re.search(r"by the editor\S*.*: timed twice", text_of(answer)), text_of(answer)
    assert "minutes 85 80" in text_of(answer)
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 80

    back = await editor.post("/edit/revision/2", {"form_token": form["form_token"], "why": ""})
    assert back.url.path == "/edit/revision/3"
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 85
    start = text_of(await editor.get("/edit"))
    assert "takes back revision 2" in start
    assert "timed twice" in start


async def test_more_than_the_page_shows_is_taken_back_by_who_says_so_alone(editor: Editor) -> None:
    """The first load: one press emptied the catalogue."""
    page = await editor.get("/edit/revision/1")
    form = {"form_token": token_in(page.text)}
    refused = await editor.post("/edit/revision/1", form | {"why": "a slip"})
    assert refused.status_code == 422
    assert "the records which are not shown here" in text_of(refused)
    assert re.search(r'<input type="checkbox" name="all" required> All 10,\d{3}\srecords', refused.text)
    assert editor.rows("component", "QB-3310")
    back = await editor.post("/edit/revision/1", form | {"why": "a slip", "all": "on"})
    assert back.url.path == "/edit/revision/2"
    with pytest.raises(UnknownRecord):
        editor.rows("component", "QB-3310")


async def test_what_was_changed_again_is_not_taken_back(editor: Editor) -> None:
    for minutes in ("80", "90"):
        form = await editor.form(CALIPER)
        await editor.post(CALIPER, {**form, "head.minutes": minutes, "do": "save", "why": "timed"})
    answer = await editor.post("/edit/revision/2", {"form_token": form["form_token"]})
    assert answer.status_code == 409
    assert "was changed again after revision 2" in text_of(answer)


async def test_without_a_reason_nothing_is_stored_and_the_typed_stays(editor: Editor) -> None:
    form = await editor.form(CALIPER)
    answer = await editor.post(CALIPER, {**form, "head.minutes": "80", "do": "save", "why": " "})
    assert answer.status_code == 422
    assert "Say in a sentence why" in beside(answer, "why")
    assert fields_of(answer.text)["head.minutes"] == "80"
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 85


async def test_a_missing_reason_hides_no_other_mistake(editor: Editor) -> None:
    """Else an editor mends in two rounds what could be mended in one."""
    form = await editor.form(CALIPER)
    answer = await editor.post(CALIPER, {**form, "head.minutes": "soon", "do": "save", "why": ""})
    assert answer.status_code == 422
    assert "Say in a sentence why" in beside(answer, "why")
    assert "whole number is needed here" in beside(answer, "head.minutes")
    fresh = {"form_token": form["form_token"], "head.name": "a disc", "do": "save", "why": ""}
    new = await editor.post("/edit/component", fresh)
    assert "Say in a sentence why" in beside(new, "why")
    assert "a value is needed here" in beside(new, "head.number").lower()


async def test_mistakes_stand_beside_their_fields(editor: Editor) -> None:
    form = await editor.form(CALIPER)
    wrong = {**form, "head.minutes": "soon", "head.quantity": "0", "head.evidence": "brakes-built-24"}
    answer = await editor.post(CALIPER, {**wrong, "do": "save", "why": "to see"})
    assert answer.status_code == 422
    assert "(read: 'soon')" in beside(answer, "head.minutes")
    assert "It must be at least 1" in beside(answer, "head.quantity")
    assert fields_of(answer.text)["head.minutes"] == "soon"

    answer = await editor.post(CALIPER, {**form, "head.position": "brake.frnt.left", "do": "effect"})
    assert answer.status_code == 422
    assert "brake.frnt.left" in beside(answer, "head.position")


@pytest.mark.parametrize(
    ("field", "typed_in", "taken"),
    [
        ("price", "158,20", "158.20"),
        ("price", "£ 1,234.50", "1234.50"),
        ("price", "1.234,50", "1234.50"),
        ("mass", "5,7 kg", "5.7 kg"),
        ("minutes", "10.0", "10"),
        ("name", "caliper, 1,5 in", "caliper, 1,5 in"),
    ],
)
async def test_a_field_is_read_as_the_cell_of_a_sheet(
    editor: Editor, field: str, typed_in: str, taken: str
) -> None:
    address = "/edit/component/QB-3310"
    form = await editor.form(address)
    shown = await editor.post(address, {**form, f"head.{field}": typed_in, "do": "check"})
    assert shown.status_code == 200, text_of(shown)
    assert fields_of(shown.text)[f"head.{field}"] == taken
    await editor.post(address, {**form, f"head.{field}": typed_in, "do": "save", "why": "as it is written"})
    assert str(editor.rows("component", "QB-3310")[0][field]) == taken


async def test_a_field_of_a_row_is_read_as_the_cell_of_a_sheet(editor: Editor) -> None:
    address = "/edit/chassis_span/24P-21-L"
    form = await editor.form(address)
    await editor.post(address, {**form, "0.built_to": "31.12.1999", "do": "save", "why": "as it is written"})
    assert editor.rows("chassis_span", "24P-21-L")[0]["built_to"] == "1999-12-31"


@pytest.mark.parametrize(
    ("field", "typed_in", "told"),
    [
        ("price", "1,234", "with a dot"),
        ("price", "1.234", "digits can stand behind the dot"),
        ("price", "€ 20", "without a sign of money"),
        ("mass", "1,500 kg", "has a comma"),
    ],
)
async def test_a_field_that_can_be_read_in_two_ways_is_refused(
    editor: Editor, field: str, typed_in: str, told: str
) -> None:
    address = "/edit/component/QB-3310"
    form = {**await editor.form(address), f"head.{field}": typed_in}
    answer = await editor.post(address, {**form, "do": "save", "why": "as it is written"})
    assert answer.status_code == 422
    assert told in beside(answer, f"head.{field}")
    assert fields_of(answer.text)[f"head.{field}"] == typed_in


async def test_a_mistake_in_a_row_stands_in_that_row(editor: Editor) -> None:
    address = "/edit/companion/QA-2110/brake"
    form = await editor.form(address)
    assert [form[f"{row}.fit"] for row in range(5)] == ["QB-2012", "QB-3310", "QB-3320", "", ""]
    answer = await editor.post(address, {**form, "4.fit": "no-such", "do": "effect"})
    assert "no-such" in beside(answer, "4.fit"), text_of(answer)


async def test_rows_are_added_and_taken_out(editor: Editor) -> None:
    address = "/edit/companion/QA-2110/brake"
    form = await editor.form(address)
    for part in ("fit", "at"):
        form[f"1.{part}"] = ""
    form |= {
        "3.fit": "QB-7310",
        "3.at": "brake.front.left",
        "do": "save",
        "why": "the alloy one bolts on too",
    }
    answer = await editor.post(address, form)
    assert "Stored" in text_of(answer), text_of(answer)
    fits = [row["fit"] for row in editor.rows("companion", "QA-2110/brake")]
    assert fits == ["QB-2012", "QB-3320", "QB-7310"]


async def test_a_new_record(editor: Editor) -> None:
    form = await editor.form("/edit/evidence")
    form |= {"head.name": "fitted-here", "head.grade": "trial fitted", "head.reference": "our own bench"}
    shown = await editor.post("/edit/evidence", {**form, "do": "effect"})
    assert "1 record would change" in text_of(shown)
    with pytest.raises(Exception, match="There is no evidence"):
        editor.rows("evidence", "fitted-here")
    stored = await editor.post("/edit/evidence", {**form, "do": "save", "why": "seen on the bench"})
    assert "Stored as revision 2" in text_of(stored)
    again = await editor.post("/edit/evidence", {**form, "head.note": "more", "do": "save", "why": "twice"})
    assert again.status_code == 409
    assert "already" in text_of(again)
    assert "note empty more" in text_of(again)
    assert editor.rows("evidence", "fitted-here") == [
        {"name": "fitted-here", "grade": "trial fitted", "reference": "our own bench"}
    ]


@pytest.mark.parametrize(
    ("address", "left_out", "kept"),
    [
        ("/edit/component/QB-3310", {"head.number", "head.twin"}, {"head.mass": "5.6 kg"}),
        (CALIPER, {"head.name"}, {"head.component": "QB-3310"}),
        ("/edit/companion/QA-2110/brake", {"head.name"}, {"2.fit": "QB-3320"}),
    ],
)
async def test_a_new_record_like_another(
    editor: Editor, address: str, left_out: set[str], kept: dict[str, str]
) -> None:
    there = await editor.get(address)
    _, _, kind, name = address.split("/", 3)
    like = f"/edit/{kind}?like={name}"
    assert unquote(like) in unquote(there.text)
    given, form = fields_of(there.text), await editor.form(like)
    assert form.items() >= kept.items()
    assert {field for field in given if "." in field and form[field] != given[field]} == left_out
    assert all(form[field] == "" for field in left_out)


async def test_nobody_is_like_a_record_that_there_is_not(editor: Editor) -> None:
    assert (await editor.get("/edit/component?like=QB-0000")).status_code == 404


async def test_all_mistakes_of_a_new_record_are_told_at_once(editor: Editor) -> None:
    form = await editor.form("/edit/component")
    form |= {"head.number": "QB-8801", "head.section": "brake", "head.price": "63,200"}
    answer = await editor.post("/edit/component", {**form, "do": "check"})
    assert "value is needed" in beside(answer, "head.name")
    assert "a dot" in beside(answer, "head.price")
    assert "did you mean 'brakes'" in beside(answer, "head.section")
    form = await editor.form("/edit/companion")
    form |= {"head.component": "QB-3310", "head.position": "front brake", "0.fit": "no-such"}
    answer = await editor.post("/edit/companion", {**form, "do": "effect"})
    assert answer.status_code == 422
    assert "value is needed" in beside(answer, "head.name")
    assert "front brake" in beside(answer, "head.position")
    assert "no-such" in beside(answer, "0.fit")


async def test_a_new_part_leads_on_to_what_it_needs(editor: Editor) -> None:
    form = await editor.form("/edit/component")
    form |= {"head.number": "QB-8801", "head.name": "test disc", "head.section": "brakes"}
    form |= {"head.origin": "modern", "do": "save", "why": "new in the list"}
    stored = await editor.post("/edit/component", form)
    assert "What else of QB-8801" in text_of(stored)
    for kind in ("fitment", "companion", "flaw", "offer", "characteristic"):
        assert f'href="/edit/{kind}?component=QB-8801"' in stored.text
        opened = await editor.get(f"/edit/{kind}?component=QB-8801")
        assert fields_of(opened.text)["head.component"] == "QB-8801"
    later = await editor.get(str(stored.url).partition("?")[0])
    assert "What else of" not in text_of(later)


async def test_two_editors_see_both_versions(editor: Editor) -> None:
    first, second = await editor.form(CALIPER), await editor.form(CALIPER)
    await editor.post(CALIPER, {**first, "head.minutes": "80", "do": "save", "why": "first"})
    answer = await editor.post(CALIPER, {**second, "head.minutes": "95", "do": "save", "why": "second"})
    assert answer.status_code == 412
    assert "Somebody changed this record after you opened it" in text_of(answer)
    assert "minutes 80 95" in text_of(answer)
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 80
    knowing = {**fields_of(answer.text), "do": "save"}
    assert "Stored" in text_of(await editor.post(CALIPER, knowing))
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 95


async def test_a_record_taken_out_meanwhile_is_said_and_what_was_typed_stands(editor: Editor) -> None:
    form = await editor.form(CALIPER)
    out = await editor.post(CALIPER, {**form, "do": "remove", "why": "it never fitted"})
    assert out.status_code == 200
    answer = await editor.post(CALIPER, {**form, "head.minutes": "95", "do": "save", "why": "mine"})
    assert answer.status_code == 412
    assert "Somebody took this record out meanwhile" in text_of(answer)
    assert fields_of(answer.text)["head.minutes"] == "95"


async def test_a_form_without_its_etag_overwrites_nothing(editor: Editor) -> None:
    form = await editor.form(CALIPER)
    sent = {key: text for key, text in form.items() if key != "etag"}
    answer = await editor.post(CALIPER, {**sent, "head.minutes": "80", "do": "save", "why": "blind"})
    assert answer.status_code == 412
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier")[0]["minutes"] == 85


async def test_the_effect_names_the_closure_that_becomes_impossible(
    editor_on_each: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The effect agrees with what the service answers once the record is really out, and while its rule books
    are compiled nobody waits for the writers' lock."""
    editor = editor_on_each
    asked = f"/answer?chassis={CHASSIS}&fit=QB-3310"
    assert "It cannot be, as asked" not in text_of(await editor.get(asked))
    form = await editor.form(CALIPER)
    free = locks.free_at(monkeypatch, editor.app.state.service.engine, books, "compile_book")
    shown = await editor.post(CALIPER, {**form, "do": "remove-effect"})
    assert len(free) > 1
    assert all(free)
    told = text_of(shown)
    assert "This makes 1 question impossible" in told
    assert f"Asked lately: {CHASSIS}" in told
    assert "loses 1 (QB-3310)" in told
    assert editor.rows("fitment", "QB-3310@brake.front.left/earlier"), "the effect stored something"
    out = await editor.post(CALIPER, {**form, "do": "remove", "why": "it never fitted"})
    assert "Stored as revision 2" in text_of(out), text_of(out)
    after = text_of(await editor.get(asked))
    assert "It cannot be, as asked" in after
    assert "No record says that QB-3310" in after


async def test_the_effect_tells_what_changes_in_an_answer(editor: Editor) -> None:
    await editor.get(f"/answer?chassis={CHASSIS}&fit=QB-3310")
    form = await editor.form("/edit/component/QB-3310")
    price = {**form, "head.price": "166.40", "do": "effect"}
    told = text_of(await editor.post("/edit/component/QB-3310", price))
    assert "1 answer changes" in told, told
    assert "10.00" in told, told
    note = {**form, "head.note": "weighed again", "do": "effect"}
    assert "No answer changes" in text_of(await editor.post("/edit/component/QB-3310", note))


async def test_the_effect_tells_each_place_once_and_the_same_question_once(editor: Editor) -> None:
    for more in ("", "&alternatives=1"):
        await editor.get(f"/answer?chassis={CHASSIS}&fit=QB-3310{more}")
    form = await editor.form("/edit/component/QB-2050")
    gone = {**form, "head.supply": "no longer supplied", "do": "effect"}
    told = text_of(await editor.post("/edit/component/QB-2050", gone))
    assert "1 answer changes" in told
    assert told.count("it was QB-2050 (master cylinder, two circuits") == 1
    assert "Chosen out of" not in told, "reasons and next bests are for the answer itself"
    assert "loses 1 (QB-2050)" in told, "what can no longer be bought is a candidate no more"


async def test_what_there_was_no_time_for_is_said(editor: Editor, monkeypatch: pytest.MonkeyPatch) -> None:
    await editor.get(f"/answer?chassis={CHASSIS}&fit=QB-3310")
    form = await editor.form(CALIPER)
    monkeypatch.setattr(effect, "SECONDS_TO_ANSWER", 0.0)
    told = text_of(await editor.post(CALIPER, {**form, "do": "remove-effect"}))
    assert "0 of 1 question looked at; 1 not looked at yet." in told
    monkeypatch.setattr(effect, "SECONDS_TO_COMPILE", 0.0)
    told = text_of(await editor.post(CALIPER, {**form, "do": "remove-effect"}))
    assert "There was no time to look at these variants" in told
    assert "It touches no variant" not in told


async def test_names_of_an_edit_that_was_undone_are_forgotten(editor: Editor) -> None:
    """The revision of an effect becomes another edit's: nothing of the first may be answered then."""
    await editor.get(f"/answer?chassis={CHASSIS}&fit=QB-3310")
    form = await editor.form(CALIPER)
    await editor.post(CALIPER, {**form, "do": "remove-effect"})
    await editor.post(CALIPER, {**form, "head.minutes": "80", "do": "save", "why": "timed"})
    answer = text_of(await editor.get(f"/answer?chassis={CHASSIS}&fit=QB-3310"))
    assert "No record says" not in answer


async def test_what_is_named_still_is_not_taken_out(editor: Editor) -> None:
    form = await editor.form("/edit/component/QB-3310")
    build = {"name": "red-van", "chassis": CHASSIS, "fitted": {"brake.front.left": "QB-3310"}}
    async with client_of(editor.app, scope="order") as counter:
        assert (await counter.post("/v1/builds", json=build)).status_code == 201
    answer = await editor.post("/edit/component/QB-3310", {**form, "do": "remove", "why": "gone"})
    assert answer.status_code == 422
    assert editor.rows("component", "QB-3310")
    for kind, name in (("offer", "works:QB-3310"), ("companion", "QB-3310/servo"), ("component", "QB-3311")):
        assert f'<a href="/edit/{kind}/{quote(name)}">{name}</a>' in answer.text
    assert '<a href="/builds/red-van">red-van</a>' in answer.text
    assert 'aria-invalid="true"' not in answer.text, "no field of the record is wrong"


@pytest.mark.parametrize(
    ("kind", "name", "named_by"),
    [
        ("range", "quillan-forward", ("variant", "fitment", "outline")),
        ("section", "brakes", ("component", "position")),
        ("variant", "24P-21-L", ("chassis_span",)),
        ("position", "brake.servo", ("fitment", "companion")),
        ("characteristic_kind", "brake_type", ("characteristic",)),
        ("evidence", "brakes-built-24", ("fitment",)),
    ],
)
async def test_whatever_names_a_record_leads_to_its_page(
    editor: Editor, kind: str, name: str, named_by: tuple[str, ...]
) -> None:
    address = f"/edit/{kind}/{name}"
    form = await editor.form(address)
    answer = await editor.post(address, {**form, "do": "remove", "why": "gone"})
    assert answer.status_code == 422
    box = answer.text.partition("It is named still")[2].partition("</div>")[0]
    links = [unescape(one) for one in re.findall(r'href="([^"]*)"', box)]
    assert set(named_by) <= {link.split("/")[2] for link in links} <= KIND_BY_WORD.keys()
    assert (await editor.get(links[0])).status_code == 200
    assert (await editor.get(links[-1])).status_code == 200


class TestWhatSaysNothingWithoutIt:
    ADDRESS = "/edit/component/QB-8801"
    SHEET = """[component]
number,name,section,origin
QB-8801,test disc,brakes,modern
[fitment]
component,position,effort,minutes
QB-8801,brake.front.left,direct,10
[offer]
supplier,component,price
works,QB-8801,12.00
"""

    def entered(self, editor: Editor, more: str = "") -> None:
        assert load(editor.app.state.service.engine, sheet(self.SHEET + more), who="", why="").ok

    async def test_goes_with_it_where_somebody_ticks_that(self, editor: Editor) -> None:
        self.entered(editor)
        form = await editor.form(self.ADDRESS)
        assert "without it: 1 fitment, 1 offer" in text_of(await editor.get(self.ADDRESS))
        form |= {"why": "entered twice"}
        refused = await editor.post(self.ADDRESS, {**form, "do": "remove"})
        assert refused.status_code == 422
        assert "tick that below" in text_of(refused)
        shown = await editor.post(self.ADDRESS, {**form, "do": "remove-effect", "with_own": "yes"})
        assert "3 records would change" in text_of(shown)
        assert 'name="with_own" value="yes" checked' in shown.text
        gone = await editor.post(self.ADDRESS, {**form, "do": "remove", "with_own": "yes"})
        assert "Stored as revision 3" in text_of(gone)
        for kind, name in (("component", "QB-8801"), ("fitment", "QB-8801@brake.front.left")):
            with pytest.raises(UnknownRecord):
                editor.rows(kind, name)
        back = await editor.post("/edit/revision/3", {"form_token": form["form_token"], "why": "it is one"})
        assert "Stored as revision 4" in text_of(back)
        assert editor.rows("offer", "works:QB-8801")

    async def test_is_proposed_with_it(self, editor: Editor) -> None:
        self.entered(editor)
        form = await editor.form(self.ADDRESS)
        form |= {"why": "entered twice", "do": "remove-propose", "with_own": "yes"}
        assert "3 records" in text_of(await editor.post(self.ADDRESS, form))

    async def test_what_others_say_of_it_stays_in_the_way(self, editor: Editor) -> None:
        self.entered(editor, "[upgrade]\nname,title,fit\nnew-disc,New disc,QB-8801\n")
        form = await editor.form(self.ADDRESS)
        form |= {"why": "entered twice", "do": "remove", "with_own": "yes"}
        refused = await editor.post(self.ADDRESS, form)
        assert refused.status_code == 422
        assert '<a href="/edit/upgrade/new-disc">new-disc</a>' in refused.text
        assert "works:QB-8801" not in text_of(refused)
        assert editor.rows("component", "QB-8801")

    async def test_whatever_no_longer_holds_then_is_named(self, editor_on_each: Editor) -> None:
        address = "/edit/variant/24C-21-R"
        form = await editor_on_each.form(address)
        answer = await editor_on_each.post(address, {**form, "do": "remove", "with_own": "yes", "why": "x"})
        assert answer.status_code == 422
        found = re.search(r"(\w+) '([^']+)' no longer holds: no variant of", text_of(answer))
        assert found, text_of(answer)
        assert "Chassis from: " in text_of(answer)
        assert editor_on_each.rows(found[1], found[2])[0]["chassis_from"].startswith("24CR-")

    async def test_over_rest(self, editor_on_each: Editor) -> None:
        self.entered(editor_on_each)
        address = "/v1/records/component/QB-8801"
        async with client_of(editor_on_each.app, scope="edit") as client:
            as_read = {"If-Match": (await client.get(address)).headers["etag"]}
            assert (await client.delete(address, headers=as_read)).status_code == 422
            answer = await client.delete(f"{address}?with_own=true", headers=as_read)
        assert answer.json()["changed"] == 3, answer.text


@pytest.mark.parametrize("address", [CALIPER, "/edit/evidence", "/edit/revision/1", "/edit/import"])
async def test_a_post_without_token_or_from_elsewhere_is_refused(editor: Editor, address: str) -> None:
    assert (await editor.post(address, {"do": "save", "why": "x"})).status_code == 403
    token = await editor.token()
    elsewhere = {"Sec-Fetch-Site": "cross-site"}
    body = {"form_token": token, "do": "save", "why": "x"}
    assert (await editor.client.post(address, data=body, headers=elsewhere)).status_code == 403


async def test_finding_a_record(editor: Editor) -> None:
    by_part = text_of(await editor.get("/edit?kind=component&text=qb3310"))
    assert "QB-3310 front brake caliper, four pistons" in by_part
    whole = await editor.get("/edit?kind=component&text=QB-3310")
    assert whole.url.path == "/edit/component/QB-3310"
    assert "No flaw has" in text_of(await editor.get("/edit?kind=flaw&text=%25"))


async def test_a_name_that_is_markup_stays_text(editor: Editor) -> None:
    answer = await editor.get("/edit?kind=component&text=<script>alert(1)</script>")
    assert "<script>alert" not in answer.text
    answer = await editor.get('/edit/evidence?name="><b>x</b>')
    assert "<b>x</b>" not in answer.text


class TestImport:
    """A sheet tried, its mistakes beside its lines, then stored."""

    GOOD = "[evidence]\nname,grade,reference\nbench-7,measured,our own bench\n"
    BAD = "[evidence]\nname,grade,reference\nbench-7,guessed,our own bench\nbench-8,measured,\n"

    async def send(
        self, editor: Editor, sheet: str, do: str, why: str = "", file: bytes = b"", **more: str
    ) -> httpx.Response:
        data = {"form_token": await editor.token(), "sheet": sheet, "do": do, "why": why, **more}
        files = {"file": ("sheet.csv" if file else "", file)}
        return await editor.client.post("/edit/import", data=data, files=files, headers=OWN)

    async def test_mistakes_stand_beside_the_lines(self, editor: Editor) -> None:
        answer = await self.send(editor, self.BAD, "save", "to see")
        told = text_of(answer)
        assert answer.status_code == 422
        assert "2 mistakes; nothing was stored" in told
        lowered = told.lower()
        assert "3 bench-7,guessed,our own bench grade:" in lowered
        assert "4 bench-8,measured, reference: a value is needed here" in lowered
        assert "bench-8,measured," in unescape(answer.text[answer.text.index("<textarea") :])

    async def test_a_mistake_of_no_line_is_told_of_the_whole_sheet(self, editor: Editor) -> None:
        """QB-3310 without its twin: QB-3311 still names it. Neither is a line 0, nor is one empty."""
        sheet = "[component]\nnumber,name,section,origin\nQB-3310,left caliper,brakes,modern\n"
        answer = await self.send(editor, sheet, "try")
        assert "Whole sheet Component QB-3311, twin: " in text_of(answer)
        assert "(empty)" not in text_of(answer)

    async def test_a_list_in_its_own_columns_is_shown_the_way_to_the_flat_lists(self, editor: Editor) -> None:
        answer = await self.send(editor, "number,name,price\nQB-1,thing,3\n", "try")
        assert answer.status_code == 422
        assert 'href="/edit/flat">flat parts list</a>' in answer.text
        assert "`" not in text_of(answer)

    async def test_tried_first_then_stored_with_a_reason(self, editor: Editor) -> None:
        tried = await self.send(editor, self.GOOD, "try")
        assert "No mistakes" in text_of(tried)
        assert "1 record would change" in text_of(tried)
        silent = await self.send(editor, self.GOOD, "save")
        assert "Say in a sentence why" in beside(silent, "why")
        stored = await self.send(editor, self.GOOD, "save", "from our bench book")
        assert stored.url.path == "/edit/revision/2"
        assert editor.rows("evidence", "bench-7")[0]["grade"] == "measured"
        again = await self.send(editor, self.GOOD, "save", "twice")
        assert "nothing would change" in text_of(again)

    async def test_a_file_takes_the_place_of_the_pasted(self, editor: Editor) -> None:
        tried = await self.send(editor, self.BAD, "try", file=self.GOOD.encode())
        assert "No mistakes" in text_of(tried)

    async def test_a_workbook_is_tried_and_then_stored_as_the_sheet_that_it_says(
        self, editor: Editor
    ) -> None:
        book = openpyxl.Workbook()
        book.active.title = "evidence"
        for row in (["name", "grade", "reference", "on"], ["bench-9", "measured", "p. 3", "02/03/1964"]):
            book.active.append(row)
        written = io.BytesIO()
        book.save(written)
        asked = await self.send(editor, "", "try", file=written.getvalue())
        assert "evidence D2 on: '02/03/1964' is 2 March 1964 or 3 February 1964" in text_of(asked)
        tried = await self.send(editor, "", "try", file=written.getvalue(), dates="day-first")
        assert "1 record would change" in text_of(tried)
        assert "'02/03/1964' is 2 March 1964" in text_of(tried)
        text = unescape(re.search(r"<textarea[^>]*>(.*?)</textarea>", tried.text, re.S)[1]).lstrip("\n")
        assert "bench-9,measured,p. 3,1964-03-02" in text
        await self.send(editor, text, "save", "from the bench")
        assert editor.rows("evidence", "bench-9")[0]["on"] == "1964-03-02"

    async def test_the_largest_workbook_is_read_and_a_byte_more_is_not(self, editor: Editor) -> None:
        sent = b"PK\x03\x04".ljust(LARGEST_WORKBOOK_HERE, b"\0")
        assert "The workbook is damaged" in text_of(await self.send(editor, "", "try", file=sent))
        refused = text_of(await self.send(editor, "", "try", file=sent + b"\0"))
        assert "The workbook has more than 5,000,000 bytes" in refused

    async def test_a_whole_sheet_takes_away_what_it_showed(self, editor: Editor) -> None:
        tax = "[tax]\nname,market,rate\nonly,home,20\n"
        kept = text_of(await self.send(editor, tax, "try"))
        assert "Not in this sheet, and kept: " in kept
        unseen = await self.send(editor, tax, "save", "one tax", whole="yes")
        assert "What the sheets no longer have is taken away" in text_of(unseen), "shown before it is stored"
        shown = re.search(r'name="removes" value="(\w+)"', unseen.text)[1]
        stored = await self.send(editor, tax, "save", "one tax", whole="yes", removes=shown)
        assert stored.url.path.startswith("/edit/revision/")
        assert [row["name"] for row in editor.rows("tax", "only")] == ["only"]

    @pytest.mark.parametrize(
        ("file", "told"),
        [
            (b"\x81[s", "no text that can be read"),
            (b"x" * 600_001, "more than 600,000 bytes"),
            (b"", "Choose a file"),
        ],
    )
    async def test_what_is_no_sheet_is_told(self, editor: Editor, file: bytes, told: str) -> None:
        answer = await self.send(editor, "", "try", file=file)
        assert answer.status_code == 422
        assert told in text_of(answer)


@pytest.mark.parametrize("number", ["QB-3310", "QB-2010", "QB-3300"])
async def test_what_a_component_page_tells_leads_to_its_form(editor: Editor, number: str) -> None:
    page = (await editor.get(f"/component/{number}")).text
    forms = {unescape(href) for href in re.findall(r'href="(/edit/[^"]+)"', page)}
    kinds = {href.split("/")[2].partition("?")[0] for href in forms}
    assert kinds >= {"component", "fitment", "companion"}, kinds
    for href in sorted(forms):
        answer = await editor.get(href)
        assert answer.status_code == 200, (href, text_of(answer))
        if "?" in href:
            assert number in fields_of(answer.text).values(), href


async def test_a_form_is_checked_without_saving(editor: Editor):
    fields = await editor.form("/edit/characteristic")
    fields |= {"head.component": "QB-3310", "head.kind": "bolt_circle", "head.value": "140 in", "do": "check"}
    before = await editor.get("/edit")
    checked = await editor.post("/edit/characteristic", fields)
    assert checked.status_code == 422
    shown = text_of(checked)
    assert "140 mm instead of 140 in" in shown
    assert "this bolt_circle is twice any other of its kind" in shown.lower()
    assert "Nothing is stored" in shown
    taken = await editor.post("/edit/characteristic", {**fields, "do": "", "use": "value=140 mm"})
    assert 'id="head.value" name="head.value" value="140 mm"' in taken.text
    assert "instead of" not in text_of(taken)
    assert (await editor.get("/edit")).text.count("<tr>") == before.text.count("<tr>"), "nothing was stored"


async def test_mistakes_are_listed_by_the_check_too(editor: Editor):
    fields = await editor.form("/edit/fitment")
    checked = await editor.post(
        "/edit/fitment",
        {**fields, "head.component": "QB-9999", "head.position": "brake.front.left", "do": "check"},
    )
    live = checked.text[checked.text.index('id="live"') :]
    assert "1\u00a0mistake so far" in live
    assert "here is no component" in live


async def test_companions_of_like_parts_open_a_filled_form_and_no_more(editor: Editor):
    page = await editor.get("/edit/fitment?component=QB-3310&position=brake.front.left")
    offered = re.findall(r'href="(/edit/companion\?[^"]*)"', page.text)
    assert offered
    form = await editor.get(unescape(offered[0]))
    assert 'name="head.component" value="QB-3310"' in form.text
    assert "other parts at its places have it" in text_of(page)


async def test_fields_that_name_records_have_pick_lists(editor: Editor):
    page = (await editor.get("/edit/fitment")).text
    assert 'list="pick-position"' in page
    assert '<option value="battery">' in page[page.index('<datalist id="pick-position">') :]


async def test_a_mistyped_number_is_shown_those_that_may_be_meant(editor: Editor) -> None:
    """The letter O for the nought: an editor who finds nothing enters the part a second time."""
    found = await editor.get("/edit?kind=component&text=QB-331O")
    assert "No component has “QB-331O” in its name Close to it: QB-3310" in text_of(found)
    assert 'href="/edit/component/QB-3310"' in found.text
