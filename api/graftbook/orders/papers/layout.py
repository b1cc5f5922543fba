"""The look that every PDF paper shares: the page with its foot, the heading, boxes, sums, tables."""

import io
from calendar import timegm
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.lib.utils import TimeStamp
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate, Spacer, Table

from graftbook.orders.papers.cells import SIZE, SMALL, Block, TextLine, TextRun, height, wrapped, write
from graftbook.orders.papers.fonts import BOLD, REGULAR, letters
from graftbook.orders.papers.rows import HAIR, Grid, Rows
from graftbook.orders.papers.text import plain

MARGIN = 14 * mm
_FONT = ("FONT", (0, 0), (-1, -1), REGULAR, SIZE)
"""Without it a table names a font that is not in the document."""

FOOT_LINES = 4
"""The sentence at each page's foot takes no more lines; then the paper's last box has the whole of it."""


@dataclass(frozen=True, slots=True)
class Paper:
    """What a document says on each page and in its metadata.

    `foot` is the sentence that defers; `running` names the document at the foot; `day` goes into the metadata
    (never the clock's), without one it is the first day of 2000.
    """

    title: str
    running: str
    foot: str
    day: date | None
    author: str = ""

    @property
    def width(self) -> float:
        """Points between the margins."""
        return float(A4[0] - 2 * MARGIN)


def bytes_of(paper: Paper, parts: Iterable[Iterable[Flowable]]) -> bytes:
    """The document of these parts: the same give the same bytes, whenever it is made."""
    letters(REGULAR), letters(BOLD)
    foot = _foot(paper)[:FOOT_LINES]
    bottom = 10 * mm + height(foot) + 10
    frame = Frame(MARGIN, bottom, paper.width, A4[1] - bottom - 11 * mm, 0, 0, 0, 0)
    written = io.BytesIO()
    document = BaseDocTemplate(
        written, pagesize=A4, title=plain(paper.title), author=plain(paper.author), creator="Graftbook",
        subject=plain(paper.running), initialFontName=REGULAR,
    )  # fmt: skip
    document.addPageTemplates(PageTemplate("page", [frame]))

    def canvas(*args: Any, **options: Any) -> Canvas:
        return _Counted(paper, foot, *args, **{**options, "invariant": 1})

    document.build([*chain.from_iterable(parts)], canvasmaker=canvas)
    return written.getvalue()


def _foot(paper: Paper) -> list[TextLine]:
    return wrapped([TextRun(paper.foot, size=SMALL)], paper.width)


def foot_is_whole(paper: Paper) -> bool:
    """Whether each page's foot has the whole of the sentence that defers."""
    return len(_foot(paper)) <= FOOT_LINES


class _Counted(Canvas):
    """A canvas that keeps its pages until it knows how many there are, then writes each foot."""

    def __init__(self, paper: Paper, foot: Sequence[TextLine], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._paper, self._foot = paper, foot
        self._running = wrapped([TextRun(paper.running, size=SMALL)], paper.width - 28 * mm)[:1]
        self._kept: list[dict[str, Any]] = []
        stamp = TimeStamp(invariant=1)
        made = (paper.day or date(2000, 1, 1)).timetuple()
        stamp.lt, stamp.YMDhms, stamp.t = made, made[:6], timegm(made)
        self._doc._timeStamp = stamp  # type: ignore[attr-defined]  # its types leave out what is its own

    def showPage(self) -> None:
        self._kept.append(dict(self.__dict__))
        self._startPage()  # type: ignore[attr-defined]  # likewise

    def save(self) -> None:
        pages = self._kept
        for number, kept in enumerate(pages, 1):
            self.__dict__.update(kept)
            self._write_foot(f"page {number} of {len(pages)}")
            super().showPage()
        super().save()

    def _write_foot(self, page: str) -> None:
        wide = self._paper.width
        top = 10 * mm + height(self._foot)
        self.setStrokeColor(colors.black)
        self.setLineWidth(0.9)
        self.line(MARGIN, top + 3, MARGIN + wide, top + 3)
        write(self, self._foot, MARGIN, top)
        write(self, self._running, MARGIN, 9.2 * mm)
        write(self, wrapped([TextRun(page, bold=True, size=SMALL)], wide), MARGIN, 9.2 * mm, wide, right=True)


def heading(text: str, needs: float) -> list[Flowable]:
    """A heading; it goes to the next page when fewer than `needs` points are left below it."""
    return [
        CondPageBreak(needs + 26),
        Spacer(0, 10),
        Block([TextRun(text, bold=True, size=9.5)]),
        Spacer(0, 2),
    ]


def letterhead(paper: Paper, house: str, title: str, kind: str) -> list[Flowable]:
    """The house's own lines on the left, what the paper is on the right, a heavy rule below."""
    first, *more = [line for line in map(plain, house.splitlines()) if line][:9] or [""]
    mine = Block([TextRun(first[:160], bold=True, size=9), *(TextRun(line[:160], size=8) for line in more)])
    what = Block([TextRun(kind[:160], size=9), TextRun(plain(title)[:160], bold=True, size=14)], right=True)
    table = Table([[mine, what]], colWidths=[paper.width * 0.42, paper.width * 0.58], hAlign="LEFT")
    table.setStyle(
        [_FONT, ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
         ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 2.2, colors.black)]
    )  # fmt: skip
    return [table]


