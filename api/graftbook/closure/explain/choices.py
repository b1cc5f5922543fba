"""For what was chosen: what else could sit there, and what the whole set would then cost more.

Then further sets: the next best that do not dominate each other on price, visible changes and labour. Each is
the best of all sets that can be made of its own parts: nothing in it is to spare. What must only be worse
than the others in something could be made so by a part that nobody asks for.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any

from graftbook.closure.answer import Cause, Other, OtherWay, Outcome
from graftbook.closure.criteria import Criterion, Difference, Totals
from graftbook.closure.explain.reasons import Reason
from graftbook.closure.explain.solution import count_choices
from graftbook.closure.search.concede import TooHard
from graftbook.closure.search.constrain import Model, Unsolvable
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.eliminate import Elimination, breaks_a_sum
from graftbook.closure.search.packing import TooWide
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.solve import Solved, model_of, solve
from graftbook.closure.search.totals import (
    difference,
    loose_quantities,
    totals_of,
    unknown_count,
    whole_preference,
)
from graftbook.rulebook.scope import LOOSE, Fit

MOST_ASKED = 24
"""Where a solver must be asked, a closure asks for the next best at this many choices."""

MOST_TOLD = 40
"""Alternatives of one place that are priced, the best ones."""

Figures = tuple[int, ...]


def alternatives(
    problem: SearchProblem, solved: Solved, reasons: dict[str, Reason]
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
    asked = _Choices(problem, solved, {place: reasons[place] for place in chosen})
    if solved.elimination is not None:
        with suppress(OutOfTime, TooWide):
            return asked.priced(solved.elimination)
    return asked.next_bests()


@dataclass
class _Choices:
    """The places of one set at which there was a choice, with their reasons, nearest to a wish first."""

    problem: SearchProblem
    solved: Solved
    reasons: dict[str, Reason]

    @cached_property
    def totals(self) -> Totals:
        """What the set itself comes to."""
        return totals_of(self.problem, self.solved.found)

    def next_bests(self) -> dict[str, tuple[Other, ...]]:
        """The next best alone, at as many places as the deadline reaches."""
        others: dict[str, tuple[Other, ...]] = {}
        with suppress(OutOfTime):
            for place in list(self.reasons)[:MOST_ASKED]:
                self.problem.deadline.check()
                others[place] = self.next_best(place)
        return others

    def next_best(self, place: str) -> tuple[Other, ...]:
        """The best set with another component at the place; none where it is proved that there is none."""
        outcome = Outcome.proved
        if (conceded := self._by_concession(place)) is not None:
            return conceded
        try:
            fit = Fit(place, self.solved.found.values[place])
            second = solve(self.problem, self.problem.deadline.left(), [fit], unique=False).found
        except Unsolvable:
            return ()
        except OutOfTime as late:
            if late.found is None:
                raise
            outcome, second = Outcome.not_proved, late.found
        return (
            self.as_other(place, second.values[place], lambda: second, self.difference_to(second), outcome),
        )

    def _by_concession(self, place: str) -> tuple[Other, ...] | None:
        """The next best as concession goes on to it; None where it does not settle that."""
        if self.solved.concession is None:
            return None
        try:
            next_best = self.solved.concession.next_best(place, self.solved.found.values[place])
        except TooHard:
            return None
        if next_best is None:
            return ()
        second, more = next_best
        if breaks_a_sum(self.problem, second):
            return None
        unknown = self.totals.unknown_prices or more["unknown"]
        extra = self.difference_to(second) if unknown else _as_difference(more)
        return (self.as_other(place, second.values[place], lambda: second, extra, Outcome.proved),)

    def priced(self, elimination: Elimination) -> dict[str, tuple[Other, ...]]:
        """All alternatives. Raises OutOfTime, and TooWide where a further budget is too wide."""
        while True:  # each turn looks at the budgets that some alternative breaks
            ranked = {place: self.ranked(elimination, place) for place in self.reasons}
            broken = {
                use.budget.name: use
                for place, each in ranked.items()
                for _, value in each
                if elimination.breakable
                for use in elimination.broken_by(elimination.found_with(place, value))
            }
            if not broken:
                break
            elimination.look_at(broken.values())
        return {place: self.alternatives(elimination, place, each) for place, each in ranked.items()}

    def ranked(self, elimination: Elimination, place: str) -> list[tuple[Figures, str | None]]:
        """For each other value of a place what the best set with it costs; the best first."""
        costs, own = elimination.costs_of(place).items(), self.solved.found.values[place]
        ranked = sorted((cost, value or "", value) for value, cost in costs if cost and value != own)
        return [(cost, value) for cost, _, value in ranked[:MOST_TOLD]]

    def alternatives(
        self, elimination: Elimination, place: str, ranked: list[tuple[Figures, str | None]]
    ) -> tuple[Other, ...]:
        """The alternatives of one place; the next best alone where those that are known break a sum."""
        self.problem.deadline.check()
        kept_to = ranked
        if elimination.breakable or self.problem.question.limits.price_at_most is not None:
            kept_to = [
                (cost, value)
                for cost, value in ranked
                if not breaks_a_sum(self.problem, elimination.found_with(place, value))
            ]
        if ranked and not kept_to:
            return self.next_best(place)
        others = [self.as_priced(elimination, place, cost, value) for cost, value in kept_to]
        return (*others, *(self.impossible(place, number) for number in elimination.without_a_set(place)))

    def as_priced(self, elimination: Elimination, place: str, cost: Figures, value: str | None) -> Other:
        best = elimination.costs_of(place)[self.solved.found.values[place]]
        assert best is not None
        second = partial(elimination.found_with, place, value)
        there, here = elimination.by_name(cost), elimination.by_name(best)
        if there["unknown"] or here["unknown"]:
            extra = self.difference_to(second())
        else:
            extra = _as_difference({name: there[name] - here[name] for name in there})
        return self.as_other(place, value, second, extra, Outcome.proved)

    def difference_to(self, second: Found) -> Difference:
        return difference(self.totals, totals_of(self.problem, second))

    def impossible(self, place: str, number: str | None) -> Other:
        kept = self.problem.scope.is_today(Fit(place, number))
        return Other(number, outcome=Outcome.impossible, kept=kept)

    def as_other(
        self,
        place: str,
        number: str | None,
        second: Callable[[], Found],
        extra: Difference,
        outcome: Outcome,
    ) -> Other:
        """`second` gives the set with this number there; it is made only where something of it is told."""
        kept = self.problem.scope.is_today(Fit(place, number))
        way = None
        if kept or number is None:
            way = _other_way(self.problem, self.solved.found, second(), self.reasons[place])
        return Other(number, extra, outcome, kept, OtherWay(way.position, way.component) if way else None)


def _as_difference(more: Mapping[str, int]) -> Difference:
    """What a set costs more, by the names of criteria; every price in it is known."""
    return Difference({criterion: more[criterion.name] for criterion in Criterion if more[criterion.name]})


def _other_way(problem: SearchProblem, found: Found, second: Found, reason: Reason) -> Fit | None:
    """What meets the reason in the second set, else what that has instead of what the reason comes from."""
    ways = [fit for fit in _ways_to_meet(problem, reason) if problem.true_in(second.values, fit)]
    if ways := [fit for fit in ways if not problem.true_in(found.values, fit)] or ways:
        return min(ways, key=lambda fit: (problem.scope.is_today(fit), fit.component is None))
    parent = reason.because.parent
    if parent and second.values.get(parent) != found.values.get(parent):
        return Fit(parent, second.values.get(parent))
    return None


def _ways_to_meet(problem: SearchProblem, reason: Reason) -> Iterator[Fit]:
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


AXES = ("price", "visible", "labour")

MOST_TO_SPARE = 40
"""Sets with something to spare that are passed over in one answer; then no more are looked for."""


@dataclass
class Further:
    """Further sets, best first. `complete`: there are no others, or as many as were asked for were found.

    Of any two of them, and of each and the first, neither is at least as good as the other in
    price, visible changes and labour at once.
    """

    sets: list[Found] = field(default_factory=list)
    complete: bool = False


def undominated(problem: SearchProblem, first: Found, propagation: Propagation, count: int) -> Further:
    """Up to `count` further sets. Fewer, when the deadline comes."""
    further = Further()
    passed_over: list[tuple[Found, Found]] = []
    try:
        while len(further.sets) < count and len(passed_over) < MOST_TO_SPARE:
            found = _another(problem, [first, *further.sets], passed_over, propagation)
            best = of_its_own_parts(problem, found)
            if _alike(problem, found, best):
                further.sets.append(found)
            else:
                passed_over.append((found, best))
        further.complete = len(further.sets) == count
    except Unsolvable:
        further.complete = True
    except OutOfTime:
        pass
    return further


def of_its_own_parts(problem: SearchProblem, found: Found) -> Found:
    """The best of all sets that can be made of a set's own parts. Raises OutOfTime."""
    today = problem.scope.today
    domains = {p: sorted({today.get(p), c}, key=lambda n: n or "") for p, c in found.values.items()}
    return solve(replace(problem, domains=domains), problem.deadline.left()).found


