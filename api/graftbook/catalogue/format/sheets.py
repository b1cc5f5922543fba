"""Reading and writing the catalogue's text format: CSV sheets (RFC 4180, UTF-8).

A sheet holds one or more tables. A table starts with a row whose first cell is the kind of record
in square brackets, `[component]`; the next row names the columns; then one record a row until the
next table. Empty rows and rows that start with `#` are skipped. Reading streams: memory does not
grow with the sheet, whatever the sheet is. A text that a spreadsheet could take for a formula is
written with an apostrophe in front, which reading takes away again.
"""

import csv
import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple, TextIO

from pydantic import ValidationError

from graftbook.catalogue.format.cell_forms import facts_of, read_cells
from graftbook.catalogue.format.delimited import sheet_of_text
from graftbook.catalogue.format.fields import (
    is_printable,
    mistake_in_words,
    usual,
)
from graftbook.catalogue.format.grid import CATALOGUE as CATALOGUE
from graftbook.catalogue.format.grid import MOST_COLUMNS, Cell, NotASheet, Sheet, SheetRow
from graftbook.catalogue.format.grid import Place as Place
from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.format.records import KIND_BY_WORD, Record

LONGEST_SHOWN = 60
LONGEST_NAME = 400
A_FLAT_LIST = (
    "a list in columns of its own comes in as a flat parts list: graftbook flat, or the page /edit/flat"
)

PICK_LISTS = "pick lists"
"""The name of the sheet that holds what the others' cells may be picked from; it is no record's."""
_COPY = re.compile(r"\s*[(_ ]\d{1,3}\)?$")

_STARTS_A_FORMULA = "=+\\-@\t\r\n＝＋－＠"
_TO_GUARD = re.compile(f"'*[{_STARTS_A_FORMULA}]")
_GUARDED = re.compile(f"'+[{_STARTS_A_FORMULA}]")
_HARMLESS = re.compile(r"[+-]\d[\d.]*( [\w/%. ]*)?", re.ASCII)
"""A number with a sign, perhaps with a unit or a span: no spreadsheet runs it."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong, where, and what to do about it. `name` is the record's, where it could be read.

    `said`: what its row says, field by field, as far as it could be read: whom it names is still looked up.
    `hides`: of this kind records stand there that were not read, so nobody knows what names there are.
    `by`: the kind and the name of what stands in the way of a removal.
    """

    place: Place
    kind: str
    field: str
    message: str
    name: str = ""
    said: Mapping[str, Any] = dataclass_field(default_factory=dict, repr=False, compare=False)
    hides: str = dataclass_field(default="", repr=False, compare=False)
    by: tuple[str, str] = dataclass_field(default=("", ""), repr=False, compare=False)

    def __str__(self) -> str:
        where = str(self.place)
        which = self.name if self.place == CATALOGUE else ""
        what = " ".join(part for part in (self.kind and f"[{self.kind}]", which, self.field) if part)
        return f"{where}: {what}: {self.message}" if what else f"{where}: {self.message}"


class Placed(NamedTuple):
    """A record and where it was read."""

    place: Place
    record: Record


def shown(value: Any) -> str:
    """What somebody wrote, cut short and printable, to be shown back."""
    if isinstance(value, list | tuple | dict | set):
        return f"{len(value)} items"
    try:
        text = str(value)
    except ValueError:  # a whole number of thousands of digits
        return "a number of very many digits"
    return text[:LONGEST_SHOWN].encode("utf-8", "replace").decode()


def near(word: str, known: Iterable[str]) -> str:
    """A hint "did you mean …?" for a word that is not known; empty when nothing is near."""
    found = nearest(word, known)
    return f"; did you mean '{found}'?" if found else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """The word that is likely meant; empty when nothing is near."""
    return next(iter(difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)), "")


def validate(kind: type[Record], fields: dict[str, Any], place: Place) -> tuple[Record | None, list[Mistake]]:
    """One record from its fields, or every mistake in it."""
    try:
        return kind.model_validate(fields), []
    except ValidationError as error:
        name = _name(fields)
        return None, [
            Mistake(
                place, kind.kind_of_record, ".".join(map(shown, e["loc"])), _in_words(e, kind), name, fields
            )
            for e in error.errors()
        ]


