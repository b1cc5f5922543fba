"""“This dimension is twice any other of its kind”: a value held against all that are recorded. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from graftbook.editing.suggesting.suggestion import Suggestion
from graftbook.rulebook.slips import meant
from graftbook.rulebook.units import WORDED, NotAMeasure, read_measure

FEWEST = 5
"""Other values, below which nothing is usual."""
TIMES = 2.0


@dataclass(frozen=True, slots=True)
class Recorded:
    """A value that is recorded of another component, as written and in SI."""

    component: str
    written: str
    low: float
    high: float


def unlike_others(kind: str, quantity: str, written: str, others: Sequence[Recorded]) -> Sequence[Suggestion]:
    """What is likely meant where a value is twice the greatest, or half the least, of its kind.

    One suggestion without a value in its place where nothing likely can be said; none where it is usual, is
    no measure, or could be below zero by its kind.
    """
    if len(others) < FEWEST or quantity in WORDED:
        return []
    try:
        measure = read_measure(written, quantity)
    except NotAMeasure:
        return []
    least, greatest = min(others, key=lambda one: one.low), max(others, key=lambda one: one.high)
    if measure.low is None or measure.high is None or least.low <= 0:
        return []
    if measure.low >= TIMES * greatest.high:
        ground = f"twice any other of its kind: the greatest of {len(others)} is {_named(greatest)}"
    elif measure.high <= least.low / TIMES:
        ground = f"half any other of its kind: the least of {len(others)} is {_named(least)}"
    else:
        return []
    usual = (least.low, greatest.high)
    ways = meant(written, quantity, usual, usual)
    if not ways:
        return [Suggestion(f"Look at {written} again", f"this {kind} is {ground}")]
    return [
        Suggestion(f"{way} instead of {written}", f"this {kind} is {ground}", column="value", instead=way)
        for way in ways
    ]


def _named(recorded: Recorded) -> str:
    return f"{recorded.written} ({recorded.component})"
