"""The life of a list over HTTP, on both engines: nothing is sent twice, nothing that came is lost."""

import asyncio
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.database import reading
from graftbook.orders.lists import store

CHASSIS = "24PL-018412"
BODY = {"name": "red", "vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QL-7075"}]}


async def made(counter: httpx.AsyncClient, **more: Any) -> httpx.Response:
    answer = await counter.post("/v1/order-lists", json=BODY | more)
    assert answer.status_code == 201, answer.text
    return answer


def match(answer: httpx.Response) -> dict[str, str]:
    return {"If-Match": answer.headers["etag"]}


@pytest.mark.one_engine
async def test_a_list_lives_from_draft_to_closed(counter: httpx.AsyncClient) -> None:
    draft = await made(counter)
    lines = draft.json()["lines"]
    assert draft.json()["state"] == "draft"
    assert lines
    assert (await counter.post("/v1/order-lists/red/send")).status_code == 428
    sent = await counter.post("/v1/order-lists/red/send", headers=match(draft))
    assert sent.json()["state"] == "sent", sent.text
    some = {"lines": [{"line": 1, "received": lines[0]["pieces"]}]}
    partly = await counter.post("/v1/order-lists/red/receive", json=some, headers=match(sent))
    assert partly.json()["state"] == "partly received"
    refused = await counter.post("/v1/order-lists/red/close", json={}, headers=match(partly))
    assert refused.json()["type"] == "/problems/wrong-state"
    later = [
        {"line": line["line"], "received": line["pieces"] - 1, "back_ordered": 1, "promised": "2027-01-10"}
        for line in lines[1:]
    ]
    waiting = await counter.post("/v1/order-lists/red/receive", json={"lines": later}, headers=match(partly))
    assert {line["back_ordered"] for line in waiting.json()["lines"][1:]} == {1}
    assert waiting.json()["state"] == "partly received"
    rest = {"lines": [{"line": line["line"], "received": 1} for line in lines[1:-1]]}
    rest["lines"].append({"line": lines[-1]["line"], "given_up": 1})
    whole = await counter.post("/v1/order-lists/red/receive", json=rest, headers=match(waiting))
    assert whole.json()["state"] == "received", whole.text
    closed = await counter.post("/v1/order-lists/red/close", json={}, headers=match(whole))
    assert closed.json()["state"] == "closed"
    events = (await counter.get("/v1/order-lists/red/events")).json()["items"]
    assert [e["what"] for e in events] == ["made", "sent", "received", "received", "received", "closed"]
    assert all(e["who"].startswith("tests (") for e in events)
    again = await counter.post("/v1/order-lists/red/send", headers=match(closed))
    assert again.json()["type"] == "/problems/wrong-state"
    assert (await counter.delete("/v1/order-lists/red", headers=match(closed))).status_code == 409
    assert await told(counter) == ["created", "sent", "received", "received", "received", "closed"]


async def told(counter: httpx.AsyncClient) -> list[str]:
    """What the feed of the house says of order lists."""
    events = (await counter.get("/v1/events")).json()["items"]
    lists = [event for event in events if event["type"].startswith("order_list.")]
    assert {event["data"]["name"] for event in lists} == {"red"}
    return [event["type"].removeprefix("order_list.") for event in lists]


@pytest.mark.one_engine
async def test_what_becomes_of_a_list_is_told_with_it(counter: httpx.AsyncClient) -> None:
    draft = await made(counter)
    noted = await counter.put("/v1/order-lists/red/note", json={"note": "soon"}, headers=match(draft))
    assert (await counter.delete("/v1/order-lists/red", headers=match(noted))).status_code == 204
    sent = await counter.post("/v1/order-lists/red/send", headers=match(await made(counter)))
    came = {"lines": [{"line": 1, "received": 1}]}
    booked = await counter.post("/v1/order-lists/red/receive", json=came, headers=match(sent))
    back = await counter.post(
        "/v1/order-lists/red/bookings/1/take-back", json={"why": "another list"}, headers=match(booked)
    )
    assert back.json()["state"] == "sent", back.text
    assert await told(counter) == [
        "created", "changed", "discarded", "created", "sent", "received", "corrected",
    ]  # fmt: skip
    last = (await counter.get("/v1/events?kind=order_list.corrected")).json()["items"][0]["data"]
    assert last == {
        "name": "red", "state": "sent", "version": back.json()["version"], "who": last["who"],
        "what": "taken back", "booking": 1,
    }  # fmt: skip


