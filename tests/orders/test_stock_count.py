"""The store as a sheet: given out, counted and read back; all of a count is booked, or nothing."""

import csv
import io
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from typer.testing import CliRunner

from graftbook.commands.cli import app as graftbook
from graftbook.database import make_engine, writing
from graftbook.orders.lists.service import _take_from_store
from graftbook.orders.stock import service as shelf
from graftbook.problems import NotInStore, PreconditionFailed, StoreChanged

pytestmark = pytest.mark.anyio

SHEET = {"Content-Type": "text/csv"}
AS_SHEET = {"Accept": "text/csv"}


async def counted(counter: httpx.AsyncClient, sheet: str, status: int = 200, **asked: str) -> httpx.Response:
    answer = await counter.post("/v1/stock", params=asked, content=sheet, headers=SHEET)
    assert answer.status_code == status, answer.text
    return answer


async def lying(counter: httpx.AsyncClient) -> dict[str, tuple[int, str]]:
    sheet = (await counter.get("/v1/stock", headers=AS_SHEET)).text
    return {row["number"]: (int(row["quantity"]), row["place"]) for row in csv.DictReader(io.StringIO(sheet))}


@pytest.mark.one_engine
async def test_a_count_says_what_lies_there_and_what_it_changed(counter: httpx.AsyncClient) -> None:
    first = await counted(counter, "number,quantity,place\nqb 9001,4,drawer 14\nQB-3310,1,shelf 2\n")
    assert first.json() == {
        "dry_run": False, "rows": 2, "changed": 2,
        "differences": [
            {"number": "QB-3310", "was": None, "now": {"quantity": 1, "place": "shelf 2"}},
            {"number": "QB-9001", "was": None, "now": {"quantity": 4, "place": "drawer 14"}},
        ],
    }  # fmt: skip
    assert await lying(counter) == {"QB-3310": (1, "shelf 2"), "QB-9001": (4, "drawer 14")}
    without_places = await counted(counter, "Quantity;Number\r\n6;QB-9001\r\n")
    assert [one["now"] for one in without_places.json()["differences"]] == [
        {"quantity": 6, "place": "drawer 14"}
    ]
    assert (await counted(counter, "number,quantity\nQB-9001,6\n")).json()["changed"] == 0
    looked = await counted(counter, "number\tquantity\nQB-9001\t6\n", whole="true", dry_run="true")
    assert [(one["number"], one["now"]) for one in looked.json()["differences"]] == [("QB-3310", None)]
    assert len(await lying(counter)) == 2
    await counted(counter, "number,quantity\nQB-9001,6\n", whole="true")
    assert await lying(counter) == {"QB-9001": (6, "drawer 14")}


@pytest.mark.one_engine
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
async def test_a_sheet_is_read_whatever_ends_its_lines(counter: httpx.AsyncClient, end: str) -> None:
    rows = ["number,quantity,place", "QB-9001,4,drawer 14", 'QB-3310,1,"shelf 2"', ""]
    await counted(counter, end.join(rows))
    assert await lying(counter) == {"QB-3310": (1, "shelf 2"), "QB-9001": (4, "drawer 14")}
    refused = (await counted(counter, end.join([*rows[:2], "QB-3310,one,shelf 2"]), 422)).json()
    assert [(mistake["line"], mistake["field"]) for mistake in refused["mistakes"]] == [(3, "quantity")]


