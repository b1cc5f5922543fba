"""Deliveries over HTTP, on both engines: doubted before they are booked, kept as bookings, taken back."""

import asyncio
from typing import Any

import httpx
import pytest
from pydantic import ValidationError
from sqlalchemy import text

from graftbook.access.scopes import Scope
from graftbook.database import make_engine, migrate
from graftbook.orders.lists.schemas import CameIn
from tests.conftest import client_of

DISCS = {"name": "red", "vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
RED = "/v1/order-lists/red"
MASTER, SERVO, FLUID, SWITCH, DISC = 1, 2, 13, 9, 10
"""Lines: two of one piece (welterby), a pack of four (sallowby), one piece of a third supplier (works)."""


def match(answer: httpx.Response) -> dict[str, str]:
    return {"If-Match": answer.headers["etag"]}


async def sent(counter: httpx.AsyncClient, name: str = "red") -> httpx.Response:
    """A list that has gone out, with the lines that the tests speak of."""
    made = await counter.post("/v1/order-lists", json=DISCS | {"name": name})
    assert made.status_code == 201, made.text
    answer = await counter.post(f"/v1/order-lists/{name}/send", headers=match(made))
    lines = {line["line"]: line for line in answer.json()["lines"]}
    assert [(lines[n]["supplier"], lines[n]["pieces"], lines[n]["pack"]) for n in (1, 2, 13, 9)] == [
        ("welterby", 1, 1), ("welterby", 1, 1), ("sallowby", 4, 4), ("works", 1, 1)
    ]  # fmt: skip
    return answer


async def book(
    counter: httpx.AsyncClient, seen: httpx.Response, *rows: dict[str, Any], name: str = "red", **more: Any
) -> httpx.Response:
    body = {"lines": list(rows), **more}
    return await counter.post(f"/v1/order-lists/{name}/receive", json=body, headers=match(seen))


async def take_back(
    counter: httpx.AsyncClient, seen: httpx.Response, booking: int, **more: Any
) -> httpx.Response:
    body = {"why": "the wrong box", **more}
    return await counter.post(f"{RED}/bookings/{booking}/take-back", json=body, headers=match(seen))


def line_of(answer: httpx.Response, line: int) -> dict[str, Any]:
    return next(one for one in answer.json()["lines"] if one["line"] == line)


async def doubted(counter: httpx.AsyncClient, answer: httpx.Response) -> list[dict[str, Any]]:
    """What was doubted; nothing was booked."""
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/delivery-doubted"), answer.text
    assert answer.json()["detail"].startswith(answer.json()["doubts"][0]["sentence"][:40])
    return list(answer.json()["doubts"])


@pytest.mark.one_engine
async def test_a_thousand_on_a_line_of_one_is_not_booked_in_silence(counter: httpx.AsyncClient) -> None:
    seen = await book(counter, await sent(counter), {"line": MASTER, "received": 1})
    assert line_of(seen, MASTER)["received"] == 1
    (doubt,) = await doubted(counter, await book(counter, seen, {"line": MASTER, "received": 1_000}))
    figures = ("kind", "pointer", "line", "number", "ordered", "received", "open", "came", "beyond")
    assert [doubt[name] for name in figures] == [
        "too many", "/lines/0/received", 1, "QB-2050", 1, 1, 0, 1_000, 1_000
    ]  # fmt: skip
    assert "1,000 pieces came, 1 was ordered and none is open: 1,000 too many" in doubt["sentence"]
    now = await counter.get(RED)
    assert now.headers["etag"] == seen.headers["etag"], "nothing was booked"
    kept = await book(counter, seen, {"line": MASTER, "received": 2}, accept=["too many"])
    line = line_of(kept, MASTER)
    assert (line["received"], line["too_many"], line["open"]) == (3, 2, 0)
    (_, booking) = (await counter.get(f"{RED}/bookings")).json()["items"]
    assert booking["accepted"] == ["too many"]


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("row", "kind", "words", "meant"),
    [
        ({"line": SERVO, "received": 9}, "too many", "1 was ordered and 1 is open: 8 too many.", None),
        ({"line": DISC, "received": 18}, "too many", "Did you mean 2 in a pack of 9?", ("pieces", 2)),
        ({"line": FLUID, "received": 16}, "too many", "Did you mean 1 pack of 4 = 4 pieces?", ("pieces", 4)),
        ({"line": FLUID, "received": 4, "unit": "packs"}, "too many",
         "4 packs of 4 = 16 pieces came, 4 were ordered and 4 are open: 12 too many. Did you mean 4 pieces,",
         ("pieces", 4)),
        ({"line": FLUID, "received": 1}, "part of a pack", "Did you mean 1 pack of 4 = 4 p", ("packs", 1)),
        ({"line": FLUID, "received": 3}, "part of a pack", "in packs of 4, and 3 pieces came", None),
    ],
)  # fmt: skip
async def test_packs_taken_for_pieces_are_asked_about(
    counter: httpx.AsyncClient, row: dict[str, Any], kind: str, words: str, meant: tuple[str, int] | None
) -> None:
    (doubt,) = await doubted(counter, await book(counter, await sent(counter), row))
    assert doubt["kind"] == kind
    assert words in doubt["sentence"]
    assert doubt["meant"] == (meant and {"unit": meant[0], "received": meant[1]})


