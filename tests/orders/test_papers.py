"""The papers of an order: nothing of the facts is lost, nothing runs, the same facts give the same bytes."""

import csv
import io
import os
import re
import shutil
import subprocess
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream
from reportlab.pdfgen.canvas import Canvas

from graftbook.orders.papers.cells import TextRun, height, wrapped
from graftbook.orders.papers.columns import DAY, LINES, TEXT
from graftbook.orders.papers.csv import order_csv
from graftbook.orders.papers.fonts import OTHER, REGULAR, runs
from graftbook.orders.papers.layout import Boxed
from graftbook.orders.papers.parts import UnknownPart, part_of
from graftbook.orders.papers.pdf import order_pdf, shortened
from graftbook.orders.papers.rows import TALLEST, Grid, Rows, left
from graftbook.orders.papers.text import came, plain, shown
from graftbook.orders.papers.xlsx import cell_text, order_xlsx
from tests.orders.facts import DEFERS, NASTY, SUPPLIERS, made_order
from tests.running import cases

HOUSE = "Invented House\nOld Tannery, Mill Lane"
SIZES = (1, 40, 200, 400)


def pages_of(document: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(document)).pages]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def sheets_of(document: bytes) -> dict[str, list[list[Any]]]:
    book = openpyxl.load_workbook(io.BytesIO(document))
    return {sheet.title: [[cell.value for cell in row] for row in sheet.rows] for sheet in book}


def rows_of(document: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(document.decode("utf-8"), newline="")))


def by_supplier(facts: dict[str, Any]) -> list[dict[str, Any]]:
    names = [supplier["name"] for supplier in facts["suppliers"]]
    return sorted(facts["lines"], key=lambda line: names.index(line["supplier"]))


@pytest.mark.parametrize("size", SIZES)
def test_every_line_is_on_the_pages(size: int) -> None:
    """Its number, its pieces and its total stand side by side in the PDF's text, supplier by supplier."""
    facts = made_order(size)
    text = squeezed("".join(pages_of(order_pdf(facts, house=HOUSE))))
    at = 0
    for line in by_supplier(facts):
        at = text.find(squeezed(f"{line['line']}{line['number']}{line['name']}"), at)
        assert at >= 0, line["number"]
        figures = f"{line['pieces']}{shown(line['unit_price'])}{shown(line['total'])}"
        assert squeezed(figures) in text[at : at + 300], line
        if line["pack"] > 1:
            assert squeezed(f"{line['packs']} x {line['pack']}") in text[at : at + 600], line
        assert squeezed(f"Why: {shortened(line['reasons'][0])}") in text[at : at + 900], line


def test_the_paper_of_a_vehicle_has_its_own_parts_from_the_store_only() -> None:
    facts = made_order(3)
    one, two = (vehicle["label"] for vehicle in facts["vehicles"])
    held = {"name": "Split pin", "quantity": 2, "place": "drawer 14"}
    facts["from_stock"] = [
        held | {"number": "QL-7001", "for": [{"vehicle": one, "positions": [], "quantity": 2}]},
        held | {"number": "QL-7002", "for": [{"vehicle": two, "positions": [], "quantity": 2}]},
        held | {"number": "QL-7003"},
    ]
    found = [
        [part["number"] for part in part_of(facts, f"vehicle:{label}")["from_stock"]] for label in (one, two)
    ]
    assert found == [["QL-7001", "QL-7003"], ["QL-7002", "QL-7003"]]


def test_the_paper_of_a_vehicle_has_its_own_cautions() -> None:
    facts = made_order(3)
    one, two = facts["vehicles"]
    one["cautions"] = facts["cautions"][:1]
    assert part_of(facts, f"vehicle:{one['label']}")["cautions"] == facts["cautions"][:1]
    kept_before = part_of(facts, f"vehicle:{two['label']}")["cautions"]
    assert kept_before == facts["cautions"], "a list that was kept before that was told has all of them"


def test_a_reason_is_cut_between_words_and_says_so() -> None:
    whole = "Eight pistons take 2.8 ml a stroke, and a vehicle that stops this hard needs two circuits."
    short = shortened(whole, 40)
    assert short == "Eight pistons take 2.8 ml a stroke, and …"
    assert shortened(whole) != whole
    assert shortened("As it is.") == "As it is."
    assert shortened("W" * 900, 10) == "W" * 10 + " …"


