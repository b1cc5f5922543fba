"""For what was chosen: what else could sit there, and what the whole set would then cost more."""

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

from graftbook.closure.answer import Cause, Difference, Other, OtherWay, Outcome, Totals
from graftbook.closure.explain.reasons import Reason
from graftbook.closure.explain.solution import count_choices
from graftbook.closure.question import Criterion
from graftbook.closure.search.concede import TooHard
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
    asked = _Choices(problem, solved, {place: reasons[place] for place in chosen})
    if solved.elimination is not None:
        with suppress(OutOfTime, TooWide):
            return asked.priced(solved.elimination)
    return asked.next_bests()


@dataclass
class _Choices:
    """The places of one set at which there was a choice, with their reasons, nearest to a wish first."""

    problem: Problem
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
        if (conceded := self._conceded(place)) is not None:
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
        return (self.as_other(place, second, self.difference_to(second), outcome),)

    def _conceded(self, place: str) -> tuple[Other, ...] | None:
        """The next best as concession goes on to it; None where it does not settle that."""
        if self.solved.concession is None:
            return None
        try:
            told = self.solved.concession.next_best(place, self.solved.found.values[place])
        except TooHard:
            return None
        if told is None:
            return ()
        second, more = told
        if breaks_a_sum(self.problem, second):
            return None
        unknown = self.totals.unknown_prices or more["unknown"]
        extra = self.difference_to(second) if unknown else _as_difference(more)
        return (self.as_other(place, second, extra, Outcome.proved),)

    def priced(self, elimination: Elimination) -> dict[str, tuple[Other, ...]]:
        """All alternatives. Raises OutOfTime, and TooWide where a further budget is too wide."""
        while True:  # each turn looks at the budgets that some alternative breaks
            seconds = {place: self.ranked(elimination, place) for place in self.reasons}
            broken = {
                use.budget.name: use
                for each in seconds.values()
                for _, second in each
                for use in elimination.broken_by(second)
            }
            if not broken:
                break
            elimination.look_at(broken.values())
        return {place: self.told(elimination, place, each) for place, each in seconds.items()}

    def ranked(self, elimination: Elimination, place: str) -> list[tuple[Figures, Found]]:
        """For each other value of a place what the best set with it costs, and that set; the best first."""
        costs, own = elimination.costs_of(place).items(), self.solved.found.values[place]
        ranked = sorted((cost, value or "", value) for value, cost in costs if cost and value != own)
        return [(cost, elimination.found_with(place, value)) for cost, _, value in ranked[:MOST_TOLD]]

    def told(
        self, elimination: Elimination, place: str, seconds: list[tuple[Figures, Found]]
    ) -> tuple[Other, ...]:
        """The alternatives of one place; the next best alone where those that are known break a sum."""
        self.problem.deadline.check()
        kept_to = [(cost, second) for cost, second in seconds if not breaks_a_sum(self.problem, second)]
        if seconds and not kept_to:
            return self.next_best(place)
        others = [self.as_priced(elimination, place, cost, second) for cost, second in kept_to]
        return (*others, *(self.impossible(place, number) for number in elimination.without_a_set(place)))

    def as_priced(self, elimination: Elimination, place: str, cost: Figures, second: Found) -> Other:
        best = elimination.costs_of(place)[self.solved.found.values[place]]
        assert best is not None
        there, here = elimination.by_name(cost), elimination.by_name(best)
        if there["unknown"] or here["unknown"]:
            extra = self.difference_to(second)
        else:
            extra = _as_difference({name: there[name] - here[name] for name in there})
        return self.as_other(place, second, extra, Outcome.proved)

    def difference_to(self, second: Found) -> Difference:
        return difference(self.totals, totals_of(self.problem, second))

    def impossible(self, place: str, number: str | None) -> Other:
        kept = self.problem.scope.is_today(Fit(place, number))
        return Other(number, outcome=Outcome.impossible, kept=kept)

    def as_other(self, place: str, second: Found, extra: Difference, outcome: Outcome) -> Other:
        number = second.values[place]
        kept = self.problem.scope.is_today(Fit(place, number))
        way = None
        if kept or number is None:
            way = _other_way(self.problem, self.solved.found, second, self.reasons[place])
        return Other(number, extra, outcome, kept, OtherWay(way.position, way.component) if way else None)


def _as_difference(more: Mapping[str, int]) -> Difference:
    """What a set costs more, by the names of criteria; every price in it is known."""
    return Difference({criterion: more[criterion.name] for criterion in Criterion if more[criterion.name]})


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
