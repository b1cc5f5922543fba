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


def sheet_of(rows: Iterable[dict[str, Any]]) -> str:
    """What lies in the store as CSV (RFC 4180)."""
    return write_rows(COLUMNS, ([row[name] for name in COLUMNS] for row in rows))


def read_sheet(session: Session, text: str, file: str) -> tuple[list[Counted], list[Mistake]]:
    """The rows of a sheet, each number as the catalogue writes it; and everything that is wrong with it.

    The first row names the columns; between them stand commas, semicolons or tabs. Numbers may be
    written as people type them.
    """
    mistakes: list[Mistake] = []
    typed = list(_rows(text, file, mistakes))
    settled = _settled(session, typed, file, mistakes)
    return settled, sorted(mistakes, key=lambda one: one.place.line)


def _rows(text: str, file: str, mistakes: list[Mistake]) -> Iterator[Counted]:
    def wrong(line: int, field: str, message: str) -> None:
        mistakes.append(Mistake(Place(file, line), "", field, message))

    text = text.removeprefix("\ufeff")
    first = text.lstrip("\r\n").partition("\n")[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(_BETWEEN, key=first.count))
    columns: list[str] | None = None
    try:
        for cells in reader:
            row = [cell.strip() for cell in cells]
            if not any(row):
                continue
            if columns is None:
                columns = [head.casefold() for head in row]
                if problem := _wrong_heads(columns):
                    wrong(reader.line_num, "", problem)
                    return
                continue
            if len(row) > len(columns):
                wrong(reader.line_num, "", f"there are {len(row)} cells under {len(columns)} heads")
                continue
            said = dict(zip(columns, row, strict=False))
            found = _row(reader.line_num, said, wrong)
            if found:
                yield found
    except csv.Error as error:
        wrong(reader.line_num, "", f"this is no CSV: {error}")
    if columns is None:
        wrong(1, "", f"the sheet is empty; its first row is {','.join(COLUMNS)}")


def _wrong_heads(heads: list[str]) -> str:
    if unknown := [head for head in heads if head not in COLUMNS]:
        return f"there is no column '{printable(unknown[0])}'; the first row is {','.join(COLUMNS)}"
    if lacking := [name for name in COLUMNS[:2] if name not in heads]:
        return f"the column '{lacking[0]}' is missing; the first row is {','.join(COLUMNS)}"
    twice = [head for head in heads if heads.count(head) > 1]
    return f"the column '{twice[0]}' stands twice" if twice else ""


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
        text = str(clean(_as_written(cell)))
        if len(text) <= longest:
            return text
        wrong(line, name, f"at most {longest} characters can stand here")
    except ValueError as error:
        wrong(line, name, str(error))
    return None


def _as_written(cell: str) -> str:
    """A cell without the apostrophe that kept a spreadsheet from running it."""
    return cell[1:] if cell.startswith("'") and plain_cell(cell[1:]) == cell else cell


def _settled(session: Session, rows: list[Counted], file: str, mistakes: list[Mistake]) -> list[Counted]:
    """The rows with the catalogue's own numbers, each once."""
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
    return settled


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