def _name(fields: dict[str, Any]) -> str:
    """The name of a record that is not valid, as far as it can be told: others may refer to it.

    Empty when what stands there can be no name.
    """
    name = _name_told(fields)
    return name if len(name) <= LONGEST_NAME and is_printable(name) else ""


def _name_told(fields: dict[str, Any]) -> str:
    given = {key: value if isinstance(value, str) else shown(value) for key, value in fields.items() if value}
    if given.get("component") and given.get("position") and not given.get("name"):
        return f"{given['component']}@{given['position']}"
    if given.get("original") and given.get("component") and not given.get("name"):
        return f"{given['original']}>{given['component']}"
    if given.get("supplier") and given.get("component") and not given.get("name"):
        since = given.get("valid_from")
        return f"{given['supplier']}:{given['component']}" + (f"@{since}" if since else "")
    return (given.get("number") or given.get("name") or "").strip()


_QUOTED = re.compile("'([^']*)'")
_WORDS = {
    "date": "a day is written year-month-day, such as 1964-01-31",
    "decimal": "a number is needed here, with a dot and without a sign of money, such as 80.00",
}
"""For mistakes that the library would tell in terms of types: by kind of value."""


def _in_words(error: Any, kind: type[Record]) -> str:
    if error["type"] == "extra_forbidden":
        column = str(error["loc"][0])
        return f"there is no such column; take it out{near(column, kind.model_fields)}"
    if error["type"] == "missing":
        words = facts_of(kind).get(str(error["loc"][-1]), {}).get("enum", ())
        return mistake_in_words(error) + (f": {' or '.join(words)}" if words else "")
    read = error.get("input")
    about = error["type"].partition("_")[0] if error["type"].endswith("_parsing") else ""
    message = _WORDS.get(about) or mistake_in_words(error)
    if error["type"] == "literal_error":
        message += near(str(read), _QUOTED.findall(error["ctx"]["expected"]))
    return f"{message} (read: {shown(read)!r})"


def read_sheet(stream: TextIO, file: str, reading: SheetReading | None = None) -> Iterator[Placed | Mistake]:
    """Every record of delimited text in its order, and every mistake where it stands."""
    reading = reading or SheetReading()
    try:
        sheet = sheet_of_text(stream)
    except NotASheet as error:
        yield Mistake(Place(file, error.line), "", "", str(error))
        return
    yield from read_rows(sheet, file, reading)


def read_rows(sheet: Sheet, file: str, reading: SheetReading) -> Iterator[Placed | Mistake]:
    """Every record of a sheet of rows in its order, and every mistake where it stands.

    A workbook's sheet that is named like a kind of record begins with its columns.
    """
    tables = _Tables(sheet, file, reading)
    for what in sheet.assumed:
        reading.assume(what, Place(file, 0))
    try:
        for row in sheet.rows:
            yield from tables.read(row)
        yield from tables.end()
    except NotASheet as error:
        yield Mistake(Place(file, error.line, sheet.name), "", "", str(error))


def kind_named(name: str) -> type[Record] | None:
    """The kind of record that a sheet's name says, also `Flaw`, `chassis span`, `flaw (2)`."""
    word = _COPY.sub("", name.strip()).lower()
    return KIND_BY_WORD.get(re.sub(r"[\s-]+", "_", word))


