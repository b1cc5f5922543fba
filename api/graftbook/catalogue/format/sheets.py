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
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TextIO

from pydantic import ValidationError

from graftbook.catalogue.format.fields import CHASSIS_PATTERN, NAME_PATTERN, is_printable
from graftbook.catalogue.format.records import KIND_BY_WORD, Record

LONGEST_CELL = 30_000
LONGEST_ROW = 500_000
"""Characters of one row, over however many lines its cells are spread."""
MOST_COLUMNS = 100
LONGEST_SHOWN = 60
LONGEST_NAME = 400
csv.field_size_limit(LONGEST_CELL)

_STARTS_A_FORMULA = "=+\\-@\t\r\n＝＋－＠"
_TO_GUARD = re.compile(f"'*[{_STARTS_A_FORMULA}]")
_GUARDED = re.compile(f"'+[{_STARTS_A_FORMULA}]")
_HARMLESS = re.compile(r"[+-]\d[\d.]*( [\w/%. ]*)?", re.ASCII)
"""A number with a sign, perhaps with a unit or a span: no spreadsheet runs it."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a record was read: file (or "request") and line."""

    file: str
    line: int


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong, where, and what to do about it. `name` is the record's, where it could be read."""

    place: Place
    kind: str
    field: str
    message: str
    name: str = ""

    def __str__(self) -> str:
        where = f"{self.place.file}:{self.place.line}"
        what = " ".join(part for part in (self.kind and f"[{self.kind}]", self.field) if part)
        return f"{where}: {what}: {self.message}" if what else f"{where}: {self.message}"


@dataclass(frozen=True, slots=True)
class Placed:
    """A record and where it was read."""

    place: Place
    record: Record


class NotASheet(Exception):
    """The text is no sheet; the message says why and what to do."""


