"""Suggestions to whoever types a record: what to say too, on what ground. Pure; none is taken by itself.

"Parts like this one have these companions", "ordered together in eleven of twelve orders", "this dimension is
twice any other of its kind".
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from graftbook.rulebook.slips import meant
from graftbook.rulebook.units import WORDED, NotAMeasure, read_measure

MOST = 5
FEWEST_ALIKE = 2
"""Other parts with the companion, below which it is chance."""
SHARE_ALIKE = 0.5
FEWEST_ORDERS = 4
SHARE_ORDERED = 0.75
FEWEST_VALUES = 5
"""Other values, below which nothing is usual."""
TIMES = 2.0


@dataclass(frozen=True, slots=True)
class Suggestion:
    """`fields` fill the form of a new record of `kind`; `instead` may stand in `column`."""

    words: str
    ground: str
    kind: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    column: str = ""
    instead: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One alternative of a companion rule: the component that demands, what it asks for, and why."""

    component: str
    fit: str
    reason: str


def companions_like(
    number: str, own: Collection[str], like: Collection[str], rules: Iterable[Rule]
) -> Sequence[Suggestion]:
    """Companions that at least half of the parts like this one have, and this one has not; most first."""
    others = set(like) - {number}
    having: dict[str, dict[str, str]] = defaultdict(dict)
    for rule in rules:
        if rule.component in others and rule.fit not in own and rule.fit != number:
            having[rule.fit].setdefault(rule.component, rule.reason)
    enough = [
        (fit, by) for fit, by in having.items() if len(by) >= max(FEWEST_ALIKE, SHARE_ALIKE * len(others))
    ]
    enough.sort(key=lambda one: (-len(one[1]), one[0]))
    return [_suggestion(number, fit, by, len(others)) for fit, by in enough[:MOST]]


def _suggestion(number: str, fit: str, by: dict[str, str], others: int) -> Suggestion:
    first = min(by)
    return Suggestion(
        f"Companion {fit}",
        f"{len(by)} of {others} other parts at its places have it; {first} because: {by[first].rstrip('.')}",
        kind="companion",
        fields={"component": number, "fit": fit, "reason": by[first]},
    )


def ordered_together(
    number: str, own: Collection[str], orders: int, together: Mapping[str, int]
) -> Sequence[Suggestion]:
    """Parts in three of four lists that order this one; `together`: other number → lists with both."""
    if orders < FEWEST_ORDERS:
        return []
    found = [
        (count, other)
        for other, count in together.items()
        if count >= SHARE_ORDERED * orders and other not in own and other != number
    ]
    return [
        Suggestion(
            f"Companion {other}",
            f"ordered together in {count} of {orders} orders",
            kind="companion",
            fields={"component": number, "fit": other},
        )
        for count, other in sorted(found, key=lambda one: (-one[0], one[1]))[:MOST]
    ]


@dataclass(frozen=True, slots=True)
class OtherRecorded:
    """A value that is recorded of another component, as written and in SI."""

    component: str
    written: str
    low: float
    high: float


def unlike_others(
    kind: str, quantity: str, written: str, others: Sequence[OtherRecorded]
) -> Sequence[Suggestion]:
    """What is likely meant where a value is twice the greatest, or half the least, of its kind.

    One suggestion without a value in its place where nothing likely can be said; none where it is usual, is
    no measure, or could be below zero by its kind.
    """
    if len(others) < FEWEST_VALUES or quantity in WORDED:
        return []
    try:
        measure = read_measure(written, quantity)
    except NotAMeasure:
        return []
    least, greatest = min(others, key=lambda one: one.low), max(others, key=lambda one: one.high)
    if measure.low is None or measure.high is None or least.low <= 0:
        return []
    if measure.low >= TIMES * greatest.high:
        ground = (
            f"twice any other of its kind: the greatest of {len(others)} is {_value_and_component(greatest)}"
        )
    elif measure.high <= least.low / TIMES:
        ground = f"half any other of its kind: the least of {len(others)} is {_value_and_component(least)}"
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


def _value_and_component(recorded: OtherRecorded) -> str:
    return f"{recorded.written} ({recorded.component})"