@pytest.mark.one_engine
async def test_packs_are_converted_and_kept_as_pieces(counter: httpx.AsyncClient) -> None:
    seen = await book(counter, await sent(counter), {"line": FLUID, "received": 1, "unit": "packs"})
    assert (line_of(seen, FLUID)["received"], line_of(seen, FLUID)["open"]) == (4, 0)
    (booking,) = (await counter.get(f"{RED}/bookings")).json()["items"]
    assert [(row["received"], row["pack"]) for row in booking["lines"]] == [(4, 4)]
    huge = await book(counter, seen, {"line": FLUID, "received": 300_000, "unit": "packs"})
    assert (huge.status_code, huge.json()["pointer"]) == (422, "/lines/0/received")


@pytest.mark.one_engine
async def test_a_line_of_another_supplier_is_asked_about(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    rows = {"line": MASTER, "received": 1}, {"line": SWITCH, "received": 1}
    (doubt,) = await doubted(counter, await book(counter, seen, *rows, supplier="welterby"))
    assert (doubt["kind"], doubt["line"], doubt["pointer"]) == ("other supplier", SWITCH, "/lines/1/line")
    assert doubt["sentence"].startswith("QB-2098")
    (mixed,) = await doubted(counter, await book(counter, seen, *rows, delivery_note="L-1"))
    assert (mixed["kind"], mixed["pointer"]) == ("other supplier", "/supplier")
    nobody = await book(counter, seen, *rows, supplier="welterbey")
    assert (nobody.status_code, nobody.json()["pointer"]) == (422, "/supplier")
    kept = await book(counter, seen, *rows, supplier="welterby", accept=["other supplier"])
    assert kept.status_code == 200, kept.text


async def test_the_same_delivery_note_is_booked_once(counter: httpx.AsyncClient) -> None:
    """Also on another list, and however it is typed; not once the first booking is taken back."""
    seen, blue = await sent(counter), await sent(counter, "blue")
    first = await book(counter, seen, {"line": MASTER, "received": 1}, delivery_note="L-20417")
    for name, last in (("red", first), ("blue", blue)):
        answer = await book(counter, last, {"line": SERVO, "received": 1}, name=name, delivery_note="l 20417")
        (doubt,) = await doubted(counter, answer)
        assert (doubt["kind"], doubt["pointer"]) == ("booked before", "/delivery_note")
        assert (doubt["list"], doubt["booking"], doubt["who"][:7]) == ("red", 1, "tests (")
    other = await book(counter, blue, {"line": SWITCH, "received": 1}, name="blue", delivery_note="L-20417")
    assert other.status_code == 200, "another supplier has numbers of its own"
    back = await take_back(counter, first, 1)
    again = await book(counter, back, {"line": SERVO, "received": 1}, delivery_note="L-20417")
    assert again.status_code == 200, again.text


@pytest.mark.one_engine
async def test_what_was_given_up_comes_after_all(counter: httpx.AsyncClient) -> None:
    seen = await book(counter, await sent(counter), {"line": MASTER, "given_up": 1})
    (doubt,) = await doubted(counter, await book(counter, seen, {"line": MASTER, "received": 1}))
    assert (doubt["kind"], doubt["given_up"], doubt["beyond"]) == ("given up", 1, 0)
    kept = await book(counter, seen, {"line": MASTER, "received": 1}, accept=["given up"])
    line = line_of(kept, MASTER)
    assert (line["received"], line["given_up"], line["too_many"], line["open"]) == (1, 0, 0, 0)
    back = line_of(await take_back(counter, kept, 2), MASTER)
    assert (back["received"], back["given_up"], back["open"]) == (0, 1, 0)


@pytest.mark.one_engine
async def test_what_comes_of_what_is_still_open_is_not_taken_for_what_was_given_up(
    counter: httpx.AsyncClient,
) -> None:
    """Four ordered, one given up: three pieces are open, and three come. Only the pack is odd."""
    seen = await book(counter, await sent(counter), {"line": FLUID, "given_up": 1})
    assert line_of(seen, FLUID)["open"] == 3
    doubts = await doubted(counter, await book(counter, seen, {"line": FLUID, "received": 3}))
    assert [doubt["kind"] for doubt in doubts] == ["part of a pack"]
    doubts = await doubted(counter, await book(counter, seen, {"line": FLUID, "received": 4}))
    assert [(doubt["kind"], doubt["beyond"]) for doubt in doubts] == [("given up", 0)]


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("rows", "pointer"),
    [
        ([{"line": 99, "received": 1}], "/lines/0/line"),
        ([{"line": 1, "received": 1}, {"line": 1, "received": 1}], "/lines/1/line"),
        ([{"line": 1, "given_up": 2}], "/lines/0/given_up"),
        ([{"line": 2, "received": 1}, {"line": 1, "back_ordered": 2}], "/lines/1/back_ordered"),
        ([{"line": 1, "received": 1, "back_ordered": 1}], "/lines/0/back_ordered"),
        ([{"line": 1, "received": 1, "given_up": 1}], "/lines/0/given_up"),
        ([{"line": FLUID, "received": 3, "given_up": 2}], "/lines/0/given_up"),
        ([{"line": FLUID, "received": 1, "given_up": 2, "back_ordered": 2}], "/lines/0/back_ordered"),
    ],
)
async def test_what_cannot_be_is_refused(
    counter: httpx.AsyncClient, rows: list[dict[str, Any]], pointer: str
) -> None:
    words = ["too many", "given up", "part of a pack", "other supplier", "booked before"]
    answer = await book(counter, await sent(counter), *rows, accept=words)
    assert (answer.status_code, answer.json()["pointer"]) == (422, pointer)


