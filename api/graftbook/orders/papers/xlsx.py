"""An order as XLSX: sheets for the lines, the suppliers, the vehicles, what comes off and what is in hand."""

import io
from collections.abc import Iterable, Sequence
from datetime import datetime, time
from typing import Any

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from graftbook.orders.papers.columns import (
    DAY,
    DIFFERENCES,
    IN_HAND,
    LINES,
    MONEY,
    NOT_SUPPLIED,
    PRICE_OF_DAYS,
    RATE,
    SUPPLIERS,
    TAKEN_OFF,
    TEXT,
    VEHICLES,
    WHOLE,
    OrderColumn,
)  # fmt: skip
from graftbook.orders.papers.parts import Whole, part_of
from graftbook.orders.papers.text import Facts, amount, bought_only, day_of, listed, plain

LONGEST = 32_767
"""Characters that a cell may hold (ECMA-376 and its users' documented limit)."""

DIGITS = 15
"""Significant digits that a number in a spreadsheet keeps (IEEE 754 binary64); longer ones are text."""

NUMBER_FORMATS = {WHOLE: "0", MONEY: "#,##0.00", RATE: "0.##", DAY: "yyyy-mm-dd"}

STARTS_A_FORMULA = ("=", "+", "-", "@")
"""Such text is written as text, and marked so that it stays text when somebody edits the cell."""

WIDEST = 200
"""Characters that stay readable side by side on a page; wider sheets are printed several pages wide."""

TOTAL_LABELS = {
    "parts": "Parts", "carriage": "Carriage", "tax": "Tax", "deposits": "Exchange deposits",
    "total": "In all",
}  # fmt: skip


def order_xlsx(order: Whole, part: str = "", house: str = "") -> bytes:
    """The order, or its part `supplier:NAME` or `vehicle:LABEL`, as a workbook with typed cells.

    Money is in the order's currency, dates are dates; no cell is a formula or a link. The same facts
    give the same bytes. Raises UnknownPart.
    """
    facts = part_of(order, part)
    written = io.BytesIO()
    never = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(written, {"in_memory": True, **never}) as workbook:
        made = _moment(facts["date"])
        workbook.set_properties(
            {"title": plain(facts["name"])[:255], "created": made, "comments": "Graftbook"}
        )
        pen = _Pen(workbook, facts)
        pen.about(house)
        pen.table("Not bought", NOT_SUPPLIED, facts["not_supplied"])
        pen.table("Lines", LINES, facts["lines"], always=True)
        pen.table("Suppliers", SUPPLIERS, facts["suppliers"])
        pen.table("Price of days", PRICE_OF_DAYS, facts["price_of_days"])
        pen.table("Vehicles", VEHICLES, facts["vehicles"])
        pen.table("In hand", IN_HAND, [*facts["from_stock"], *facts["at_hand"]])
        pen.table("Taken off", TAKEN_OFF, facts["taken_off"])
        pen.table("From answer to order", DIFFERENCES, _way(facts))
    return written.getvalue()


