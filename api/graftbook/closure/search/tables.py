"""A question as variables and small tables, as elimination takes them (see `eliminate`)."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product
from typing import Any, NamedTuple

import numpy as np

from graftbook.closure.answer import Cause
from graftbook.closure.criteria import Criterion
from graftbook.closure.search.brought import brought_on
from graftbook.closure.search.deadline import LOOK_EVERY
from graftbook.closure.search.problem import BudgetUse, Demand, LooseNeed, SearchProblem, in_order
from graftbook.closure.search.propagate import Propagation, Stake
from graftbook.closure.search.totals import minutes_each, price_each, whole_preference
from graftbook.rulebook.scope import LOOSE, Fit

LARGEST_TABLE = 256
"""A rule that would make a greater table becomes a chain."""

MOST_SUMS = 64
"""Sums that a budget can come to at one place of its chain, beyond which it is left out."""

Bans = np.ndarray[Any, np.dtype[np.bool_]]
"""What is forbidden: an axis for each variable."""


Mask = int
"""Values of a variable as bits: the first value is 1, the second 2, the third 4."""


class Event(NamedTuple):
    """Something that is so exactly while a variable has one of these values."""

    variable: int
    values: Mask


Ordered = tuple[Event | None, list[LooseNeed], int | None]
"""When a demand orders a loose part (None: always), which could be, and the variable that says which."""

Forbidden = dict[tuple[int, ...], set[tuple[Mask, ...]]]
"""Variables, in ascending order → values of each that may not all be so."""

Costs = dict[tuple[int, ...], dict[tuple[int, ...], dict[str, int]]]
"""Variables → values of each that cost something together → the figures that they cost."""


class Made(NamedTuple):
    """Tables before costs are packed: what costs, what is forbidden, and the chains of budgets."""

    costs: Costs
    forbidden: Forbidden
    chains: list[tuple[tuple[int, ...], Bans]]


class Tables:
    """The problem as variables and tables."""

    def __init__(self, problem: SearchProblem, propagation: Propagation) -> None:
        self.problem = problem
        stake = Stake(propagation)
        self.domains, self.breakable = stake.domains, stake.breakable
        self.values: list[list[Any]] = []
        self.all_of: list[Mask] = []
        self.made = Made({}, {}, [])
        self.constant: dict[str, int] = {}
        self.variable_of: dict[str, int] = {}
        self.orders: dict[int, Ordered] = {}
        self.reasons: dict[str, list[Event]] = {}
        self.always: dict[str, bool] = {}
        self._shared: dict[tuple[str, str], list[tuple[Event | None, int]]] = {}
        self._joint: dict[tuple[Event, Event], Event] = {}
        self._literals: dict[str, dict[str | None, bool | Event]] = {}
        for place in sorted(self.domains):
            self._open(place)
        for looked, number in enumerate(stake.demands):
            if not looked % LOOK_EVERY:
                problem.deadline.check()
            self._demand(number, problem.demands[number])
        self._places()
        self._regrets()
        self._shared_costs()
        self._loose_places()
        self.without_budgets = self.made
        """All that is made before a budget takes part."""

    def _open(self, place: str) -> None:
        domain = self.domains[place]
        if len(domain) == 1:
            self._literals[place] = dict.fromkeys(domain, True)
            return
        values = in_order(domain)
        variable = self.variable_of[place] = self._new(values)
        self._literals[place] = {value: Event(variable, 1 << at) for at, value in enumerate(values)}

    def _new(self, values: Sequence[Any]) -> int:
        self.values.append(list(values))
        self.all_of.append((1 << len(values)) - 1)
        return len(self.values) - 1

    # What a fit is ----------------------------------------------------------------------------

    def literal(self, fit: Fit) -> bool | Event:
        """Whether a fit is there: certainly, certainly not, or while a variable has a value."""
        position, component = fit
        if (there := self._literals.get(position)) is None:
            return self.problem.scope.is_today(fit)
        return there.get(component, False)

    def _unmet(self, when: Iterable[Fit], one_of: Iterable[Fit]) -> dict[int, Mask] | None:
        """Variable → values with which `when` holds and nothing of `one_of` does; None: never so."""
        found: dict[int, Mask] = {}
        for fit in when:
            literal = self.literal(fit)
            if literal is False:
                return None
            if literal is not True:
                variable, values = literal
                found[variable] = found.get(variable, self.all_of[variable]) & values
        for fit in one_of:
            literal = self.literal(fit)
            if literal is True:
                return None
            if literal is not False:
                variable, values = literal
                found[variable] = found.get(variable, self.all_of[variable]) & ~values
        return None if 0 in found.values() else found

    # Demands ----------------------------------------------------------------------------------

    def _demand(self, number: int, demand: Demand) -> None:
        unmet = self._unmet(demand.when, demand.one_of)
        if demand.unconfirmed and (there := self._unmet(demand.when, ())) is not None:
            self._cost_while(there, {"unconfirmed": 1})
        if unmet is None:
            return
        needs = [need for need in demand.loose if self.literal(need.fit) is not False]
        if not needs:
            self._forbid(unmet)
            return
        event = self._all_of(unmet) if unmet else None
        if len(needs) > 1:
            needs = sorted(dict.fromkeys(needs), key=lambda need: need.component)
        self._order(number, demand, event, needs)

    def _order(self, number: int, demand: Demand, event: Event | None, needs: list[LooseNeed]) -> None:
        """While the event is so (None: always), one of the loose parts is ordered."""
        chosen = None
        if len(needs) > 1:
            chosen = self._new([None, *needs] if event else needs)
            if event:
                self._ban({event.variable: event.values, chosen: 1})
                self._ban({event.variable: self._unless(event).values, chosen: self.all_of[chosen] & ~1})
        self.orders[number] = (event, needs, chosen)
        for at, need in enumerate(needs):
            so = event if chosen is None else Event(chosen, 1 << (at + 1 if event else at))
            if so is None:
                self.always[need.component] = True
            else:
                self.reasons.setdefault(need.component, []).append(so)
            if demand.shares_with:
                self._shared.setdefault((need.component, demand.shares_with), []).append((so, need.quantity))
            else:
                self._cost_event(so, self._pieces(need.component, need.quantity))

    def _pieces(self, component: str, pieces: int) -> dict[str, int]:
        scope = self.problem.scope
        return {
            "price": (price_each(scope, component) or 0) * pieces,
            "labour": minutes_each(scope, component) * pieces,
            "pieces": pieces,
        }

    # Costs and bans ---------------------------------------------------------------------------

    def _cost_event(self, so: Event | None, cost: Mapping[str, int]) -> None:
        if so is None:
            _add_up(self.constant, cost)
        else:
            self._cost((so.variable,), ((at,) for at in bits(so.values)), cost)

    def _cost(
        self, variables: tuple[int, ...], rows: Iterable[tuple[int, ...]], cost: Mapping[str, int]
    ) -> None:
        costs = self.made.costs.setdefault(variables, {})
        for row in rows:
            _add_up(costs.setdefault(row, {}), cost)

    def _cost_while(self, so: dict[int, Mask], cost: Mapping[str, int]) -> None:
        event = self._all_of(so) if so else None
        self._cost_event(event, cost)

    def _forbid(self, unmet: dict[int, Mask]) -> None:
        """The values may not all be so. No variable at all: there is no set."""
        if len(unmet) <= 2:
            self._ban(unmet)
            return
        variables = list(unmet)
        cells = math.prod(len(self.values[v]) for v in variables)
        while len(variables) > 2 and cells > LARGEST_TABLE:
            first, second = variables.pop(), variables.pop()
            joined = self._both(Event(first, unmet[first]), Event(second, unmet[second]))
            variables.append(joined.variable)
            unmet[joined.variable] = joined.values
            cells = math.prod(len(self.values[v]) for v in variables)
        self._ban({variable: unmet[variable] for variable in variables})

    def _ban(self, so: dict[int, Mask]) -> None:
        if 0 not in so.values():
            variables = tuple(sorted(so))
            self.made.forbidden.setdefault(variables, set()).add(tuple([so[v] for v in variables]))

    def _all_of(self, so: dict[int, Mask]) -> Event:
        """One event that is so while all of them are."""
        first, *others = (Event(variable, so[variable]) for variable in sorted(so))
        for other in others:
            first = self._both(first, other)
        return first

    def _both(self, one: Event, other: Event) -> Event:
        """A yes-or-no variable for both being so; the same one where it is asked for again."""
        known = self._joint.get((one, other))
        if known is None:
            known = self._joint[one, other] = Event(self._new((False, True)), 2)
            self._ban({one.variable: one.values, other.variable: other.values, known.variable: 1})
            for event in (one, other):
                self._ban({event.variable: self._unless(event).values, known.variable: 2})
        return known

    def _unless(self, event: Event) -> Event:
        return Event(event.variable, self.all_of[event.variable] & ~event.values)

    def _any_of(self, events: list[Event]) -> Event | None:
        """An event that is so while one of them is; None for none."""
        by_variable: dict[int, Mask] = {}
        for event in events:
            by_variable[event.variable] = by_variable.get(event.variable, 0) | event.values
        if not by_variable:
            return None
        so, *others = (Event(variable, by_variable[variable]) for variable in sorted(by_variable))
        for other in others:
            so = Event(self._both(self._unless(so), self._unless(other)).variable, 1)
        return so

    # What places, regrets and loose parts cost -------------------------------------------------

    def _places(self) -> None:
        brought, today = brought_on(self.problem.scope), self.problem.scope.today
        for place, domain in self.domains.items():
            for value in domain:
                if value != today.get(place) and (cost := brought.brings(Fit(place, value)).cost):
                    so = self._literals[place][value]
                    self._cost_event(so if isinstance(so, Event) else None, cost)

    def _regrets(self) -> None:
        undetermined: dict[tuple[Cause, str], list[Event] | None] = {}
        for regret in self.problem.regrets:
            unless = regret.unless if regret.cause is Cause.flaw else ()
            so = self._unmet(regret.when, unless)
            if so is None:
                continue
            if regret.cause is Cause.flaw:
                self._cost_while(so, {"flaws": regret.weight})
                continue
            key = (regret.cause, regret.name)
            known = undetermined.setdefault(key, [])
            if not so:
                undetermined[key] = None
            elif known is not None:
                known.append(self._all_of(so))
        for events in undetermined.values():
            self._cost_event(None if events is None else self._any_of(events), {"unconfirmed": 1})

    def _shared_costs(self) -> None:
        """Of one loose part the demands of one group count once, with the greatest quantity of theirs."""
        for (component, _), asked in self._shared.items():
            before = 0
            for quantity in sorted({quantity for _, quantity in asked}):
                greater = [so for so, more in asked if more >= quantity]
                sure = any(so is None for so in greater)
                so = None if sure else self._any_of([event for event in greater if event is not None])
                self._cost_event(so, self._pieces(component, quantity - before))
                before = quantity

    def _loose_places(self) -> None:
        """A loose part is ordered for a demand, or as one piece to remedy a flaw, and for nothing else."""
        for place, domain in self.domains.items():
            if not place.startswith(LOOSE) or domain == {None}:
                continue
            number = place[len(LOOSE) :]
            extra = self._pieces(number, 1) if number in self.problem.extras else None
            reason = None if self.always.get(number) else self._any_of(self.reasons.get(number, []))
            sure = bool(self.always.get(number))
            self._ordered(place, number, reason, sure, extra)

    def _ordered(
        self, place: str, number: str, reason: Event | None, sure: bool, extra: dict[str, int] | None
    ) -> None:
        there = self._literals[place][number]
        ordered = [there] if isinstance(there, Event) else []
        asked = [reason] if reason is not None else []
        if sure or asked:
            for event in ordered:
                self._ban(_together([self._unless(event), *asked]))
        if not sure:
            to_spare = _together([*ordered, *map(self._unless, asked)])
            if extra is None:
                self._ban(to_spare)
            else:
                self._cost_together(to_spare, extra)

    def _cost_together(self, so: dict[int, Mask], cost: Mapping[str, int]) -> None:
        variables = tuple(sorted(so))
        self._cost(variables, product(*(bits(so[v]) for v in variables)), cost)

    @cached_property
    def names(self) -> list[str]:
        """The figures of a cost in the asked order, the number of loose pieces last."""
        names: list[str] = []
        for criterion in whole_preference(self.problem.question.preference):
            names += ["unknown", "price"] if criterion is Criterion.price else [criterion.name]
        return [*names, "pieces"]

    @cached_property
    def most(self) -> dict[str, int]:
        """What each figure comes to at most, beside what is certain."""
        most = dict.fromkeys(self.names, 0)
        for costs in self.without_budgets.costs.values():
            greatest: dict[str, int] = {}
            for cost in costs.values():
                for name, figure in cost.items():
                    greatest[name] = max(greatest.get(name, 0), figure)
            for name, figure in greatest.items():
                most[name] += figure
        return most

    def weights(self) -> dict[str, int]:
        """What each figure counts in one whole number that compares them first to last; in that order."""
        weights, weight = {}, 1
        for name in reversed(self.names):
            weights[name] = weight
            weight *= self.most[name] + 1
        return dict(reversed(weights.items()))

    @property
    def in_order_of_ties(self) -> list[int]:
        """Places in name order, then what each demand orders."""
        chosen = [chosen for _, (_, _, chosen) in sorted(self.orders.items()) if chosen is not None]
        return [*(self.variable_of[place] for place in sorted(self.variable_of)), *chosen]

    def take(self) -> Made:
        """What was made since it was last asked for."""
        made, self.made = self.made, Made({}, {}, [])
        return made

    # Budgets ----------------------------------------------------------------------------------

    def add_budget(self, use: BudgetUse) -> bool:
        """Forbid what leaves a budget uncovered while it binds. False: that takes too many sums."""
        start, binds, places, units = use.rest, use.holds_today, [], []
        for place in sorted(use.today):
            own = [use.contributions[place][c] for c in in_order(self.domains[place])]
            if min(own) == max(own):
                start += own[0]
                binds = binds or own[0] != use.today[place]
            else:
                places.append(place)
                units.append(own)
        if start + sum(map(min, units)) >= 0:
            return True
        if not places:
            if binds:
                self._ban({})
            return True
        chain = _sums(start, binds, units, [use.today[p] for p in places])
        if chain is None:
            return False
        before: int | None = None
        for place, states, steps in zip(places, chain.states, chain.steps, strict=True):
            now = self._new(states)
            here = self.variable_of[place]
            bans = np.ones((*steps.shape, len(states)), dtype=bool)
            np.put_along_axis(bans, steps[..., None], False, axis=-1)
            if before is None:
                self.made.chains.append(((here, now), bans[0]))
            else:
                self.made.chains.append(((before, here, now), bans))
            before = now
        for at, state in enumerate(chain.states[-1]):
            if state == TOO_LITTLE:
                self._ban({now: 1 << at})
        return True


def _add_up(sum_: dict[str, int], cost: Mapping[str, int]) -> None:
    for name, figure in cost.items():
        sum_[name] = sum_.get(name, 0) + figure


def _together(events: Iterable[Event]) -> dict[int, Mask]:
    """Variable → values with which all the events are so."""
    found: dict[int, Mask] = {}
    for variable, values in events:
        found[variable] = found.get(variable, values) & values
    return found


@lru_cache(maxsize=1024)
def bits(mask: Mask) -> tuple[int, ...]:
    """The values of a mask, ascending."""
    return tuple([at for at in range(mask.bit_length()) if mask >> at & 1])


ENOUGH, TOO_LITTLE = "enough", "too little"
"""Sums of a budget that stay so whatever follows, and whether it binds by then."""


@dataclass(frozen=True, slots=True)
class _Sums:
    """A budget place by place: the states after each, and which state follows from state and value."""

    states: list[list[Any]]
    steps: list[np.ndarray[Any, np.dtype[np.int64]]]


def _sums(start: int, binds: bool, units: list[list[int]], today: list[int]) -> _Sums | None:
    """The sums that can occur; None where they are too many. A state is a sum and whether it binds."""
    least_left = [sum(map(min, units[at + 1 :])) for at in range(len(units))]
    most_left = [sum(map(max, units[at + 1 :])) for at in range(len(units))]
    changes_left = [
        any(unit != now for own, now in zip(units[at + 1 :], today[at + 1 :], strict=True) for unit in own)
        for at in range(len(units))
    ]
    before: list[Any] = [(start, binds)]
    states, steps = [], []
    for at, own in enumerate(units):
        found: dict[Any, int] = {}
        table = np.zeros((len(before), len(own)), dtype=np.int64)
        for row, state in enumerate(before):
            for column, unit in enumerate(own):
                after = state
                if state not in (ENOUGH, TOO_LITTLE):
                    total, bound = state[0] + unit, state[1] or unit != today[at]
                    after = (total, bound)
                    if total + least_left[at] >= 0 or not (bound or changes_left[at]):
                        after = ENOUGH
                    elif total + most_left[at] < 0 and bound:
                        after = TOO_LITTLE
                table[row, column] = found.setdefault(after, len(found))
        before = list(found)
        if len(before) > MOST_SUMS:
            return None
        states.append(before)
        steps.append(table)
    return _Sums(states, steps)