@pytest.mark.one_engine
async def test_no_more_is_given_up_or_promised_than_earlier_bookings_leave(
    counter: httpx.AsyncClient,
) -> None:
    """Four ordered, three came: of the one that is left two cannot be given up, nor one twice."""
    words = ["part of a pack"]
    came = await book(counter, await sent(counter), {"line": FLUID, "received": 3}, accept=words)
    assert (line_of(came, FLUID)["open"], came.json()["state"]) == (1, "partly received")
    for name in ("given_up", "back_ordered"):
        refused = await book(counter, came, {"line": FLUID, name: 2}, accept=words)
        assert (refused.status_code, refused.json()["pointer"]) == (422, f"/lines/0/{name}")
        assert "has no 2 pieces left" in refused.json()["detail"]
    gone = await book(counter, came, {"line": FLUID, "given_up": 1})
    line = line_of(gone, FLUID)
    assert (line["received"], line["given_up"], line["open"]) == (3, 1, 0)
    again = await book(counter, gone, {"line": FLUID, "given_up": 1})
    assert (again.status_code, again.json()["pointer"]) == (422, "/lines/0/given_up")


async def test_a_booking_says_who_when_and_which_note(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    assert seen.json()["newest_booking"] is None
    rows = {"line": MASTER, "received": 1}, {"line": SERVO, "back_ordered": 1, "promised": "2027-01-10"}
    kept = await book(counter, seen, *rows, delivery_note="L-20417", remark="box wet, parts dry")
    assert kept.json()["newest_booking"] == 1
    (booking,) = (await counter.get(f"{RED}/bookings")).json()["items"]
    assert booking.pop("at").endswith("+00:00")
    assert booking.pop("who").startswith("tests (")
    names = {line["line"]: (line["number"], line["name"]) for line in kept.json()["lines"]}
    none = {"received": 0, "back_ordered": 0, "promised": None, "given_up": 0, "pack": 1}
    of = {line: {"line": line, "number": names[line][0], "name": names[line][1]} | none for line in (1, 2)}
    assert booking == {
        "booking": 1,
        "supplier": "welterby",
        "supplier_title": "Welterby Exchange Bench",
        "delivery_note": "L-20417",
        "remark": "box wet, parts dry",
        "accepted": [],
        "lines": [of[1] | {"received": 1}, of[2] | {"back_ordered": 1, "promised": "2027-01-10"}],
        "taken_back": None,
    }
    assert (await counter.get("/v1/order-lists/none/bookings")).status_code == 404


async def test_bookings_come_in_pages(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    for line in (MASTER, SERVO, SWITCH):
        seen = await book(counter, seen, {"line": line, "received": 1})
    first = (await counter.get(f"{RED}/bookings?limit=2")).json()
    assert [one["booking"] for one in first["items"]] == [1, 2]
    rest = (await counter.get(f"{RED}/bookings?limit=2&cursor={first['next']}")).json()
    assert ([one["booking"] for one in rest["items"]], rest["next"]) == ([3], None)
    assert [row["line"] for row in rest["items"][0]["lines"]] == [SWITCH]


async def test_a_booking_is_taken_back_with_who_when_and_why(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    first = await book(counter, seen, {"line": MASTER, "received": 1})
    rest = [{"line": one["line"], "received": one["open"]} for one in first.json()["lines"] if one["open"]]
    whole = await book(counter, first, *rest)
    assert whole.json()["state"] == "received"
    back = await take_back(counter, whole, 2)
    assert back.json()["state"] == "partly received"
    assert back.json()["lines"] == first.json()["lines"]
    start = await take_back(counter, back, 1)
    assert start.json()["state"] == "sent"
    assert start.json()["lines"] == seen.json()["lines"]
    one, two = (await counter.get(f"{RED}/bookings")).json()["items"]
    assert one["lines"], "it stays on record"
    for booking in (one, two):
        assert booking["taken_back"]["why"] == "the wrong box"
        assert booking["taken_back"]["who"].startswith("tests (")
        assert booking["taken_back"]["at"] >= booking["at"]
    events = (await counter.get(f"{RED}/events")).json()["items"]
    assert [event["what"] for event in events[-2:]] == ["taken back", "taken back"]
    assert [event["detail"]["booking"] for event in events[-2:]] == [2, 1]
    again = await take_back(counter, start, 1)
    assert (again.status_code, again.json()["type"]) == (409, "/problems/booking-taken-back")
    none = await take_back(counter, start, 9)
    assert (none.status_code, none.json()["type"]) == (404, "/problems/unknown-booking")
    assert (await take_back(counter, start, 2, why="  ")).status_code == 422


@pytest.mark.one_engine
async def test_a_closed_list_is_opened_again_only_in_so_many_words(counter: httpx.AsyncClient) -> None:
    seen = await book(counter, await sent(counter), {"line": MASTER, "received": 1})
    closed = await counter.post(
        f"{RED}/close", json={"reason": "the rest is not wanted"}, headers=match(seen)
    )
    assert closed.json()["state"] == "closed"
    refused = await take_back(counter, closed, 1)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/wrong-state")
    assert "`reopen`" in refused.json()["detail"]
    opened = await take_back(counter, closed, 1, reopen=True)
    assert opened.json()["state"] == "sent"
    last = (await counter.get(f"{RED}/events")).json()["items"][-1]
    assert last["detail"]["reopened"] is True


@pytest.mark.one_engine
async def test_more_may_come_after_all_was_there(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    rows = [{"line": line["line"], "received": line["pieces"]} for line in seen.json()["lines"]]
    whole = await book(counter, seen, *rows)
    await doubted(counter, await book(counter, whole, {"line": MASTER, "received": 1}))
    more = await book(counter, whole, {"line": MASTER, "received": 1}, accept=["too many"])
    assert (more.json()["state"], line_of(more, MASTER)["too_many"]) == ("received", 1)


async def test_of_two_tills_that_book_at_once_one_does(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    row = {"line": FLUID, "received": 4}
    answers = await asyncio.gather(*(book(counter, seen, row, accept=["too many"]) for _ in range(6)))
    assert sorted(answer.status_code for answer in answers) == [200] + [412] * 5
    assert line_of(await counter.get(RED), FLUID)["received"] == 4
    assert len((await counter.get(f"{RED}/bookings")).json()["items"]) == 1
    now = next(answer for answer in answers if answer.status_code == 200)
    backs = await asyncio.gather(*(take_back(counter, now, 1) for _ in range(6)))
    assert sorted(answer.status_code for answer in backs) == [200] + [412] * 5


async def test_the_same_booking_sent_again_is_booked_once(counter: httpx.AsyncClient) -> None:
    seen = await sent(counter)
    headers = match(seen) | {"Idempotency-Key": "delivery"}
    body = {"lines": [{"line": MASTER, "received": 2}]}
    refused = [await counter.post(f"{RED}/receive", json=body, headers=headers) for _ in range(2)]
    assert [answer.status_code for answer in refused] == [409, 409], "what failed keeps nothing"
    body["accept"] = ["too many"]
    answers = [await counter.post(f"{RED}/receive", json=body, headers=headers) for _ in range(3)]
    assert {answer.content for answer in answers} == {answers[0].content}
    assert answers[2].headers["idempotency-replayed"] == "true"
    headers = match(answers[0]) | {"Idempotency-Key": "back"}
    backs = [
        await counter.post(f"{RED}/bookings/1/take-back", json={"why": "twice"}, headers=headers)
        for _ in range(2)
    ]
    assert [answer.status_code for answer in backs] == [200, 200]
    assert backs[0].content == backs[1].content
    assert len((await counter.get(f"{RED}/bookings")).json()["items"]) == 1
    assert line_of(await counter.get(RED), MASTER)["received"] == 0


@pytest.mark.one_engine
async def test_who_may_read_only_takes_nothing_back(app: Any, counter: httpx.AsyncClient) -> None:
    seen = await book(counter, await sent(counter), {"line": MASTER, "received": 1})
    async with client_of(app, scope=Scope.READ) as reader:
        assert (await reader.get(f"{RED}/bookings")).status_code == 200
        assert (await take_back(reader, seen, 1)).status_code == 403
    assert (await counter.post(f"{RED}/bookings/1/take-back", json={"why": "x"})).status_code == 428


@pytest.mark.one_engine
async def test_a_booking_leaves_the_store_as_it_is(counter: httpx.AsyncClient) -> None:
    await counter.put("/v1/stock/QB-2066", json={"quantity": 0, "place": "drawer 3"})
    seen = await book(counter, await sent(counter), {"line": SERVO, "received": 1})
    await take_back(counter, seen, 1)
    assert (await counter.get("/v1/stock/QB-2066")).json()["quantity"] == 0


def test_what_came_before_bookings_were_kept_is_kept(databases: Any, untouched_demo_url: str) -> None:
    """Up: one booking a list. Down: the columns say what they said; what was taken back counts no more."""
    engine = make_engine(databases.copy(untouched_demo_url))
    try:
        migrate(engine, "2026_11_25_order_lists")
        with engine.begin() as connection:
            for name, state in (("half", "partly received"), ("none", "sent"), ("late", "sent")):
                _old_list(connection, name, state)
            for line, counts in OLD.items():
                _old_line(connection, "half", line, counts)
            _old_line(connection, "none", 1, (2, 0, 0, 0))
            _old_line(connection, "late", 1, (2, 0, 2, 0))
        migrate(engine)
        with engine.begin() as connection:
            assert _asked(connection, "SELECT list, booking, remark FROM order_booking ORDER BY list") == [
                ("half", 1, "before bookings were kept"), ("late", 1, "before bookings were kept")
            ]  # fmt: skip
            assert _asked(
                connection,
                "SELECT line, received, back_ordered, given_up FROM order_booking_line"
                " WHERE list = 'half' ORDER BY line",
            ) == [(1, 1_002, 0, 0), (2, 1, 1, 0), (3, 1, 0, 1)]
            _booked(connection, 2, "NULL")
            _booked(connection, 3, "'2026-11-28 10:00:00'")
        migrate(engine, "2026_11_25_order_lists")
        with engine.connect() as connection:
            assert _asked(
                connection,
                "SELECT line, pieces, received, back_ordered, given_up FROM order_line"
                " WHERE list = 'half' ORDER BY line",
            ) == [(line, *counts) for line, counts in (OLD | {2: (3, 2, 0, 0)}).items()]
            assert _asked(
                connection, "SELECT received, back_ordered FROM order_line WHERE list = 'late'"
            ) == [(0, 2)]
        migrate(engine)
    finally:
        engine.dispose()


OLD = {1: (1, 1_002, 0, 0), 2: (3, 1, 1, 0), 3: (2, 1, 0, 1), 4: (5, 0, 0, 0)}
"""Line → pieces, received, back_ordered, given_up."""


def _asked(connection: Any, query: str) -> list[tuple[Any, ...]]:
    return [tuple(row) for row in connection.execute(text(query))]


def _old_list(connection: Any, name: str, state: str) -> None:
    connection.execute(
        text(
            "INSERT INTO order_list"
            " (name, state, version, catalogue_revision, made, changed, asked, facts, note)"
            " VALUES (:name, :state, 1, 1, '2026-01-01 00:00:00', '2026-02-03 00:00:00', '{}', '{}', '')"
        ),
        {"name": name, "state": state},
    )


def _old_line(connection: Any, name: str, line: int, counts: tuple[int, ...]) -> None:
    connection.execute(
        text(
            "INSERT INTO order_line"
            " (list, line, component, supplier, pieces, received, back_ordered, given_up)"
            f" VALUES (:name, :line, 'QB-3310', 'welterby', {', '.join(map(str, counts))})"
        ),
        {"name": name, "line": line},
    )


def _booked(connection: Any, booking: int, taken_back: str) -> None:
    """One piece more of the second line."""
    connection.execute(
        text(
            "INSERT INTO order_booking (list, booking, at, who, supplier, delivery_note, note_key, remark,"
            " accepted, taken_back, taken_back_by, taken_back_why) VALUES ('half', :booking,"
            f" '2026-11-27 00:00:00', '', '', '', '', '', '', {taken_back}, '', '')"
        ),
        {"booking": booking},
    )
    connection.execute(
        text(
            "INSERT INTO order_booking_line (list, booking, line, received, back_ordered, given_up)"
            " VALUES ('half', :booking, 2, 1, 0, 0)"
        ),
        {"booking": booking},
    )


@pytest.mark.parametrize("count", ["received", "back_ordered", "given_up"])
async def test_a_count_beyond_a_million_is_a_slip(count: str) -> None:
    assert CameIn.model_validate({"line": 1, count: 1_000_000}).facts()[count] == 1_000_000
    with pytest.raises(ValidationError, match="less than or equal to 1000000"):
        CameIn.model_validate({"line": 1, count: 1_000_001})