class _Tables:
    """The tables of a sheet, one below the other, as its rows come."""

    def __init__(self, sheet: Sheet, file: str, reading: SheetReading) -> None:
        self._file, self._sheet, self._reading = file, sheet.name, reading
        self._kind = kind_named(sheet.name) if sheet.name else None
        self._columns: list[str | None] | None = None
        self._skipping = False
        self._above: tuple[Place, str] | None = None
        """The first row above any table, and what stands there: a title, as people write one."""

    def read(self, row: SheetRow) -> Iterator[Placed | Mistake]:
        """What a row says."""
        place = Place(self._file, row.number, self._sheet)
        first = row.cells[0].text.strip().lstrip("\ufeff")
        if self._sheet and not any(cell.text.strip() for cell in row.cells):
            return  # formulas down to the end of the sheet, most of which show nothing
        if first.startswith("#") and not (self._sheet and row.cells[0].kind == "wrong"):
            return
        if first.startswith("[") and first.endswith("]"):
            yield from self._begin(first[1:-1], place)
        elif self._skipping:
            return
        elif self._kind is None:
            yield from self._no_kind(row, place)
        elif self._columns is None:
            yield from self._head(self._kind, row, place)
        else:
            yield from _read_row(self._kind, self._columns, row, place, self._reading)

    def end(self) -> Iterator[Mistake]:
        """What is wrong with a sheet in which no table began."""
        if self._above is None:
            return
        place, _ = self._above
        if self._kind is not None:
            columns = ", ".join(self._kind.model_fields)
            message = f"no row names the columns, which are {columns}"
            yield Mistake(place, self._kind.kind_of_record, "", message, hides=self._kind.kind_of_record)
        elif kind := nearest(_COPY.sub("", self._sheet).lower(), KIND_BY_WORD):
            message = f"the sheet is named like no kind of record; did you mean '{kind}'?"
            yield Mistake(place, "", "", message, hides=kind)
        elif self._sheet != PICK_LISTS:
            what = "the sheet is passed over, since its name is no kind of record"
            self._reading.assume(what, Place(self._file, 0, self._sheet))

    def _begin(self, word: str, place: Place) -> Iterator[Mistake]:
        self._pass_over("its table begins")
        self._kind, self._columns, self._skipping = KIND_BY_WORD.get(word), None, False
        if self._kind is None:
            self._skipping = True
            kind = nearest(word.strip().lower(), KIND_BY_WORD)
            hint = f"; did you mean '{kind}'?" if kind else f"; use one of: {', '.join(KIND_BY_WORD)}"
            message = f"there is no such kind of record{hint}"
            yield Mistake(place, shown(word), "", message, hides=kind)

    def _no_kind(self, row: SheetRow, place: Place) -> Iterator[Mistake]:
        if self._sheet:
            self._note_above(row, place)
        else:
            self._skipping = True
            message = f"a table starts with its kind in square brackets, such as [component]; {A_FLAT_LIST}"
            yield Mistake(place, "", "", message)

    def _note_above(self, row: SheetRow, place: Place) -> None:
        if self._above is None:
            self._above = place, next(cell.text.strip() for cell in row.cells if cell.text.strip())

    def _pass_over(self, what: str) -> None:
        """Say that what stood above was passed over, since something stands further down."""
        if self._above is not None:
            place, text = self._above
            self._reading.assume(f"passed over, since {what} further down", place, f"'{shown(text)}'")
            self._above = None

    def _head(self, kind: type[Record], row: SheetRow, place: Place) -> Iterator[Mistake]:
        columns = [_column(cell.text, kind) for cell in row.cells]
        if self._sheet and not any(column in kind.model_fields for column in columns):
            self._note_above(row, place)
            return
        self._pass_over("the columns are named")
        while columns and not columns[-1]:
            columns.pop()
        self._columns = _as_meant(kind, columns)
        if self._sheet:
            written, read = enumerate(columns), enumerate(self._columns)
            at = {name: number for number, name in (*written, *read) if name}
            self._reading.note_head(self._file, self._sheet, row.number, at)
        mistakes = list(_wrong_columns(kind, columns, place))
        self._skipping = any(mistake.hides for mistake in mistakes)
        yield from mistakes


def _column(head: str, kind: type[Record]) -> str:
    name = head.strip()
    return name if name in kind.model_fields else _as_column(name, kind)


def _as_column(name: str, kind: type[Record]) -> str:
    """`Built from` is `built_from`."""
    word = re.sub(r"[\s-]+", "_", name.lower())
    return word if word in kind.model_fields else name


