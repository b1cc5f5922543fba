"""Plain text for a terminal or a printer: 100 columns, no colour."""

import textwrap
from collections.abc import Iterator, Sequence
from decimal import Decimal

from graftbook.http.values import said_once

WIDTH = 100


def wrap(text: str, indent: int = 0, hang: int | None = None) -> Iterator[str]:
    """Lines of at most 100 columns; `hang` is the indent of the second and further lines."""
    first, rest = " " * indent, " " * (indent if hang is None else hang)
    yield from textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [""]


def amount(price: str | None, currency: str = "") -> str:
    """A price with thousands apart, or the plain word that it is unknown."""
    if price is None:
        return "price unknown"
    return f"{Decimal(price):,.2f} {currency}".rstrip()


def hours(minutes: int) -> str:
    """Labour as a fitter reads it: "9 h 40 min"."""
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min"
    return f"{whole} h {rest:02d} min" if rest else f"{whole} h"


def count(number: int, one: str, many: str = "") -> str:
    """ "1 change", "3 changes", "no changes"."""
    word = one if number == 1 else many or f"{one}s"
    return f"{number or 'no'} {word}"


def caution_lines(cautions: Sequence[str], defers: str = "") -> Iterator[str]:
    """Cautions as a list of them reads well, a paragraph each; `defers` is what a paper ends in."""
    for caution in said_once(cautions, defers):
        yield from wrap(caution)