@pytest.mark.one_engine
async def test_the_sheet_given_out_is_read_back_as_it_was(counter: httpx.AsyncClient) -> None:
    place = "=1+1, \"under\" the window; 'left'"
    await counter.put("/v1/stock/QB-9001", json={"quantity": 3, "place": place})
    await counter.put("/v1/stock/QB-3310", json={"quantity": 0, "place": "'=2"})
    await counter.put("/v1/stock/QB-3311", json={"quantity": 1, "place": "a\nb  c"})
    given = await counter.get("/v1/stock", headers=AS_SHEET)
    assert "'=1+1" in given.text, "no spreadsheet runs it"
    assert (await counted(counter, given.text, whole="true")).json()["changed"] == 0
    kept = [(await counter.get(f"/v1/stock/QB-{number}")).json()["place"] for number in (9001, 3310, 3311)]
    assert kept == [place, "'=2", "a b c"]


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("sheet", "line", "field", "words"),
    [
        ("number,quantity\nQB-9001,4\nQB-33l0x,1\n", 3, "number", "no component 'QB-33l0x'"),
        ("number,quantity\nQB-331O,1\n", 2, "number", "did you mean QB-3310"),
        ("number,quantity\nQB-9001,4\nqb9001,1\n", 3, "number", "QB-9001 stands in line 2 already"),
        ("number,quantity\nQB-9001,four\n", 2, "quantity", "'four' is no count"),
        ("number,quantity\nQB-9001,\n", 2, "quantity", "the count is missing"),
        ("number,quantity\nQB-9001,-1\n", 2, "quantity", "'-1' is no count"),
        ("number,quantity\nQB-9001,1000001\n", 2, "quantity", "up to 1000000"),
        ("number,quantity\nQB-9001,٣\n", 2, "quantity", "is no count"),
        ("number,quantity\nQB\x00-9001,1\n", 2, "number", ""),
        (f"number,quantity\n{'9' * 121},1\n", 2, "number", "at most 120"),
        ("number,quantity\n--,1\n", 2, "number", "letters or digits"),
        ("number,quantity,place\nQB-9001,1,a\u202eb\n", 2, "place", ""),
        ("number,quantity,place\nQB-9001,1,a\x00b\n", 2, "place", ""),
        (f"number,quantity,place\nQB-9001,1,{'x' * 2001}\n", 2, "place", "at most 2000"),
        ("number,quantity\nQB-9001,1,drawer,2\n", 2, "", "4 cells under 2 heads"),
        ("part,quantity\nQB-9001,1\n", 1, "", "no column 'part'"),
        ("number,place\nQB-9001,1\n", 1, "", "'quantity' is missing"),
        ("number,quantity,number\nQB-9001,1,QB-9001\n", 1, "", "stands twice"),
        ("\n\n", 1, "", "has no rows"),
        ("number,quantity\n", 1, "", "has no rows"),
        ('number,quantity,place\nQB-9001,4,"drawer\nQB-3310,1,x\n', 2, "", "no CSV"),
        ('number,quantity,place\nQB-9001,4,"drawer\nQB-3310,1,x"\n', 2, "", "a quotation mark left open"),
    ],
)
async def test_a_mistake_is_told_at_its_line_and_nothing_is_booked(
    counter: httpx.AsyncClient, sheet: str, line: int, field: str, words: str
) -> None:
    refused = (await counted(counter, sheet, 422)).json()
    assert refused["type"] == "/problems/import-refused"
    (mistake,) = refused["mistakes"]
    assert (mistake["line"], mistake["field"]) == (line, field)
    assert words.casefold() in mistake["message"].casefold()
    assert await lying(counter) == {}


@pytest.mark.one_engine
async def test_what_is_no_sheet_is_refused(counter: httpx.AsyncClient) -> None:
    body = b"number,quantity\nQB-9001,1\n"
    for sent, headers, status in (
        (body, {"Content-Type": "application/json"}, 415),
        (b"number,quantity\n\xff\xfe,1\n", SHEET, 422),
        (b"number,quantity\n" + b"QB-9001,1\n" * 200_000, SHEET, 413),
    ):
        answer = await counter.post("/v1/stock", content=sent, headers=headers)
        assert answer.status_code == status, answer.text
    assert (await counter.get("/v1/stock", headers={"Accept": "image/png"})).status_code == 406


async def test_a_count_can_hold_to_the_store_that_was_read_and_is_booked_once(
    counter: httpx.AsyncClient,
) -> None:
    sheet = "number,quantity\nQB-9001,4\n"
    read = (await counter.get("/v1/stock", headers=AS_SHEET)).headers["etag"]
    once = SHEET | {"If-Match": read, "Idempotency-Key": "count of 25 November"}
    first = await counter.post("/v1/stock", content=sheet, headers=once)
    assert first.status_code == 200, first.text
    again = await counter.post("/v1/stock", content=sheet, headers=once)
    assert (again.content, again.headers["idempotency-replayed"]) == (first.content, "true")
    late = await counter.post("/v1/stock", content=sheet, headers=SHEET | {"If-Match": read})
    assert late.status_code == 412
    now = (await counter.get("/v1/stock", headers=AS_SHEET)).headers["etag"]
    same = await counter.get("/v1/stock", headers=AS_SHEET | {"If-None-Match": now})
    assert (same.status_code, same.content) == (304, b"")


@pytest.mark.one_engine
async def test_an_order_takes_from_what_was_counted(counter: httpx.AsyncClient) -> None:
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
    before = (await counter.post("/v1/orders", json=asked)).json()
    assert before["from_stock"] == []
    await counted(counter, "number,quantity,place\nQB-3310,9,A1\n")
    after = (await counter.post("/v1/orders", json=asked)).json()
    assert [part["number"] for part in after["from_stock"]] == ["QB-3310"]


