"""Unit propagation: what the demands leave no choice about.

Each place has a domain. A demand whose `when` is certain confines its last open place; a demand
that can no longer be met forbids the last uncertain part of its `when`.
"""

from collections import defaultdict, deque
from collections.abc import Collection, Iterable
from copy import copy

from graftbook.closure.answer import Cause
from graftbook.closure.search.deadline import LOOK_EVERY
from graftbook.closure.search.problem import BudgetUse, Demand, Found, LooseNeed, SearchProblem
from graftbook.closure.search.totals import changes_are_outranked, totals_of
from graftbook.rulebook.scope import Fit


class Contradicts(Exception):
    """Propagation found that the demand cannot be met."""

    def __init__(self, demand: Demand) -> None:
        super().__init__(demand.name)
        self.demand = demand


class Propagation:
    """Domains of a problem, narrowed to a fixpoint."""

    def __init__(self, problem: SearchProblem, without: Iterable[Fit] = ()) -> None:
        self.problem = problem
        self.domains = {place: set(values) for place, values in problem.domains.items()}
        self.demands = problem.demands
        self.used: list[Demand] = []
        """The demands that narrowed something, in the order in which they did."""
        self.settled: set[int] = set()
        """Demands that no set which is left can break, and that cost nothing: as far as that was seen."""
        self.narrowed: dict[str, None] = {}
        """The places of which something was ruled out."""
        self.depending, self.served = problem.depending, problem.served
        for fit in without:
            self.domains[fit.position].discard(fit.component)
        self.waiting = deque(range(len(self.demands)))
        self.queued = set(self.waiting)

    def run(self) -> "Propagation":
        """Narrow until nothing changes. Raises Contradicts and OutOfTime."""
        looked = 0
        while self.waiting:
            looked += 1
            if not looked % LOOK_EVERY:
                self.problem.deadline.check()
            number = self.waiting.popleft()
            self.queued.discard(number)
            if self.apply(self.demands[number]):
                self.settled.add(number)
        return self

    def with_certain(self, fit: Fit) -> "Propagation":
        """This one with one fit more that is certain; to be run in its turn. `narrowed` is what is since."""
        further, left = copy(self), {fit.component}
        further.domains = dict(self.domains)
        further.used, further.settled, further.narrowed = list(self.used), set(), {}
        further.waiting, further.queued = self.waiting.copy(), self.queued.copy()
        further.confine(fit.position, self.domains[fit.position] - left, left)
        return further

    def confine(self, place: str, gone: set[str | None], left: set[str | None]) -> None:
        """Rule out what is gone from a domain, and queue what then binds more."""
        self.domains[place] = left
        self.narrowed[place] = None
        for component in gone:
            if numbers := self.depending.get((place, component)):
                self.settled.update(numbers)
        if found := self.touched(place, gone, left):
            found -= self.queued
            found -= self.settled
            self.waiting += sorted(found)
            self.queued |= found

    def touched(self, place: str, gone: Iterable[str | None], left: Collection[str | None]) -> set[int]:
        """The demands that hold now that a fit is certain, and those that lost a fit that could meet them."""
        found: set[int] = set()
        for component in gone:  # a plain tuple is as good a key as a Fit, and made more quickly
            if numbers := self.served.get((place, component)):
                found.update(numbers)
        if len(left) == 1:
            found.update(self.depending.get((place, next(iter(left))), ()))
        return found

    def may_be(self, fit: Fit) -> bool:
        domain = self.domains.get(fit.position)
        return self.problem.scope.is_today(fit) if domain is None else fit.component in domain

    def apply(self, demand: Demand) -> bool:
        """Narrow what the demand leaves no choice about. Whether it is settled."""
        domains, today = self.domains, self.problem.scope.today
        unsure: tuple[str, str | None] | None = None
        for position, component in demand.when:
            domain = domains.get(position)
            if not (today.get(position) == component if domain is None else component in domain):
                return True
            if domain is not None and len(domain) > 1:
                if unsure is not None:
                    return False
                unsure = position, component
        possible = []
        for position, component in demand.one_of:
            domain = domains.get(position)
            if today.get(position) == component if domain is None else component in domain:
                if domain is None or len(domain) == 1:
                    return not demand.unconfirmed
                if unsure is not None:
                    return False
                possible.append((position, component))
        if demand.loose and any(self.may_be(need.fit) for need in demand.loose):
            if unsure is None and not possible:
                self.order(demand)
        elif unsure is not None:
            place, component = unsure
            self.narrow(place, domains[place] - {component}, demand)
        else:
            self.meet(demand, possible)
        return False

    def meet(self, demand: Demand, possible: list[tuple[str, str | None]]) -> None:
        """One of these meets a demand that holds; where all are of one place, nothing else sits there."""
        if not possible:
            self.used.append(demand)
            raise Contradicts(demand)
        place = possible[0][0]
        if all(position == place for position, _ in possible):
            self.narrow(place, {component for _, component in possible}, demand)

    def order(self, demand: Demand) -> None:
        """Only loose parts can meet the demand; the only one of them is certain."""
        possible = {need.fit for need in demand.loose if self.may_be(need.fit)}
        if len(possible) == 1:
            place, number = possible.pop()
            self.narrow(place, {number}, demand)

    def narrow(self, place: str, left: set[str | None], demand: Demand) -> None:
        """Leave of a place's domain this part of it, which is something, because of a demand."""
        if gone := self.domains[place] - left:
            self.used.append(demand)
            self.confine(place, gone, left)

    def best(self) -> Found | None:
        """The best set, when propagation alone proves it; None when something is left to decide.

        Every set holds what is certain, and any further change costs more.
        """
        found = self.as_today_for_the_rest()
        return found if found is not None and not self._could_be_better(found) else None

    def as_today_for_the_rest(self) -> Found | None:
        """What is certain, and today's for the rest, if that breaks nothing and has no choice."""
        problem = self.problem
        values: dict[str, str | None] = {}
        for place, domain in self.domains.items():
            today = problem.scope.today.get(place)
            if len(domain) == 1:
                values[place] = next(iter(domain))
            elif today in domain:
                values[place] = today
            else:
                return None
        orders = self._orders(values)
        if orders is None or any(budget.broken(values) for budget in problem.budgets):
            return None
        found = Found(values, orders)
        ceiling = problem.question.limits.price_at_most
        if ceiling is not None:
            totals = totals_of(problem, found)
            if totals.price > ceiling or totals.unknown_prices:
                return None
        return found

    def _orders(self, values: dict[str, str | None]) -> dict[int, LooseNeed] | None:
        """The loose parts that serve the demands; None when a demand is not met or has a choice."""
        orders: dict[int, LooseNeed] = {}
        for number, demand in enumerate(self.problem.demands):
            if not all(self.problem.true_in(values, fit) for fit in demand.when):
                continue
            if any(self.problem.true_in(values, fit) for fit in demand.one_of):
                continue
            possible = [need for need in demand.loose if self.may_be(need.fit)]
            if len(possible) != 1 or any(self.may_be(fit) for fit in demand.one_of):
                return None
            orders[number] = possible[0]
        return orders

    def _could_be_better(self, found: Found) -> bool:
        """Whether something that is not certain could lower what the set costs."""
        usual = not changes_are_outranked(self.problem.question.preference)
        for regret in self.problem.regrets:
            if not all(self.problem.true_in(found.values, fit) for fit in regret.when):
                continue
            if any(self.problem.true_in(found.values, fit) for fit in regret.unless):
                continue
            if not usual or any(self.may_be(fit) for fit in regret.unless):
                return True
        return False