def _wrong_columns(kind: type[Record], columns: list[str], place: Place) -> Iterator[Mistake]:
    """What is wrong with the head of a table. Its rows are read all the same, so that what is wrong with
    them is told at once; a mistake that `hides` them says why they are not."""
    word = kind.kind_of_record
    if len(columns) > MOST_COLUMNS:
        yield Mistake(place, word, "", f"a table has at most {MOST_COLUMNS} columns", hides=word)
        return
    for column in columns:
        if column and column not in kind.model_fields:
            hint = near(column, kind.model_fields) or f"; the columns are {', '.join(kind.model_fields)}"
            if ";" in column:
                hint = "; cells are separated by commas here, as in the first row that names columns"
            yield Mistake(place, word, shown(column), f"there is no such column{hint}")
    if len(set(filter(None, columns))) != len(list(filter(None, columns))):
        yield Mistake(place, word, "", "a column stands twice", hides=word)
    meant = _as_meant(kind, columns)
    for name, field in kind.model_fields.items():
        if field.is_required() and name not in meant:
            message = f"the column is missing: {field.description}; the rows below were not read"
            yield Mistake(place, word, name, message, hides=word)


def _as_meant(kind: type[Record], columns: list[str]) -> list[str | None]:
    """The columns as the rows are read by them: a misspelt one is the one that is likely meant, so that the
    rows of a table with a mistake in its head are looked at too; None is passed over."""
    meant: list[str | None] = [column if column in (*kind.model_fields, "") else None for column in columns]
    for at, column in enumerate(columns):
        if meant[at] is None and (found := nearest(column, kind.model_fields)) not in meant:
            meant[at] = found or None
    return meant


def _read_row(
    kind: type[Record], columns: list[str | None], row: SheetRow, place: Place, reading: SheetReading
) -> Iterator[Placed | Mistake]:
    """The record of a row; a cell under no head is a mistake."""
    heads = [*columns, *[""] * (len(row.cells) - len(columns))]
    under = list(zip(heads, row.cells, strict=False))
    if any(head == "" and cell.text.strip() for head, cell in under):
        what = (
            f"the row has more cells than the {len(columns)} columns"
            if "" not in columns
            else ("a cell stands below no column's name")
        )
        yield Mistake(place, kind.kind_of_record, "", what)
        return
    cells = {
        column: Cell(unguarded(cell.text)) if cell.text[:1] == "'" else cell
        for column, cell in under
        if column and ((cell.text and not cell.text.isspace()) or cell.formula)
    }
    fields, unclear = read_cells(kind, cells, place, reading)
    record, mistakes = validate(kind, fields, place)
    if unclear:
        unclear_columns = {column for column, _ in unclear}
        name = _name({column: cell.text for column, cell in cells.items()})
        yield from (
            Mistake(place, kind.kind_of_record, column, what, name, fields) for column, what in unclear
        )
        mistakes = [m for m in mistakes if m.field not in unclear_columns]
    elif record is not None:
        yield Placed(place, record)
    yield from mistakes


def guarded(text: str) -> str:
    """A text that no spreadsheet runs as a formula: `=` becomes `'=`. `unguarded` gives it back."""
    return f"'{text}" if _TO_GUARD.match(text) and not _HARMLESS.fullmatch(text) else text


def unguarded(text: str) -> str:
    """The text behind a cell that was guarded."""
    return text[1:] if _GUARDED.match(text) and not _HARMLESS.fullmatch(text[1:]) else text


def cell(value: Any) -> str:
    """A field's value as a sheet's cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return guarded("; ".join(map(str, value)))
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    return guarded(str(value))


def write_table(
    stream: TextIO, kind: type[Record], records: Iterable[Record], *, begin: bool = True, end: bool = True
) -> int:
    """Write one table with every column; returns how many records were written (none: no table).

    A table that is written in pieces begins with the first and ends with the last.
    """
    writer = csv.writer(stream, lineterminator="\n")
    usually = [(name, usual(field)) for name, field in kind.model_fields.items()]
    count = 0
    for record in records:
        if not count and begin:
            writer.writerow([f"[{kind.kind_of_record}]"])
            writer.writerow(name for name, _ in usually)
        values = ((getattr(record, name), default) for name, default in usually)
        writer.writerow(["" if value == default else cell(value) for value, default in values])
        count += 1
    if count and end:
        stream.write("\n")
    return count
