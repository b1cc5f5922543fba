"""Writing the catalogue as workbooks to be filled in: a sheet a kind, pick lists, a note on each column."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import xlsxwriter
from sqlalchemy import Engine
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from graftbook.catalogue.columns import Column, columns_of
from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.fields import usual
from graftbook.catalogue.format.grid import MOST_ROWS
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.sheets import PICK_LISTS, cell
from graftbook.catalogue.loading.agreement import REPORTED
from graftbook.catalogue.store.from_rows import records_of
from graftbook.database import reading

WORKBOOKS: Mapping[str, tuple[str, ...]] = {
    "1-vehicles": ("range", "section", "variant", "chassis_span", "position"),
    "2-parts": ("component", "characteristic_kind", "characteristic", "evidence", "fitment", "supersession"),
    "3-rules": ("substitute", "flaw", "companion", "conflict", "joint", "budget", "upgrade"),
    "4-work": ("precedence", "access", "tightening", "report"),
    "5-buying": ("supplier", "offer", "tax", "exchange_rate"),
    "6-words-and-drawing": ("other_word", "outline", "mark"),
}
"""Which kinds stand together in a workbook; a test holds them to all kinds."""

SPARE = 500
"""Rows below the last record that have pick lists and formats too."""
_EARLIEST = date(1900, 3, 1)
"""The first day that every spreadsheet counts alike; an earlier one is written as text."""
_WIDEST, _NARROWEST = 48, 10
_NUMBERS = {"money": "0.00", "number": "General", "whole number": "0", "day": "yyyy-mm-dd"}
_HOW = {
    "in_memory": True,  # else a kill leaves its files
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}

Lists = Mapping[str, Sequence[str]]


def write_workbooks(engine: Engine, folder: Path, examples: Path, *, empty: bool = False) -> dict[Path, int]:
    """Write every workbook into a folder that exists; returns how many records stand in each.

    `examples`: a sheet whose cells are the examples in the notes. `empty`: no records, pick lists alone.
    What is written loads again as it was. Raises ValueError for a kind with too many records.
    """
    written = {}
    with reading(engine) as session:
        connection = session.connection()
        lists = _lists(connection)
        for name, words in WORKBOOKS.items():
            path = folder / f"{name}.xlsx"
            count = 0
            with xlsxwriter.Workbook(path, _HOW) as book:
                writer = _Writer(book, lists, examples)
                for word in words:
                    records = () if empty else records_of(connection, r.KIND_BY_WORD[word])
                    count += writer.sheet(r.KIND_BY_WORD[word], records)
                writer.pick_lists()
            written[path] = count
    return written


def _lists(connection: Any) -> Lists:
    """What may be picked: names by kind of record, and `variant.body`: the words of the variants."""
    named = {column.names for kind in r.KINDS for column in columns_of(kind)} - {""}
    lists: dict[str, list[str]] = {
        word: [
            name_of(record)
            for kind in (REPORTED if word == "claim" else (word,))
            for record in records_of(connection, r.KIND_BY_WORD[kind])
        ]
        for word in named
    }
    for variant in records_of(connection, r.VariantRecord):
        for of in {column.of_variants for kind in r.KINDS for column in columns_of(kind)} - {""}:
            value = getattr(variant, of)
            lists.setdefault(f"variant.{of}", []).extend(value if isinstance(value, list) else [value])
    return {name: sorted(set(names)) for name, names in lists.items() if names}


class _Writer:
    """The sheets of one workbook, and the lists that their cells may be picked from."""

    def __init__(self, book: Any, lists: Lists, examples: Path) -> None:
        self._book, self._lists, self._examples = book, lists, examples
        self._used: dict[str, Sequence[str]] = {}
        self._needed = book.add_format({"bold": True, "bg_color": "#E8E2D0", "bottom": 1})
        self._head = book.add_format({"bold": True, "bg_color": "#F4F1E8", "bottom": 1})
        self._text = book.add_format({"num_format": "@"})
        self._formats = {form: book.add_format({"num_format": code}) for form, code in _NUMBERS.items()}

    def sheet(self, kind: type[r.Record], records: Iterable[r.Record]) -> int:
        """Write one kind; returns how many rows."""
        sheet = self._book.add_worksheet(kind.kind_of_record)
        columns = columns_of(kind, self._examples)
        widths = [max(_NARROWEST, len(column.name) + 3) for column in columns]
        row = 0
        for row, cells in enumerate(_rows(kind, columns, records), start=1):
            if row >= MOST_ROWS:
                raise ValueError(
                    f"there are more than {MOST_ROWS:,} records of a kind; use `graftbook export`"
                )
            for at, (column, value) in enumerate(zip(columns, cells, strict=True)):
                if value != "":
                    self._cell(sheet, row, at, column, value)
                    widths[at] = max(widths[at], min(_WIDEST, len(str(value)) + 1))
        for at, column in enumerate(columns):
            sheet.set_column(at, at, widths[at], self._format(column))
            sheet.write_string(0, at, column.name, self._needed if column.needed else self._head)
            sheet.write_comment(0, at, _note(column), {"x_scale": 2.2, "y_scale": 1.6})
            self._pick(sheet, at, column, row + SPARE)
        sheet.freeze_panes(1, 1)
        sheet.autofilter(0, 0, max(row, 1), len(columns) - 1)
        return row

    def _format(self, column: Column) -> Format:
        return self._formats.get(column.form, self._text)

    def _cell(self, sheet: Worksheet, row: int, at: int, column: Column, value: Any) -> None:
        if isinstance(value, date) and value >= _EARLIEST:
            sheet.write_datetime(row, at, value, self._format(column))
        elif isinstance(value, int | Decimal) and not isinstance(value, bool):
            sheet.write_number(row, at, value, self._format(column))
        else:
            sheet.write_string(row, at, cell(value), self._text)

    def _pick(self, sheet: Worksheet, at: int, column: Column, last: int) -> None:
        """A pick list; a new name may be typed where records are named, several where several may stand."""
        source = self._source(column)
        if source is None:
            return
        options: dict[str, Any] = {"validate": "list", "source": source, "error_type": "stop"}
        if column.several:
            options["show_error"] = False
        elif not column.words:
            options |= {
                "error_type": "warning",
                "error_title": "Not in the list",
                "error_message": "Nothing of this name was there when the sheet was written.",
            }
        sheet.data_validation(1, at, last, at, options)

    def _source(self, column: Column) -> Any:
        if column.words:
            short = sum(map(len, column.words)) + len(column.words) <= 255
            return list(column.words) if short else self._range(f"words of {column.name}", column.words)
        name = column.names or (f"variant.{column.of_variants}" if column.of_variants else "")
        names = self._lists.get(name)
        return self._range(name, names) if names else None

    def _range(self, name: str, names: Sequence[str]) -> str:
        self._used.setdefault(name, names)
        at = xl_col_to_name(list(self._used).index(name), col_abs=True)
        return f"='{PICK_LISTS}'!{at}$2:{at}${len(names) + 1}"

    def pick_lists(self) -> None:
        """The sheet with the lists, out of sight; it is no record's."""
        sheet = self._book.add_worksheet(PICK_LISTS)
        for at, (name, names) in enumerate(self._used.items()):
            sheet.write_column(0, at, [name, *names])
        sheet.hide()


def _rows(
    kind: type[r.Record], columns: Sequence[Column], records: Iterable[r.Record]
) -> Iterator[list[Any]]:
    """The cells of each record; what is usual stays empty, as in a sheet of text."""
    usually = [(column.name, usual(kind.model_fields[column.name])) for column in columns]
    for record in records:
        values = ((getattr(record, name), default) for name, default in usually)
        yield ["" if value == default or value is None else value for value, default in values]


def _note(column: Column) -> str:
    """What the note of a head says."""
    lines = [
        column.meaning,
        "Needed." if column.needed else "",
        f"In {column.unit}." if column.unit else "",
        f"What stands in it: {column.cell.replace('`', '')}.",
        f"Example: {column.example}" if column.example else "",
    ]
    return "\n".join(filter(None, lines))
