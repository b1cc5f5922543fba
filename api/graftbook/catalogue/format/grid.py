"""What a sheet is made of, wherever it was read: rows of cells, and where each cell stands."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Literal, NamedTuple, Protocol
from xml.parsers import expat

LONGEST_CELL = 30_000
"""Characters of one cell."""
LONGEST_ROW = 500_000
"""Characters of one row, over however many lines its cells are spread."""
MOST_COLUMNS = 100
MOST_ROWS = 200_000
"""Rows of one sheet of a workbook in which something stands."""
_CHUNK = 1 << 16

CellKind = Literal["text", "number", "money", "per cent", "day", "yes or no", "wrong"]


class Place(NamedTuple):
    """Where a record was read: file (or "request") and line, or a workbook's file, sheet, row and cell."""

    file: str
    line: int
    sheet: str = ""
    cell: str = ""

    def __str__(self) -> str:
        if not self.sheet:
            return f"{self.file}:{self.line}" if self.line else self.file
        where = self.cell or (f"row {self.line}" if self.line else "")
        return ", ".join(filter(None, (self.file, f"sheet {self.sheet}", where)))


CATALOGUE = Place("the catalogue", 0)
"""Where a record stands that was there before: its kind and name alone say which."""


class NotASheet(Exception):
    """What was sent is no sheet; the message says why and what to do. `line`: where, 0 for the whole."""

    def __init__(self, message: str, line: int = 0) -> None:
        super().__init__(message)
        self.line = line


class Cell(NamedTuple):
    """One cell as text: a number with a point, a day as `1968-03-01`, `yes` or `no`.

    `kind` is what the workbook keeps it as; delimited text has nothing but `text`. Money is written with
    the sign or the code of its currency in front where the workbook shows one, per cent with `%` behind.
    `formula`: what the text is worked out from, else empty. A `wrong` cell shows an error such as `#N/A`.
    """

    text: str
    kind: CellKind = "text"
    formula: str = ""


EMPTY = Cell("")


class SheetRow(NamedTuple):
    """One row. `number` counts from 1: of a workbook the row, of delimited text the line where it ends."""

    number: int
    cells: Sequence[Cell]

    def address(self, column: int) -> str:
        """`C14`: where the cell of this column (from 0) stands."""
        return f"{letters(column)}{self.number}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet. `name` is empty for delimited text, which has no names.

    `rows` can be gone through once, while the next sheet was not asked for; rows without any text are
    passed over. They raise NotASheet where reading ends early. `assumed`: what was taken for granted to
    read it, each in a sentence.
    """

    name: str
    rows: Iterator[SheetRow]
    assumed: tuple[str, ...] = ()


def letters(column: int) -> str:
    """Column 0 is `A`, 25 is `Z`, 26 is `AA`."""
    name = ""
    column += 1
    while column:
        column, last = divmod(column - 1, 26)
        name = chr(ord("A") + last) + name
    return name


class SheetRows:
    """Collects the cells of a sheet as its XML is read; both formats hand over row by row."""

    def __init__(self) -> None:
        self._ready: list[SheetRow] = []
        self._cells: list[Cell] = []
        self._length = 0
        self._count = 0

    def put(self, column: int, cell: Cell) -> None:
        """A cell at its column, from 0; an empty one is nothing. Raises NotASheet for a row too wide."""
        if not (cell.text or cell.formula):
            return
        if column >= MOST_COLUMNS:
            raise NotASheet(f"a row has at most {MOST_COLUMNS} columns; delete what stands further right")
        self._length += len(cell.text)
        if len(cell.text) > LONGEST_CELL or self._length > LONGEST_ROW:
            raise NotASheet(f"a cell has at most {LONGEST_CELL:,} characters, a row {LONGEST_ROW:,}")
        self._cells += [EMPTY] * (column + 1 - len(self._cells))
        self._cells[column] = cell

    def end_row(self, number: int, times: int = 1) -> None:
        """The row is whole; it stands `times` times below itself. Raises NotASheet for too many rows."""
        cells, self._cells, self._length = self._cells, [], 0
        if not cells:
            return
        self._count += times
        if self._count > MOST_ROWS:
            raise NotASheet(f"a sheet has at most {MOST_ROWS:,} rows; split it, or save it as CSV")
        self._ready += [SheetRow(number + n, cells) for n in range(times)]

    def taken(self) -> list[SheetRow]:
        """The rows that are whole since this was asked last."""
        ready, self._ready = self._ready, []
        return ready


class Handler(Protocol):
    """What reads one part of a workbook: its elements and texts in their order."""

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins; names are `namespace local`."""

    def end(self, name: str) -> None:
        """An element ends."""

    def text(self, text: str) -> None:
        """Text inside the element that began last and has not ended."""


def parsed(part: IO[bytes], handler: Handler) -> Iterator[None]:
    """Read XML piece by piece; gives control back after each piece. Raises NotASheet.

    A document type is refused: nothing that a workbook needs stands in one.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartElementHandler = handler.start
    parser.EndElementHandler = handler.end
    parser.CharacterDataHandler = handler.text
    parser.StartDoctypeDeclHandler = _refuse_doctype
    try:
        while piece := part.read(_CHUNK):
            parser.Parse(piece, False)
            yield
        parser.Parse(b"", True)
        yield
    except expat.ExpatError as error:
        raise NotASheet(f"the workbook is damaged ({error}); open it and save it again") from error


def _refuse_doctype(*_told: object) -> None:
    raise NotASheet("the workbook declares a document type; open it in a spreadsheet and save it again")