class Stake:
    """What is left to decide once propagation is done: a second reach, over narrower domains.

    Opened is each place that today's cannot keep, then what a demand asks for that the places opened so far
    could break, and what could pay for a budget that they could break. Every other place is as today in
    every best set, and in the best of those with some value at an opened place: sent back to today it
    breaks nothing and makes nothing dearer, as in `reach`. `demands` are the numbers of those that can bind,
    `breakable` the budgets that some set of what is open leaves uncovered.
    """

    def __init__(self, done: Propagation) -> None:
        self.done = done
        self.problem = done.problem
        self.today = done.problem.scope.today
        self.domains = {place: {self.today.get(place)} for place in done.domains}
        self._closed = set(done.domains)
        self._waiting: deque[str] = deque()
        everything = changes_are_outranked(self.problem.question.preference)
        for place, domain in done.domains.items():
            if everything or self.today.get(place) not in domain:
                self._open(place)
        self._touched = {n for n, d in enumerate(done.demands) if not d.when or d.cause in _ASKED}
        for number in self._touched:
            self._ask(done.demands[number])
        self._run()
        self.demands = sorted(self._touched)

    def _open(self, place: str) -> None:
        if place in self._closed:
            self._closed.discard(place)
            self.domains[place] = self.done.domains[place]
            self._waiting.append(place)

    def _open_each(self, fits: Iterable[Fit]) -> None:
        for fit in fits:
            if fit.position in self._closed and fit.component in self.done.domains[fit.position]:
                self._open(fit.position)

    def _run(self) -> None:
        """Open what may have to change, until nothing more may."""
        before = -1
        while before != len(self._closed):
            before = len(self._closed)
            while self._waiting:
                self.problem.deadline.check()
                self._follow(self._waiting.popleft())
            for regret in self.problem.regrets:
                if all(map(self._may_sit, regret.when)):
                    self._open_each(fit for fit in regret.unless if fit.is_loose)
            self.breakable = [use for use in self.problem.budgets if self._could_break(use)]
            for use in self.breakable:
                self._open_each(fit for fit, units in use.each() if units > use.today[fit.position])

    def _follow(self, place: str) -> None:
        """The demands on what could sit in an opened place, and those that today's there helps to meet."""
        numbers: set[int] = set()
        depending, served = self.done.depending, self.done.served
        for component in self.problem.domains[place]:
            fit = (place, component)
            numbers.update(depending.get(fit, ()), served.get(fit, ()))
        numbers -= self.done.settled
        self._touched |= numbers
        for number in numbers:
            demand = self.done.demands[number]
            if not self._closed.isdisjoint(demand.places):
                self._ask(demand)

    def _ask(self, demand: Demand) -> None:
        """Open what could meet a demand, and what it binds today, if it could be broken."""
        if all(map(self._may_sit, demand.when)) and not self._is_met(demand):
            self._open_each(demand.one_of)
            self._open_each(need.fit for need in demand.loose)
            self._open_each(fit for fit in demand.when if self.problem.scope.is_today(fit))

    def _may_sit(self, fit: Fit) -> bool:
        position, component = fit
        domain = self.domains.get(position)
        return self.today.get(position) == component if domain is None else component in domain

    def _is_met(self, demand: Demand) -> bool:
        """Whether every choice of what is open so far meets it."""
        if not demand.one_of and not demand.loose:
            return False
        meeting: dict[str, set[str | None]] = defaultdict(set)
        for fit in (*demand.one_of, *(need.fit for need in demand.loose)):
            meeting[fit.position].add(fit.component)
        return any(
            self.domains.get(place, {self.today.get(place)}) <= fits for place, fits in meeting.items()
        )

    def _could_break(self, use: BudgetUse) -> bool:
        """Whether a budget can be left uncovered by what is open so far, and binds then."""
        gives = {place: [given[c] for c in self.domains[place]] for place, given in use.contributions.items()}
        if use.rest + sum(map(min, gives.values())) >= 0:
            return False
        return use.holds_today or any(set(gives[place]) != {now} for place, now in use.today.items())


_ASKED = (Cause.wish, Cause.flaw)
"""What may be broken as the vehicle stands; every other demand holds today."""
