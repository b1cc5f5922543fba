"""Reading ODS workbooks (OpenDocument, ISO/IEC 26300) row by row: memory holds one row."""

from collections.abc import Iterator
from decimal import Decimal
from zipfile import ZipFile

from graftbook.catalogue.format.grid import (
    LONGEST_CELL,
    MOST_COLUMNS,
    Cell,
    NotASheet,
    Sheet,
    SheetRow,
    SheetRows,
    parsed,
)
from graftbook.catalogue.format.xlsx import plain_number

_OASIS = "urn:oasis:names:tc:opendocument:xmlns:"
_OFFICE, _TABLE, _TEXT = f"{_OASIS}office:1.0", f"{_OASIS}table:1.0", f"{_OASIS}text:1.0"
_NAME, _FORMULA = f"{_TABLE} name", f"{_TABLE} formula"
_KIND, _VALUE, _CURRENCY = f"{_OFFICE} value-type", f"{_OFFICE} value", f"{_OFFICE} currency"
_DAY, _TRUE, _STRING = f"{_OFFICE} date-value", f"{_OFFICE} boolean-value", f"{_OFFICE} string-value"
_COLUMNS, _ROWS = f"{_TABLE} number-columns-repeated", f"{_TABLE} number-rows-repeated"
_CELLS = (f"{_TABLE} table-cell", f"{_TABLE} covered-table-cell")
_ASIDE = (f"{_OFFICE} annotation", f"{_TABLE} shapes", f"{_TABLE} tracked-changes")
"""What stands in a cell or a sheet and is none of its text."""


def sheets_of(archive: ZipFile) -> Iterator[Sheet]:
    """Every sheet, in the workbook's order; one part holds them one behind the other. Raises NotASheet."""
    with archive.open("content.xml") as part:
        cells = _Cells()
        pieces = parsed(part, cells)
        number = 0
        while True:
            while number >= len(cells.tables) and next(pieces, cells) is None:
                pass
            if number >= len(cells.tables):
                return
            name, rows = cells.tables[number]
            yield Sheet(name, _rows(cells, pieces, number, rows))
            for _ in _rows(cells, pieces, number, rows):
                pass  # whoever wants the next sheet is done with this one
            number += 1


def _rows(cells: "_Cells", pieces: Iterator[None], number: int, rows: SheetRows) -> Iterator[SheetRow]:
    """The rows of one sheet: until the next begins, or all is read."""
    yield from rows.taken()
    while len(cells.tables) == number + 1 and next(pieces, cells) is None:
        yield from rows.taken()
    yield from rows.taken()


def _times(attributes: dict[str, str], name: str) -> int:
    try:
        return max(1, int(attributes.get(name, 1)))
    except ValueError:
        raise NotASheet("the workbook is damaged (a cell is repeated strangely); save it again") from None


class _Cells:
    """All cells of the workbook, into the rows of their sheets."""

    def __init__(self) -> None:
        self.tables: list[tuple[str, SheetRows]] = []
        self._rows = SheetRows()
        self._row = 1
        self._column = self._times = self._row_times = 0
        self._attributes: dict[str, str] = {}
        self._paragraphs: list[str] = []
        self._in_text = self._aside = self._depth = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        if name in _ASIDE or self._aside:
            self._aside += 1
        elif name == f"{_TABLE} table":
            self._table(attributes)
        elif name == f"{_TABLE} table-row":
            self._column, self._row_times = 0, _times(attributes, _ROWS)
        elif name in _CELLS:
            self._attributes, self._paragraphs = attributes, []
            self._times = _times(attributes, _COLUMNS)
        elif name == f"{_TEXT} p":
            self._in_text += 1
            self._paragraphs.append("")
        elif self._in_text:
            self._space(name, attributes)

    def _table(self, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > 1:
            raise NotASheet("a table stands inside a cell; take it out")
        self._rows, self._row = SheetRows(), 1
        self.tables.append((attributes.get(_NAME, ""), self._rows))

    def _space(self, name: str, attributes: dict[str, str]) -> None:
        if name == f"{_TEXT} s":
            self._paragraphs[-1] += " " * min(_times(attributes, f"{_TEXT} c"), 100)
        elif name in (f"{_TEXT} tab", f"{_TEXT} line-break"):
            self._paragraphs[-1] += "\t" if name.endswith("tab") else "\n"

    def text(self, text: str) -> None:
        """Text."""
        if self._in_text and not self._aside:
            self._paragraphs[-1] += text
            if len(self._paragraphs[-1]) > LONGEST_CELL:
                raise NotASheet(f"a cell of row {self._row} has more than {LONGEST_CELL:,} characters")

    def end(self, name: str) -> None:
        """An element ends."""
        if self._aside:
            self._aside -= 1
        elif name == f"{_TABLE} table":
            self._depth -= 1
        elif name == f"{_TEXT} p":
            self._in_text -= 1
        elif name in _CELLS:
            self._advance()
        elif name == f"{_TABLE} table-row":
            self._rows.end_row(self._row, self._row_times)
            self._row += self._row_times

    def _advance(self) -> None:
        cell = _cell(self._attributes, "\n".join(self._paragraphs))
        if cell.text or cell.formula:
            for column in range(self._column, self._column + min(self._times, MOST_COLUMNS + 1)):
                self._rows.put(column, cell)
        self._column += self._times


def _cell(attributes: dict[str, str], text: str) -> Cell:
    formula = attributes.get(_FORMULA, "")
    formula = f"={formula.partition('=')[2]}" if formula else ""
    match attributes.get(_KIND, ""):
        case "float" | "currency" | "percentage" as kind:
            return _number(kind, attributes, formula, text)
        case "date":
            return Cell(attributes.get(_DAY, "").removesuffix("T00:00:00"), "day", formula)
        case "boolean":
            return Cell("yes" if attributes.get(_TRUE) == "true" else "no", "yes or no", formula)
        case _:
            wrong = formula and text.startswith(("#", "Err:"))
            return Cell(attributes.get(_STRING, text), "wrong" if wrong else "text", formula)


def _number(kind: str, attributes: dict[str, str], formula: str, text: str) -> Cell:
    try:
        plain = plain_number(float(attributes.get(_VALUE, "")))
    except (ValueError, OverflowError, ArithmeticError):
        return Cell(text or "?", "wrong", formula)
    if formula and text.startswith(("#", "Err:")):
        return Cell(text, "wrong", formula)
    if kind == "percentage":
        return Cell(f"{plain_number(float(Decimal(plain) * 100))}%", "per cent", formula)
    if kind == "currency" and (code := attributes.get(_CURRENCY, "")):
        return Cell(f"{code} {plain}", "money", formula)
    return Cell(plain, "number", formula)
