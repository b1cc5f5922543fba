"""The best set, and the price of every alternative, by eliminating one place after the other.

What reach and propagation leave open is nearly a tree: a rule names two or three places, and few rules
close a ring. So the question is answered by dynamic programming over small tables (bucket elimination;
Dechter, "Bucket elimination: a unifying framework for reasoning", 1999; the second pass as in Lauritzen
and Spiegelhalter, 1988):

1. *Variables* are the open places, and for each demand that loose parts can meet which part it orders. A
   long "or" becomes a chain of yes-or-no variables, so that no table is as large as its rule is long.
2. *Tables* say for each combination of the values that a rule names what it costs, or that it is
   forbidden. A cost is one whole number: the criteria in the asked order, each a digit that its bound
   keeps from carrying over.
3. *Up:* the variable that meets least is taken out. The tables that name it are added, and for each
   combination of what else they name the least over its values is kept: a new table without it. At the
   end the least of all is left. What a step needs is the product of the domains that it meets;
   `MOST_CELLS` bounds the sum of it, known before anything is computed.
4. *Down:* from the last step to the first each table hears what the rest of the problem costs beside
   it. Then every value of every place knows what the best set that holds it costs: its min-marginal.

Budgets and the price ceiling are left out at first: a best set that keeps them anyway is the best of all.
A budget that it breaks becomes a chain too, whose variables are the few sums that can occur so far
(`MOST_SUMS`), those that are enough or too little whatever follows put together. Where that is too much, or
the ceiling is broken, nothing is claimed here, and the solver is asked. The checker verifies every set
either way.
"""

import heapq
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

import numpy as np

from graftbook.closure.answer import Cause
from graftbook.closure.question import Criterion
from graftbook.closure.search.deadline import LOOK_EVERY
from graftbook.closure.search.limits import minutes_each, price_each
from graftbook.closure.search.problem import BudgetUse, Demand, Found, LooseNeed, Problem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.totals import fit_cost, totals_of, whole_preference
from graftbook.rulebook.scope import Fit

MOST_CELLS = 2_000_000
"""Cells of all tables of the first pass together, above which the solver is asked instead."""

LARGEST_TABLE = 256
"""A rule that would make a greater table becomes a chain."""

MOST_SUMS = 64
"""Sums that a budget can come to at one place of its chain, beyond which it is left out."""

DIGITS = 1 << 60
"""What a cost stays below in one word; a cost takes one word or two."""

NEVER = 1 << 61
"""The cost of what is forbidden. Two of them can be added in 64 bits."""

Cells = np.ndarray[Any, np.dtype[np.int64]]
"""Costs: the first axis is the word, the others are variables."""


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
    bans: Cells | None = None
    """Or a whole array of what is forbidden."""


@dataclass(slots=True)
class Table:
    """Costs over some variables."""

    variables: tuple[int, ...]
    cells: Cells


class TooWide(Exception):
    """The tables would be larger than they may be, or a cost longer than two words."""


class Elimination:
    """One problem, taken apart, with those of its budgets that are to be looked at.

    Raises TooWide and OutOfTime; `best` is None where no set exists.
    """

    def __init__(self, problem: Problem, propagation: Propagation, budgets: Sequence[BudgetUse] = ()) -> None:
        self.compiled = _Compiled(problem, propagation, budgets)
        self.tree = _Tree(self.compiled)
        self.best = self.tree.least_of_all()

    def found(self) -> Found | None:
        """The best set, ties broken by places in name order and the smaller number; None: there is none.

        Budgets and the ceiling are not looked at.
        """
        if self.best is None:
            return None
        tree = self.tree
        for variable in self.compiled.in_order_of_ties:
            at_best = (self._costs(tree, variable) == self.best[:, None]).all(axis=0)
            if at_best.sum() > 1:
                self.compiled.restrict(variable, int(at_best.argmax()))
                tree = _Tree(self.compiled, tree.order)
        if tree is not self.tree:
            self.compiled.release()
        return self.compiled.read(tree.traced())

    def _costs(self, tree: "_Tree", variable: int) -> Cells:
        """For each value of a variable what the best set with it costs, also where it is read off another."""
        lead, values = self.compiled.lead_of(variable)
        costs = tree.costs_of(lead)
        if lead == variable:
            return costs
        found = np.full((len(costs), len(self.compiled.values[variable])), NEVER, dtype=np.int64)
        for value in range(found.shape[1]):
            alike = costs[:, [at for at, follows in enumerate(values) if follows == value]]
            if alike.size:
                found[:, value] = least(alike, 0)
        return found

    def costs_of(self, place: str) -> dict[str | None, tuple[int, ...] | None]:
        """Each value that an open place could have → what the best set with it costs, criterion by criterion.

        None: there is no set with it. Empty for a place that is not open.
        """
        variable = self.compiled.variable_of.get(place)
        if variable is None:
            return {}
        costs = self._costs(self.tree, variable)
        values = self.compiled.values[variable]
        return {value: self.compiled.unpacked(costs[:, at]) for at, value in enumerate(values)}

    def found_with(self, place: str, value: str | None) -> Found:
        """A best set of those that hold this value, which `costs_of` says exist."""
        variable = self.compiled.variable_of[place]
        lead, values = self.compiled.lead_of(variable)
        wanted = self.compiled.values[variable].index(value)
        costs = self.tree.costs_of(lead).copy()
        costs[:, [at for at, follows in enumerate(values) if follows != wanted]] = NEVER
        return self.compiled.read(self.tree.traced(lead, *least_at(costs)))