def strip(paper: Paper, facts: Sequence[tuple[str, object]]) -> list[Flowable]:
    """Short facts side by side, each below its small label."""
    cells = [
        Block([TextRun(label, size=SMALL), TextRun(plain(value)[:80], bold=True, size=8.5)])
        for label, value in facts
    ]
    table = Table([cells], colWidths=[paper.width / len(cells)] * len(cells), hAlign="LEFT", spaceAfter=8)
    table.setStyle(
        [_FONT, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 5),
         ("LEFTPADDING", (0, 0), (0, 0), 0), ("LINEBEFORE", (1, 0), (-1, -1), 0.4, HAIR)]
    )  # fmt: skip
    return [table]


def sums(paper: Paper, rows: Sequence[tuple[str, str]], wide: float = 82 * mm) -> list[Flowable]:
    """Labels and amounts at the right edge; the last is the total."""
    table = Table([list(row) for row in rows], colWidths=[wide - 32 * mm, 32 * mm], hAlign="RIGHT")
    last = len(rows) - 1
    table.setStyle(
        [("FONT", (0, 0), (-1, -1), REGULAR, 8, 10), ("ALIGN", (1, 0), (1, -1), "RIGHT"),
         ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
         ("FONT", (0, last), (-1, last), BOLD, 9, 11), ("NOSPLIT", (0, 0), (-1, -1)),
         ("LINEABOVE", (0, last), (-1, last), 0.9, colors.black), ("RIGHTPADDING", (1, 0), (1, -1), 3.5)]
    )  # fmt: skip
    return [Spacer(0, 5), table]


def beside(
    paper: Paper, grid: Grid, said: Sequence[TextRun], rows: Sequence[tuple[str, str]]
) -> list[Flowable]:
    """A short grid with a sentence under it, and the sums at its right; never parted."""
    wide = paper.width * 0.58
    shown = Rows(grid, wide)
    pair = Table([[shown, sums(paper, rows, paper.width - wide - 12)]], colWidths=[wide, paper.width - wide])
    pair.setStyle(
        [_FONT, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
         ("RIGHTPADDING", (0, 0), (-1, -1), 0), ("NOSPLIT", (0, 0), (-1, -1))]
    )  # fmt: skip
    return [Spacer(0, 5), pair, Spacer(0, 3), Block(said)]


def table(paper: Paper, grid: Grid, title: str = "") -> list[Flowable]:
    """A grid below its heading; nothing when it has no rows."""
    if not grid.rows:
        return []
    rows = Rows(grid, paper.width)
    return [*(heading(title, rows.beginning) if title else []), rows]


def box(paper: Paper, label: str, sentences: Sequence[str]) -> list[Flowable]:
    """Sentences in a frame with a black label: what must not be overlooked. None, no box."""
    lines = [TextRun(sentence, size=8) for sentence in sentences if plain(sentence).strip()]
    return (
        [Spacer(0, 6), Boxed(label, paper.width, wrapped(lines, paper.width - Boxed.TAG - 12))]
        if lines
        else []
    )


class Boxed(Flowable):
    """The frame of a box; its lines may go on upon the next page, below the same label."""

    TAG = 27 * mm
    SHORT = 250.0
    """Points: a box that takes less stands on one page."""

    def __init__(self, label: str, wide: float, lines: Sequence[TextLine]) -> None:
        super().__init__()
        self._label, self._lines = label, lines
        self.width, self.height = wide, height(lines) + 8

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        fits = int((available_height - 8) // (self._lines[0].height))
        if fits < 1 or self.height < self.SHORT:
            return []
        return [
            Boxed(self._label, self.width, lines)
            for lines in (self._lines[:fits], self._lines[fits:])
            if lines
        ]

    def draw(self) -> None:
        pen = self.canv
        pen.setStrokeColor(colors.black)
        pen.setFillColor(colors.black)
        pen.rect(0, 0, self.TAG, self.height, stroke=0, fill=1)
        pen.setLineWidth(0.9)
        pen.rect(0, 0, self.width, self.height, stroke=1, fill=0)
        pen.setFillColor(colors.white)
        write(
            pen,
            wrapped([TextRun(self._label, bold=True, size=SIZE)], self.TAG - 10)[:1],
            6,
            self.height - 3.6,
        )
        pen.setFillColor(colors.black)
        write(pen, self._lines, self.TAG + 6, self.height - 3)
