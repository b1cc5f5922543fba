"""The fonts of the PDF papers: Noto Sans, and FiraGO for what Noto Sans has no letter for.

Both come from the package `pymupdf-fonts` (SIL Open Font License 1.1). What neither has is shown as �,
so that nobody takes the text for whole.
"""

import io
from collections.abc import Iterator
from functools import cache
from itertools import groupby
from unicodedata import category

import pymupdf_fonts
from reportlab.pdfbase.pdfmetrics import registerFont, stringWidth
from reportlab.pdfbase.ttfonts import TTFont

from graftbook.orders.papers.text import REPLACEMENT

REGULAR = "GraftbookText"
BOLD = "GraftbookBold"
OTHER = {REGULAR: "GraftbookTextOther", BOLD: "GraftbookBoldOther"}
"""Font → the one that is asked next for a letter."""

FILES = {REGULAR: "notos", BOLD: "notosbo", OTHER[REGULAR]: "figo", OTHER[BOLD]: "figbo"}
"""Font → its name in the package."""


@cache
def letters(font: str) -> frozenset[str]:
    """The letters that a font can show; registers the font when it is asked for first."""
    known = TTFont(font, io.BytesIO(pymupdf_fonts.fontbuffers[FILES[font]]()))
    registerFont(known)
    return frozenset(map(chr, known.face.charToGlyph))


def runs(text: str, font: str) -> Iterator[tuple[str, str]]:
    """Text cut where the font changes, as (font, text)."""
    if letters(font).issuperset(text):
        yield font, text
        return
    first, other = letters(font), letters(OTHER[font])
    shown = "".join(letter if letter in first or letter in other else _instead_of(letter) for letter in text)
    for own, piece in groupby(shown, lambda letter: letter in first):
        yield font if own else OTHER[font], "".join(piece)


def _instead_of(letter: str) -> str:
    """What stands for a letter that no font has; marks and formats that take no room leave nothing."""
    return "" if category(letter) in ("Mn", "Me", "Cf") else REPLACEMENT


def width(text: str, font: str, size: float) -> float:
    """Points that a line takes."""
    return sum(float(stringWidth(piece, name, size)) for name, piece in runs(text, font))