def best_by_elimination(problem: Problem, propagation: Propagation) -> tuple[Found, Elimination] | None:
    """The best set and what it was read from.

    None: this way does not settle it, because the tables would be too large or the free optimum breaks a
    budget or the ceiling; or there is no set at all, which the solver then proves.
    """
    looked_at: list[BudgetUse] = []
    while True:  # each turn looks at a budget more
        try:
            elimination = Elimination(problem, propagation, looked_at)
        except TooWide:
            return None
        found = elimination.found()
        if found is None:
            return None
        broken = [use for use in problem.budgets if use.broken(found.values) and use not in looked_at]
        if not broken:
            return None if breaks_a_sum(problem, found) else (found, elimination)
        looked_at += broken


def breaks_a_sum(problem: Problem, found: Found) -> bool:
    """Whether a set breaks a budget or the price ceiling."""
    if any(use.broken(found.values) for use in problem.budgets):
        return True
    ceiling = problem.question.limits.price_at_most
    if ceiling is None:
        return False
    totals = totals_of(problem, found)
    return totals.price > ceiling or bool(totals.unknown_prices)


class _Compiled:
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
        self._restricted: list[Table] = []
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
        self._pack()

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
            costs = {}
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
        short = [(at,) for at, state in enumerate(chain.states[-1]) if state == TOO_LITTLE]
        self.tables.append(Priced((now,), forbidden=short))

    # Packing ----------------------------------------------------------------------------------

    def _pack(self) -> None:
        names: list[str] = []
        for criterion in whole_preference(self.problem.question.preference):
            names += ["unknown", "price"] if criterion is Criterion.price else [criterion.name]
        self.names = [*names, "pieces"]
        most = dict.fromkeys(self.names, 0)
        for name, figure in self.constant.items():
            most[name] += figure
        for table in self.tables:
            greatest: dict[str, int] = {}
            for cost in table.costs.values():
                for name, figure in cost.items():
                    greatest[name] = max(greatest.get(name, 0), figure)
            for name, figure in greatest.items():
                most[name] += figure
        self._weights = _digits(self.names, most)
        self._most = most
        self.words = 1 + max(word for word, _ in self._weights.values())
        self.ready = self._added_up()
        self.aliases: dict[int, tuple[int, list[int]]] = {}
        self._substitute()

    def _added_up(self) -> list[Table]:
        """One table for each group of variables."""
        found: dict[tuple[int, ...], Cells] = {}
        for table in self.tables:
            turned = sorted(range(len(table.variables)), key=table.variables.__getitem__)
            variables = tuple(table.variables[at] for at in turned)
            cells = found.get(variables)
            if cells is None:
                shape = tuple(len(self.values[v]) for v in variables)
                cells = found[variables] = np.zeros((self.words, *shape), dtype=np.int64)
            cells = cells.transpose(0, *(turned.index(at) + 1 for at in range(len(turned))))
            self._add(table, cells)
        return [Table(variables, np.minimum(cells, NEVER)) for variables, cells in found.items()]

    def _add(self, table: Priced, cells: Cells) -> None:
        """Add a priced table to cells whose axes stand as its variables do. What is forbidden stays so."""
        for at, cost in table.costs.items():
            for name, figure in cost.items():
                word, weight = self._weights[name]
                cells[(word, *at)] += weight * figure
        for at in table.forbidden:
            cells[(slice(None), *at)] = NEVER
        if table.bans is not None:
            cells[:, table.bans] = NEVER

    def _substitute(self) -> None:
        """A variable whose value follows from another one's is read off that one, and needs no step.

        The two sides of a pair are such, and a loose part that one change alone can bring.
        """
        waiting = [table for table in self.ready if len(table.variables) == 2]
        while waiting:
            table = waiting.pop()
            if len(table.variables) != 2 or (follows := _follows(table)) is None:
                continue
            variable, lead, values = follows
            self.aliases[variable] = (lead, values)
            others = [other for other in self.ready if variable not in other.variables]
            merged = {other.variables: other for other in others}
            for old in self.ready:
                if variable not in old.variables:
                    continue
                new = _read_off(old, variable, lead, values)
                if (same := merged.get(new.variables)) is not None:
                    new = Table(new.variables, np.minimum(same.cells + new.cells, NEVER))
                merged[new.variables] = new
                if len(new.variables) == 2:
                    waiting.append(new)
            self.ready = list(merged.values())
            known = {id(table) for table in self.ready}
            waiting = [table for table in waiting if id(table) in known]

    def unpacked(self, cost: Cells) -> tuple[int, ...] | None:
        """A packed cost as figures, in the order of `names`; None for what is forbidden."""
        if cost[0] >= NEVER:
            return None
        left = [int(word) for word in cost]
        figures = []
        for name in self.names:
            word, weight = self._weights[name]
            figure, left[word] = divmod(left[word], weight)
            figures.append(figure + self.constant.get(name, 0))
        return tuple(figures)

    # Ties and reading -------------------------------------------------------------------------

    @property
    def in_order_of_ties(self) -> list[int]:
        """Places in name order, then what each demand orders."""
        chosen = [chosen for _, (_, _, chosen) in sorted(self.orders.items()) if chosen is not None]
        return [*(self.variable_of[place] for place in sorted(self.variable_of)), *chosen]

    def lead_of(self, variable: int) -> tuple[int, list[int]]:
        """The variable that this one is read off, itself if none, and its value for each of that one's."""
        lead, values = variable, list(range(len(self.values[variable])))
        while lead in self.aliases:
            lead, further = self.aliases[lead]
            values = [values[at] for at in further]
        return lead, values

    def restrict(self, variable: int, value: int) -> None:
        """From now on the variable has this value alone."""
        lead, values = self.lead_of(variable)
        cells = np.full((self.words, len(values)), NEVER, dtype=np.int64)
        cells[:, [at for at, follows in enumerate(values) if follows == value]] = 0
        self._restricted.append(Table((lead,), cells))
        self.ready.append(self._restricted[-1])

    def release(self) -> None:
        """Take back what was restricted."""
        for table in self._restricted:
            self.ready = [one for one in self.ready if one is not table]
        self._restricted.clear()

    def read(self, chosen: Mapping[int, int]) -> Found:
        """An assignment as a set."""

        def at(variable: int) -> int:
            lead, values = self.lead_of(variable)
            return values[chosen[lead]]

        values = {
            place: self.values[self.variable_of[place]][at(self.variable_of[place])]
            if place in self.variable_of
            else next(iter(domain))
            for place, domain in self.domains.items()
        }
        orders = {}
        for number, (event, needs, variable) in self.orders.items():
            if event is None or at(event.variable) in event.values:
                orders[number] = needs[0] if variable is None else self.values[variable][at(variable)]
        return Found(dict(sorted(values.items())), orders)


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