def _alike(problem: SearchProblem, one: Found, other: Found) -> bool:
    return one.values == other.values and loose_quantities(problem, one) == loose_quantities(problem, other)


def _another(
    problem: SearchProblem,
    known: list[Found],
    passed_over: list[tuple[Found, Found]],
    propagation: Propagation,
) -> Found:
    """The best set that none of the known dominates, nor it them. Raises Unsolvable and OutOfTime."""
    model = model_of(problem, propagation)
    for one in known:
        _neither_dominates(model, problem, one)
    for found, best in passed_over:
        _pass_over(model, problem, found, best)
    return model.best(problem.deadline.left())


def _pass_over(model: Model, problem: SearchProblem, found: Found, best: Found) -> None:
    """Not this set, which has something to spare; where that is certain, none that has more than `best`."""
    model.model.add_bool_or(model.unlike(found))
    if not _each_change_counts(problem):
        return
    new = [Fit(p, c) for p, c in best.values.items() if c != problem.scope.today.get(p)]
    has_it_all = [~model.literals[fit] for fit in new]
    for place in problem.positions:
        if not any(fit.position == place for fit in new):
            model.model.add_bool_or([*has_it_all, model.literal(problem.scope.today_fit(place))])


def _each_change_counts(problem: SearchProblem) -> bool:
    """Whether a set is always better than one that holds all of it and changes more."""
    order = whole_preference(problem.question.preference)
    before = order[: order.index(Criterion.changes)]
    return set(before) <= {Criterion.irreversible, Criterion.visible}


def _neither_dominates(model: Model, problem: SearchProblem, known: Found) -> None:
    """The set sought is better than a known one on some axis, and worse on some axis."""
    totals = totals_of(problem, known)
    unknown = unknown_count(problem, known)
    better, worse = [], []
    for name in AXES:
        expression, value = _axis(model, name, getattr(totals, name), unknown)
        better.append(_when(model, expression < value))
        worse.append(_when(model, expression > value))
    model.model.add_bool_or(better)
    model.model.add_bool_or(worse)


def _axis(model: Model, name: str, value: int, unknown: int) -> tuple[Any, int]:
    """The axis as one figure, and a known set's value; an unknown price is above all known ones."""
    criteria = model.criteria()
    expression = model.expression(criteria[name])
    if name != "price":
        return expression, value
    above_all = criteria["price"].most + criteria["price"].constant + 1
    return expression + model.expression(criteria["unknown"], above_all), value + unknown * above_all


def _when(model: Model, constraint: Any) -> Any:
    literal = model.model.new_bool_var("")
    model.model.add(constraint).only_enforce_if(literal)
    return literal
