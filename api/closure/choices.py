"""For what was chosen: what the next best would be, and what it would cost more."""

from api.closure.answer import Other, Outcome
from api.closure.deadline import OutOfTime
from api.closure.explain import Reason
from api.closure.problem import Found, Problem
from api.closure.propagate import Propagation
from api.closure.solution import count_choices
from api.closure.solve import Unsolvable, solve
from api.closure.totals import difference, totals_of
from api.rulebook.scope import LOOSE, Fit

MOST_ASKED = 24
"""A closure asks for the next best at this many choices; `why_not` answers for any other."""


def next_best(
    problem: Problem, found: Found, propagation: Propagation, reasons: dict[str, Reason]
) -> dict[str, tuple[Other, ...]]:
    """For each chosen change, the best set without it, as a difference to the best set.

    Choices nearest to a wish come first; those that the deadline does not reach have none.
    """
    chosen = [
        place
        for place, reason in sorted(reasons.items(), key=lambda item: (item[1].depth, item[0]))
        if not place.startswith(LOOSE) and count_choices(propagation, place, reason) > 1
    ]
    others = {}
    for place in chosen[:MOST_ASKED]:
        if problem.deadline.passed:
            break
        second, outcome = _best_without(problem, Fit(place, found.values[place]))
        if second is not None:
            others[place] = (_as_other(problem, found, second, outcome, place, reasons[place]),)
    return others


def _best_without(problem: Problem, fit: Fit) -> tuple[Found | None, Outcome]:
    """The best set that lacks a fit, and whether that is proved."""
    try:
        second, _, _ = solve(problem, problem.deadline.left(), [fit], unique=False)
    except Unsolvable:
        return None, Outcome.impossible
    except OutOfTime as late:
        return late.found, Outcome.not_proved
    return second, Outcome.proved


def _as_other(
    problem: Problem, found: Found, second: Found, outcome: Outcome, place: str, reason: Reason
) -> Other:
    fit = Fit(place, second.values[place])
    if fit.component is None or problem.scope.is_today(fit):
        fit = _served_by(problem, second, reason) or fit
    extra = difference(totals_of(problem, found), totals_of(problem, second))
    elsewhere = "" if fit.is_loose or fit.position == place else fit.position
    return Other(fit.component or "", extra, outcome, elsewhere)


def _served_by(problem: Problem, second: Found, reason: Reason) -> Fit | None:
    """What meets the reason instead, elsewhere or loose."""
    demand = reason.demand
    if demand is None:
        return None
    for fit in (*demand.one_of, *(need.fit for need in demand.loose)):
        if fit.component and problem.true_in(second.values, fit) and not problem.scope.is_today(fit):
            return fit
    return None