def _digits(names: Sequence[str], most: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Criterion → its word and its weight in it: the last criterion of a word weighs 1. Raises TooWide."""
    found: dict[str, tuple[int, int]] = {}
    word, inside, size = 0, [], 1
    words: list[list[str]] = []
    for name in names:
        if size * (most[name] + 1) >= DIGITS:
            words.append(inside)
            inside, size = [], 1
        inside.append(name)
        size *= most[name] + 1
    words.append(inside)
    if len(words) > 2 or size >= DIGITS:
        raise TooWide
    for word, group in enumerate(words):
        weight = 1
        for name in reversed(group):
            found[name] = (word, weight)
            weight *= most[name] + 1
    return found


def _follows(table: Table) -> tuple[int, int, list[int]] | None:
    """For a table of two: the variable that has at most one value for each of the other's, that other, and
    which value it has for each; None where neither follows."""
    allowed = table.cells[0] < NEVER
    one, other = table.variables
    if (allowed.sum(axis=1) <= 1).all():
        return other, one, [int(at) for at in allowed.argmax(axis=1)]
    if (allowed.sum(axis=0) <= 1).all():
        return one, other, [int(at) for at in allowed.argmax(axis=0)]
    return None


def _read_off(table: Table, variable: int, lead: int, values: list[int]) -> Table:
    """A table in which a variable is read off the one that leads it."""
    at = table.variables.index(variable)
    cells = table.cells.take(values, axis=at + 1)
    if lead in table.variables:
        other = table.variables.index(lead)
        cells = np.moveaxis(cells.diagonal(axis1=at + 1, axis2=other + 1), -1, 1)
        left = tuple(v for v in table.variables if v not in (variable, lead))
        variables = (lead, *left)
    else:
        variables = tuple(lead if v == variable else v for v in table.variables)
    turned = sorted(range(len(variables)), key=variables.__getitem__)
    return Table(
        tuple(variables[at] for at in turned),
        np.ascontiguousarray(cells.transpose(0, *(at + 1 for at in turned))),
    )


def least(cells: Cells, axis: int) -> Cells:
    """The least cost along a variable's axis (0 is the first variable), compared word by word."""
    if len(cells) == 1:
        return cells.min(axis=axis + 1)
    upper = cells[0].min(axis=axis, keepdims=True)
    lower = np.where(cells[0] == upper, cells[1], NEVER).min(axis=axis)
    return np.stack((upper.squeeze(axis), lower))


def least_at(cells: Cells) -> tuple[int, ...]:
    """Where the least cost stands, the first of several."""
    flat = cells.reshape(len(cells), -1)
    if len(flat) == 1:
        at = int(flat[0].argmin())
    else:
        upper = flat[0].min()
        at = int(np.where(flat[0] == upper, flat[1], NEVER).argmin())
    return tuple(int(i) for i in np.unravel_index(at, cells.shape[1:])) if cells.ndim > 1 else ()


@dataclass(slots=True)
class _Step:
    """One variable taken out: what its tables add up to over `variables`, itself first."""

    variables: tuple[int, ...]
    cells: Cells
    message: Cells
    """The least over the variable, for each combination of the others."""
    parent: int = -1
    """The variable whose step takes the message up; -1: none, it is a number."""
    belief: Cells | None = None
    """`cells`, and what the rest of the problem costs beside them."""


class _Tree:
    """The two passes over one order of elimination."""

    def __init__(self, compiled: _Compiled, order: list[int] | None = None) -> None:
        self.compiled = compiled
        self.sizes = [len(values) for values in compiled.values]
        free = [v for v in range(len(self.sizes)) if v not in compiled.aliases]
        self.order = order or _order(free, self.sizes, [table.variables for table in compiled.ready])
        self.steps: dict[int, _Step] = {}
        self.rest = np.zeros(compiled.words, dtype=np.int64)
        self._up()

    def _up(self) -> None:
        turn = {variable: at for at, variable in enumerate(self.order)}
        buckets: dict[int, list[Table]] = {variable: [] for variable in self.order}
        for table in self.compiled.ready:
            if table.variables:
                buckets[min(table.variables, key=turn.__getitem__)].append(table)
            else:
                self.rest = np.minimum(self.rest + table.cells, NEVER)
        for variable in self.order:
            self.compiled.problem.deadline.check()
            tables = buckets.pop(variable)
            others = sorted(
                {v for table in tables for v in table.variables if v != variable}, key=turn.__getitem__
            )
            variables = (variable, *others)
            cells = self._sum(variables, tables)
            message = least(cells, 0)
            parent = others[0] if others else -1
            self.steps[variable] = _Step(variables, cells, message, parent)
            if others:
                buckets[parent].append(Table(tuple(others), message))
            else:
                self.rest = np.minimum(self.rest + message, NEVER)

    def _sum(self, variables: tuple[int, ...], tables: Iterable[Table]) -> Cells:
        axis = {variable: at for at, variable in enumerate(variables)}
        total = np.zeros((self.compiled.words, *(self.sizes[v] for v in variables)), dtype=np.int64)
        for table in tables:
            total += _aligned(table, axis)
            np.minimum(total, NEVER, out=total)
        return total

    def least_of_all(self) -> Cells | None:
        """What the best set costs, without what is certain; None: there is none."""
        return None if self.rest[0] >= NEVER else self.rest

    def _down(self) -> None:
        for variable in reversed(self.order):
            self.compiled.problem.deadline.check()
            self._hear(self.steps[variable])

    def _hear(self, step: _Step) -> None:
        """What the rest costs, as the parent's step knows it, comes on top."""
        if step.parent < 0:
            beside = np.minimum(self.rest - step.message, NEVER)
            step.belief = np.minimum(step.cells + beside.reshape(-1, *[1] * (step.cells.ndim - 1)), NEVER)
            return
        above = self.steps[step.parent]
        axis = {variable: at for at, variable in enumerate(above.variables)}
        told = Table(step.variables[1:], step.message)
        assert above.belief is not None
        beside = np.where(above.belief >= NEVER, NEVER, above.belief - _aligned(told, axis))
        kept = set(step.variables)
        for at in reversed(range(len(above.variables))):
            if above.variables[at] not in kept:
                beside = least(beside, at)
        left = tuple(v for v in above.variables if v in kept)
        axis = {variable: at for at, variable in enumerate(step.variables)}
        step.belief = np.minimum(step.cells + _aligned(Table(left, beside), axis), NEVER)

    def costs_of(self, variable: int) -> Cells:
        """For each value of a variable what the best set with it costs."""
        step = self.steps[variable]
        if step.belief is None:
            self._down()
        cells = step.belief
        assert cells is not None
        while cells.ndim > 2:
            cells = least(cells, cells.ndim - 2)
        return cells

    def traced(self, variable: int = -1, value: int = 0) -> dict[int, int]:
        """A best assignment: of all, or of those in which the variable has the value."""
        chosen: dict[int, int] = {}
        if variable >= 0:
            self.costs_of(variable)
            chosen[variable] = value
            step: _Step | None = self.steps[variable]
            while step is not None:
                assert step.belief is not None
                self._choose(step.variables, step.belief, chosen)
                step = self.steps.get(step.parent)
        for one in reversed(self.order):
            if one not in chosen:
                step = self.steps[one]
                self._choose(step.variables, step.cells, chosen)
        return chosen

    @staticmethod
    def _choose(variables: tuple[int, ...], cells: Cells, chosen: dict[int, int]) -> None:
        """Choose what is not chosen yet of a table's variables, at the least cost."""
        open_ones = [v for v in variables if v not in chosen]
        at = tuple(slice(None) if v not in chosen else chosen[v] for v in variables)
        for one, value in zip(open_ones, least_at(cells[(slice(None), *at)]), strict=True):
            chosen[one] = value


def _aligned(table: Table, axis: Mapping[int, int]) -> Cells:
    """A table's cells with an axis for each of the variables in `axis`."""
    places = [axis[v] for v in table.variables]
    cells = table.cells
    if any(a > b for a, b in pairwise(places)):
        turned = sorted(range(len(places)), key=places.__getitem__)
        cells = cells.transpose(0, *(at + 1 for at in turned))
    shape = [1] * len(axis)
    for at, size in zip(sorted(places), cells.shape[1:], strict=True):
        shape[at] = size
    return cells.reshape(len(cells), *shape)


def _order(free: Sequence[int], sizes: Sequence[int], scopes: Iterable[tuple[int, ...]]) -> list[int]:
    """An order of elimination: next is the variable whose step has the fewest cells. Raises TooWide."""
    beside: list[set[int]] = [set() for _ in sizes]
    for variables in scopes:
        for variable in variables:
            beside[variable].update(variables)
    for variable, others in enumerate(beside):
        others.discard(variable)

    def cells(variable: int) -> int:
        return sizes[variable] * math.prod(sizes[other] for other in beside[variable])

    heap = [(cells(variable), variable) for variable in free]
    heapq.heapify(heap)
    done = [False] * len(sizes)
    order, total = [], 0
    while heap:
        size, variable = heapq.heappop(heap)
        if done[variable]:
            continue
        if size != (now := cells(variable)):
            heapq.heappush(heap, (now, variable))
            continue
        total += size
        if total > MOST_CELLS:
            raise TooWide
        done[variable] = True
        order.append(variable)
        around = beside[variable]
        for other in around:
            beside[other] |= around
            beside[other] -= {variable, other}
        for other in around:
            heapq.heappush(heap, (cells(other), other))
    return order