@pytest.mark.one_engine
async def test_more_than_was_ordered_is_taken_once_accepted_and_told(counter: httpx.AsyncClient) -> None:
    sent = await counter.post("/v1/order-lists/red/send", headers=match(await made(counter)))
    pieces = sent.json()["lines"][0]["pieces"]
    came = {"lines": [{"line": 1, "received": pieces + 3}], "accept": ["too many"]}
    answer = await counter.post("/v1/order-lists/red/receive", json=came, headers=match(sent))
    assert answer.json()["lines"][0]["received"] == pieces + 3
    assert answer.json()["lines"][0]["too_many"] == 3
    events = (await counter.get("/v1/order-lists/red/events")).json()["items"]
    assert events[-1]["detail"]["lines"][0]["too_many"] == 3
    wrong = {"lines": [{"line": 99, "received": 1}]}
    refused = await counter.post("/v1/order-lists/red/receive", json=wrong, headers=match(answer))
    assert (refused.status_code, refused.json()["pointer"]) == (422, "/lines/0/line")


async def test_of_many_who_send_at_once_one_does(counter: httpx.AsyncClient) -> None:
    draft = await made(counter)
    sends = [counter.post("/v1/order-lists/red/send", headers=match(draft)) for _ in range(8)]
    answers = await asyncio.gather(*sends)
    assert sorted(a.status_code for a in answers)[0] == 200
    assert sum(a.status_code == 200 for a in answers) == 1
    assert {a.status_code for a in answers if a.status_code != 200} <= {409, 412}
    events = (await counter.get("/v1/order-lists/red/events")).json()["items"]
    assert [e["what"] for e in events] == ["made", "sent"]


async def test_the_same_send_again_is_answered_the_same(counter: httpx.AsyncClient) -> None:
    headers = match(await made(counter)) | {"Idempotency-Key": "send red"}
    first = await counter.post("/v1/order-lists/red/send", headers=headers)
    again = await counter.post("/v1/order-lists/red/send", headers=headers)
    assert first.status_code == again.status_code == 200
    assert first.content == again.content
    assert again.headers["idempotency-replayed"] == "true"


async def test_what_is_sent_leaves_the_shelf_with_the_list(counter: httpx.AsyncClient) -> None:
    number = (await made(counter, name="first")).json()["lines"][0]["number"]
    put = await counter.put(f"/v1/stock/{number}", json={"quantity": 1, "place": "drawer 3"})
    assert put.status_code == 200, put.text
    one, two = await made(counter), await made(counter, name="blue")
    assert one.json()["from_stock"] == two.json()["from_stock"]
    assert one.json()["from_stock"][0] | {"name": "", "for": []} == {
        "number": number, "name": "", "quantity": 1, "place": "drawer 3", "for": []
    }  # fmt: skip
    assert (await counter.get(f"/v1/stock/{number}")).json()["quantity"] == 1, "a draft takes nothing"
    assert (await counter.post("/v1/order-lists/red/send", headers=match(one))).status_code == 200
    assert (await counter.get(f"/v1/stock/{number}")).json()["quantity"] == 0
    late = await counter.post("/v1/order-lists/blue/send", headers=match(two))
    assert (late.status_code, late.json()["lacking"]) == (409, [number])
    anew = await counter.post("/v1/order-lists/blue/recompute", headers=match(two))
    assert anew.json()["from_stock"] == []
    assert (await counter.post("/v1/order-lists/blue/send", headers=match(anew))).status_code == 200


