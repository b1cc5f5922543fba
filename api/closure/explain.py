"""Why each change is there: replay from today to the finished set, as a fitter works.

Start from what is fitted today; while a demand is broken, take the one nearest to a wish, then the
least name; fit what the finished set has there instead. That demand is the reason. Reasons come
out without cycles, whatever cycles the rules have, because each is found before what follows it.
"""

import heapq
from collections import defaultdict
from dataclasses import dataclass

from api.closure.answer import Because, Cause
from api.closure.problem import BudgetUse, Demand, Found, Problem
from api.closure.verify import InternalError
from api.rulebook.model import Grade
from api.rulebook.scope import Fit


@dataclass(frozen=True, slots=True)
class Reason:
    """What brought one place to its new value: a demand (or a budget or flaw), and from where."""

    because: Because
    depth: int
    demand: Demand | None = None


def reasons_of(problem: Problem, found: Found) -> dict[str, Reason]:
    """The reason of each place that differs from today. Raises InternalError when one has none."""
    return _Replay(problem, found).run()


class _Replay:
    def __init__(self, problem: Problem, found: Found) -> None:
        self.problem = problem
        self.found = found
        self.state = problem.today_values()
        self.reasons: dict[str, Reason] = {}
        self.waiting: list[tuple[int, str, int]] = []
        self.watching: dict[str, list[int]] = defaultdict(list)
        for number, demand in enumerate(problem.demands):
            for place in {fit.position for fit in (*demand.when, *demand.one_of)}:
                self.watching[place].append(number)

    def run(self) -> dict[str, Reason]:
        for number in range(len(self.problem.demands)):
            self.push(number)
        while self.waiting or self.repair_budget() or self.repair_regret():
            if self.waiting:
                _, _, number = heapq.heappop(self.waiting)
                self.repair(number)
        unexplained = [p for p, c in self.found.values.items() if c != self.state[p]]
        if unexplained:
            raise InternalError(f"no reason was found for {', '.join(unexplained)}")
        return self.reasons

    def push(self, number: int) -> None:
        demand = self.problem.demands[number]
        if self.is_broken(number):
            depth = max((self.depth(p) for p in _roots(self.problem, demand)), default=-1)
            heapq.heappush(self.waiting, (depth, demand.name, number))

    def depth(self, place: str) -> int:
        reason = self.reasons.get(place)
        return reason.depth if reason else -1

    def is_broken(self, number: int) -> bool:
        demand = self.problem.demands[number]
        true_in = self.problem.true_in
        if not all(true_in(self.state, fit) for fit in demand.when):
            return False
        if any(true_in(self.state, fit) for fit in demand.one_of):
            return False
        need = self.found.orders.get(number)
        return need is None or self.state[need.fit.position] is None

    def repair(self, number: int) -> None:
        if not self.is_broken(number):
            return
        demand = self.problem.demands[number]
        for fit in demand.one_of:
            if self.problem.true_in(self.found.values, fit):
                return self.settle(fit.position, demand)
        if number in self.found.orders:
            return self.settle(self.found.orders[number].fit.position, demand)
        for fit in demand.when:
            if not self.problem.true_in(self.found.values, fit):
                return self.settle(fit.position, demand)
        raise InternalError(f"the finished set does not repair {demand.name}")

    def settle(self, place: str, demand: Demand) -> None:
        parent = self.parent_of(place, demand)
        because = Because(demand.cause, demand.name, demand.sentence, parent, demand.grade)
        self.change(place, Reason(because, self.depth(parent) + 1, demand))

    def change(self, place: str, reason: Reason) -> None:
        self.state[place] = self.found.values[place]
        self.reasons[place] = reason
        for number in self.watching[place]:
            self.push(number)

    def parent_of(self, place: str, demand: Demand) -> str:
        """The change that brought the demand, or that took away what met it today."""
        changed = [p for p in _roots(self.problem, demand) if p != place and p in self.reasons]
        return min(changed, key=lambda p: (self.depth(p), p), default="")

    def repair_budget(self) -> bool:
        """Bring one supply that a broken budget asks for; False when no budget is broken."""
        for use in self.problem.budgets:
            if not use.broken(self.state):
                continue
            gains = {p: g for p in use.today if (g := self.gain(use, p)) > 0}
            if gains:
                place = min(gains, key=lambda p: (-gains[p], p))
                taken = {p: self.taken(use, p) for p in use.today if p in self.reasons}
                parent = min(taken, key=lambda p: (taken[p], p), default="")
                budget = use.budget
                because = Because(Cause.budget, budget.name, budget.reason, parent, budget.grade)
                self.change(place, Reason(because, self.depth(parent) + 1))
                return True
        return False

    def gain(self, use: BudgetUse, place: str) -> int:
        after, now = Fit(place, self.found.values[place]), Fit(place, self.state[place])
        return use.contributions[after] - use.contributions[now]

    def taken(self, use: BudgetUse, place: str) -> int:
        return use.contributions[Fit(place, self.state[place])] - use.today[place]

    def repair_regret(self) -> bool:
        """What was fitted only because it makes the set better: a flaw remedied, a claim made sure."""
        for regret in self.problem.regrets:
            if not all(self.problem.true_in(self.state, fit) for fit in regret.when):
                continue
            places = [f.position for f in regret.unless if self.problem.true_in(self.found.values, f)]
            places += [f.position for f in regret.when if not self.problem.true_in(self.found.values, f)]
            places = [p for p in places if self.state.get(p) != self.found.values.get(p)]
            if places:
                changed = [f.position for f in regret.when if f.position in self.reasons]
                parent = min(changed, default="")
                sentence = self.sentence(regret.cause, regret.name)
                because = Because(regret.cause, regret.name, sentence, parent, Grade.none)
                self.change(places[0], Reason(because, self.depth(parent) + 1))
                return True
        return False

    def sentence(self, cause: Cause, name: str) -> str:
        book = self.problem.scope.book
        if cause is Cause.flaw:
            return self.problem.scope.index.flaws[name].symptom
        records = book.joints if cause is Cause.joint else book.conflicts
        return next(r.reason for r in records if r.name == name)


