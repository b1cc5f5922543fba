"""“Parts like this one have these companions”: what others at the same places ask for. Pure."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from graftbook.editing.suggesting.suggestion import Suggestion

FEWEST = 2
"""Other parts with the companion, below which it is chance."""
SHARE = 0.5
MOST = 5


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
    enough = [(fit, by) for fit, by in having.items() if len(by) >= max(FEWEST, SHARE * len(others))]
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