async def test_the_store_is_kept_by_etag(counter: httpx.AsyncClient) -> None:
    new = await counter.put("/v1/stock/QB-9001", json={"quantity": 4})
    assert (await counter.put("/v1/stock/QB-9001", json={"quantity": 5})).status_code == 428
    changed = await counter.put("/v1/stock/QB-9001", json={"quantity": 5}, headers=match(new))
    assert changed.json()["quantity"] == 5
    assert (
        await counter.put("/v1/stock/QB-9001", json={"quantity": 6}, headers=match(new))
    ).status_code == 412
    assert [i["number"] for i in (await counter.get("/v1/stock")).json()["items"]] == ["QB-9001"]
    assert (await counter.delete("/v1/stock/QB-9001", headers=match(changed))).status_code == 204
    assert (await counter.get("/v1/stock/QB-9001")).status_code == 404
    assert (await counter.put("/v1/stock/QX-404", json={"quantity": 6})).status_code == 404


@pytest.mark.one_engine
async def test_what_changed_since_the_draft_is_told(counter: httpx.AsyncClient) -> None:
    draft = await made(counter)
    assert (await counter.get("/v1/order-lists/red/differences")).json()["same"] is True
    line = draft.json()["lines"][0]
    sheet = "[offer]\nsupplier,component,price\n" + "".join(
        f"{name},{line['number']},0.05\n" for name in {s["name"] for s in draft.json()["suppliers"]}
    )
    sent = await counter.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
    assert sent.status_code == 200, sent.text
    found = (await counter.get("/v1/order-lists/red/differences")).json()
    assert found["same"] is False
    assert any(line["number"] in sentence and "0.05" in sentence for sentence in found["sentences"])
    anew = await counter.post("/v1/order-lists/red/recompute", headers=match(draft))
    assert any(one["unit_price"] == "0.05" for one in anew.json()["lines"])
    assert (await counter.get("/v1/order-lists/red/differences")).json()["same"] is True


