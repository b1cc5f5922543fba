"""A house's work with a vehicle on the pages, without script: taken in, decided, half done, its sheet."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import httpx
import pytest
from fastapi import FastAPI

from graftbook.closure.search.deadline import OutOfTime
from graftbook.database import writing
from graftbook.orders.tables import OrderListRow
from tests.access.conftest import signed_in
from tests.pages.conftest import BROWSER, text_of

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

CHASSIS = "24PL-018412"


class Hand:
    """Somebody who is signed in and sends forms, and goes where he is sent."""

    def __init__(self, client: httpx.AsyncClient) -> None:
        self._client, self._token = client, ""

    async def get(self, path: str, **params: str) -> httpx.Response:
        return await self._client.get(path, params=params or None, headers=BROWSER)

    async def send(self, path: str, form: dict[str, str]) -> httpx.Response:
        if not self._token:
            found = re.search(r'name="form_token" value="(\w+)"', (await self.get("/builds")).text)
            assert found
            self._token = found[1]
        own = BROWSER | {"Sec-Fetch-Site": "same-origin"}
        data = form | {"form_token": self._token}
        return await self._client.post(path, data=data, headers=own, follow_redirects=True)


def ago(days: int) -> str:
    return (datetime.now(UTC).date() - timedelta(days=days)).isoformat()


async def test_a_vehicle_is_taken_in_from_a_typed_list_and_worked_on(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        form = {"name": "red-van", "chassis": "24pl 18412", "taken_in": ago(40), "note": "the baker's"}
        wrong = await counter.send("/builds", form | {"list": "QB-2066 @ brake.servo\nqb3310x\n? @"})
        assert wrong.status_code == 422
        assert "Line 2, “qb3310x”" in text_of(wrong)
        assert "QB-2066 @ brake.servo" in wrong.text, "what was typed stays"
        taken = await counter.send("/builds", form | {"list": "QB-2066 @ brake.servo\n2 x QB-9010"})
        assert (taken.status_code, taken.url.path) == (200, "/builds/red-van")
        assert "vacuum servo" in text_of(taken).lower()
        decided = {"what": "decided", "wishes": "QB-3310", "reason": "it must stop", "day": ago(30)}
        page = await counter.send("/builds/red-van", decided)
        assert "it must stop" in text_of(page)
        assert "Still open" in text_of(page)
        work = {"what": "work", "done": "front axle stripped", "minutes": "95"}
        page = await counter.send("/builds/red-van", work)
        assert "front axle stripped, 1 h 35 min" in text_of(page)
        refused = await counter.send("/builds/red-van", work | {"minutes": "many"})
        assert refused.status_code == 422
        assert "Minutes: A whole number is needed here." in text_of(refused)
        assert "/events/" not in text_of(refused), "where it stands in a body is for programs"
        assert 'value="many"' in refused.text
        event = re.findall(r'name="event" value="(\d+)"', page.text)[0]
        back = {"what": "taken back", "event": event, "reason": "the other van"}
        page = await counter.send("/builds/red-van", back)
        assert "Taken back: the other van" in text_of(page)
        assert "1 h 35 min in all" not in text_of(page)
        before = await counter.get("/builds/red-van", on=ago(35))
        assert "Nothing is decided for it" in text_of(before)
        assert "as it stood on" in text_of(before)
        early = await counter.get("/builds/red-van", on=ago(50))
        assert early.status_code == 422


async def test_every_order_list_of_a_vehicle_stands_on_its_page(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    """However many lists of other vehicles there are, and whatever they are called."""
    assert (await writer.post("/v1/builds", json={"name": "red-van", "chassis": CHASSIS})).status_code == 201
    first = {"vehicle": {"chassis": "24PR-012000"}, "wishes": [{"fit": "QL-7075"}], "name": "a-0"}
    assert (await writer.post("/v1/order-lists", json=first)).status_code == 201
    with writing(own_app.state.service.engine) as session:
        row = session.get(OrderListRow, "a-0")
        assert row is not None
        for number in range(1, 501):
            session.add(OrderListRow(**row.model_dump() | {"name": f"a-{number}"}))
    mine = {"vehicle": {"build": "red-van"}, "wishes": [{"fit": "QB-3310"}], "name": "z-mine"}
    assert (await writer.post("/v1/order-lists", json=mine)).status_code == 201
    called = first | {"vehicle": {"chassis": CHASSIS}, "label": "the baker's", "name": "z-called"}
    answer = await writer.post("/v1/order-lists", json=called)
    assert answer.status_code == 201, answer.text
    page = await writer.get("/builds/red-van", headers=BROWSER)
    assert re.findall(r"/builds/red-van/order/([\w-]+)", page.text) == ["z-called", "z-mine"]


async def test_what_came_off_and_what_can_be_measured_is_offered(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    """Nobody types a number that never came off, nor a name that only the program knows."""
    build = {"name": "red-van", "chassis": CHASSIS}
    assert (await writer.post("/v1/builds", json=build)).status_code == 201
    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        new = await counter.get("/builds/red-van")
        assert "lies elsewhere now" not in text_of(new), "nothing came off yet"
        assert '<option value="centre bore">' in new.text
        disc = {"what": "fitted", "position": "rotor.front.left", "component": "QB-3302", "kept": "rack 3"}
        page = await counter.send("/builds/red-van", disc)
        select = page.text.partition('id="kept-component"')[2].partition("</select>")[0]
        assert re.findall(r'value="(\S+)"', select) == ["QB-2302"]
        moved = {"what": "kept", "component": "QB-2302", "kept": "sold"}
        assert "QB-2302 is kept: sold" in text_of(await counter.send("/builds/red-van", moved))


async def test_a_vehicle_that_was_taken_in_by_mistake_is_taken_out_again(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        await counter.send("/builds", {"name": "wrong-van", "chassis": "24PL-018413"})
        page = await counter.send("/builds/wrong-van", {"what": "note", "text": "not this one"})
        offered = re.findall(r'name="event" value="(\d+)"', page.text)
        assert len(offered) == 1, "the note; a build without its beginning is none, so that is not offered"
        assert "all 2 records" in text_of(page)
        etag = unescape(re.findall(r'name="etag" value="([^"]+)"', page.text)[0])
        out = {"what": "removed", "etag": etag, "sure": "yes"}
        unsure = await counter.send("/builds/wrong-van", out | {"sure": ""})
        assert (unsure.status_code, "Tick that nothing" in text_of(unsure)) == (422, True)
        await counter.send("/builds/wrong-van", {"what": "note", "text": "or is it?"})
        late = await counter.send("/builds/wrong-van", out)
        assert late.status_code == 412, "somebody recorded something since the page was read"
        etag = unescape(re.findall(r'name="etag" value="([^"]+)"', late.text)[0])
        gone = await counter.send("/builds/wrong-van", out | {"etag": etag})
        assert (gone.status_code, gone.url.path) == (200, "/builds")
        assert "wrong-van" not in text_of(gone)
    assert (await writer.get("/v1/builds/wrong-van")).status_code == 404


async def test_what_is_wished_on_the_bench_is_decided_for_the_build_beside_what_was(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    build = {"name": "red-van", "chassis": CHASSIS, "decided": [{"fit": "QB-3310"}]}
    assert (await writer.post("/v1/builds", json=build)).status_code == 201
    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        plain = await counter.get("/answer?build=red-van&as_of=1")
        assert "Decide it for red-van" not in plain.text, "nothing more is wished than is decided"
        again = await counter.get("/answer?build=red-van&fit=qb3310&as_of=1")
        assert "Decide it for red-van" not in again.text, "that is decided already"
        bench = await counter.get("/answer?build=red-van&fit=QL-7075&keep_section=engine&as_of=1")
        assert "The wishes alone: what is decided for a build has no limits." in text_of(bench)
        form = bench.text.partition('action="/builds/red-van"')[2].partition("</form>")[0]
        fields = re.findall(r'name="(\w+)" value="([^"]*)"', form)
        page = await counter.send("/builds/red-van", {name: unescape(value) for name, value in fields})
        assert page.url.path == "/builds/red-van"
        decided = text_of(page).partition("Decided: ")[2]
        assert decided.index("QB-3310") < decided.index("QL-7075")
    wishes = (await writer.get("/v1/builds/red-van")).json()["decided"]
    assert [wish["fit"] for wish in wishes] == ["QB-3310", "QL-7075"]


async def test_an_order_is_ticked_off_and_the_sheet_follows(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    build = {"name": "red-van", "chassis": CHASSIS, "taken_in": ago(40), "decided": [{"fit": "QB-3310"}]}
    assert (await writer.post("/v1/builds", json=build)).status_code == 201
    listed = await writer.post("/v1/order-lists", json={"vehicle": {"build": "red-van"}, "name": "discs"})
    etag = {"If-Match": listed.headers["etag"]}
    sent = await writer.post("/v1/order-lists/discs/send", headers=etag, json={"incomplete": True})
    assert sent.status_code == 200, sent.text
    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        page = await counter.get("/builds/red-van")
        assert "/builds/red-van/order/discs" in page.text
        steps = await counter.get("/builds/red-van/order/discs")
        assert 'name="step-brake.front.left"' in steps.text
        assert "Brakes hold lives" in text_of(steps), "who works along it is told what can hurt"
        assert "the judgement of a licensed person come before this list" in text_of(steps)
        heads = re.findall(
            r"<details class=\"insection printed\"( open)?><summary><h2>([^<]+)</h2>", steps.text
        )
        assert heads == [(" open", "Open"), ("", "Open, and not here yet")], "what can be done is open"
        none = await counter.send("/builds/red-van/order/discs", {"day": ago(1)})
        assert none.status_code == 422
        assert "Tick the steps that are done" in text_of(none)
        ticked = {
            "step-brake.front.left": "yes", "step-brake.front.right": "yes",
            "kept-brake.front.left": "rack 3", "day": ago(3),
        }  # fmt: skip
        half = await counter.send("/builds/red-van/order/discs", ticked)
        assert half.url.path == "/builds/red-van"
        told = text_of(half)
        assert "do not drive" in told
        assert "Room between wheel and front brake" in told
        assert "The original QB-2010 is kept: rack 3." in told
        steps = (await counter.get("/builds/red-van/order/discs")).text
        assert re.search(r"<h2>Done</h2> <span class=\"aside\">2\s+steps<", steps)
        hasty = await counter.send(
            "/builds/red-van/order/discs", {"do": "whole", "kept-hub.front.left": "rack"}
        )
        assert hasty.status_code == 422, "parts that nobody has seen are not fitted by one click"
        assert "parts that have not come by this order" in text_of(hasty)
        assert 'value="rack"' in hasty.text, "what was typed stays"
        assert "Still open nothing" not in text_of(await counter.get("/builds/red-van"))
        done = await counter.send("/builds/red-van/order/discs", {"do": "whole", "away": "yes"})
        assert "Still open nothing" in text_of(done)
        sheet = await counter.get("/builds/red-van/sheet")
        said = text_of(sheet)
        assert "Order list discs." in said
        assert "The original QB-2010 is kept: rack 3." in said
        assert "Brakes hold lives" in said
        assert "Kept original" in said
        paper = await counter.get("/builds/red-van/sheet.pdf")
        assert paper.content[:5] == b"%PDF-"


async def test_a_specification_is_made_compared_and_made_the_houses_own(
    own_app: FastAPI, writer: httpx.AsyncClient
) -> None:
    async with signed_in(own_app, "edit") as client:
        editor = Hand(client)
        form = {
            "name": "house", "title": "Stops well", "variant-24P-21-L": "yes", "variant-24P-17-R": "yes",
            "wishes": f"/answer?chassis={CHASSIS}&fit=QL-7075&effort_at_most=machining&as_of=1",
        }  # fmt: skip
        made = await editor.send("/specifications", form)
        assert made.url.path == "/specifications/house"
        assert "Fit QL-7075" in text_of(made)
        assert "Effort at most: machining" in text_of(made)
        stored = (await writer.get("/v1/specifications/house")).json()
        assert sorted(stored["variants"]) == ["24P-17-R", "24P-21-L"]
        own = await editor.send("/specifications/house", {"do": "present", "version": "1"})
        assert "the house’s present one" in text_of(own)
        etag = re.findall(r'name="etag" value="([^"]+)"', own.text)[0].replace("&#34;", '"')
        second = form | {"etag": etag, "wishes": "QL-7075\nQB-3310", "note": "discs too"}
        newer = await editor.send("/specifications/house", second)
        assert "version 2" in text_of(newer)
        stale = await editor.send("/specifications/house", second)
        assert stale.status_code == 412
        table = await editor.get("/specifications/house/variants")
        assert "2 of 2 variants have a set." in text_of(table)
        both = await editor.get("/specifications/house/compare?from=1&to=2")
        assert "2\u00a0variants change." in both.text
        assert "rear brake balance valve" in both.text, "places by what they are called"
        assert "brake.balance" not in both.text
        assert "Not in the catalogue" not in both.text
        told = text_of(both)
        assert "Asked as well: fit QB-3310 (front brake caliper" in told
        assert "fit QL-7075" not in told, "that is asked as before"
        assert "Effort at most: machining before, no limit now." in told
        back = text_of(await editor.get("/specifications/house/compare?from=2&to=1"))
        assert "Asked no more: fit QB-3310 (front brake caliper" in back
        same = text_of(await editor.get("/specifications/house/compare?from=1&to=1"))
        assert "Both ask for the same." in same
        lost = {"title": "Of old", "wishes": [{"fit": "QB-3310"}], "variants": ["24P-21-L", "24P-99-X"]}
        assert (await writer.post("/v1/specifications", json=lost | {"name": "of-old"})).status_code == 201
        for shown in ("", "/variants"):
            page = text_of(await editor.get(f"/specifications/of-old{shown}"))
            assert "Not in the catalogue, so nothing is said of it: 24P-99-X." in page, shown
        empty = await editor.send("/specifications", {"name": "x", "title": "y", "wishes": " "})
        assert empty.status_code == 422


async def test_a_specification_keeps_no_number_that_nobody_has(own_app: FastAPI) -> None:
    """A house builds to it for years: a slip is told before it is kept, and what was typed stays."""
    async with signed_in(own_app, "edit") as client:
        editor = Hand(client)
        form = {"name": "slip", "title": "Discs", "wishes": "QB-331O\nfront discs please\nqb 3302"}
        told = await editor.send("/specifications", form)
        assert told.status_code == 422
        assert "There is no component 'QB-331O'; did you mean QB-3310" in text_of(told)
        assert "There is no component 'front discs please'" in text_of(told)
        assert "qb 3302" not in text_of(told).partition("Name")[0], "a number may be typed in another way"
        assert "front discs please" in told.text[told.text.index("<textarea") :], "what was typed stays"
        assert (await editor.get("/specifications/slip")).status_code == 404
        kept = await editor.send("/specifications", form | {"wishes": "qb 3302\nQB-3302\nql.7075"})
        assert "Fit QB-3302 (front brake disc" in text_of(kept)
        stored = (await client.get("/v1/specifications/slip")).json()
        assert [wish["fit"] for wish in stored["wishes"]] == ["QB-3302", "QL-7075"]


async def test_what_cannot_be_asked_is_not_told_as_late(own_app: FastAPI, writer: httpx.AsyncClient) -> None:
    """A number that went, kept by a program: asking again would say the same."""
    gone = {"name": "gone", "title": "Discs", "wishes": [{"fit": "QB-0"}], "variants": ["24P-21-L"]}
    assert (await writer.post("/v1/specifications", json=gone)).status_code == 201
    async with signed_in(own_app, "edit") as client:
        editor = Hand(client)
        for shown in ("variants", "compare?from=1&to=1"):
            page = text_of(await editor.get(f"/specifications/gone/{shown}"))
            assert "1\u00a0cannot be asked" in page or "1 cannot be asked" in page, shown
            assert "There is no component 'QB-0'" in page
            assert "ask again" not in page, shown


async def test_a_page_of_a_build_that_ran_late_says_so_and_asks_again(
    own_app: FastAPI, writer: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Late with what is left to do, the rest stands there; late altogether, a button asks again."""

    def late(*_: object) -> None:
        raise OutOfTime

    async with signed_in(own_app, "order") as client:
        counter = Hand(client)
        form = {"name": "late-van", "chassis": CHASSIS, "taken_in": ago(3)}
        assert (await counter.send("/builds", form)).status_code == 200
        monkeypatch.setattr("graftbook.builds.life.standing.still_open", late)
        page = await counter.get("/builds/late-van")
        assert page.status_code == 200
        assert "was not worked out in the time there was. Ask again." in text_of(page)
        assert "Taken in" in text_of(page)
        monkeypatch.setattr("graftbook.builds.life.standing.check_what_is_known", late)
        page = await counter.get("/builds/late-van", on=ago(1))
        assert page.status_code == 503
        assert f'<a class="button" href="/builds/late-van?on={ago(1)}">Ask again</a>' in page.text