def test_a_caution_is_said_once_and_its_lines_call_it_by_its_number() -> None:
    facts = made_order(40)
    lines = [line for line in facts["lines"] if line["cautions"]]
    for line in facts["lines"]:
        line["hazard"] = "flammable" if line is lines[0] else ""
    facts["cautions"].append(f"{lines[0]['number']}: flammable")
    text = squeezed("".join(pages_of(order_pdf(facts))))
    for number, caution in enumerate(facts["cautions"], 1):
        assert text.count(squeezed(f"{number}. {caution}")) == 1
        assert text.count(squeezed(caution)) == 1
    end = text.index(squeezed(lines[0]["number"] + lines[0]["name"]))
    arrives = text.index(lines[0]["arrives"], end) + len(lines[0]["arrives"])
    assert text[arrives:].startswith("1,3")
    unsaid = {**facts, "cautions": []}
    assert squeezed("Hazard: flammable") in squeezed("".join(pages_of(order_pdf(unsaid))))


def test_each_page_says_its_number_and_defers() -> None:
    pages = pages_of(order_pdf(made_order(200)))
    assert len(pages) > 8
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
        assert squeezed(DEFERS) in squeezed(page)
    assert "local codes" not in pages[-1].lower(), "each foot has the whole of it"


def test_what_defers_is_said_in_whole_where_the_foot_has_no_room_for_it() -> None:
    long = f"{DEFERS} " * 8
    pages = pages_of(order_pdf({**made_order(1), "defers": long}))
    assert squeezed("Local codes") in squeezed(pages[-1])
    assert squeezed(long) in squeezed(pages[-1])


def test_the_foot_stands_above_the_number_of_the_page() -> None:
    page = PdfReader(io.BytesIO(order_pdf(made_order(40)))).pages[0]
    heights: dict[str, float] = {}
    page.extract_text(visitor_text=lambda text, _, at, *_more: heights.setdefault(text.strip(), at[5]))
    (number,) = [height for text, height in heights.items() if text.startswith("page 1 of")]
    first = next(height for text, height in heights.items() if text and DEFERS.startswith(text))
    assert first > number + 5


def _heights(page: PageObject) -> list[tuple[float, str]]:
    """Every text of a page and how far above its lower edge it stands, in points."""
    said: list[tuple[float, str]] = []
    page.extract_text(visitor_text=lambda text, to, at, *_more: said.append((to[5] + at[5], text.strip())))
    return [(height, text) for height, text in said if text]


def test_what_stands_on_a_page_stays_above_its_foot() -> None:
    lowest = 1000.0
    for page in PdfReader(io.BytesIO(order_pdf(made_order(200)))).pages[:-1]:
        said = _heights(page)
        foot = max(height for height, text in said if DEFERS.startswith(text))
        below = [text for height, text in said if height < foot and text not in DEFERS]
        assert len(below) <= 2, "only what is on, and the number of the page"
        lowest = min(lowest, *(height - foot for height, _ in said if height > foot))
    assert 10 < lowest < 40, "and there is such a page that is full"


def test_the_label_of_a_box_is_white_on_black_and_its_lines_are_black() -> None:
    order_pdf(made_order(1))  # its letters
    written = io.BytesIO()
    page = Canvas(written, pageCompression=0)
    Boxed("Cautions", 400, wrapped([TextRun("Bleed and test.")], 300)).drawOn(page, 20, 20)
    page.save()
    said = re.findall(rb"(\d \d \d) rg|(Tj)", written.getvalue())
    colours = [colour for (colour, _), (_, text) in pairwise(said) if text]
    assert colours == [b"1 1 1", b"0 0 0"]


def test_a_line_is_never_parted_from_its_reason_and_headings_are_repeated() -> None:
    facts = made_order(200)
    pages = [squeezed(page) for page in pages_of(order_pdf(facts))]
    for line in facts["lines"]:
        (page,) = [
            page for page in pages if squeezed(f"{line['number']}{line['name']}") in page and "Tax" in page
        ]
        after = page[page.index(squeezed(f"{line['number']}{line['name']}")) :]
        assert squeezed(f"Why: {shortened(line['reasons'][0])}") in after
    listing = [page for page in pages if "Why:" in page]
    assert all("LineNumberPartPieces" in page for page in listing)
    assert sum("continued" in page for page in listing) > 5


