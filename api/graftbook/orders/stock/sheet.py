"""The store as a sheet: `number,quantity,place`, a number a row; written out, and read back as a count."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session

from graftbook.catalogue.format.cells import as_written, write_rows
from graftbook.catalogue.format.fields import clean
from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.store.lookup import numbers_meant, numbers_near
from graftbook.http.fields import LONGEST_WORD
from graftbook.problems import UnknownComponent, printable

COLUMNS = ("number", "quantity", "place")
MOST_PIECES = 1_000_000
LONGEST_PLACE = 2_000
MOST_NEAR = 20
"""So many unknown numbers are told with numbers like them."""
_BETWEEN = ",;\t"
Wrong = Callable[[int, str, str], None]
"""Notes a mistake: line, column, what is wrong."""


@dataclass(frozen=True, slots=True)
class Counted:
    """One row of a count. `place` None: it stays as it was."""

    line: int
    number: str
    quantity: int
    place: str | None


def one_line(text: str) -> str:
    """A place as it is stored: on one line, single spaces between its words."""
    return " ".join(text.split())


def place_in(text: str) -> str:
    """A place as it is typed. Raises ValueError."""
    return _text(text, LONGEST_PLACE)


def is_count(text: str) -> bool:
    """Whether a text says how many pieces there are."""
    return text.isascii() and text.isdigit() and len(text) < 9 and int(text) <= MOST_PIECES


def _text(typed: str, longest: int) -> str:
    text = one_line(clean(typed))
    if len(text) > longest:
        raise ValueError(f"at most {longest} characters can stand here")
    return text


def sheet_of(rows: Iterable[Mapping[str, object]]) -> str:
    """What lies in the store as CSV (RFC 4180)."""
    return write_rows(COLUMNS, ([row[name] for name in COLUMNS] for row in rows))


def read_sheet(text: str, wrong: Wrong) -> list[Counted]:
    """The rows of a sheet with numbers as they are typed; tells everything that is wrong with it by itself.

    The first row names the columns; between them stand commas, semicolons or tabs.
    """
    return list(_rows(text.removeprefix("\ufeff"), wrong))


def _rows(text: str, wrong: Wrong) -> Iterator[Counted]:
    columns: list[str] = []
    for line, cells in _lines(text, wrong):
        if any("\n" in cell or "\r" in cell for cell in cells):
            wrong(line, "", "a cell goes on in the next line: is a quotation mark left open?")
        elif not columns:
            columns = [
                cell.casefold() for cell in cells[: 1 + max(i for i, cell in enumerate(cells) if cell)]
            ]
            if problem := _wrong_heads(columns):
                wrong(line, "", problem)
                return
        elif any(cells[len(columns) :]):
            wrong(line, "", f"there are {len(cells)} cells under {len(columns)} heads")
        elif found := _row(line, dict(zip(columns, cells, strict=False)), wrong):
            yield found


def _lines(text: str, wrong: Wrong) -> Iterator[tuple[int, list[str]]]:
    """The lines in which something stands, each with its number and its cells."""
    first = text.lstrip("\r\n").partition("\n")[0]
    between = max(_BETWEEN, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    line = 1
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                yield line, stripped
            line = reader.line_num + 1
    except csv.Error as error:
        wrong(line, "", f"this is no CSV: {error}")


def _wrong_heads(heads: list[str]) -> str:
    wanted = f"the first row is {','.join(COLUMNS)}"
    if unknown := [head for head in heads if head not in COLUMNS]:
        return f"there is no column '{printable(unknown[0])}'; {wanted}"
    if len(heads) > len(set(heads)):
        return f"a column stands twice; {wanted}"
    lacking = [name for name in COLUMNS[:2] if name not in heads]
    return f"the column '{lacking[0]}' is missing; {wanted}" if lacking else ""


def _row(line: int, said: dict[str, str], wrong: Wrong) -> Counted | None:
    read: dict[str, str] = {}
    for name, longest in (("number", LONGEST_WORD), ("place", LONGEST_PLACE)):
        try:
            read[name] = _text(as_written(said.get(name, "")), longest)
        except ValueError as error:
            wrong(line, name, str(error))
    number, quantity = read.get("number"), said.get("quantity", "")
    if number is not None and not as_typed(number):
        wrong(line, "number", "a number has letters or digits")
        number = None
    if not is_count(quantity):
        sentence = f"'{printable(quantity)}' is no count" if quantity else "the count is missing"
        wrong(line, "quantity", f"{sentence}; write a whole number up to {MOST_PIECES}, 0 for none")
    if number is None or "place" not in read or not is_count(quantity):
        return None
    return Counted(line, number, int(quantity), read["place"] if "place" in said else None)


def settle(session: Session, rows: list[Counted], wrong: Wrong) -> list[Counted]:
    """The rows with the catalogue's own numbers, each once; tells which numbers it does not know."""
    known = numbers_meant(session, [row.number for row in rows])
    seen: dict[str, int] = {}
    settled: list[Counted] = []
    unknown = 0
    for row in rows:
        meant = known.get(row.number, [])
        if not meant:
            unknown += 1
            near = numbers_near(session, row.number) if unknown <= MOST_NEAR else []
            detail = UnknownComponent(row.number, near).detail
            wrong(row.line, "number", detail[0].lower() + detail[1:])
        elif len(meant) > 1 and meant[0] != row.number:
            wrong(row.line, "number", doubtful(row.number, meant))
        elif meant[0] in seen:
            wrong(row.line, "number", f"{meant[0]} stands in line {seen[meant[0]]} already")
        else:
            seen[meant[0]] = row.line
            settled.append(replace(row, number=meant[0]))
    return settled


def doubtful(number: str, meant: list[str]) -> str:
    """What is said of a number as typed that may mean several."""
    return f"'{printable(number)}' may be {' or '.join(meant[:3])}; write it out"
