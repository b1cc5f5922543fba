"""Budgets in whole units: the supplies of a characteristic must cover the demands."""

import math
from collections.abc import Iterator, Mapping

from graftbook.closure.search.problem import BudgetUse
from graftbook.rulebook.model import Budget
from graftbook.rulebook.scope import Fit, Scope

_DIGITS = 7
"""Contributions are rounded to this many digits of the greatest value that the book records.

Not more: with twelve digits the solver called a possible question impossible.
"""

MOST_KEPT = 100_000
"""Contributions of one vehicle that are remembered; more than these, and all are forgotten."""


def scale_of(scope: Scope, budget: Budget) -> float:
    """Whole units in one SI unit: the same for every question to the book."""
    scales: dict[str, float] = scope.index.notebook.setdefault("budget scales", {})
    if budget.name not in scales:
        greatest = 1e-9
        for component in scope.book.components.values():
            for kind in (budget.supply_kind, budget.demand_kind):
                measure = component.characteristics.get(kind)
                if measure is not None and measure.low is not None and measure.high is not None:
                    greatest = max(greatest, abs(measure.low), abs(measure.high))
        scales[budget.name] = 10.0 ** (_DIGITS - math.ceil(math.log10(greatest)))
    return scales[budget.name]


def units_of(scope: Scope, budget: Budget, fit: Fit) -> int:
    """Supply less demand of what sits there, in whole units; 0 when neither kind is recorded."""
    known: dict[tuple[str, Fit], int] = scope.notebook.setdefault("budget units", {})
    key = (budget.name, fit)
    if (found := known.get(key)) is None:
        if len(known) >= MOST_KEPT:
            known.clear()
        found = known[key] = round((scope.contribution(budget, fit) or 0.0) * scale_of(scope, budget))
    return found


def budget_use(scope: Scope, budget: Budget, domains: Mapping[str, list[str | None]]) -> BudgetUse:
    """The budget over the choices of a problem."""
    positions = scope.index.positions_of_budget[budget.name]
    today = {p: units_of(scope, budget, scope.today_fit(p)) for p in positions}
    inside = [p for p in positions if p in domains]
    return BudgetUse(
        budget,
        {p: {c: units_of(scope, budget, Fit(p, c)) for c in domains[p]} for p in inside},
        {p: today[p] for p in inside},
        sum(units for p, units in today.items() if p not in domains),
        sum(today.values()) >= 0,
    )


def improving_fits(scope: Scope, budget: Budget) -> Iterator[Fit]:
    """Whatever gives more, or takes less, than what sits there today."""
    for position in scope.index.positions_of_budget[budget.name]:
        now = units_of(scope, budget, scope.today_fit(position))
        for number in scope.options(position):
            if units_of(scope, budget, Fit(position, number)) > now:
                yield Fit(position, number)