def test_the_command_counts_and_lists(demo_copy: Callable[[], str], tmp_path: Path) -> None:
    url, sheet, out = demo_copy(), tmp_path / "count.csv", tmp_path / "store.csv"

    def run(*arguments: str) -> tuple[int, str]:
        done = CliRunner().invoke(graftbook, ["stock", *arguments, "--database", url])
        return done.exit_code, done.output

    sheet.write_text("number,quantity,place\nqb 9001,4,drawer 14\nQX-404,1,\n")
    code, said = run("count", str(sheet))
    assert (code, "count.csv:3: number: there is no component 'QX-404'" in said) == (4, True), said
    sheet.write_text("number,quantity,place\nqb 9001,4,drawer 14\n")
    code, said = run("count", str(sheet), "--dry-run")
    assert (code, "QB-9001: no place, now 4 (drawer 14)" in said) == (0, True), said
    assert run("list")[1].splitlines() == ["number,quantity,place"]
    assert run("count", str(sheet))[0] == 0
    assert run("list", str(out)) == (0, f"1 number written to {out}.\n")
    assert out.read_text() == "number,quantity,place\nQB-9001,4,drawer 14\n"
    sheet.write_text("number,quantity\nQB-3310,1\n")
    assert run("count", str(sheet))[0] == 0
    assert run("list", str(out)) == (0, f"2 numbers written to {out}.\n")


@pytest.mark.one_engine
async def test_a_sheet_of_a_thousand_heads_is_refused_at_once(counter: httpx.AsyncClient) -> None:
    started = time.process_time()
    sheet = "number,quantity" + ",number" * 100_000 + "\nQB-9001,1\n"
    assert "stands twice" in (await counted(counter, sheet, 422)).json()["mistakes"][0]["message"]
    assert time.process_time() - started < 5, "it was quadratic in the heads"


@pytest.mark.one_engine
async def test_the_last_row_may_have_empty_cells_behind_it(counter: httpx.AsyncClient) -> None:
    """As spreadsheet programs write a table beside which something was deleted."""
    assert (await counted(counter, "number,quantity,,\nQB-9001,4,,\n")).json()["changed"] == 1


@pytest.mark.parametrize("number", ["\U0010ffff\U0010ffff", "\ud7ff\ud7ff"])
async def test_a_number_at_the_end_of_the_alphabet_is_unknown(
    counter: httpx.AsyncClient, number: str
) -> None:
    refused = (await counted(counter, f"number,quantity\n{number},1\n", 422)).json()
    assert refused["mistakes"][0]["field"] == "number"
    assert (await counter.get(f"/v1/components/{quote(number)}")).status_code == 404


def test_two_who_read_the_same_store_do_not_both_change_it(databases, untouched_demo_url: str) -> None:
    """Put, count and an order's taking: whoever comes second waits, and then sees what the first did."""
    engine = make_engine(databases.copy(untouched_demo_url))
    shelf.put(engine, "QB-9001", 10, "A", None)
    sheet = "number,quantity\nQB-9001,{}\n"

    def at_once(one: Callable[[], Any], other: Callable[[], Any]) -> list[Any]:
        """Both began before either wrote."""
        both = threading.Barrier(2)

        def run(work: Callable[[], Any]) -> Any:
            both.wait()
            try:
                return work()
            except (PreconditionFailed, NotInStore, StoreChanged) as refusal:
                return refusal

        with ThreadPoolExecutor(2) as pool:
            return list(pool.map(run, (one, other)))

    for turn in range(12):
        if turn % 3 == 2:
            shelf.count(engine, sheet.format(10))
        etag = shelf.stock_etag(shelf.holds(engine, "QB-9001"))
        _, whole = shelf.whole_sheet(engine)
        ways: list[Callable[[], Any]] = [
            lambda etag=etag, turn=turn: shelf.put(engine, "QB-9001", 100 + turn, "B", etag),
            lambda whole=whole, turn=turn: shelf.count(engine, sheet.format(200 + turn), if_match=whole),
            lambda etag=etag, turn=turn: shelf.put(engine, "QB-9001", 300 + turn, "C", etag),
        ]
        answers = at_once(ways[turn % 3], ways[(turn + 1) % 3])
        assert sum(isinstance(answer, PreconditionFailed) for answer in answers) == 1, answers

    def take() -> None:
        with writing(engine) as session:
            _take_from_store(session, [{"number": "QB-9001", "quantity": 3}])

    for _ in range(6):
        shelf.count(engine, sheet.format(10))
        _, whole = shelf.whole_sheet(engine)
        answers = at_once(take, lambda whole=whole: shelf.count(engine, sheet.format(50), if_match=whole))
        held = shelf.holds(engine, "QB-9001")["quantity"]
        assert held == (7 if isinstance(answers[1], PreconditionFailed) else 47)
    engine.dispose()
