"""The text inside a paper's cells: sentences of two weights, wrapped into lines.

Own wrapping instead of the PDF library's paragraphs: an order of 400 lines wraps some 10,000 lines, and
without markup there is nothing in a text that could be taken for markup.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from graftbook.orders.papers.fonts import BOLD, REGULAR, runs, width
from graftbook.orders.papers.text import plain

SIZE = 7.5
SMALL = 6.4
LEADING = 1.28
"""The distance of lines as a multiple of the size of the letters."""


@dataclass(frozen=True, slots=True)
class TextRun:
    """One sentence of a cell; it starts on a line of its own."""

    text: str
    bold: bool = False
    size: float = SIZE


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line as it is printed: text of one weight and its width in points."""

    text: str
    font: str
    size: float
    width: float

    @property
    def height(self) -> float:
        return self.size * LEADING


Cell = str | Sequence[TextRun]
"""A cell of a table: a short text, or sentences."""


@lru_cache(maxsize=20_000)
def _width(text: str, font: str, size: float) -> float:
    return width(text, font, size)


def wrapped(cell: Cell, room: float) -> list[TextLine]:
    """The lines of a cell that is so many points wide; words that are longer are cut."""
    sentences = [TextRun(cell)] if isinstance(cell, str) else cell
    return [line for sentence in sentences for line in _lines(sentence, room)]


def _lines(said: TextRun, room: float) -> Iterator[TextLine]:
    font, size = (BOLD if said.bold else REGULAR), said.size
    blank = _width(" ", font, size)
    words: list[str] = []
    taken = 0.0
    for word in plain(said.text).split():
        for piece, wide in _cut(word, font, size, room):
            if words and taken + blank + wide > room:
                yield TextLine(" ".join(words), font, size, taken)
                words, taken = [], 0.0
            taken += wide + (blank if words else 0.0)
            words.append(piece)
    if words:
        yield TextLine(" ".join(words), font, size, taken)


def _cut(word: str, font: str, size: float, room: float) -> Iterator[tuple[str, float]]:
    """A word with its width, or the pieces of one that is wider than the room."""
    wide = _width(word, font, size) if len(word) < 60 else width(word, font, size)
    if wide <= room or len(word) == 1:
        yield word, wide
        return
    start = 0
    while start < len(word):
        end, taken = start, 0.0
        while end < len(word) and (end == start or taken + _width(word[end], font, size) <= room):
            taken += _width(word[end], font, size)
            end += 1
        yield word[start:end], taken
        start = end


def height(lines: Sequence[TextLine]) -> float:
    """Points that lines take below each other."""
    return sum(line.height for line in lines)


def write(
    canvas: Canvas, lines: Sequence[TextLine], x: float, top: float, room: float = 0, right: bool = False
) -> None:
    """Write lines below each other from the point (x, top); at the right edge of the room when asked to."""
    if not lines:
        return
    text = canvas.beginText()
    y = top
    for line in lines:
        y -= line.height
        text.setTextOrigin(x + room - line.width if right else x, y + line.size * 0.28)
        for font, piece in runs(line.text, line.font):
            text.setFont(font, line.size)
            text.textOut(piece)
    canvas.drawText(text)


class Block(Flowable):
    """Sentences as a flowable that is never split: for headings and the cells of small tables."""

    def __init__(self, said: Sequence[TextRun], right: bool = False) -> None:
        super().__init__()
        self._said, self._right = said, right

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self._room = available_width
        self._lines = wrapped(self._said, available_width)
        return available_width, height(self._lines)

    def draw(self) -> None:
        write(self.canv, self._lines, 0, height(self._lines), self._room, self._right)
