"""For what was chosen: what else could sit there, and what the whole set would then cost more."""

from collections.abc import Iterator
from contextlib import suppress

from graftbook.closure.answer import Cause, Difference, Other, OtherWay, Outcome
from graftbook.closure.explain.reasons import Reason
from graftbook.closure.explain.solution import count_choices
from graftbook.closure.question import Criterion
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.eliminate import Elimination, breaks_a_sum
from graftbook.closure.search.packing import TooWide
from graftbook.closure.search.problem import Found, Problem
from graftbook.closure.search.solve import Solved, solve
from graftbook.closure.search.totals import difference, totals_of
from graftbook.rulebook.scope import LOOSE, Fit

MOST_ASKED = 24
"""Where a solver must be asked, a closure asks for the next best at this many choices."""

MOST_TOLD = 40
"""Alternatives of one place that are priced, the best ones."""

Figures = tuple[int, ...]


def alternatives(
    problem: Problem, solved: Solved, reasons: dict[str, Reason]
) -> dict[str, tuple[Other, ...]]:
    """For each chosen change, what else could sit there: what the best set with it costs more, best first.

    Last come those with which no set fulfils the question. Where elimination found the best set it knows
    them all; else the next best alone is asked for, at the choices nearest to a wish. What the deadline
    does not reach is left out.
    """
    chosen = [
        place
        for place, reason in sorted(reasons.items(), key=lambda item: (item[1].depth, item[0]))
        if not place.startswith(LOOSE) and count_choices(solved.propagation, solved.found, place, reason) > 1
    ]
    if solved.elimination is not None:
        with suppress(OutOfTime, TooWide):
            return _priced(problem, solved, solved.elimination, {place: reasons[place] for place in chosen})
    others: dict[str, tuple[Other, ...]] = {}
    with suppress(OutOfTime):
        for place in chosen[:MOST_ASKED]:
            problem.deadline.check()
            others[place] = _next_best(problem, solved, place, reasons[place])
    return others


def _priced(
    problem: Problem, solved: Solved, elimination: Elimination, reasons: dict[str, Reason]
) -> dict[str, tuple[Other, ...]]:
    """All alternatives of some places. Raises OutOfTime, and TooWide where a further budget is too wide."""
    while True:  # each turn looks at the budgets that some alternative breaks
        seconds = {place: _ranked(elimination, place, solved.found) for place in reasons}
        broken = {
            use.budget.name: use
            for each in seconds.values()
            for _, second in each
            for use in elimination.broken_by(second)
        }
        if not broken:
            break
        elimination.look_at(broken.values())
    others = {}
    for place, reason in reasons.items():
        problem.deadline.check()
        kept_to = [(cost, second) for cost, second in seconds[place] if not breaks_a_sum(problem, second)]
        if seconds[place] and not kept_to:
            others[place] = _next_best(problem, solved, place, reason)
            continue
        told = [_as_priced(problem, solved, elimination, one, place, reason) for one in kept_to]
        with_none = [Fit(place, number) for number in elimination.without_a_set(place)]
        others[place] = (*told, *(_impossible(problem, fit) for fit in with_none))
    return others


def _ranked(elimination: Elimination, place: str, found: Found) -> list[tuple[Figures, Found]]:
    """For each other value of a place what the best set with it costs, and that set; the best first."""
    costs = elimination.costs_of(place).items()
    ranked = sorted(
        (cost, value or "", value) for value, cost in costs if cost and value != found.values[place]
    )
    return [(cost, elimination.found_with(place, value)) for cost, _, value in ranked[:MOST_TOLD]]


def _as_priced(
    problem: Problem,
    solved: Solved,
    elimination: Elimination,
    priced: tuple[Figures, Found],
    place: str,
    reason: Reason,
) -> Other:
    cost, second = priced
    best = elimination.costs_of(place)[solved.found.values[place]]
    assert best is not None
    there, here = elimination.by_name(cost), elimination.by_name(best)
    if there["unknown"] or here["unknown"]:
        extra = difference(totals_of(problem, solved.found), totals_of(problem, second))
    else:
        figures = {criterion: there[criterion.name] - here[criterion.name] for criterion in Criterion}
        extra = Difference({criterion: figure for criterion, figure in figures.items() if figure})
    return _as_other(problem, solved.found, second, Outcome.proved, place, reason, extra)


def _impossible(problem: Problem, fit: Fit) -> Other:
    return Other(fit.component, outcome=Outcome.impossible, kept=problem.scope.is_today(fit))


def _next_best(problem: Problem, solved: Solved, place: str, reason: Reason) -> tuple[Other, ...]:
    """The best set with another component at the place; none where it is proved that there is none."""
    outcome, second = Outcome.proved, None
    try:
        fit = Fit(place, solved.found.values[place])
        second = solve(problem, problem.deadline.left(), [fit], unique=False).found
    except Unsolvable:
        return ()
    except OutOfTime as late:
        if late.found is None:
            raise
        outcome, second = Outcome.not_proved, late.found
    extra = difference(totals_of(problem, solved.found), totals_of(problem, second))
    return (_as_other(problem, solved.found, second, outcome, place, reason, extra),)


def _as_other(
    problem: Problem,
    found: Found,
    second: Found,
    outcome: Outcome,
    place: str,
    reason: Reason,
    extra: Difference,
) -> Other:
    number = second.values[place]
    kept = problem.scope.is_today(Fit(place, number))
    way = _other_way(problem, found, second, reason) if kept or number is None else None
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
        gains = [(units, fit) for fit, units in use.each() if units > use.today[fit.position]]
        gains.sort(key=lambda gain: (-gain[0], gain[1].position, gain[1].component or ""))
        yield from (fit for _, fit in gains)
    elif because.cause is Cause.flaw:
        regrets = [regret for regret in problem.regrets if regret.name == because.name]
        yield from (fit for regret in regrets for fit in regret.unless)
