"""Labels for the store's places and numbers: A4 sheets of 24, each with its words and a bar code."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, PageBreak, Spacer

from graftbook.orders.papers import barcode
from graftbook.orders.papers.cells import TextRun, wrapped, write
from graftbook.orders.papers.layout import Paper, bytes_of

ACROSS, DOWN = 3, 8
WIDE, TALL = 60 * mm, 32 * mm
INSIDE = 3 * mm
NARROWEST = 0.19 * mm
"""A module is no narrower: what counters' readers and office printers still hold."""
WIDEST = 0.4 * mm
BARS_TALL = 11 * mm


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on one label: large, small, and what its bar code says."""

    large: str
    small: str
    coded: str

    @property
    def has_bars(self) -> bool:
        """Whether its bar code can be written, and read at the width of a label."""
        return (
            barcode.can_be_written(self.coded)
            and (WIDE - 2 * INSIDE) / barcode.modules(self.coded) >= NARROWEST
        )


def labels_pdf(labels: Sequence[Label]) -> bytes:
    """The labels in their order, row by row; the same labels give the same bytes."""
    paper = Paper(
        title="Labels",
        running="Labels of the store",
        foot="Print at full size, not fitted to the page.",
        day=None,
    )
    story: list[Flowable] = []
    for start in range(0, len(labels), ACROSS):
        if start and start % (ACROSS * DOWN) == 0:
            story.append(PageBreak())
        story.append(_Row(labels[start : start + ACROSS]))
    return bytes_of(paper, [story or [Spacer(0, 1)]])


class _Row(Flowable):
    """Labels side by side, a hair line round each to cut along."""

    def __init__(self, labels: Sequence[Label]) -> None:
        super().__init__()
        self._labels = labels
        self.width, self.height = WIDE * ACROSS, TALL

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        for place, label in enumerate(self._labels):
            _draw(self.canv, label, place * WIDE)


def _draw(pen: Canvas, label: Label, left: float) -> None:
    pen.setLineWidth(0.3)
    pen.rect(left, 0, WIDE, TALL, stroke=1, fill=0)
    room = WIDE - 2 * INSIDE
    large = wrapped([TextRun(label.large, bold=True, size=12)], room)[:1]
    small = wrapped([TextRun(label.small, size=7)], room)[:2]
    write(pen, large, left + INSIDE, TALL - 2 * mm)
    write(pen, small, left + INSIDE, TALL - 2 * mm - sum(line.height for line in large))
    if label.has_bars:
        _draw_bars(pen, label.coded, left, room)
    else:
        write(
            pen,
            wrapped([TextRun("No bar code: too long, or letters that it lacks", size=6)], room),
            left + INSIDE,
            6 * mm,
        )


def _draw_bars(pen: Canvas, coded: str, left: float, room: float) -> None:
    module = min(WIDEST, room / barcode.modules(coded))
    start = left + (WIDE - module * barcode.modules(coded)) / 2
    for at, width in barcode.bars(coded):
        pen.rect(start + at * module, 5 * mm, width * module, BARS_TALL, stroke=0, fill=1)
    line = wrapped([TextRun(coded, size=7)], room)[:1]
    write(pen, line, left + (WIDE - line[0].width) / 2, 4.6 * mm)
