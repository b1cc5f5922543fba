"""Can this be fitted there at all? The wish for it alone, without limits, put through reach and propagation.

No set is sought: what must follow is followed to its end, and what could cover the budgets at best is added
up. All that any wish could reach is worked out once a vehicle; each wish then costs less than a millisecond.
"""

from collections import OrderedDict, defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum

from graftbook.closure.answer import Because, Cause
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import BudgetUse, Demand, SearchProblem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.search.reach import reach, reach_everything
from graftbook.rulebook.index import BookIndex, kept
from graftbook.rulebook.scope import Fit, Scope, ScopeTooLarge

MOST_VEHICLES = 8
"""Vehicles of one rule book, told apart by its records, of which what is certain before any fit is kept."""

MOST_TO_BLAME = 200
"""Demands of which the smallest group that contradicts is looked for."""


class Looked(StrEnum):
    """How far something was looked at."""

    next_step = "next step"
    propagation = "propagation"


@dataclass(frozen=True, slots=True)
class Followed:
    """What must follow from a fit.

    `against`: the rules because of which no set has it; empty when nothing contradicts. `whole`: what is
    certain and today's for the rest is a set that breaks nothing. `left`: what may still sit where.
    """

    looked_at: Looked
    against: tuple[Because, ...] = ()
    whole: bool = False
    left: Propagation | None = None

    def may_be(self, fit: Fit) -> bool:
        """Whether this can still be in a set with it."""
        return self.left is None or self.left.may_be(fit)


def follow(scope: Scope, fit: Fit, deadline: Deadline) -> Followed:
    """What must follow from fitting this; it must be one of the position's options.

    Only the next step counts as looked at when the rest is too large or the deadline comes first.
    """
    try:
        return _followed(_before(scope, fit, deadline), fit, deadline)
    except (ScopeTooLarge, OutOfTime):
        return Followed(Looked.next_step)


@kept
def _before_each(_index: BookIndex) -> "OrderedDict[Scope, _Before]":
    """What is certain on the last vehicles of the book."""
    return OrderedDict()


def _before(scope: Scope, fit: Fit, deadline: Deadline) -> "_Before":
    """What is certain on the vehicle before the fit is. That of the last vehicles stays with the book; what
    lies on the bench is asked for too seldom."""
    if scope.on_the_bench:
        wish = FitComponent(fit.component or "", fit.position)
        return _Before(Propagation(reach(scope, Question(scope.vehicle, (wish,)), deadline=deadline)))
    last = _before_each(scope.index)
    found = last.pop(scope, None)
    if found is None:
        found = _Before(Propagation(reach_everything(scope, deadline)).run())
    last[scope] = found
    if len(last) > MOST_VEHICLES:
        with suppress(KeyError):  # another thread was quicker
            last.popitem(last=False)
    return found


@dataclass(frozen=True, slots=True)
class _Margin:
    """A budget before the fit: what today's set leaves of it, and the most that each place could give."""

    use: BudgetUse
    today: int
    most: Mapping[str, int]
    most_of_all: int


