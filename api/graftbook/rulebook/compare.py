"""How recorded values are compared: pass, fail, or not determined when a value is missing."""

from collections.abc import Iterable, Mapping

from graftbook.rulebook.model import Comparator, Wanted
from graftbook.rulebook.units import Measure, same_value

EITHER = "either"
"""The word that equals every other word of its kind (a lamp that takes either polarity)."""


def agrees(
    one: Measure | None, comparator: Comparator, other: Measure | None, margin: float = 0.0
) -> bool | None:
    """Whether `one` stands in `comparator` to `other`; None when that is not determined.

    `margin` is in SI: added to the other side for `at least`, taken from it for `at most`, the
    tolerance for `equal`. A span counts with its worse end.
    """
    if one is None or other is None:
        return None
    low, high, other_low, other_high = one.low, one.high, other.low, other.high
    if low is None or high is None or other_low is None or other_high is None:
        return _words_agree(one, comparator, other)
    if comparator is Comparator.equal:
        return _near(low, other_low, margin) and _near(high, other_high, margin)
    if comparator is Comparator.at_least:
        return _not_below(low, other_high + margin)
    if comparator is Comparator.at_most:
        return _not_below(other_low - margin, high)
    return _not_below(low, other_low) and _not_below(other_high, high)


def has_all(characteristics: Mapping[str, Measure], wanted: Iterable[Wanted]) -> bool | None:
    """Whether every wanted value is there; None when one is not recorded and none fails."""
    verdict: bool | None = True
    for want in wanted:
        agreed = agrees(characteristics.get(want.kind), want.comparator, want.value)
        if agreed is False:
            return False
        if agreed is None:
            verdict = None
    return verdict


def _words_agree(one: Measure, comparator: Comparator, other: Measure) -> bool | None:
    if one.text is None or other.text is None or comparator is not Comparator.equal:
        return None
    return one.text == other.text or EITHER in (one.text, other.text)


def _near(a: float, b: float, tolerance: float) -> bool:
    return abs(a - b) <= tolerance or same_value(a, b) or same_value(abs(a - b), tolerance)


def _not_below(a: float, b: float) -> bool:
    return a >= b or same_value(a, b)