async def test_an_address_of_nothing_leads_back_to_what_there_is(own_app: FastAPI) -> None:
    """A mistyped name is no dead end: its page leads to the list that the name was sought in."""
    async with signed_in(own_app, "edit") as client:
        hand = Hand(client)
        for address, room, words in [
            ("/builds/no-such", "/builds", "Builds"),
            ("/specifications/no-such", "/specifications", "Specifications"),
            ("/orders/no-such", "/orders", "Orders"),
            ("/edit/component/QX-9999", "/edit", "Edit the catalogue"),
            ("/edit/flat/no-such", "/edit/flat", "Flat parts lists"),
            ("/review/999", "/review", "Proposed changes"),
            ("/history/component/QX-9999", "/history", "What changed in the catalogue"),
        ]:
            found = await hand.get(address)
            assert found.status_code == 404
            assert f'href="{room}">{words}</a>' in found.text, address


async def test_who_is_signed_out_over_a_form_comes_back_to_it_from_signing_in(own_app: FastAPI) -> None:
    async with signed_in(own_app, "order") as client:
        hand = Hand(client)
        await hand.get("/builds")
        client.cookies.clear()
        own = BROWSER | {"Sec-Fetch-Site": "same-origin"}
        told = await client.post("/builds", data={"name": "red-van", "form_token": "0"}, headers=own)
        assert told.status_code == 401
        assert 'href="/signin?next=/builds"' in told.text
        assert "you come back to the form" in text_of(told)


async def test_what_is_fitted_and_goes_nowhere_is_not_told_as_a_wish_of_somebody(own_app: FastAPI) -> None:
    """A wheel recorded at a brake: what is open of it cannot be told, which is not nothing."""
    async with signed_in(own_app, "order") as client:
        hand = Hand(client)
        await hand.send("/builds", {"name": "odd-van", "chassis": CHASSIS})
        fitted = {"what": "fitted", "position": "brake.front.left", "component": "QW-1500"}
        page = text_of(await hand.send("/builds/odd-van", fitted))
        assert "Still open cannot be told" in page
        assert "Each part that is fitted stands for a wish in what follows" in page