def test_the_lines_stand_below_the_name_and_sums_of_their_supplier() -> None:
    facts = made_order(40)
    text = squeezed("".join(pages_of(order_pdf(facts))))
    assert len(facts["suppliers"]) > 1
    for supplier in facts["suppliers"]:
        sums = f"parts {shown(supplier['parts'])}, carriage {shown(supplier['carriage'])}"
        count = f"{supplier['lines']} {'line' if supplier['lines'] == 1 else 'lines'}"
        assert text.count(squeezed(f"{plain(supplier['title'])}: {count}, {sums}")) >= 1
        assert squeezed(f"{shown(supplier['total'])} GBP in all") in text


def test_a_note_that_all_lines_of_a_supplier_carry_is_said_once() -> None:
    facts = made_order(40)
    (name, *_) = [supplier["name"] for supplier in facts["suppliers"] if supplier["lines"] > 2]
    for line in facts["lines"]:
        line["note"] = "rebuilt, old one back" if line["supplier"] == name else ""
    text = squeezed("".join(pages_of(order_pdf(facts))))
    assert squeezed("Each: rebuilt, old one back") in text
    assert squeezed("Note: rebuilt, old one back") not in text


def test_what_comes_off_in_several_places_for_one_reason_is_one_row() -> None:
    facts = made_order(4)
    off = facts["taken_off"][0] | {"quantity": 1}
    facts["taken_off"] = [off | {"position": f"hub, {hand}"} for hand in ("left", "right")]
    text = squeezed("".join(pages_of(order_pdf(facts))))
    assert text.count(squeezed(off["number"])) == 1
    assert squeezed(f"2{off['number']}{off['name']}") in text
    assert squeezed("hub, left; ") in text
    assert squeezed("hub, right") in text


def test_the_workbook_names_the_vehicle_of_each_line() -> None:
    facts = made_order(40)
    header, *rows = sheets_of(order_xlsx(facts))["Lines"]
    for line, row in zip(facts["lines"], rows, strict=True):
        assert line["for"]
        for place in line["for"]:
            assert plain(place["vehicle"]) in row[header.index("For")], row


@pytest.mark.parametrize(
    ("booked", "told"),
    [
        ({}, ""),
        ({"received": 3}, "Came: 3 of 4"),
        ({"back_ordered": 2, "received": 1}, "Came: 1 of 4, 2 promised for later"),
        ({"given_up": 1}, "Came: 0 of 4, 1 will not come"),
        ({"received": 6, "too_many": 2}, "Came: 6 of 4, 2 too many"),
    ],
)
def test_how_far_a_line_has_come_is_told_in_pieces(booked: dict[str, int], told: str) -> None:
    assert came({"pieces": 4, **booked}) == told


def test_a_heading_inside_a_table_stays_with_the_row_below_it() -> None:
    grid = Grid([left("Number", 1)])
    for section in range(30):
        grid.band(f"Section {section}")
        grid.add(f"Row {section}")
    rest = [Rows(grid, 400)]
    seen = []
    while rest:
        first, *rest = rest[0].split(400, 103) or rest
        assert not first._rows[-1].is_band
        seen += [row for row in first._rows if not row.is_band]
    assert len(seen) == 30


def test_no_row_grows_taller_than_a_row_may_be_whatever_its_letters() -> None:
    for size in range(20, 60):
        grid = Grid([left("Number", 1), left("Part", 3)])
        grid.add("1", [TextRun("word " * 900, size=size / 4)], under=[TextRun("word " * 900, size=size / 4)])
        rows = Rows(grid, 150)._rows
        assert len(rows) > 1, size
        assert max(row.height for row in rows) <= TALLEST + 0.001, size


def test_no_heading_stands_alone_at_the_end_of_a_page() -> None:
    """Whatever stands before it: each table's own first row is on the page of its heading."""
    for size in range(1, 24):
        facts = made_order(size)
        after = [page.partition("Takenoff")[2] for page in map(squeezed, pages_of(order_pdf(facts)))]
        (below,) = filter(None, after)
        assert facts["taken_off"][0]["number"] in below, size


