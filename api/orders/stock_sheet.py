"""The store as a sheet: `number,quantity,place`, a number a row; written out, and read back as a count."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlmodel import Session

from api.catalogue.fields import clean
from api.catalogue.names import as_typed
from api.catalogue.nearest import components_near
from api.catalogue.sheets import Mistake, Place
from api.catalogue.staging import listed, table
from api.problems import printable
from api.wire.cells import plain_cell, write_rows
from api.wire.given import LONGEST_WORD

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


def sheet_of(rows: Iterable[dict[str, Any]]) -> str:
    """What lies in the store as CSV (RFC 4180)."""
    return write_rows(COLUMNS, ([row[name] for name in COLUMNS] for row in rows))


def read_sheet(text: str, file: str) -> tuple[list[Counted], list[Mistake]]:
    """The rows of a sheet with numbers as they are typed, and everything that is wrong with it by itself.

    The first row names the columns; between them stand commas, semicolons or tabs.
    """
    mistakes: list[Mistake] = []

    def wrong(line: int, field: str, message: str) -> None:
        mistakes.append(Mistake(Place(file, line), "", field, message))

    rows = list(_rows(text.removeprefix("\ufeff"), wrong))
    if not rows and not mistakes:
        wrong(1, "", "the sheet has no rows: nothing was counted")
    return rows, mistakes


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
    quantity = said.get("quantity", "")
    number = _text(line, "number", said.get("number", ""), LONGEST_WORD, wrong)
    place = _text(line, "place", said.get("place", ""), LONGEST_PLACE, wrong)
    readable = number is not None and place is not None
    if number is not None and not as_typed(number):
        wrong(line, "number", "a number has letters or digits")
        readable = False
    if not (quantity.isascii() and quantity.isdigit() and len(quantity) < 9 and int(quantity) <= MOST_PIECES):
        told = f"'{printable(quantity)}' is no count" if quantity else "the count is missing"
        wrong(line, "quantity", f"{told}; write a whole number up to {MOST_PIECES}, 0 for none")
        readable = False
    return (
        Counted(line, number or "", int(quantity), place if "place" in said else None) if readable else None
    )


def _text(line: int, name: str, cell: str, longest: int, wrong: Wrong) -> str | None:
    """A cell that can be stored; None when it cannot."""
    try:
        text = one_line(clean(_as_written(cell)))
        if len(text) <= longest:
            return text
        wrong(line, name, f"at most {longest} characters can stand here")
    except ValueError as error:
        wrong(line, name, str(error))
    return None


def _as_written(cell: str) -> str:
    """A cell without the apostrophe that kept a spreadsheet from running it."""
    return cell[1:] if cell.startswith("'") and plain_cell(cell[1:]) == cell else cell


def settle(session: Session, rows: list[Counted], file: str) -> tuple[list[Counted], list[Mistake]]:
    """The rows with the catalogue's own numbers, each once; and which numbers it does not know."""
    mistakes: list[Mistake] = []
    known = _numbers(session, {as_typed(row.number) for row in rows})
    seen: dict[str, int] = {}
    settled: list[Counted] = []
    for row in rows:
        meant = known.get(as_typed(row.number), [])
        number = row.number if row.number in meant else meant[0] if len(meant) == 1 else ""
        if not number:
            told = _untold(session, row, meant, near=len(mistakes) < MOST_NEAR)
        elif number in seen:
            told = f"{number} stands in line {seen[number]} already"
        else:
            seen[number] = row.line
            settled.append(Counted(row.line, number, row.quantity, row.place))
            continue
        mistakes.append(Mistake(Place(file, row.line), "", "number", told))
    return settled, mistakes


def _untold(session: Session, row: Counted, meant: list[str], *, near: bool) -> str:
    if meant:
        return f"'{printable(row.number)}' may be {' or '.join(meant[:3])}; write it out"
    told = f"there is no component '{printable(row.number)}'"
    component = table("component").c
    like = (
        components_near(session.connection(), component.number, component.typed, row.number) if near else []
    )
    return f"{told}; did you mean {' or '.join(like)}?" if like else told


def _numbers(session: Session, typed: set[str]) -> dict[str, list[str]]:
    """The catalogue's numbers that these typed ones may mean."""
    component, connection = table("component").c, session.connection()
    query = select(component.typed, component.number).where(
        component.typed.in_(listed(connection, sorted(typed)))
    )
    found: dict[str, list[str]] = {}
    for row in connection.execute(query.order_by(component.number)):
        found.setdefault(row.typed, []).append(row.number)
    return found