class _Lines:
    """A sheet's lines, none longer than a row may be; `begin_row` before each row. Raises NotASheet."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._left = LONGEST_ROW

    def begin_row(self) -> None:
        self._left = LONGEST_ROW

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = self._stream.readline(self._left + 1)
        self._left -= len(line)
        if not line:
            raise StopIteration
        if self._left < 0:
            raise NotASheet(f"a row has at most {LONGEST_ROW} characters; is a quote left open?")
        if "\0" in line:
            raise NotASheet("the text holds NUL characters; save the sheet as UTF-8 CSV")
        return line


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
    matches = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"; did you mean '{matches[0]}'?" if matches else ""


def validate(kind: type[Record], fields: dict[str, Any], place: Place) -> tuple[Record | None, list[Mistake]]:
    """One record from its fields, or every mistake in it."""
    try:
        return kind.model_validate(fields), []
    except ValidationError as error:
        name = _name(fields)
        return None, [
            Mistake(place, kind.kind_of_record, ".".join(map(shown, e["loc"])), _in_words(e, kind), name)
            for e in error.errors()
        ]


def _name(fields: dict[str, Any]) -> str:
    """The name of a record that is not valid, as far as it can be told: others may refer to it.

    Empty when what stands there can be no name.
    """
    name = _name_told(fields)
    return name if len(name) <= LONGEST_NAME and is_printable(name) else ""


def _name_told(fields: dict[str, Any]) -> str:
    told = {key: value if isinstance(value, str) else shown(value) for key, value in fields.items() if value}
    if told.get("component") and told.get("position") and not told.get("name"):
        return f"{told['component']}@{told['position']}"
    if told.get("original") and told.get("component") and not told.get("name"):
        return f"{told['original']}>{told['component']}"
    if told.get("supplier") and told.get("component") and not told.get("name"):
        since = told.get("valid_from")
        return f"{told['supplier']}:{told['component']}" + (f"@{since}" if since else "")
    return (told.get("number") or told.get("name") or "").strip()


_WORDS = {
    CHASSIS_PATTERN: "a chassis number is letters and digits, a dash and the serial, such as 24PL-018412",
    NAME_PATTERN: "a name begins with a letter or a digit, and has letters, digits, spaces and "
    ". _ : / > @ + - only, at most 120 of them",
    "date": "a day is written year-month-day, such as 1964-01-31",
    "decimal": "a number is needed here, with a dot and without a sign of money, such as 80.00",
}
"""For mistakes that the library would tell in terms of patterns and types: by pattern, or kind of value."""


def _in_words(error: Any, kind: type[Record]) -> str:
    if error["type"] == "extra_forbidden":
        column = str(error["loc"][0])
        return f"there is no such column; take it out{near(column, kind.model_fields)}"
    if error["type"] == "missing":
        return "a value is needed here"
    pattern = (error.get("ctx") or {}).get("pattern", "").removeprefix("^$|")
    about = pattern or (error["type"].partition("_")[0] if error["type"].endswith("_parsing") else "")
    message = _WORDS.get(about) or str(error["msg"]).removeprefix("Value error, ")
    return f"{message} (read: {shown(error.get('input'))!r})"


def read_sheet(stream: TextIO, file: str) -> Iterator[Placed | Mistake]:
    """Every record of a sheet in its order, and every mistake where it stands."""
    lines = _Lines(stream)
    rows = csv.reader(lines, strict=True)
    kind: type[Record] | None = None
    columns: list[str] | None = None
    skipping = False
    while True:
        lines.begin_row()
        try:
            row = next(rows)
        except StopIteration:
            return
        except csv.Error as error:
            yield Mistake(
                Place(file, rows.line_num), "", "", f"this is no CSV: {error}; mend the row and load again"
            )
            return
        except NotASheet as error:
            yield Mistake(Place(file, rows.line_num + 1), "", "", str(error))
            return
        except UnicodeError:
            yield Mistake(
                Place(file, rows.line_num + 1), "", "", "this is not UTF-8 text; save the sheet as UTF-8 CSV"
            )
            return
        place = Place(file, rows.line_num)
        first = row[0].strip().lstrip("\ufeff") if row else ""
        if not any(cell.strip() for cell in row) or first.startswith("#"):
            continue
        if first.startswith("[") and first.endswith("]"):
            kind, columns, skipping = KIND_BY_WORD.get(first[1:-1]), None, False
            if kind is None:
                skipping = True
                known = ", ".join(KIND_BY_WORD)
                message = f"there is no such kind of record; use one of: {known}"
                yield Mistake(place, shown(first[1:-1]), "", message)
        elif skipping:
            continue
        elif kind is None:
            skipping = True
            yield Mistake(
                place, "", "", "a table starts with its kind in square brackets, such as [component]"
            )
        elif columns is None:
            columns = [cell.strip() for cell in row]
            while columns and not columns[-1]:
                columns.pop()
            mistakes = list(_wrong_columns(kind, columns, place))
            skipping = bool(mistakes)
            yield from mistakes
        else:
            yield from _read_row(kind, columns, row, place)


def _wrong_columns(kind: type[Record], columns: list[str], place: Place) -> Iterator[Mistake]:
    """What is wrong with the head of a table: its rows are passed over then."""
    if len(columns) > MOST_COLUMNS:
        yield Mistake(place, kind.kind_of_record, "", f"a table has at most {MOST_COLUMNS} columns")
        return
    for column in columns:
        if column not in kind.model_fields:
            hint = near(column, kind.model_fields) or f"; the columns are {', '.join(kind.model_fields)}"
            if ";" in column:
                hint = "; cells are separated by commas, so save the sheet as CSV with commas"
            yield Mistake(place, kind.kind_of_record, shown(column), f"there is no such column{hint}")
    if len(set(columns)) != len(columns):
        yield Mistake(place, kind.kind_of_record, "", "a column stands twice")


def _read_row(
    kind: type[Record], columns: list[str], row: list[str], place: Place
) -> Iterator[Placed | Mistake]:
    if len(row) > len(columns) and any(cell.strip() for cell in row[len(columns) :]):
        yield Mistake(
            place, kind.kind_of_record, "", f"the row has more cells than the {len(columns)} columns"
        )
        return
    fields = {
        column: unguarded(cell) if cell[0] == "'" else cell
        for column, cell in zip(columns, row, strict=False)
        if cell and not cell.isspace()
    }
    record, mistakes = validate(kind, fields, place)
    if record is not None:
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
    fields = kind.model_fields
    count = 0
    for record in records:
        if not count and begin:
            writer.writerow([f"[{kind.kind_of_record}]"])
            writer.writerow(fields)
        values = ((getattr(record, name), field.default) for name, field in fields.items())
        writer.writerow(["" if value == default else cell(value) for value, default in values])
        count += 1
    if count and end:
        stream.write("\n")
    return count