def test_what_is_longer_than_a_page_goes_on_in_further_rows() -> None:
    said = "word " * 9000
    grid = Grid([left("Number", 1), left("Part", 3)])
    grid.add("1", [TextRun(said)], under=[TextRun(said)])
    rows = Rows(grid, 400)._rows
    assert max(row.height for row in rows) <= TALLEST + 1
    told = [line.text for row in rows for lines in (*row.cells, row.under) for line in lines]
    assert sum(line.split().count("word") for line in told) == 18_000


@given(st.text(max_size=300), st.floats(5, 300))
@settings(max_examples=cases(60), deadline=None)
def test_wrapping_loses_no_letter_and_stays_in_its_room(text: str, room: float) -> None:
    lines = wrapped(text, room)
    assert "".join("".join(line.text.split()) for line in lines) == "".join(plain(text).split())
    assert all(line.width <= room + 0.01 or len(line.text) == 1 for line in lines)
    assert height(lines) == pytest.approx(sum(line.height for line in lines))


texts = st.one_of(st.sampled_from(NASTY), st.text(max_size=40))


@given(st.integers(1, 6), st.integers(0, 10_000), texts, texts, texts)
@settings(max_examples=cases(8), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_text_gets_onto_every_paper(size: int, seed: int, name: str, reason: str, caution: str) -> None:
    facts = made_order(size, seed=seed)
    for line in facts["lines"]:
        line.update(name=name, reasons=[reason], cautions=[caution])
    text = squeezed("".join(pages_of(order_pdf(facts))))
    written = rows_of(order_csv(facts))
    read = sheets_of(order_xlsx(facts))["Lines"]
    for line, row in zip(facts["lines"], read[1:], strict=True):
        assert squeezed(line["number"]) in text
        assert line["pack"] == 1 or squeezed(f"{line['packs']} x {line['pack']}") in text
        assert shown(line["total"]).replace(" ", "") in text
        assert row[1] == line["number"]
        assert (row[3] or "").split() == cell_text(name).split()
    assert [row["number"] for row in written if row["row"] == "line"] == [
        line["number"] for line in facts["lines"]
    ]


@pytest.mark.parametrize("nasty", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_the_workbook_read_back_is_the_facts(size: int, nasty: bool) -> None:
    facts = made_order(size, nasty=nasty)
    sheets = sheets_of(order_xlsx(facts))
    header, *rows = sheets["Lines"]
    assert header == [column.heading for column in LINES]
    for line, row in zip(facts["lines"], rows, strict=True):
        for column, cell in zip(LINES, row, strict=True):
            _same(column.kind, column.read(line), cell)
    totals = dict(row[:2] for row in sheets["Order"])
    assert totals[f"For {size} of {size + 2} lines"] == float(facts["totals"]["total"])
    whole = {**facts, "complete": True, "not_bought": 0, "not_supplied": [], "not_bought_why": []}
    said = dict(row[:2] for row in sheets_of(order_xlsx(whole))["Order"])
    assert said["In all"] == float(facts["totals"]["total"])
    assert totals["Date"] == datetime(2026, 11, 25)
    assert [row[2] for row in sheets["Taken off"][1:]] == [off["number"] for off in facts["taken_off"]]


def _same(kind: str, wanted: Any, cell: Any) -> None:
    if wanted is None or wanted == "":
        assert cell is None
    elif kind == DAY:
        assert cell == datetime.fromisoformat(wanted)
    elif kind == TEXT:
        assert cell == cell_text(wanted)
    else:
        assert isinstance(cell, int | float)
        assert Decimal(str(cell)) == Decimal(str(wanted))


def test_no_cell_of_the_workbook_is_a_formula_or_a_link() -> None:
    document = order_xlsx(made_order(60, nasty=True), house="=1+1\n@SUM(A1)")
    book = openpyxl.load_workbook(io.BytesIO(document))
    cells = [cell for sheet in book for row in sheet.rows for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s", "n", "d"}
    assert not any(cell.hyperlink for cell in cells)
    text = [cell for cell in cells if isinstance(cell.value, str)]
    starting = [cell for cell in text if cell.value.startswith(("=", "+", "-", "@"))]
    assert len(starting) > 20
    assert all(cell.data_type == "s" for cell in starting)
    with ZipFile(io.BytesIO(document)) as packed:
        assert not [name for name in packed.namelist() if "externalLink" in name or "vba" in name.lower()]
        sheets = b"".join(packed.read(name) for name in packed.namelist() if "worksheets/" in name)
    assert b"<f>" not in sheets
    assert b"hyperlink" not in sheets


def test_the_sheets_are_fit_to_work_with() -> None:
    book = openpyxl.load_workbook(io.BytesIO(order_xlsx(made_order(40))))
    lines = book["Lines"]
    assert lines.freeze_panes == "A2"
    assert lines.print_title_rows == "$1:$1"
    assert lines.column_dimensions["D"].width > 20
    assert lines["Q2"].number_format == "#,##0.00"
    assert lines.print_title_cols == "$A:$B", "two pages beside each other: each says which line it is"
    for sheet in book:
        assert "&P of &N" in f"{sheet.oddFooter.right.text}{sheet.oddFooter}", sheet.title


def test_what_has_no_price_stands_beside_the_sums_of_the_workbook_and_only_then() -> None:
    said = "Price not known, not in the sums"
    for unknown in ([], ["QL-0001", "QL-0002"]):
        order = dict(
            row[:2] for row in sheets_of(order_xlsx({**made_order(4), "unknown_prices": unknown}))["Order"]
        )
        assert order.get(said, "") == ", ".join(unknown)


def test_the_head_of_a_table_stands_between_two_rules_on_each_page_that_it_goes_on_to() -> None:
    _, *further = PdfReader(io.BytesIO(order_pdf(made_order(60, seed=1)))).pages
    assert len(further) > 2
    for page in further:
        drawn = ContentStream(page.get_contents(), None).operations
        widths = [float(given[0]) for given, operator in drawn if operator == b"w"]
        assert widths[:2] == [0.9, 0.9]


@pytest.mark.parametrize(
    ("packs", "pack", "surplus", "said"),
    [(3, 1, 0, []), (2, 4, 0, ["2 x 4"]), (2, 4, 3, ["2 x 4", "3 over"]), (5, 1, 1, ["5 x 1", "1 over"])],
)
def test_packs_are_said_where_pieces_do_not_say_it(
    packs: int, pack: int, surplus: int, said: list[str]
) -> None:
    facts = made_order(1, seed=1)
    facts["lines"][0].update(packs=packs, pack=pack, surplus=surplus)
    text = " ".join("".join(pages_of(order_pdf(facts))).split())
    assert re.findall(r"\d x \d|\d over", text) == said


@pytest.mark.parametrize(("price", "kept"), [("1234567890123.45", float), ("12345678901234.56", str)])
def test_a_number_of_fifteen_digits_is_a_number_and_one_of_sixteen_is_text(price: str, kept: type) -> None:
    facts = made_order(1)
    facts["lines"][0]["unit_price"] = price
    header, row = sheets_of(order_xlsx(facts))["Lines"]
    cell = row[
        [column.heading for column in LINES if column.read(facts["lines"][0]) == price]
        and header.index(next(column.heading for column in LINES if column.read(facts["lines"][0]) == price))
    ]
    assert type(cell) is kept


def test_the_sheet_begins_with_its_lines() -> None:
    kinds = [row["row"] for row in rows_of(order_csv(made_order(40)))]
    assert kinds[:40] == ["line"] * 40
    assert "line" not in kinds[40:]
    assert kinds[40:43] == ["not complete", "not supplied", "not supplied"]


@pytest.mark.parametrize("nasty", [False, True])
def test_no_cell_of_the_csv_starts_a_formula(nasty: bool) -> None:
    facts = made_order(60, nasty=nasty)
    rows = rows_of(order_csv(facts))
    number = re.compile(r"^-?\d+(\.\d+)?$")
    cells = [cell for row in rows for cell in row.values()]
    assert not [c for c in cells if c.lstrip().startswith(("=", "+", "-", "@", "＝")) and not number.match(c)]
    lines = [row for row in rows if row["row"] == "line"]
    assert [row["number"] for row in lines] == [line["number"] for line in facts["lines"]]
    assert [row["total"] for row in lines] == [line["total"] or "" for line in facts["lines"]]
    assert {row["row"] for row in rows} >= {
        "order", "vehicle", "from stock", "at hand", "not supplied", "substitute", "taken off", "supplier",
        "price of days", "total", "law", "choice of suppliers",
    }  # fmt: skip


@pytest.mark.parametrize("nasty", [False, True])
def test_the_same_facts_give_the_same_bytes(nasty: bool) -> None:
    makers = (order_csv, order_xlsx, order_pdf)
    first = [make(made_order(30, nasty=nasty)) for make in makers]
    order_pdf(made_order(3, seed=9))
    assert first == [make(made_order(30, nasty=nasty)) for make in makers]


def test_the_date_inside_a_document_is_that_of_the_order() -> None:
    facts = made_order(2)
    made = PdfReader(io.BytesIO(order_pdf(facts))).metadata
    assert made.creation_date.date() == date(2026, 11, 25)
    assert openpyxl.load_workbook(io.BytesIO(order_xlsx(facts))).properties.created == datetime(2026, 11, 25)


@pytest.mark.parametrize("make", [order_csv, order_xlsx, order_pdf])
@pytest.mark.parametrize("name", SUPPLIERS)
def test_what_a_supplier_gets_holds_nothing_of_the_others(make: Any, name: str) -> None:
    facts = made_order(60)
    document = make(facts, part=f"supplier:{name}")
    text = squeezed(_text(document, make))
    mine = [line for line in facts["lines"] if line["supplier"] == name]
    others = [line for line in facts["lines"] if line["supplier"] != name]
    assert mine
    assert all(squeezed(line["number"]) in text for line in mine)
    assert not [line["number"] for line in others if squeezed(line["number"]) in text]
    assert not [t for n, t in SUPPLIERS.items() if n != name and squeezed(t) in text]
    assert "Remediestheflaw" not in text
    assert "Keepitlookingoriginal" not in text
    assert "Timeranout" not in text
    (sums,) = [supplier for supplier in facts["suppliers"] if supplier["name"] == name]
    assert sums["total"] in text.replace(",", "") or str(float(sums["total"])) in text
    assert squeezed(DEFERS) in text


def _text(document: bytes, make: Any) -> str:
    if make is order_pdf:
        return "".join(pages_of(document))
    if make is order_csv:
        return document.decode()
    return " ".join(str(cell) for sheet in sheets_of(document).values() for row in sheet for cell in row)


def test_the_suppliers_parts_are_the_whole_order() -> None:
    facts = made_order(60)
    parts = [part_of(facts, f"supplier:{name}") for name in SUPPLIERS]
    assert sorted(line["line"] for part in parts for line in part["lines"]) == list(range(1, 61))
    total = sum(Decimal(part["totals"]["total"]) for part in parts)
    assert total == Decimal(facts["totals"]["total"])


def test_the_vehicles_parts_hold_every_piece_that_is_needed() -> None:
    facts = made_order(60, vehicles=3)
    parts = [part_of(facts, f"vehicle:{vehicle['label']}") for vehicle in facts["vehicles"]]
    for line in facts["lines"]:
        same = [other for part in parts for other in part["lines"] if other["line"] == line["line"]]
        assert sum(other["quantity"] for other in same) == line["quantity"]
    for part in parts:
        known = [line for line in part["lines"] if line["unit_price"]]
        total = sum(Decimal(line["unit_price"]) * line["quantity"] for line in known)
        assert Decimal(part["totals"]["parts"]) == total
        assert part["not_supplied"] == facts["not_supplied"]
        text = "".join(pages_of(order_pdf(facts, part=f"vehicle:{part['part']['name']}")))
        assert all(squeezed(line["number"]) in squeezed(text) for line in part["lines"])


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("supplier:nobody", "nobody"),
        ("vehicle:Vehicle Z", "The order is not for a vehicle 'Vehicle Z'"),
        ("teasel", "teasel"),
        ("garage:teasel", "garage:teasel"),
    ],
)
def test_a_part_that_is_not_there_is_refused(part: str, told: str) -> None:
    with pytest.raises(UnknownPart) as refused:
        order_csv(made_order(3), part)
    assert told in refused.value.detail


def test_a_list_that_is_not_kept_is_called_by_its_vehicles() -> None:
    facts = {**made_order(2), "name": None, "state": None, "market": None}
    assert "Vehicle A, Vehicle B" in pages_of(order_pdf(facts))[0]
    assert len(rows_of(order_csv(facts))) > 4
    assert sheets_of(order_xlsx(facts))["Lines"][1][1] == facts["lines"][0]["number"]


def test_an_order_without_lines_says_so() -> None:
    facts = {
        **made_order(1),
        "lines": [],
        "suppliers": [],
        "taken_off": [],
        "not_supplied": [],
        "not_bought_why": [],
        "complete": True,
        "cautions": [],
    }
    assert "Nothing has to be ordered" in "".join(pages_of(order_pdf(facts)))
    assert len(sheets_of(order_xlsx(facts))["Lines"]) == 1


def test_the_way_from_one_price_to_the_other_is_on_the_paper() -> None:
    facts = made_order(4)
    text, way = squeezed("".join(pages_of(order_pdf(facts)))), facts["reconciliation"]
    steps = [(one["sentence"], one["amount"]) for one in way["differences"]]
    assert steps
    before = ("Parts in the answer, at the catalogue's prices", way["answer_parts"])
    for said, amount in [before, *steps, ("Parts in the order", way["order_parts"])]:
        assert squeezed(said + shown(amount)) in text


def test_letters_of_other_scripts_are_asked_of_the_second_font() -> None:
    """Hebrew, Arabic and arrows come from it; what no font has is shown as �, marks leave nothing."""
    assert list(runs("a → עברית b", REGULAR)) == [
        (REGULAR, "a "), (OTHER[REGULAR], "→"), (REGULAR, " "), (OTHER[REGULAR], "עברית"), (REGULAR, " b"),
    ]  # fmt: skip
    assert list(runs("日本🔧\u20dd", REGULAR)) == [(REGULAR, "���")]


def test_fonts_are_inside_the_document() -> None:
    for page in PdfReader(io.BytesIO(order_pdf(made_order(1)))).pages:
        fonts = page["/Resources"]["/Font"].values()
        assert len(fonts) >= 2, "plain and bold"
        for font in fonts:
            assert "/FontFile2" in font.get_object()["/FontDescriptor"]


SPREADSHEET = shutil.which("soffice") or shutil.which("libreoffice")


@pytest.fixture(scope="module")
def converted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with `nasty.xlsx` and what LibreOffice makes of it: its sheets as CSV, the whole as PDF."""
    if SPREADSHEET is None:
        if os.environ.get("CI"):
            pytest.fail("LibreOffice is missing: .ci/run installs libreoffice-calc-nogui")
        pytest.skip("LibreOffice is not installed here (Debian: libreoffice-calc-nogui)")
    folder = tmp_path_factory.mktemp("converted")
    (folder / "nasty.xlsx").write_bytes(order_xlsx(made_order(40, nasty=True), house="=1+1"))
    # 44,34,76: comma, quote, UTF-8; the -1 at the end: every sheet in a file of its own
    every_sheet = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    for form in (every_sheet, "pdf"):
        subprocess.run(
            [SPREADSHEET, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
             "--convert-to", form, "--outdir", str(folder), str(folder / "nasty.xlsx")],
            check=True, capture_output=True, timeout=180,
        )  # fmt: skip
    return folder


def test_a_spreadsheet_program_opens_the_workbook_and_runs_nothing(converted: Path) -> None:
    facts = made_order(40, nasty=True)
    with (converted / "nasty-Lines.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["Number"] for row in rows] == [line["number"] for line in facts["lines"]]
    assert [row["Pieces"] for row in rows] == [str(line["quantity"]) for line in facts["lines"]]
    for row, line in zip(rows, facts["lines"], strict=True):
        assert Decimal(row["Total"] or 0) == Decimal(line["total"] or 0)
        assert row["Name"].strip() == plain(line["name"]).strip()
        assert row["Arrives"] == line["arrives"]
    formulas = [row["Name"] for row in rows if row["Name"].startswith("=")]
    assert {"=1+1", '=cmd|" /C calc"!A0'} <= set(formulas)


def test_a_spreadsheet_program_prints_the_workbook(converted: Path) -> None:
    text = squeezed("".join(pages_of((converted / "nasty.pdf").read_bytes())))
    assert all(squeezed(line["number"]) in text for line in made_order(40)["lines"])