@pytest.mark.one_engine
async def test_a_substitute_is_taken_only_if_the_closure_accepts_it(counter: httpx.AsyncClient) -> None:
    body = {"name": "discs", "vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
    draft = await counter.post("/v1/order-lists", json=body)
    lines = {line["number"]: line["line"] for line in draft.json()["lines"]}
    asked = {"line": lines["QB-2090"], "number": "QB-7090"}
    taken = await counter.post("/v1/order-lists/discs/substitute", json=asked, headers=match(draft))
    assert taken.status_code == 200, taken.text
    numbers = {line["number"] for line in taken.json()["lines"]}
    assert "QB-7090" in numbers
    assert "QB-2090" not in numbers
    wheel = {"line": lines["QW-3055"], "number": "QW-7655"}
    refused = await counter.post("/v1/order-lists/discs/substitute", json=wheel, headers=match(taken))
    assert refused.json()["type"] == "/problems/substitute-refused", refused.text
    assert refused.json()["sentences"]
    unknown = {"line": 1, "number": "QX-404"}
    nothing = await counter.post("/v1/order-lists/discs/substitute", json=unknown, headers=match(taken))
    assert nothing.status_code == 422
    events = (await counter.get("/v1/order-lists/discs/events")).json()["items"]
    assert events[-1]["detail"] == {"line": lines["QB-2090"], "before": "QB-2090", "after": "QB-7090"}


@pytest.mark.one_engine
async def test_a_substitute_that_brings_what_nobody_sells_is_refused(counter: httpx.AsyncClient) -> None:
    """The line itself can be bought, and the seal that it needs cannot."""
    part = {
        "record": "component", "number": "QB-9990", "name": "valve seal", "section": "brakes",
        "origin": "modern", "price": "1.00",
    }  # fmt: skip
    rule = {
        "record": "companion", "name": "QB-7090/seal", "component": "QB-7090",
        "reason": "The valve leaks at its port without its own seal.", "fit": "QB-9990",
    }  # fmt: skip
    edit = await counter.post("/v1/imports", json=[part, rule])
    assert edit.status_code == 200, edit.text
    body = {"name": "discs", "vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
    draft = await counter.post("/v1/order-lists", json=body)
    (line,) = [one["line"] for one in draft.json()["lines"] if one["number"] == "QB-2090"]
    asked = {"line": line, "number": "QB-7090"}
    refused = await counter.post("/v1/order-lists/discs/substitute", json=asked, headers=match(draft))
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/substitute-refused"), (
        refused.text
    )
    assert "QB-9990 would not be supplied." in refused.json()["sentences"]
    kept = await counter.get("/v1/order-lists/discs")
    assert "QB-2090" in {one["number"] for one in kept.json()["lines"]}


@pytest.mark.one_engine
async def test_a_list_comes_in_four_forms(counter: httpx.AsyncClient) -> None:
    await made(counter)
    starts = {
        "text/csv": b"row,line,number",
        "application/pdf": b"%PDF-",
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": b"PK",
        "application/json": b"{",
    }
    for media, start in starts.items():
        answer = await counter.get("/v1/order-lists/red", headers={"Accept": media})
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"].startswith(media)
        assert answer.content.startswith(start)
    refused = await counter.get("/v1/order-lists/red", headers={"Accept": "image/png"})
    assert refused.status_code == 406


async def test_drafts_are_noted_listed_and_thrown_away(counter: httpx.AsyncClient) -> None:
    draft = await made(counter, note="soon")
    noted = await counter.put("/v1/order-lists/red/note", json={"note": "later"}, headers=match(draft))
    assert noted.json()["note"] == "later"
    assert (await counter.post("/v1/order-lists", json=BODY)).status_code == 409
    listed = (await counter.get("/v1/order-lists")).json()["items"]
    assert [(row["name"], row["note"], row["vehicles"]) for row in listed] == [("red", "later", [CHASSIS])]
    assert (await counter.delete("/v1/order-lists/red", headers=match(draft))).status_code == 412
    assert (await counter.delete("/v1/order-lists/red", headers=match(noted))).status_code == 204
    assert (await counter.get("/v1/order-lists/red")).status_code == 404


async def test_the_lists_come_in_pages_and_each_search_has_its_own(counter: httpx.AsyncClient) -> None:
    for name in ("red", "blue"):
        draft = await made(counter, name=name)
        sent = await counter.post(f"/v1/order-lists/{name}/send", headers=match(draft))
        assert sent.status_code == 200, sent.text
    who = (await counter.get("/v1/order-lists")).json()["items"][0]["made_by"]
    searches: list[dict[str, Any]] = [{}, {"show": "open"}, {"made_by": who}]
    others = [{"show": "late"}, {"made_by": "another"}]
    for other in others:
        assert (await counter.get("/v1/order-lists", params=other)).json()["items"] == []
    for search in searches:
        first = (await counter.get("/v1/order-lists", params=search | {"limit": 1})).json()
        assert [row["name"] for row in first["items"]] == ["blue"]
        for asked in (*searches, *others):
            page = asked | {"limit": 1, "cursor": first["next"]}
            rest = await counter.get("/v1/order-lists", params=page)
            assert rest.status_code == (200 if asked == search else 400), (asked, search)
            assert asked != search or [row["name"] for row in rest.json()["items"]] == ["red"]


async def test_a_kept_list_knows_from_whom_each_line_comes(app: FastAPI, counter: httpx.AsyncClient) -> None:
    lines = (await made(counter)).json()["lines"]
    with reading(app.state.service.engine) as session:
        kept = {row.line: row.supplier for row in store.lines_of(session, "red")}
    assert kept == {line["line"]: line["supplier"] for line in lines}
    assert all(kept.values())


async def test_the_steps_of_a_list_are_read_page_by_page_each_once(counter: httpx.AsyncClient) -> None:
    sent = await counter.post("/v1/order-lists/red/send", headers=match(await made(counter)))
    came = {"lines": [{"line": 1, "received": 1}]}
    await counter.post("/v1/order-lists/red/receive", json=came, headers=match(sent))
    found, cursor = [], ""
    for _ in range(2):
        page = await counter.get("/v1/order-lists/red/events", params={"limit": 2, "cursor": cursor})
        found += [event["what"] for event in page.json()["items"]]
        cursor = page.json()["next"]
    assert found == ["made", "sent", "received"]
    assert not cursor
