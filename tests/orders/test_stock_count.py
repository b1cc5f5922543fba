"""The store as a sheet: given out, counted and read back; all of a count is booked, or nothing."""

import csv
import io
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from api.cli import app as graftbook

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


async def test_the_sheet_given_out_is_read_back_as_it_was(counter: httpx.AsyncClient) -> None:
    place = "=1+1, \"under\" the window; 'left'"
    await counter.put("/v1/stock/QB-9001", json={"quantity": 3, "place": place})
    await counter.put("/v1/stock/QB-3310", json={"quantity": 0})
    given = await counter.get("/v1/stock", headers=AS_SHEET)
    assert "'=1+1" in given.text, "no spreadsheet runs it"
    assert (await counted(counter, given.text, whole="true")).json()["changed"] == 0
    assert (await counter.get("/v1/stock/QB-9001")).json()["place"] == place


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
        ("\n\n", 1, "", "the sheet is empty"),
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
    assert (code, "count.csv:3: number: there is no component 'QX-404'" in said) == (1, True), said
    sheet.write_text("number,quantity,place\nqb 9001,4,drawer 14\n")
    code, said = run("count", str(sheet), "--dry-run")
    assert (code, "QB-9001: no place, now 4 (drawer 14)" in said) == (0, True), said
    assert run("list")[1].splitlines() == ["number,quantity,place"]
    assert run("count", str(sheet))[0] == 0
    assert run("list", str(out))[0] == 0
    assert out.read_text() == "number,quantity,place\nQB-9001,4,drawer 14\n"
