"""Making a finding from a result and where it may lie; what a set does to all of them beside today's."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from graftbook.checks.fitted import BothSides
from graftbook.checks.verdict import (
    CAUTIONS,
    Figure,
    Finding,
    FindingKind,
    Limit,
    Verdict,
    before_after,
    figure,
    judge,
    opening,
    scaled,
    worst,
)

_SLACK = 1e-9
"""What a figure may differ from its bound by rounding alone, as a part of the bound."""

_LEAST_SLACK = 1e-12
"""The same in SI where the bound is nothing, or so small a volume or flow that a part of it says no more."""


@dataclass(frozen=True, slots=True)
class Bound:
    """The least and the greatest SI value of a judged figure, ends included."""

    low: float = -math.inf
    high: float = math.inf

    def holds(self, value: float) -> bool:
        return self._allowed(self.low) >= self.low - value and self._allowed(self.high) >= value - self.high

    def beyond(self, value: float) -> float:
        """How far `value` lies past the nearer end, in SI; less than nothing inside."""
        return max(self.low - value, value - self.high)

    @staticmethod
    def _allowed(end: float) -> float:
        return max(_SLACK * abs(end), _LEAST_SLACK) if math.isfinite(end) else 0.0


def at_least(low: float | None) -> Bound:
    """At least `low`; nothing is enough where the bound itself is not known."""
    return Bound(low=math.inf if low is None else low)


def at_most(high: float | None) -> Bound:
    """At most `high`; anything is too much where the bound itself is not known."""
    return Bound(high=-math.inf if high is None else high)


def undetermined(check: str, what: str, sides: BothSides[Any], limit: Limit | None = None) -> Finding:
    """The finding of a check that lacks inputs: it names each of them."""
    because = "; ".join(sides.wanting) or "something it needs is not fitted"
    return Finding(
        check=check,
        subject=check.split(".")[0],
        verdict=Verdict.not_determined,
        sentence=f"{opening(what)} cannot be worked out: {because}.",
        limit=limit,
        components=sides.used,
        missing=sides.missing,
        impossible=sides.impossible,
        caution=CAUTIONS.get(check.split(".")[0], ""),
    )


def against(
    check: str,
    what: str,
    sides: BothSides[float],
    limit: Limit,
    unit: str,
    bound: Bound,
    *,
    digits: int = 1,
    otherwise: Verdict = Verdict.fails,
    mend: str,
    more: tuple[Figure, ...] = (),
    say: Callable[[float | None, float], str] | None = None,
) -> Finding:
    """The finding of a check with one number and one limit.

    `bound` is where the SI value may lie. `more` are further figures. `mend` is said unless the check
    holds. `say` words today's and the new number where "what: before -> after" would not read well.
    The verdict is that of the set alone; a pass of its own judges what is fitted today.
    """
    if sides.after is None:
        return undetermined(check, what, sides, limit)
    main = figure(what, sides.before, sides.after, unit)
    verdict = judge(bound.holds(sides.after), limit, otherwise)
    numbers = f"{opening(what)}: {before_after(main.before, main.after, digits, unit)}"
    if say is not None:
        numbers = say(sides.before, sides.after)
    return Finding(
        check=check,
        subject=check.split(".")[0],
        verdict=verdict,
        sentence=f"{numbers}; {limit.text} ({limit.cited}).",
        figures=(main, *more),
        limit=limit,
        components=sides.used,
        mend="" if verdict is Verdict.holds else mend,
        caution=CAUTIONS.get(check.split(".")[0], ""),
        beyond=round(scaled(bound.beyond(sides.after), unit), digits),
    )


NONE: Mapping[str, Finding] = MappingProxyType({})

BY_THE_SET = (FindingKind.worse, FindingKind.newly_not_determined)
"""What the set itself has to answer for."""


def beside_today(
    today: Iterable[Finding], found: Iterable[Finding], unchanged: Mapping[str, Finding] = NONE
) -> list[Finding]:
    """The findings of a set, each with what the same check says of the vehicle as it stands.

    `unchanged`: check → today's finding beside itself, where that is made already. What fails today and
    does not apply any more is among them: the set mends it. A subject whose arithmetic gave way on one side
    has a finding of its own name there: it is not determined there.
    """
    was = {finding.check: finding for finding in today}
    now = {finding.check: finding for finding in found}
    beside = [
        unchanged[f.check]
        if f.check in unchanged and f is was.get(f.check)
        else replace(f, today=was.get(f.check, was.get(f.subject)))
        for f in now.values()
    ]
    gone = (f for f in was.values() if f.check not in now and f.subject not in now)
    return [*beside, *(_gone(f) for f in gone if f.verdict in (Verdict.fails, Verdict.caution))]


def _gone(was: Finding) -> Finding:
    return Finding(
        check=was.check,
        subject=was.subject,
        verdict=Verdict.holds,
        sentence=f"No longer applies with this set. Today: {was.sentence}",
        figures=tuple(Figure(f.name, f.after, None, f.unit) for f in was.figures),
        limit=was.limit,
        components=was.components,
        caution=was.caution,
        today=was,
    )


def verdict_of_set(findings: Iterable[Finding]) -> Verdict:
    """The worst of what the set makes worse or leaves undetermined; holds when there is nothing."""
    return worst([finding.verdict for finding in findings if finding.kind in BY_THE_SET])


def counted(findings: Iterable[Finding]) -> dict[FindingKind, int]:
    """How many findings there are of each kind."""
    found = Counter(finding.kind for finding in findings)
    return {kind: found[kind] for kind in FindingKind}


def headline(findings: Sequence[Finding]) -> str:
    """What the set makes worse, in one sentence; of what was so already it says nothing."""
    counts = counted(findings)
    worse, lost = (counts[kind] for kind in BY_THE_SET)
    if not worse and not lost:
        return "This set makes no check fail or worse."
    made = f"makes {_checks(worse)} fail or worse" if worse else "makes nothing fail"
    if not lost:
        return f"This set {made}."
    joined = "and" if worse else "but"
    return (
        f"This set {made}, {joined} {_checks(lost)} cannot be worked out any more, or not for what it brings."
    )


def _checks(number: int) -> str:
    return f"{number} check{'' if number == 1 else 's'}"
