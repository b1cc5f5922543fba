"""Making a finding from a result today and with the set fitted."""

from collections.abc import Callable
from typing import Any

from graftbook.checks.bounds import Bound
from graftbook.checks.fitted import BothSides
from graftbook.checks.verdict import (
    CAUTIONS,
    Figure,
    Finding,
    Limit,
    Verdict,
    before_after,
    figure,
    judge,
    opening,
    scaled,
)


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
    mend: str = "",
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
