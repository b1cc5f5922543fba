"""Why each change is there, read off the finished set.

Every wish, rule and budget that binds in the finished set, and that a place meets by what is new there,
is a link to that place from the change which made it bind. What is reached from the wishes by the fewest
links has the shortest chain of reasons. Only where nothing that binds explains a change is it told as what
it is: the old part had lost what it needs.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count

from graftbook.closure.answer import Because, Cause, How
from graftbook.closure.search.problem import BudgetUse, Demand, Found, LooseNeed, Regret, SearchProblem
from graftbook.closure.verify import InternalError
from graftbook.rulebook.model import Grade
from graftbook.rulebook.scope import Fit

WEIGHT: Mapping[How | None, int] = {
    How.asked: 0,
    How.needs: 1,
    How.still_needs: 2,
    How.makes_way: 3,
    How.together: 4,
}
"""Which of equally short reasons is told first."""


@dataclass(frozen=True, slots=True)
class Reason:
    """What brought one place to its new value: a demand (or a budget or flaw), and from where."""

    because: Because
    depth: int
    demand: Demand | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """One reason of a place.

    `tier` 0: without this place's change the rule would be broken, or what one wished sits there; 1: other
    changes meet it too, or it only makes the set better; 2: nothing asks, the old part was left without
    what it needs.
    """

    place: str
    because: Because
    tier: int
    pieces: int = 0
    demand: Demand | None = None

    @property
    def order(self) -> tuple[int, int, str, str, str, str]:
        because = self.because
        weight = WEIGHT.get(because.how, 5) + (because.cause in (Cause.budget, Cause.joint))
        return (weight, -self.pieces, because.name, because.parent, because.asking, self.place)


_Heap = list[tuple[int, tuple[int, int, str, str, str, str], int, Link]]
"""Links by depth, by their order, and in the order in which they came."""


class Unexplained(InternalError):
    """Nothing that binds asks for these changes; a set that is proved the best has none such."""

    def __init__(self, places: list[str]) -> None:
        super().__init__(f"no reason was found for {', '.join(places)}")
        self.places = places


@dataclass
class Explanation:
    """The reasons of a finished set: of each place the one that is told first, and all others."""

    problem: SearchProblem
    found: Found
    links: dict[str, list[Link]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        today = self.problem.scope.today
        self.sitting = {**today, **self.found.values}
        self.changed = {p for p, c in self.found.values.items() if c != today.get(p)}
        self.was = {place: Fit(place, today.get(place)) for place in self.changed}
        for link in self._every_link():
            self.links[link.place].append(link)

    @cached_property
    def reasons(self) -> dict[str, Reason]:
        """Place → what is told first. Raises Unexplained."""
        reasons = self.explained()
        if without := sorted(self.changed - set(reasons)):
            raise Unexplained(without)
        return reasons

    def also_needed(self, place: str) -> tuple[Because, ...]:
        """What else would be broken if this place alone were as today."""
        if len(self.links[place]) == 1:
            return ()
        first = self.reasons[place].because
        others: dict[tuple[Cause, str, str], Because] = {}
        for link in sorted(self.links[place], key=lambda link: (link.because.parent, link.order)):
            because = link.because
            # Of what stays one reason is enough, however much it lost.
            whose = because.asking if because.how is How.still_needs else because.parent
            if link.tier == 0:
                others.setdefault((because.cause, because.name, whose), because)
        whose = first.asking if first.how is How.still_needs else first.parent
        others.pop((first.cause, first.name, whose), None)
        return tuple(others[key] for key in sorted(others))

    def explained(self) -> dict[str, Reason]:
        """The shortest chains from the wishes: by what binds, then by what helps, then by what is left."""
        onward: dict[str, list[Link]] = defaultdict(list)
        for links in self.links.values():
            for link in links:
                onward[link.because.parent].append(link)
        waiting: tuple[_Heap, _Heap, _Heap] = ([], [], [])
        reasons: dict[str, Reason] = {}
        numbers = count()

        def follow(parent: str, depth: int) -> None:
            for link in onward[parent]:
                if link.place not in reasons:
                    heapq.heappush(waiting[link.tier], (depth, link.order, next(numbers), link))

        follow("", 0)
        while any(waiting):
            depth, _, _, link = heapq.heappop(next(tier for tier in waiting if tier))
            if link.place not in reasons:
                reasons[link.place] = Reason(link.because, depth, link.demand)
                follow(link.place, depth + 1)
        return reasons

    # Links --------------------------------------------------------------------------------------

    def _every_link(self) -> Iterator[Link]:
        for number in sorted(self._demands_touched()):
            demand = self.problem.demands[number]
            gone = [fit for fit in demand.when if not self._sits(fit)]
            if not gone:
                yield from self._met_by_new(number, demand)
            elif len(gone) == 1:
                yield from self._out_of_the_way(demand, gone[0])
        for use in self.problem.budgets:
            yield from self._supplies_needed(use)
        for regret in self.problem.regrets:
            yield from self._better(regret)

    def _demands_touched(self) -> set[int]:
        """The demands that something new could meet, and those that something that went would bring."""
        found: set[int] = set()
        for place, was in self.was.items():
            found.update(self.problem.served.get(Fit(place, self.found.values[place]), ()))
            found.update(self.problem.depending.get(was, ()))
        return found

    def _sits(self, fit: Fit) -> bool:
        position, component = fit
        return self.sitting.get(position) == component

    def _met_by_new(self, number: int, demand: Demand) -> Iterator[Link]:
        """A demand that binds, and what is new where it is met; none when today's meets it as well."""
        need = self.found.orders.get(number)
        meeting = {fit.position for fit in demand.one_of if self._sits(fit)}
        if need:
            meeting.add(need.fit.position)
        if not meeting <= self.changed or any(self.was[place] in demand.one_of for place in meeting):
            return
        for place in sorted(meeting):
            for how, parent, asking in self._askers(demand, place):
                because = _because(demand, how, parent, asking)
                spare = len(meeting) > 1 and demand.cause is not Cause.wish
                yield Link(place, because, int(spare), need.quantity if need else 0, demand)

    def _askers(self, demand: Demand, place: str) -> Iterator[tuple[How, str, str]]:
        """Who asks: how, from which change, and where it sits."""
        if not demand.when or demand.cause in (Cause.wish, Cause.flaw):
            yield How.asked, "", ""
            return
        (asking,) = {fit.position for fit in demand.when}
        if asking in self.changed:
            if asking != place:
                yield How.together if demand.cause is Cause.pair else How.needs, asking, asking
            return
        for parent in self._lost(demand):
            if parent != place:
                yield How.still_needs, parent, asking

    def _lost(self, demand: Demand) -> list[str]:
        """Changed places where today's component met the demand."""
        places = {fit.position for fit in demand.one_of if self.problem.scope.is_today(fit)}
        return sorted(places & self.changed)

    def _out_of_the_way(self, demand: Demand, gone: Fit) -> Iterator[Link]:
        """A demand that would be broken if what was in one place had stayed."""
        place = gone.position
        if gone != self.was.get(place) or gone in demand.one_of:  # it would meet what it asks for itself
            return
        meeting = {fit.position for fit in demand.one_of if self._sits(fit)}
        if meeting - self.changed:
            return
        tier = int(bool(meeting))
        if demand.cause in (Cause.wish, Cause.flaw):
            yield Link(place, _because(demand, How.asked, "", ""), tier, demand=demand)
        elif demand.cause is Cause.companion:
            for parent in self._lost(demand):
                yield Link(place, _because(demand, How.left_without, parent, place), 2, demand=demand)
        else:
            replaced = demand.cause is Cause.joint and self.found.values[place] is not None
            for parent in {fit.position for fit in demand.when} & self.changed - {place}:
                how = How.needs if replaced else How.makes_way
                yield Link(place, _because(demand, how, parent, parent), tier, demand=demand)

    def _supplies_needed(self, use: BudgetUse) -> Iterator[Link]:
        """Supplies without which a budget would be short, from what takes of it, most first."""
        values = self.found.values
        change = {p: use.contributions[p][values[p]] - now for p, now in use.today.items()}
        gains = [p for p, more in change.items() if more > 0]
        if not use.binds(values) or use.total({**values, **self._as_today(gains)}) >= 0:
            return
        budget = use.budget
        for place in gains:
            enough = not use.broken({**values, **self._as_today([place])})
            for parent in (p for p, more in change.items() if more and p != place):
                because = Because(Cause.budget, budget.name, budget, parent, budget.grade, How.needs, parent)
                # A budget that is short today binds as well when something gives more than today.
                yield Link(place, because, int(enough or change[parent] > 0), -change[parent])

    def _as_today(self, places: Iterable[str]) -> Mapping[str, str | None]:
        return {place: self.problem.scope.today.get(place) for place in places}

    def _better(self, regret: Regret) -> Iterator[Link]:
        """What was fitted only because it makes the set better: a flaw remedied, a claim made sure."""
        away = [fit for fit in regret.when if not self._sits(fit)]
        there = [fit.position for fit in regret.when if fit.position in self.changed and self._sits(fit)]
        if not there:
            return
        if not away:
            places = {fit.position for fit in regret.unless if self._sits(fit)}
            how, places = How.remedies, places if places <= self.changed else set()
        else:
            same = len(away) == 1 and away[0] == self.was.get(away[0].position)
            how, places = How.makes_sure, {away[0].position} if same else set()
        for place in places - {there[0]}:
            because = Because(regret.cause, regret.name, regret.ground, there[0], Grade.none, how, there[0])
            yield Link(place, because, 1)


def _because(demand: Demand, how: How, parent: str, asking: str) -> Because:
    return Because(demand.cause, demand.name, demand.ground, parent, demand.grade, how, asking)


def without_needless(problem: SearchProblem, found: Found) -> Found:
    """The set with everything as today that no wish and no rule of it asks for.

    The best set holds nothing such; one that was merely found in time may. What goes may have been all that
    asked for something else.
    """
    while True:
        explanation = Explanation(problem, found)
        needless = explanation.changed - set(explanation.explained())
        if not needless:
            return found
        values = {p: problem.scope.today.get(p) if p in needless else c for p, c in found.values.items()}
        found = Found(
            values, {n: need for n, need in found.orders.items() if _orders(problem, values, n, need)}
        )


def _orders(problem: SearchProblem, values: Mapping[str, str | None], number: int, need: LooseNeed) -> bool:
    """Whether a set still orders a loose part for a demand: it binds, and nothing fitted meets it."""
    demand = problem.demands[number]
    binds = all(problem.true_in(values, fit) for fit in demand.when)
    met = any(problem.true_in(values, fit) for fit in demand.one_of)
    return bool(values[need.fit.position]) and binds and not met