class _Before:
    """What is certain before a fit is. Today's set obeys every demand there and covers every budget that
    binds, so only what a fit narrows is looked at again."""

    def __init__(self, propagation: Propagation) -> None:
        self.propagation = propagation
        self.margins: list[_Margin] = []
        self.shares: dict[str, list[int]] = defaultdict(list)
        """Place → the numbers of the budgets that it has a share in."""
        for number, use in enumerate(propagation.problem.budgets):
            most = {p: _most(use, p, propagation.domains[p]) for p in use.today}
            today = use.rest + sum(use.today.values())
            self.margins.append(_Margin(use, today, most, use.rest + sum(most.values())))
            for place in use.today:
                self.shares[place].append(number)

    def margins_of(self, places: Iterable[str]) -> Iterable[_Margin]:
        """The budgets that the places have a share in, in the order of the problem."""
        numbers = {number for place in places for number in self.shares.get(place, ())}
        return [self.margins[number] for number in sorted(numbers)]

    def short(self, further: Propagation, places: list[str]) -> BudgetUse | None:
        """A budget that binds in every set that is left, and that nothing that is left covers."""
        places = [place for place in places if place in self.shares]
        for margin in self.margins_of(places):
            use, left = margin.use, {p: further.domains[p] for p in places if p in margin.most}
            best = margin.most_of_all + sum([_most(use, p, left[p]) - margin.most[p] for p in left])
            if best < 0 and (use.holds_today or any(_changes(use, p, left[p]) for p in left)):
                return use
        return None

    def is_whole(self, further: Propagation, places: list[str]) -> bool:
        """Whether what is certain, and today's for the rest, is a set that breaks nothing."""
        today, new = further.problem.scope.today, dict[str, str | None]()
        for place in places:
            left = further.domains[place]
            if today.get(place) in left and len(left) > 1:
                continue
            if len(left) > 1:
                return False
            new[place] = next(iter(left))
        touched = set[int]()
        for place, now in new.items():
            if now != (before := today.get(place)):
                touched |= further.touched(place, (before,), (now,))
        sitting = {**today, **new}
        if not all(_obeys(further, sitting, further.demands[number]) for number in touched):
            return False
        return not any(_broken(margin, new) for margin in self.margins_of(new))


def _most(use: BudgetUse, place: str, values: Iterable[str | None]) -> int:
    return max(map(use.contributions[place].__getitem__, values))


def _changes(use: BudgetUse, place: str, values: Iterable[str | None]) -> bool:
    """Whether each of these gives another amount than what sits there today."""
    gives, now = use.contributions[place], use.today[place]
    return all(gives[component] != now for component in values)


def _obeys(further: Propagation, sitting: Mapping[str, str | None], demand: Demand) -> bool:
    """Whether a set obeys a demand, and leaves no choice of what it orders."""
    for place, component in demand.when:
        if sitting.get(place) != component:
            return True
    for place, component in demand.one_of:
        if sitting.get(place) == component:
            return True
    orders = [need for need in demand.loose if further.may_be(need.fit)]
    return len(orders) == 1 and not any(further.may_be(fit) for fit in demand.one_of)


def _broken(margin: _Margin, new: Mapping[str, str | None]) -> bool:
    use = margin.use
    shifts = [use.contributions[p][c] - use.today[p] for p, c in new.items() if p in use.today]
    return margin.today + sum(shifts) < 0 and (use.holds_today or any(shifts))


def _followed(before: _Before, fit: Fit, deadline: Deadline) -> Followed:
    problem = replace(before.propagation.problem, deadline=deadline)
    further = before.propagation.with_certain(fit)
    further.problem = problem
    try:
        further.run()
    except Contradicts:
        group = _smallest(problem, fit, further.used)
        return Followed(
            Looked.propagation,
            tuple(Because(demand.cause, demand.name, demand.ground, grade=demand.grade) for demand in group),
        )
    places = sorted(further.narrowed)
    if short := before.short(further, places):
        rule = short.budget
        because = Because(Cause.budget, rule.name, rule, grade=rule.grade)
        return Followed(Looked.propagation, (because,))
    return Followed(Looked.propagation, whole=before.is_whole(further, places), left=further)


def _smallest(problem: SearchProblem, fit: Fit, used: list[Demand]) -> list[Demand]:
    """Demands that contradict each other without any one of them to spare."""
    group = list({demand.key: demand for demand in used}.values())
    if len(group) > MOST_TO_BLAME:
        return group[-1:]
    others = [Fit(fit.position, c) for c in problem.domains[fit.position] if c != fit.component]
    for demand in tuple(group):
        fewer = [other for other in group if other is not demand]
        if _contradict(problem, others, fewer):
            group = fewer
    return group


def _contradict(problem: SearchProblem, others: Iterable[Fit], demands: list[Demand]) -> bool:
    try:
        Propagation(replace(problem, demands=demands), others).run()
    except Contradicts:
        return True
    return False
