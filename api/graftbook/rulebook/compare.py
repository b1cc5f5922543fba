"""How recorded values are compared, pass, fail, or not determined when a value is missing; and what a
component gives to a budget and takes from it. One definition, for the search and for the checks.
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

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


LOAD, TIME, SHARE = "current_drawn", "load_time", "load_share"
"""The kinds of an electrical load: its current when on, when that is, and for what part of a drive."""

USUAL_SHARE: Mapping[str, float] = MappingProxyType({"brief": 0.0})
"""The share of a load that records none, by when it is on: a brief one draws on the battery; else 1."""

Characteristics = Mapping[str, Measure]


def share_of(time: str | None, recorded: float | None) -> float:
    """The part of a load that the charging machine must carry."""
    return USUAL_SHARE.get(time or "", 1.0) if recorded is None else recorded


def given(characteristics: Characteristics, kind: str) -> float | None:
    """The least that one piece gives, in SI; None when it is not recorded."""
    measure = characteristics.get(kind)
    return None if measure is None else measure.low or 0.0


def taken(characteristics: Characteristics, kind: str) -> float | None:
    """The most that one piece takes, in SI, an electrical load by its share; None when it is not recorded."""
    measure = characteristics.get(kind)
    if measure is None:
        return None
    most = measure.high or 0.0
    if kind != LOAD:
        return most
    time, recorded = characteristics.get(TIME), characteristics.get(SHARE)
    return most * share_of(time.text if time else None, recorded.high if recorded else None)