class _Pen:
    """Writes sheets of one workbook, all in one look."""

    def __init__(self, workbook: xlsxwriter.Workbook, facts: Facts) -> None:
        self._workbook, self._facts = workbook, facts
        look = {"font_name": "Arial", "font_size": 9, "valign": "top"}
        add = workbook.add_format
        self._head = add(
            {**look, "bold": True, "text_wrap": True, "top": 2, "bottom": 1, "bg_color": "#E8E8E8"}
        )
        self._bold = add({**look, "bold": True, "text_wrap": True})
        self._title = add({**look, "bold": True, "font_size": 14})
        self._text = add({**look, "text_wrap": True, "indent": 1})
        self._quoted = add({**look, "text_wrap": True, "indent": 1, "quote_prefix": True})
        self._numbers = {kind: add({**look, "num_format": form}) for kind, form in NUMBER_FORMATS.items()}
        at_left = {**look, "align": "left", "indent": 1}
        self._at_left = {kind: add({**at_left, "num_format": form}) for kind, form in NUMBER_FORMATS.items()}

    def table(
        self, name: str, columns: Sequence[OrderColumn], items: Sequence[Facts], always: bool = False
    ) -> None:
        """A sheet with a row an item; its heading stays in sight and is printed on each page."""
        if not items and not always:
            return
        sheet = self._sheet(name)
        for at, column in enumerate(columns):
            sheet.set_column(at, at, column.width)
            sheet.write_string(0, at, column.heading, self._head)
        for row, item in enumerate(items, 1):
            for at, column in enumerate(columns):
                self._write(sheet, row, at, column.kind, column.read(item))
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        pages = -(-sum(column.width for column in columns) // WIDEST)
        if pages > 1:
            sheet.fit_to_pages(pages, 0)
            sheet.repeat_columns(0, 1)
        sheet.autofilter(0, 0, max(len(items), 1), len(columns) - 1)

    def about(self, house: str) -> None:
        """The first sheet: what the order is, its totals, its cautions."""
        sheet = self._sheet("Order", landscape=False)
        sheet.set_column(0, 0, 24)
        sheet.set_column(1, 1, 90)
        sheet.set_row(0, 22)
        self._write(sheet, 0, 0, TEXT, self._facts["name"], self._title)
        for row, (label, kind, value) in enumerate(_about(self._facts, house), 1):
            self._write(sheet, row, 0, TEXT, label, self._bold)
            self._write(sheet, row, 1, kind, value, self._at_left.get(kind))

    def _sheet(self, name: str, landscape: bool = True) -> Worksheet:
        sheet = self._workbook.add_worksheet(name)
        sheet.set_paper(9)
        sheet.fit_to_pages(1, 0)
        if landscape:
            sheet.set_landscape()
        sheet.set_footer(f"&L&8{_for_footer(self._facts)}&R&8page &P of &N")
        return sheet

    def _write(
        self, sheet: Worksheet, row: int, at: int, kind: str, value: Any, look: Format | None = None
    ) -> None:
        """One cell. What is not known stays empty."""
        if value is None or value == "":
            return
        if kind == DAY:
            sheet.write_datetime(row, at, _moment(value), look or self._numbers[DAY])
        elif kind != TEXT and _fits(value):
            sheet.write_number(row, at, amount(value), look or self._numbers[kind])
        else:
            text = cell_text(value)
            could_start = text.lstrip().startswith(STARTS_A_FORMULA)
            sheet.write_string(row, at, text, look or (self._quoted if could_start else self._text))


def label_of(facts: Facts, key: str, label: str) -> str:
    """How the sum of everything is called: it is not "in all" while lines are not bought."""
    return bought_only(facts) if key == "total" and not facts["complete"] else label


def cell_text(value: Any) -> str:
    """The text of a cell; what is too long for one says so at its end."""
    text = plain(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 20]} … (too long here)"


def _moment(value: Any) -> datetime:
    """The beginning of a day of the facts. Raises ValueError where there is none."""
    if (day := day_of(value)) is None:
        raise ValueError("a day is expected")
    return datetime.combine(day, time())


def _fits(value: Any) -> bool:
    """Whether a spreadsheet keeps every digit of a number."""
    number = amount(value)
    return number is not None and len(number.as_tuple().digits) <= DIGITS


def _way(facts: Facts) -> list[Facts]:
    """The parts of the answer, what differs, the parts of the order: the last is the sum of the others."""
    way = facts["reconciliation"]
    if not way:
        return []
    ends = [("Parts in the answer", "answer_parts"), ("Parts in the order", "order_parts")]
    first, last = ({"sentence": label, "amount": way[key], "numbers": []} for label, key in ends)
    return [first, *way["differences"], last]


def _for_footer(facts: Facts) -> str:
    """The running line of a sheet: & would start a code there, and no more than 255 characters count."""
    running = listed((facts["name"], facts["state"], facts["date"], facts["catalogue_revision"]), " · ")
    return running[:120].replace("&", "and")


def _not_bought(facts: Facts) -> Iterable[tuple[str, str, Any]]:
    if facts["whole"]:
        yield "Part of an incomplete order", TEXT, facts["whole"]
    if not facts["complete"]:
        yield "Not complete", TEXT, facts["headline"]
    for group in facts["not_bought_why"]:
        yield group["sentence"], TEXT, listed(group["numbers"])
    for way in facts["instead"]:
        yield "What would buy more", TEXT, way["sentence"]


def _about(facts: Facts, house: str) -> Iterable[tuple[str, str, Any]]:
    yield from _not_bought(facts)
    for line in house.splitlines():
        yield "House", TEXT, line
    if facts["part"]:
        yield f"Part for this {facts['part']['kind']}", TEXT, facts["part"]["title"]
    yield "State", TEXT, facts["state"]
    yield "Date", DAY, facts["date"]
    yield "Catalogue revision", WHOLE, facts["catalogue_revision"]
    yield "Currency", TEXT, facts["currency"]
    yield "Market", TEXT, facts["market"]
    for key, label in TOTAL_LABELS.items():
        if key in facts["totals"]:
            yield label_of(facts, key, label), MONEY, facts["totals"][key]
    if facts["unknown_prices"]:
        yield "Price not known, not in the sums", TEXT, listed(facts["unknown_prices"])
    if facts["split"]:
        yield "Proved" if facts["split"]["proved"] else "Not proved", TEXT, facts["split"]["sentence"]
    for caution in facts["cautions"]:
        yield "Caution", TEXT, caution
    yield "Local codes", TEXT, facts["defers"]