def demands_by_place(problem: Problem, found: Found) -> dict[str, list[int]]:
    """Which demands speak of a place, or are served by a loose part there; by their numbers."""
    touching: dict[str, list[int]] = defaultdict(list)
    for number, demand in enumerate(problem.demands):
        places = {fit.position for fit in (*demand.when, *demand.one_of)}
        need = found.orders.get(number)
        for place in places | ({need.fit.position} if need else set()):
            touching[place].append(number)
    return touching


def also_needed(
    problem: Problem, found: Found, place: str, reason: Reason, touching: dict[str, list[int]]
) -> tuple[Because, ...]:
    """The other demands that would be broken if this place were as today."""
    without = {**found.values, place: problem.scope.today.get(place)}
    others: dict[tuple[Cause, str, str], Because] = {}
    for number in touching.get(place, ()):
        demand = problem.demands[number]
        if demand is reason.demand:
            continue
        if not all(problem.true_in(without, fit) for fit in demand.when):
            continue
        if any(problem.true_in(without, fit) for fit in demand.one_of):
            continue
        need = found.orders.get(number)
        if need is not None and need.fit.position != place:
            continue
        changed = (p for p in _roots(problem, demand) if p != place)
        parent = next((p for p in changed if not problem.scope.is_today(Fit(p, found.values[p]))), "")
        because = Because(demand.cause, demand.name, demand.sentence, parent, demand.grade)
        others.setdefault((demand.cause, demand.name, parent), because)
    first = reason.because
    others.pop((first.cause, first.name, first.parent), None)
    return tuple(others[key] for key in sorted(others))


def _roots(problem: Problem, demand: Demand) -> list[str]:
    """The places whose change can bring a demand: in its `when`, or where today's meets it."""
    places = [fit.position for fit in demand.when if not problem.scope.is_today(fit)]
    if not places and demand.cause is Cause.companion:
        places = [fit.position for fit in demand.one_of if problem.scope.is_today(fit)]
    return [place for place in places if place in problem.domains]
