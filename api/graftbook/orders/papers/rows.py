"""A long table that breaks well over pages: its heading on each, no row parted from what is said of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from reportlab.lib import colors
from reportlab.platypus import Flowable

from graftbook.orders.papers.cells import SMALL, Cell, TextLine, TextRun, height, wrapped, write

TALLEST = 420.0
"""Points: no row grows taller; what a cell says beyond it goes on in a further row."""

GREY = colors.Color(0.92, 0.92, 0.92)
HAIR = colors.Color(0.55, 0.55, 0.55)
PAD_SIDE, PAD_TOP, PAD_BOTTOM = 3.5, 1.6, 2.6


@dataclass(frozen=True, slots=True)
class PaperColumn:
    """A column of a table: its heading, its share of the width, whether figures stand at its right edge."""

    label: str
    share: float
    right: bool


def left(label: str, share: float) -> PaperColumn:
    """A column of text."""
    return PaperColumn(label, share, right=False)


def right(label: str, share: float) -> PaperColumn:
    """A column of figures."""
    return PaperColumn(label, share, right=True)


@dataclass(slots=True)
class Grid:
    """A table in the making.

    What is said under a row starts at the column with the number `under_from` and runs to the right edge.
    """

    columns: Sequence[PaperColumn]
    under_from: int = 1
    rows: list[tuple[Sequence[Cell], Sequence[TextRun]] | str] = field(default_factory=list)

    def band(self, text: str) -> None:
        """A heading inside the table; it stays with the row after it, and is repeated on the next page."""
        self.rows.append(text)

    def add(self, *cells: Cell, under: Sequence[TextRun] = ()) -> None:
        """A row, a cell a column, and the sentences under it."""
        self.rows.append((cells, under))


@dataclass(frozen=True)
class PaperRow:
    """A row as it is printed.

    `band` is the heading that it stands below; `goes_on`: the next row belongs to it.
    """

    cells: Sequence[Sequence[TextLine]]
    under: Sequence[TextLine] = ()
    band: str = ""
    is_band: bool = False
    goes_on: bool = False

    @cached_property
    def figures(self) -> float:
        """Points that the cells take, without what is said under them."""
        return max(map(height, self.cells))

    @cached_property
    def height(self) -> float:
        """Points of the whole row."""
        return self.figures + height(self.under) + PAD_TOP + PAD_BOTTOM


class Rows(Flowable):
    """The flowable of a grid, a given number of points wide."""

    def __init__(self, grid: Grid, wide: float, rows: Sequence[PaperRow] | None = None) -> None:
        super().__init__()
        self.grid, self.width = grid, wide
        shares = sum(column.share for column in grid.columns)
        self._widths = [wide * column.share / shares for column in grid.columns]
        self._rights = [column.right for column in grid.columns]
        self._head = PaperRow(
            self._lines([[TextRun(column.label, bold=True, size=SMALL)] for column in grid.columns])
        )
        self._rows = self._laid_out() if rows is None else rows
        self.height = self._head.height + sum(row.height for row in self._rows)

    @property
    def beginning(self) -> float:
        """Points down to the end of the first row that is not a heading."""
        tall = self._head.height
        for row in self._rows:
            tall += row.height
            if not row.is_band:
                break
        return tall

    def _laid_out(self) -> list[PaperRow]:
        found: list[PaperRow] = []
        band = ""
        for row in self.grid.rows:
            if isinstance(row, str):
                band = row
                found.append(self._band(band))
            else:
                found += self._portions(*row, band)
        return found

    def _band(self, text: str) -> PaperRow:
        return PaperRow(
            [wrapped([TextRun(text, bold=True)], self.width - 2 * PAD_SIDE)[:3]], band=text, is_band=True
        )

    def _lines(self, cells: Sequence[Cell]) -> list[list[TextLine]]:
        return [wrapped(cell, wide - 2 * PAD_SIDE) for cell, wide in zip(cells, self._widths, strict=True)]

    def _portions(self, cells: Sequence[Cell], under: Sequence[TextRun], band: str) -> list[PaperRow]:
        """One row, or several where it says more than may stand in one."""
        lines_under = wrapped(under, sum(self._widths[self.grid.under_from :]) - 2 * PAD_SIDE)
        row = PaperRow(self._lines(cells), lines_under, band)
        if row.height <= TALLEST:
            return [row]
        columns = [_portions(lines) for lines in row.cells]
        tall = max(map(len, columns))
        levels = [
            [column[level] if level < len(column) else [] for column in columns] for level in range(tall)
        ]
        rows = [PaperRow(level, (), band, goes_on=True) for level in levels]
        rows += [PaperRow([[]] * len(cells), lines, band, goes_on=True) for lines in _portions(lines_under)]
        return [*rows[:-1], replace(rows[-1], goes_on=False)]

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """As many rows as fit, and the others; nothing when not even one does."""
        room = available_height - self._head.height
        fits = 0
        while fits < len(self._rows) and self._rows[fits].height <= room:
            room -= self._rows[fits].height
            fits += 1
        while fits and self._rows[fits - 1].is_band:
            fits -= 1
        if not fits:
            return []
        rest = list(self._rows[fits:])
        if rest and rest[0].band and not rest[0].is_band:
            title = rest[0].band.removesuffix(CONTINUED) + CONTINUED
            rest.insert(0, self._band(title))
        return [
            Rows(self.grid, self.width, self._rows[:fits]),
            *([Rows(self.grid, self.width, rest)] if rest else []),
        ]

    def draw(self) -> None:
        top = self.height
        self._rule(top, 0.9)
        self._write(self._head, top)
        top -= self._head.height
        self._rule(top, 0.9)
        for row in self._rows:
            if row.is_band:
                self.canv.setFillColor(GREY)
                self.canv.rect(0, top - row.height, self.width, row.height, stroke=0, fill=1)
                self.canv.setFillColor(colors.black)
                write(self.canv, row.cells[0], PAD_SIDE, top - PAD_TOP)
            else:
                self._write(row, top)
            top -= row.height
            if not row.goes_on:
                self._rule(top, 0.35)

    def _write(self, row: PaperRow, top: float) -> None:
        left = 0.0
        for lines, wide, right in zip(row.cells, self._widths, self._rights, strict=True):
            write(self.canv, lines, left + PAD_SIDE, top - PAD_TOP, wide - 2 * PAD_SIDE, right)
            left += wide
        start = sum(self._widths[: self.grid.under_from])
        write(self.canv, row.under, start + PAD_SIDE, top - PAD_TOP - row.figures)

    def _rule(self, y: float, weight: float) -> None:
        self.canv.setLineWidth(weight)
        self.canv.setStrokeColor(colors.black if weight > 0.5 else HAIR)
        self.canv.line(0, y, self.width, y)


CONTINUED = ", continued"


def _portions(lines: Sequence[TextLine]) -> list[list[TextLine]]:
    """Lines in portions that are no taller than a row may be."""
    found: list[list[TextLine]] = [[]]
    room = TALLEST - PAD_TOP - PAD_BOTTOM
    for line in lines:
        if line.height > room:
            found.append([])
            room = TALLEST - PAD_TOP - PAD_BOTTOM
        found[-1].append(line)
        room -= line.height
    return found
