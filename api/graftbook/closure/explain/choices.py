"""For what was chosen: what the next best would be, and what it would cost more."""

from collections.abc import Iterator
from contextlib import suppress

from graftbook.closure.answer import Cause, Other, OtherWay, Outcome
from graftbook.closure.explain.reasons import Reason
from graftbook.closure.explain.solution import count_choices
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.eliminate import breaks_a_sum
from graftbook.closure.search.problem import Found, Problem
from graftbook.closure.search.solve import Solved, solve
from graftbook.closure.search.totals import difference, totals_of
from graftbook.rulebook.scope import LOOSE, Fit

MOST_ASKED = 24
"""A closure asks for the next best at this many choices; `why_not` answers for any other."""


def next_best(problem: Problem, solved: Solved, reasons: dict[str, Reason]) -> dict[str, tuple[Other, ...]]:
    """For each chosen change, the best set without it, as a difference to the best set.

    Choices nearest to a wish come first; those that the deadline does not reach are left out. Where it is
    proved that no set lacks the choice, there is none to name.
    """
    found, propagation = solved.found, solved.propagation
    chosen = [
        place
        for place, reason in sorted(reasons.items(), key=lambda item: (item[1].depth, item[0]))
        if not place.startswith(LOOSE) and count_choices(propagation, found, place, reason) > 1
    ]
    others: dict[str, tuple[Other, ...]] = {}
    asked = chosen if solved.elimination else chosen[:MOST_ASKED]
    with suppress(OutOfTime):
        for place in asked:
            problem.deadline.check()
            second, outcome = _best_without(problem, solved, place)
            if second is not None:
                others[place] = (_as_other(problem, found, second, outcome, place, reasons[place]),)
            elif outcome is Outcome.impossible:
                others[place] = ()
    return others


def _best_without(problem: Problem, solved: Solved, place: str) -> tuple[Found | None, Outcome]:
    """The best set with another component at the place, and whether that is proved."""
    if solved.elimination is not None:
        costs = solved.elimination.costs_of(place)
        others = [
            (cost, value or "", value)
            for value, cost in costs.items()
            if cost and value != solved.found.values[place]
        ]
        if not others:
            return None, Outcome.impossible
        second = solved.elimination.found_with(place, min(others)[2])
        if not breaks_a_sum(problem, second):
            return second, Outcome.proved
    try:
        fit = Fit(place, solved.found.values[place])
        second = solve(problem, problem.deadline.left(), [fit], unique=False).found
    except Unsolvable:
        return None, Outcome.impossible
    except OutOfTime as late:
        return late.found, Outcome.not_proved
    return second, Outcome.proved


def _as_other(
    problem: Problem, found: Found, second: Found, outcome: Outcome, place: str, reason: Reason
) -> Other:
    number = second.values[place]
    kept = problem.scope.is_today(Fit(place, number))
    way = _other_way(problem, found, second, reason) if kept or number is None else None
    extra = difference(totals_of(problem, found), totals_of(problem, second))
    return Other(number, extra, outcome, kept, OtherWay(way.position, way.component) if way else None)


def _other_way(problem: Problem, found: Found, second: Found, reason: Reason) -> Fit | None:
    """What meets the reason in the second set, else what that has instead of what the reason comes from."""
    ways = [fit for fit in _ways_to_meet(problem, reason) if problem.true_in(second.values, fit)]
    if ways := [fit for fit in ways if not problem.true_in(found.values, fit)] or ways:
        return min(ways, key=lambda fit: (problem.scope.is_today(fit), fit.component is None))
    parent = reason.because.parent
    if parent and second.values.get(parent) != found.values.get(parent):
        return Fit(parent, second.values.get(parent))
    return None


def _ways_to_meet(problem: Problem, reason: Reason) -> Iterator[Fit]:
    """What could meet the demand or cover the budget of a reason."""
    because = reason.because
    if reason.demand is not None:
        yield from reason.demand.one_of
        yield from (need.fit for need in reason.demand.loose)
    elif because.cause is Cause.budget:
        use = next(use for use in problem.budgets if use.budget.name == because.name)
        gains = [fit for fit, units in use.contributions.items() if units > use.today[fit.position]]
        yield from sorted(gains, key=lambda fit: (-use.contributions[fit], fit.position, fit.component or ""))
    elif because.cause is Cause.flaw:
        regrets = [regret for regret in problem.regrets if regret.name == because.name]
        yield from (fit for regret in regrets for fit in regret.unless)
