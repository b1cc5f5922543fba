"""A question as variables and small tables, as elimination takes them (see `eliminate`)."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np

from graftbook.closure.answer import Cause
from graftbook.closure.search.deadline import LOOK_EVERY
from graftbook.closure.search.limits import minutes_each, price_each
from graftbook.closure.search.problem import BudgetUse, Demand, LooseNeed, Problem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.totals import fit_cost
from graftbook.rulebook.scope import Fit

LARGEST_TABLE = 256
"""A rule that would make a greater table becomes a chain."""

MOST_SUMS = 64
"""Sums that a budget can come to at one place of its chain, beyond which it is left out."""

Bans = np.ndarray[Any, np.dtype[np.bool_]]
"""What is forbidden: an axis for each variable."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that is so exactly while a variable has one of these values."""

    variable: int
    values: frozenset[int]


@dataclass(slots=True)
class Priced:
    """A table before costs are packed: combinations that cost something, and those that are forbidden."""

    variables: tuple[int, ...]
    costs: dict[tuple[int, ...], dict[str, int]] = field(default_factory=dict)
    forbidden: list[tuple[int, ...]] = field(default_factory=list)
    bans: Bans | None = None
    """Or a whole array of what is forbidden."""


class Tables:
    """The problem as variables and tables."""

    def __init__(self, problem: Problem, propagation: Propagation, budgets: Iterable[BudgetUse]) -> None:
        self.problem = problem
        self.domains = propagation.domains
        self.values: list[list[Any]] = []
        self.tables: list[Priced] = []
        self.constant: dict[str, int] = {}
        self.variable_of: dict[str, int] = {}
        self.index_of: dict[str, dict[str | None, int]] = {}
        self.orders: dict[int, tuple[Event | None, list[LooseNeed], int | None]] = {}
        self.reasons: dict[str, list[Event]] = {}
        self.always: dict[str, bool] = {}
        self._shared: dict[tuple[str, str], list[tuple[Event | None, int]]] = {}
        self._joint: dict[tuple[Event, Event], Event] = {}
        for place in sorted(self.domains):
            if len(self.domains[place]) > 1:
                values = sorted(self.domains[place], key=lambda c: c or "")
                self.variable_of[place] = self._new(values)
                self.index_of[place] = {value: at for at, value in enumerate(values)}
        for number, demand in enumerate(problem.demands):
            if not number % LOOK_EVERY:
                problem.deadline.check()
            self._demand(number, demand)
        self._places()
        self._regrets()
        self._shared_costs()
        self._loose_places()
        for use in budgets:
            self._budget(use)

    def _new(self, values: Sequence[Any]) -> int:
        self.values.append(list(values))
        return len(self.values) - 1

    # What a fit is ----------------------------------------------------------------------------

    def literal(self, fit: Fit) -> bool | Event:
        """Whether a fit is there: certainly, certainly not, or while a variable has a value."""
        domain = self.domains.get(fit.position)
        if domain is None:
            return self.problem.scope.is_today(fit)
        if fit.component not in domain:
            return False
        if len(domain) == 1:
            return True
        return Event(self.variable_of[fit.position], frozenset((self.index_of[fit.position][fit.component],)))

    def _unmet(self, when: Iterable[Fit], one_of: Iterable[Fit]) -> dict[int, set[int]] | None:
        """Variable → values with which `when` holds and nothing of `one_of` does; None: never so."""
        found: dict[int, set[int]] = {}
        for fit in when:
            literal = self.literal(fit)
            if literal is False:
                return None
            if isinstance(literal, Event):
                found.setdefault(literal.variable, self._all(literal.variable)).intersection_update(
                    literal.values
                )
        for fit in one_of:
            literal = self.literal(fit)
            if literal is True:
                return None
            if isinstance(literal, Event):
                found.setdefault(literal.variable, self._all(literal.variable)).difference_update(
                    literal.values
                )
        return None if any(not values for values in found.values()) else found

    def _all(self, variable: int) -> set[int]:
        return set(range(len(self.values[variable])))

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
        event = self._joined(unmet) if unmet else None
        self._order(number, demand, event, sorted(dict.fromkeys(needs), key=lambda need: need.component))

    def _order(self, number: int, demand: Demand, event: Event | None, needs: list[LooseNeed]) -> None:
        """While the event is so (None: always), one of the loose parts is ordered."""
        chosen = None
        if len(needs) > 1:
            chosen = self._new([None, *needs] if event else needs)
            if event:
                bans = np.zeros((len(self.values[event.variable]), len(needs) + 1), dtype=bool)
                for at in range(bans.shape[0]):
                    bans[at, 0 if at in event.values else slice(1, None)] = True
                self.tables.append(Priced((event.variable, chosen), bans=bans))
        self.orders[number] = (event, needs, chosen)
        for at, need in enumerate(needs):
            so = event if chosen is None else Event(chosen, frozenset((at + 1 if event else at,)))
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

    def _cost_event(self, so: Event | None, cost: dict[str, int]) -> None:
        if so is None:
            for name, figure in cost.items():
                self.constant[name] = self.constant.get(name, 0) + figure
        else:
            self.tables.append(Priced((so.variable,), {(at,): cost for at in so.values}))

    def _cost_while(self, so: dict[int, set[int]], cost: dict[str, int]) -> None:
        event = self._joined(so) if so else None
        self._cost_event(event, cost)

    def _forbid(self, unmet: dict[int, set[int]]) -> None:
        """The values may not all be so. No variable at all: there is no set."""
        variables = list(unmet)
        cells = math.prod(len(self.values[v]) for v in variables)
        while len(variables) > 2 and cells > LARGEST_TABLE:
            first, second = variables.pop(), variables.pop()
            joined = self._both(first, unmet[first], second, unmet[second])
            variables.append(joined.variable)
            unmet = {**unmet, joined.variable: set(joined.values)}
            cells = math.prod(len(self.values[v]) for v in variables)
        bans = np.ones((), dtype=bool)
        for variable in variables:
            bad = np.zeros(len(self.values[variable]), dtype=bool)
            bad[list(unmet[variable])] = True
            bans = np.logical_and.outer(bans, bad)
        self.tables.append(Priced(tuple(variables), bans=bans))

    def _joined(self, so: dict[int, set[int]]) -> Event:
        """One event that is so while all of them are."""
        items = sorted(so.items(), key=lambda item: item[0])
        event = Event(items[0][0], frozenset(items[0][1]))
        for variable, values in items[1:]:
            event = self._both(event.variable, event.values, variable, values)
        return event

    def _both(self, one: int, ones: Iterable[int], other: int, others: Iterable[int]) -> Event:
        """A yes-or-no variable for both being so; the same one where it is asked for again."""
        key = (Event(one, frozenset(ones)), Event(other, frozenset(others)))
        if (known := self._joint.get(key)) is not None:
            return known
        both = self._new((False, True))
        a = np.zeros(len(self.values[one]), dtype=bool)
        b = np.zeros(len(self.values[other]), dtype=bool)
        a[list(ones)], b[list(others)] = True, True
        so = np.logical_and.outer(a, b)
        self.tables.append(Priced((one, other, both), bans=np.stack((so, ~so), axis=-1)))
        self._joint[key] = Event(both, frozenset((1,)))
        return self._joint[key]

    def _any_of(self, events: list[Event]) -> Event | None:
        """An event that is so while one of them is; None for none."""
        by_variable: dict[int, set[int]] = {}
        for event in events:
            by_variable.setdefault(event.variable, set()).update(event.values)
        items = sorted(by_variable.items(), key=lambda item: item[0])
        if not items:
            return None
        variable, values = items[0]
        for other, others in items[1:]:
            neither = self._both(
                variable, self._all(variable) - set(values), other, self._all(other) - set(others)
            )
            variable, values = neither.variable, {0}
        return Event(variable, frozenset(values))

    # What places, regrets and loose parts cost -------------------------------------------------

    def _places(self) -> None:
        scope = self.problem.scope
        for place, domain in self.domains.items():
            if len(domain) == 1:
                cost = fit_cost(scope, Fit(place, next(iter(domain))))._asdict()
                self._cost_event(None, {name: figure for name, figure in cost.items() if figure})
                continue
            costs: dict[tuple[int, ...], dict[str, int]] = {}
            for value, at in self.index_of[place].items():
                cost = fit_cost(scope, Fit(place, value))._asdict()
                if spent := {name: figure for name, figure in cost.items() if figure}:
                    costs[(at,)] = spent
            self.tables.append(Priced((self.variable_of[place],), costs))

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
                known.append(self._joined(so))
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
            if not Fit(place, None).is_loose or domain == {None}:
                continue
            number = place[1:]
            extra = self._pieces(number, 1) if number in self.problem.extras else None
            reason = None if self.always.get(number) else self._any_of(self.reasons.get(number, []))
            sure = bool(self.always.get(number))
            self._ordered(place, number, reason, sure, extra)

    def _ordered(
        self, place: str, number: str, reason: Event | None, sure: bool, extra: dict[str, int] | None
    ) -> None:
        open_place = self.variable_of.get(place)
        for there, at in self.index_of.get(place, {number: 0}).items():
            ordered = there is not None
            for so in (True, False):
                if (so and reason is None and not sure) or (not so and sure):
                    continue
                forbidden = so != ordered and (so or extra is None)
                cost = extra if ordered and not so and extra is not None else None
                if forbidden or cost:
                    self._at(open_place, at, reason, so, cost)

    def _at(
        self, variable: int | None, at: int, reason: Event | None, so: bool, cost: dict[str, int] | None
    ) -> None:
        """Forbid (cost None) or price a value of the place together with the reason being so or not."""
        names: list[int] = [] if variable is None else [variable]
        combos: list[list[int]] = [] if variable is None else [[at]]
        if reason is not None:
            names.append(reason.variable)
            alike = reason.values if so else frozenset(self._all(reason.variable) - reason.values)
            combos.append(sorted(alike))
        rows = list(product(*combos))
        table = Priced(tuple(names))
        if cost is None:
            table.forbidden = rows
        else:
            table.costs = dict.fromkeys(rows, cost)
        self.tables.append(table)

    # Budgets ----------------------------------------------------------------------------------

    def _budget(self, use: BudgetUse) -> None:
        """Forbid what leaves a budget uncovered while it binds, unless that takes too many sums."""
        start, binds, places, units = use.rest, use.holds_today, [], []
        for place in sorted(use.today):
            own = [
                use.contributions[Fit(place, c)] for c in sorted(self.domains[place], key=lambda c: c or "")
            ]
            if min(own) == max(own):
                start += own[0]
                binds = binds or own[0] != use.today[place]
            else:
                places.append(place)
                units.append(own)
        if start + sum(map(min, units)) >= 0:
            return
        if not places:
            if binds:
                self._forbid({})
            return
        chain = _sums(start, binds, units, [use.today[p] for p in places])
        if chain is None:
            return
        before: int | None = None
        for place, states, steps in zip(places, chain.states, chain.steps, strict=True):
            now = self._new(states)
            here = self.variable_of[place]
            bans = np.ones((*steps.shape, len(states)), dtype=bool)
            np.put_along_axis(bans, steps[..., None], False, axis=-1)
            names = (here, now) if before is None else (before, here, now)
            self.tables.append(Priced(names, bans=bans[0] if before is None else bans))
            before = now
        table = Priced((now,))
        table.forbidden = [(at,) for at, state in enumerate(chain.states[-1]) if state == TOO_LITTLE]
        self.tables.append(table)


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
