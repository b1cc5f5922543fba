"""Every check of one set: what is fitted today against what would be."""

from collections.abc import Mapping

from api.checks import (
    brakes,
    corrosion,
    driveline,
    electrical,
    fuel,
    gearing,
    speedometer,
    suspension,
    unions,
    wheels,
)
from api.checks.fitted import Fitted
from api.checks.law import law_for
from api.checks.verdict import Finding, Verdict
from api.rulebook.model import RuleBook, Vehicle

_WORST_FIRST = (Verdict.fails, Verdict.caution, Verdict.not_determined, Verdict.holds)


def check_set(
    book: RuleBook,
    vehicle: Vehicle | None,
    today: Mapping[str, str | None],
    after: Mapping[str, str | None],
    market: str = "",
) -> list[Finding]:
    """Every finding of the set, subject by subject in order of safety.

    `today` and `after` map positions to component numbers, as `Solution.today` and `Solution.after`
    do. `market` chooses the law ("United States", else the UN regulations); empty: the variant's.
    """
    law = law_for(market or book.variant.market)
    was, new = Fitted(book, today, vehicle), Fitted(book, after, vehicle)
    return [
        *brakes.inspect(was, new, law),
        *electrical.inspect(was, new),
        *wheels.inspect(was, new),
        *gearing.inspect(was, new),
        *speedometer.inspect(was, new, law),
        *driveline.inspect(was, new),
        *corrosion.inspect(was, new),
        *unions.inspect(was, new),
        *suspension.inspect(was, new),
        *fuel.inspect(was, new),
    ]


def worst_first(findings: list[Finding]) -> list[Finding]:
    """The findings with the worst verdict first, otherwise in their order."""
    return sorted(findings, key=lambda f: _WORST_FIRST.index(f.verdict))


def changed(findings: list[Finding]) -> list[Finding]:
    """The findings whose verdict or figures the set changes."""
    return [
        f for f in findings if not f.already_so or any(figure.before != figure.after for figure in f.figures)
    ]
