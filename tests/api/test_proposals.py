"""Changes are proposed, seen with their effect, accepted or refused; only what was accepted counts."""

import asyncio
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import Load
from tests import locks
from tests.catalogue.test_shadow import before_the_lock
from tests.conftest import application, bearer, client_of

DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
PAD = "/v1/records/component/QB-3310"
REPORT = {
    "workshop": "North Road", "outcome": "did not fit", "chassis": "24PL-018412", "component": "QB-3310",
    "position": "brake.front.left",
}  # fmt: skip


async def proposed(client: httpx.AsyncClient, *records: dict[str, Any], **more: Any) -> dict[str, Any]:
    body = {"why": "seen on two vans", "records": [*records], **more}
    answer = await client.post("/v1/proposals", json=body)
    assert answer.status_code == 201, answer.text
    assert answer.headers["location"] == f"/v1/proposals/{answer.json()['number']}"
    found: dict[str, Any] = answer.json()
    return found


async def pad(client: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    return {"record": "component", **(await client.get(PAD)).json()["rows"][0], **more}


async def decided(client: httpx.AsyncClient, how: str, *numbers: int) -> httpx.Response:
    decision = {"proposals": [*numbers], "reason": "looked at"}
    return await client.post(f"/v1/proposal-decisions/{how}", json=decision)


async def test_a_proposal_changes_nothing_until_it_is_accepted(writer: httpx.AsyncClient) -> None:
    before = (await writer.get(PAD)).json()["rows"]
    made = await proposed(writer, await pad(writer, price="777.00"))
    assert (await writer.get(PAD)).json()["rows"] == before
    (change,) = made["changes"]
    assert (change["what"], change["kind"], change["name"]) == ("changed", "component", "QB-3310")
    assert (change["before"], change["after"][0]["price"]) == (before, "777.00")
    told = (await decided(writer, "accept", made["number"])).json()
    assert told["catalogue_revision"] == 2
    assert (await writer.get(PAD)).json()["rows"][0]["price"] == "777.00"
    (edit,) = [one for one in (await writer.get("/v1/revisions")).json()["items"] if one["revision"] == 2]
    assert edit["who"].startswith("tests (")
    assert "accepted by tests (" in edit["who"]
    assert edit["why"] == f"seen on two vans (proposal {made['number']})"
    kept = (await writer.get(f"/v1/proposals/{made['number']}")).json()
    assert (kept["state"], kept["accepted_as"], kept["reason"]) == ("accepted", 2, "looked at")
    again = await decided(writer, "refuse", made["number"])
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already-decided")


async def test_mistakes_and_what_says_nothing_new_are_told_and_not_kept(writer: httpx.AsyncClient) -> None:
    wrong = await writer.post(
        "/v1/proposals", json={"why": "a slip", "records": [await pad(writer, section="brakers")]}
    )
    assert wrong.status_code == 422
    assert wrong.json()["type"] == "/problems/import-refused"
    same = await writer.post("/v1/proposals", json={"why": "a slip", "records": [await pad(writer)]})
    assert same.status_code == 422
    assert "says all of this already" in same.json()["detail"]
    gone = {"why": "a slip", "remove": [{"kind": "component", "name": "QB-3310"}]}
    held = await writer.post("/v1/proposals", json=gone)
    assert held.status_code == 422, "other records name it"
    assert (await writer.get("/v1/proposals")).json()["items"] == []


async def test_what_was_changed_since_is_told_and_not_accepted(writer: httpx.AsyncClient) -> None:
    made = await proposed(writer, await pad(writer, price="777.00"))
    assert not made["changes"][0]["overtaken"]
    etag = (await writer.get(PAD)).headers["etag"]
    await writer.patch(PAD, json={"price": "600.00"}, headers={"If-Match": etag})
    look = (await writer.get(f"/v1/proposals/{made['number']}")).json()
    assert look["changes"][0]["overtaken"]
    answer = await decided(writer, "accept", made["number"])
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/changed-again")
    assert answer.json()["records"] == [{"kind": "component", "name": "QB-3310"}]
    assert (await writer.get(PAD)).json()["rows"][0]["price"] == "600.00"
    assert (await writer.get(f"/v1/proposals/{made['number']}")).json()["state"] == "open"


async def test_a_batch_is_one_edit_or_none(writer: httpx.AsyncClient) -> None:
    one = await proposed(writer, await pad(writer, price="777.00"))
    new = {
        "record": "component",
        "number": "QZ-1",
        "name": "Trial pad",
        "section": "brakes",
        "origin": "modern",
    }
    two = await proposed(writer, new, source="suggestion")
    three = await proposed(writer, await pad(writer, price="1.00"))
    both = await decided(writer, "accept", one["number"], three["number"])
    assert both.status_code == 409
    assert "changed by two of these" in both.json()["detail"]
    told = (await decided(writer, "accept", one["number"], two["number"])).json()
    assert [line["state"] for line in told["proposals"]] == ["accepted", "accepted"]
    assert told["catalogue_revision"] == 2
    assert (await writer.get("/v1/records/component/QZ-1")).status_code == 200
    open_ones = (await writer.get("/v1/proposals", params={"state": "open"})).json()["items"]
    assert [line["number"] for line in open_ones] == [three["number"]]
    with_unknown = await decided(writer, "refuse", three["number"], 4711)
    assert with_unknown.status_code == 404
    assert (await writer.get(f"/v1/proposals/{three['number']}")).json()["state"] == "open"
    assert (await decided(writer, "refuse", three["number"])).json()["catalogue_revision"] is None


async def test_lists_come_in_pages(writer: httpx.AsyncClient) -> None:
    numbers = [(await proposed(writer, await pad(writer, price=f"{n}.00")))["number"] for n in (1, 2, 3)]
    page = (await writer.get("/v1/proposals", params={"limit": 2})).json()
    rest = (await writer.get("/v1/proposals", params={"limit": 2, "cursor": page["next"]})).json()
    assert [one["number"] for one in (*page["items"], *rest["items"])] == numbers[::-1]


async def test_the_same_proposal_sent_again_is_kept_once(writer: httpx.AsyncClient) -> None:
    body, key = {"why": "once", "records": [await pad(writer, price="2.00")]}, {"Idempotency-Key": "k1"}
    first, second = [await writer.post("/v1/proposals", json=body, headers=key) for _ in range(2)]
    assert first.json() == second.json()
    assert len((await writer.get("/v1/proposals")).json()["items"]) == 1
    decision = {"proposals": [first.json()["number"]], "reason": "yes"}
    key = {"Idempotency-Key": "k2"}
    told = [await writer.post("/v1/proposal-decisions/accept", json=decision, headers=key) for _ in range(2)]
    assert [one.status_code for one in told] == [200, 200]
    assert told[0].json() == told[1].json()


async def test_the_counter_may_propose_and_withdraw_and_not_decide(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    async with client_of(own_app, scope="order") as counter:
        made = await proposed(counter, await pad(writer, price="777.00"))
        assert (await decided(counter, "accept", made["number"])).status_code == 403
        assert (await decided(counter, "refuse", made["number"])).status_code == 403
        assert (await writer.post(f"/v1/proposals/{made['number']}/withdraw")).status_code == 403
        gone = await counter.post(f"/v1/proposals/{made['number']}/withdraw")
        assert gone.json()["proposals"][0]["state"] == "withdrawn"
    async with client_of(own_app, scope="read") as reader:
        assert (await reader.post("/v1/proposals", json={"why": "x"})).status_code == 403


@pytest.fixture
def reviewed(demo_copy: Callable[[], str]) -> Iterator[FastAPI]:
    """A house that reviews every change."""
    with application(demo_copy(), review="on") as app:
        yield app


async def test_where_the_house_reviews_nothing_is_published_that_another_did_not_accept(
    reviewed: FastAPI,
) -> None:
    engine = reviewed.state.service.engine
    async with client_of(reviewed, scope="administer") as one, client_of(reviewed, scope="edit") as other:
        held = await one.get(PAD)
        mine = {"If-Match": held.headers["etag"]}
        row = held.json()["rows"][0] | {"price": "1.00"}
        for refused in (
            await one.put(PAD, json={"rows": [row]}, headers=mine),
            await one.patch(PAD, json={"price": "1.00"}, headers=mine),
            await one.delete(PAD, headers=mine),
            await one.post("/v1/imports", json=[{"record": "component", **row}]),
            await one.post("/v1/revisions/1/take-back"),
            await one.post("/v1/reports", json=REPORT),
        ):
            assert (refused.status_code, refused.json()["type"]) == (403, "/problems/review-needed")
        dry = await one.put(PAD, params={"dry_run": "true"}, json={"rows": [row]}, headers=mine)
        assert dry.status_code == 200
        made = await proposed(one, await pad(one, price="777.00"))
        own = await decided(one, "accept", made["number"])
        assert (own.status_code, own.json()["type"]) == (403, "/problems/own-proposal")
        assert (await one.get(PAD)).json()["rows"] == held.json()["rows"]
        assert (await decided(other, "accept", made["number"])).status_code == 200
        assert (await one.get(PAD)).json()["rows"][0]["price"] == "777.00"
    assert bearer(engine, "read")


@pytest.fixture
def on_each_engine(databases: Any, untouched_demo_url: str) -> Iterator[FastAPI]:
    """The application on a demo of the test's own, on each engine in turn."""
    with application(databases.copy(untouched_demo_url)) as app:
        yield app


async def test_each_engine_keeps_accepts_and_refuses(on_each_engine: FastAPI) -> None:
    async with client_of(on_each_engine, scope="edit") as editor:
        before = (await editor.get(PAD)).json()["rows"]
        cheap, dear = [await proposed(editor, await pad(editor, price=price)) for price in ("1.00", "777.00")]
        effect = await editor.post(f"/v1/proposals/{dear['number']}/effect")
        assert (effect.status_code, effect.json()["changed_records"]) == (200, 1)
        assert (await editor.get(PAD)).json()["rows"] == before
        assert (await decided(editor, "accept", dear["number"])).json()["catalogue_revision"] == 2
        assert (await editor.get(PAD)).json()["rows"] == [before[0] | {"price": "777.00"}]
        late = await decided(editor, "accept", cheap["number"])
        assert (late.status_code, late.json()["type"]) == (409, "/problems/changed-again")
        assert (await decided(editor, "refuse", cheap["number"])).status_code == 200
        kept = (await editor.get("/v1/proposals")).json()["items"]
        assert [one["state"] for one in kept] == ["accepted", "refused"]


async def test_of_several_who_accept_at_once_one_does(on_each_engine: FastAPI) -> None:
    async with client_of(on_each_engine, scope="edit") as editor:
        one, other = [await proposed(editor, await pad(editor, price=price)) for price in ("1.00", "2.00")]
        asked = [decided(editor, "accept", made["number"]) for made in (one, other) * 3]
        statuses = sorted([answer.status_code for answer in await asyncio.gather(*asked)])
        assert statuses == [200, 409, 409, 409, 409, 409]
        states = {line["state"] for line in (await editor.get("/v1/proposals")).json()["items"]}
        assert states == {"accepted", "open"}
        assert [r["revision"] for r in (await editor.get("/v1/revisions")).json()["items"]] == [2, 1]


def bolts(first: int, count: int = 520) -> list[dict[str, Any]]:
    return [
        {"record": "component", "number": f"PB-{n}", "name": "bolt", "section": "brakes", "origin": "modern"}
        for n in range(first, first + count)
    ]


async def test_more_records_than_others_should_wait_for_are_accepted_at_once(
    on_each_engine: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are worked out while others edit, and are one edit or, where one of them was edited, none."""
    engine = on_each_engine.state.service.engine
    async with client_of(on_each_engine, scope="edit") as editor:
        one, two = [await proposed(editor, *bolts(n)) for n in (0, 1_000)]
        three, four = await proposed(editor, *bolts(2_000)), await proposed(editor, *bolts(3_000))
        five, dearer = (
            await proposed(editor, await pad(editor, price="777.00")),
            await pad(editor, price="9.00"),
        )
        free = locks.free_at(monkeypatch, engine, Load, "run")
        told = (await decided(editor, "accept", one["number"], two["number"])).json()
        assert free == [True]
        assert (told["catalogue_revision"], len(told["proposals"])) == (2, 2)
        edit = (await editor.get("/v1/revisions")).json()["items"][0]
        assert (edit["revision"], edit["changes"]) == (2, 1_040)
        before_the_lock(monkeypatch, lambda: load(engine, [dearer]))
        late = await decided(editor, "accept", three["number"], four["number"], five["number"])
        assert (late.status_code, late.json()["type"]) == (409, "/problems/changed-again")
        assert late.json()["records"] == [{"kind": "component", "name": "QB-3310"}]
        assert (await editor.get("/v1/records/component/PB-2000")).status_code == 404
        states = {one["number"]: one["state"] for one in (await editor.get("/v1/proposals")).json()["items"]}
        assert {states[number["number"]] for number in (three, four, five)} == {"open"}
        assert (await decided(editor, "accept", three["number"], four["number"])).status_code == 200
        assert (await editor.get("/v1/records/component/PB-3519")).status_code == 200


async def test_the_effect_told_is_what_comes_when_it_is_accepted(writer: httpx.AsyncClient) -> None:
    """The questions that it speaks of are asked before and after: each stands in the list where it should."""
    await writer.post(
        "/v1/builds", json={"name": "red", "chassis": "24PL-018412", "decided": [{"fit": "QB-3310"}]}
    )
    await writer.post(
        "/v1/builds", json={"name": "blue", "chassis": "24PL-018413", "decided": [{"fit": "QL-7075"}]}
    )
    await writer.post("/v1/order-lists", json=DISCS | {"name": "monday"})
    asked = {
        "Build red": {"vehicle": {"build": "red"}},
        "Build blue": {"vehicle": {"build": "blue"}},
        "Order monday": DISCS,
    }
    before = {label: await total(writer, body) for label, body in asked.items()}
    capped = DISCS | {"limits": {"price_at_most": before["Order monday"]}}
    assert (await writer.post("/v1/closures", json=capped)).json()["outcome"] == "proved"
    made = await proposed(writer, await pad(writer, price="777.00"))
    effect = (await writer.post(f"/v1/proposals/{made['number']}/effect")).json()
    assert effect["changed_records"] == 1
    assert (await writer.get(f"/v1/proposals/{made['number']}")).json()["state"] == "open"
    assert (await decided(writer, "accept", made["number"])).status_code == 200
    after = {label: await total(writer, body) for label, body in asked.items()}
    changed, same = ({one["label"] for one in effect[name]} for name in ("changed", "same"))
    assert {label for label in asked if after[label] != before[label]} == changed & asked.keys()
    assert {label for label in asked if after[label] == before[label]} == same & asked.keys()
    assert changed & asked.keys()
    assert same & asked.keys()
    assert (await writer.post("/v1/closures", json=capped)).json()["outcome"] == "impossible"
    assert [one["label"] for one in effect["impossible"]] == ["Asked lately: 24PL-018412"]


async def test_the_effect_tells_what_the_arithmetic_finds_otherwise(writer: httpx.AsyncClient) -> None:
    """A figure that no set depends on decides a check all the same."""
    await writer.post("/v1/order-lists", json=DISCS | {"name": "monday"})
    before = await found(writer)
    linings = [
        {"record": "characteristic", "component": number, "kind": "lining_friction", "value": "0.22"}
        for number in ("QB-3310", "QB-3311")
    ]
    made = await proposed(writer, *linings)
    effect = (await writer.post(f"/v1/proposals/{made['number']}/effect")).json()
    (told,) = (one["sentences"] for one in effect["changed"] if one["label"] == "Order monday")
    assert (await decided(writer, "accept", made["number"])).status_code == 200
    after = await found(writer)
    other = [check for check, (verdict, _) in after.items() if before[check][0] != verdict]
    assert other
    for check in other:
        (verdict, sentence), (was, said) = after[check], before[check]
        line = f"{verdict.capitalize()}: {sentence} It was: {was.capitalize()}: {said}"
        assert line in told, told


async def found(client: httpx.AsyncClient) -> dict[str, tuple[str, str]]:
    """Check of front discs → its verdict and its sentence."""
    checks = (await client.post("/v1/closures", json=DISCS)).json()["checks"]
    return {one["check"]: (one["verdict"], one["sentence"]) for one in checks["findings"]}


async def total(client: httpx.AsyncClient, body: dict[str, Any]) -> str:
    answer = (await client.post("/v1/closures", json=body)).json()
    return str(answer["set"]["totals"]["price"])
