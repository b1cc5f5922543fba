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
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from graftbook.closure.search.packing import NEVER, Cells, Packed, Table, TooWide, least, least_at
from graftbook.closure.search.problem import BudgetUse, Found, SearchProblem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.tables import Tables
from graftbook.closure.search.totals import totals_of

MOST_CELLS = 2_000_000
"""Cells of all tables of the first pass together, above which the solver is asked instead."""


class Elimination:
    """One problem, taken apart.

    `looked_at` are those of its budgets that take part so far, by name; `breakable` those that a set read
    off it may leave uncovered. Raises TooWide and OutOfTime; `best` is None where no set exists.
    """

    def __init__(
        self, problem: SearchProblem, propagation: Propagation, tables: Tables | None = None
    ) -> None:
        self.problem = problem
        self.tables = tables or Tables(problem, propagation)
        self.packed = Packed(self.tables)
        self.looked_at: set[str] = set()
        self.breakable = self.tables.breakable
        self._plant()

    def _plant(self, before: "_Tree | None" = None) -> None:
        self.tree = _Tree(self.packed, before)
        self._priced: dict[str, dict[str | None, tuple[int, ...] | None]] = {}
        self._first: Found | None = None
        self._seconds: dict[tuple[str, str | None], Found] = {}

    @property
    def best(self) -> Cells | None:
        """What the best set costs, without what is certain; None: there is none."""
        return self.tree.least_of_all()

    def look_at(self, budgets: Iterable[BudgetUse]) -> None:
        """Let these budgets take part too."""
        for use in budgets:
            self.looked_at.add(use.budget.name)
            if self.tables.add_budget(use):
                self.breakable = [other for other in self.breakable if other is not use]
        self.packed.take_in()
        self._plant(self.tree)

    def broken_by(self, found: Found) -> list[BudgetUse]:
        """The budgets that a set breaks and that do not take part yet."""
        unseen = (use for use in self.breakable if use.budget.name not in self.looked_at)
        return [use for use in unseen if use.broken(found.values)]

    def one_of_the_best(self) -> Found:
        """A best set, ties as they fall; there is one."""
        if self._first is None:
            self._first = self.packed.read(self.tree.at_best)
        return self._first

    def found(self) -> Found:
        """The best set, ties broken by places in name order and the smaller number; there is one.

        Budgets that do not take part, and the ceiling, are not looked at.
        """
        tree, best = self.tree, self.best
        assert best is not None
        if tree.alone:
            return self.one_of_the_best()
        for variable in self.tables.in_order_of_ties:
            at_best = (self._costs(tree, variable) == best[:, None]).all(axis=0)
            if at_best.sum() > 1:
                self.packed.restrict(variable, int(at_best.argmax()))
                tree = _Tree(self.packed, tree, tree.order)
                if tree.alone:
                    break
        self.packed.release()
        return self.packed.read(tree.at_best)

    def _costs(self, tree: "_Tree", variable: int) -> Cells:
        """For each value of a variable what the best set with it costs, also where it is read off another."""
        lead, values = self.packed.lead_of(variable)
        costs = tree.costs_of(lead)
        if lead == variable:
            return costs
        found = np.full((len(costs), len(self.tables.values[variable])), NEVER, dtype=np.int64)
        for value in range(found.shape[1]):
            alike = costs[:, [at for at, follows in enumerate(values) if follows == value]]
            if alike.size:
                found[:, value] = least(alike, 0)
        return found

    def costs_of(self, place: str) -> dict[str | None, tuple[int, ...] | None]:
        """Each value that an open place could have → what the best set with it costs, criterion by criterion.

        None: there is no set with it. Empty for a place that is not open.
        """
        variable = self.tables.variable_of.get(place)
        if variable is None:
            return {}
        if (known := self._priced.get(place)) is None:
            costs = self._costs(self.tree, variable)
            values = self.tables.values[variable]
            known = self._priced[place] = {
                v: self.packed.unpacked(costs[:, at]) for at, v in enumerate(values)
            }
        return known

    def by_name(self, cost: tuple[int, ...]) -> dict[str, int]:
        """One of `costs_of`: criterion, or `unknown` prices, or `pieces` ordered loose → figure."""
        return dict(zip(self.packed.names, cost, strict=True))

    def without_a_set(self, place: str) -> list[str | None]:
        """The values that were reached for a place and that no set has, nothing first, then by number."""
        costs = self.costs_of(place)
        of_place = self.problem.domains.get(place, [])
        return [value for value in of_place if costs.get(value) is None] if costs else []

    def found_with(self, place: str, value: str | None) -> Found:
        """A best set of those that hold this value; `costs_of` says that there are some."""
        if (known := self._seconds.get((place, value))) is None:
            known = self._seconds[place, value] = self._find_with(place, value)
        return known

    def _find_with(self, place: str, value: str | None) -> Found:
        variable = self.tables.variable_of[place]
        lead, values = self.packed.lead_of(variable)
        wanted = self.tables.values[variable].index(value)
        costs = self.tree.costs_of(lead).copy()
        costs[:, [at for at, follows in enumerate(values) if follows != wanted]] = NEVER
        chosen, changed = self.tree.with_value(lead, *least_at(costs))
        return self.packed.read_beside(self.one_of_the_best(), chosen, changed)


def best_by_elimination(
    problem: SearchProblem, propagation: Propagation, tables: Tables | None = None
) -> tuple[Found, Elimination] | None:
    """The best set and what it was read from.

    None: this way does not settle it, because the tables would be too large or the free optimum breaks a
    budget or the ceiling; or there is no set at all, which the solver then proves.
    """
    try:
        elimination = Elimination(problem, propagation, tables)
        while elimination.best is not None:
            found = elimination.one_of_the_best()
            if not (broken := elimination.broken_by(found)):
                found = elimination.found()
                if not (broken := elimination.broken_by(found)):
                    return None if breaks_a_sum(problem, found) else (found, elimination)
            elimination.look_at(broken)
    except TooWide:
        pass
    return None


def breaks_a_sum(problem: SearchProblem, found: Found) -> bool:
    """Whether a set breaks a budget or the price ceiling."""
    return any(use.broken(found.values) for use in problem.budgets) or over_the_ceiling(problem, found)


def over_the_ceiling(problem: SearchProblem, found: Found) -> bool:
    """Whether a set costs more than the price ceiling, or nobody knows what it costs."""
    ceiling = problem.question.limits.price_at_most
    if ceiling is None:
        return False
    totals = totals_of(problem, found)
    return totals.price > ceiling or bool(totals.unknown_prices)


@dataclass(slots=True)
class _Step:
    """One variable taken out: what its tables add up to over `variables`, itself first."""

    variables: tuple[int, ...]
    cells: Cells
    message: Table
    """The least over the variable, for each combination of the others."""
    made_of: list[Table]
    parent: int = -1
    """The variable whose step takes the message up; -1: none, it is a number."""
    belief: Cells | None = None
    """`cells`, and what the rest of the problem costs beside them."""
    _leading: np.ndarray[Any, np.dtype[np.int64]] | None = None

    @property
    def leading(self) -> np.ndarray[Any, np.dtype[np.int64]]:
        """The variable's best value, for each combination of the others."""
        if self._leading is None:
            cells = self.cells[0]
            if len(self.cells) > 1:
                cells = np.where(cells == self.message.cells[0], self.cells[1], NEVER)
            self._leading = cells.argmin(axis=0)
        return self._leading


class _Tree:
    """The two passes over one order of elimination. Steps that the tree `before` took from the same tables
    are not taken again."""

    def __init__(self, packed: Packed, before: "_Tree | None" = None, order: list[int] | None = None) -> None:
        self.packed = packed
        self.sizes = [len(values) for values in packed.values]
        free = [v for v in range(len(self.sizes)) if v not in packed.aliases]
        self.order = order or _order(free, self.sizes, [table.variables for table in packed.ready])
        self.steps: dict[int, _Step] = {}
        self.rest = np.zeros(packed.words, dtype=np.int64)
        self._costs: dict[int, Cells] = {}
        self._up(before.steps if before else {})

    def _up(self, taken: Mapping[int, _Step]) -> None:
        turn = {variable: at for at, variable in enumerate(self.order)}
        buckets: dict[int, list[Table]] = {variable: [] for variable in self.order}
        for table in self.packed.ready:
            if table.variables:
                buckets[min(table.variables, key=turn.__getitem__)].append(table)
            else:
                self.rest = np.minimum(self.rest + table.cells, NEVER)
        for variable in self.order:
            self.packed.made.problem.deadline.check()
            tables = buckets.pop(variable)
            others = sorted(
                {v for table in tables for v in table.variables if v != variable}, key=turn.__getitem__
            )
            variables, step = (variable, *others), taken.get(variable)
            if step and step.variables == variables and step.made_of == tables:
                step = replace(step, belief=None)
            else:
                step = self._step(variables, tables)
            self.steps[variable] = step
            if others:
                buckets[step.parent].append(step.message)
            else:
                self.rest = np.minimum(self.rest + step.message.cells, NEVER)

    def _step(self, variables: tuple[int, ...], tables: list[Table]) -> _Step:
        cells = self._sum(variables, tables)
        parent = variables[1] if len(variables) > 1 else -1
        return _Step(variables, cells, Table(variables[1:], least(cells, 0)), tables, parent)

    def _sum(self, variables: tuple[int, ...], tables: Sequence[Table]) -> Cells:
        axis = {variable: at for at, variable in enumerate(variables)}
        total = np.zeros((self.packed.words, *(self.sizes[v] for v in variables)), dtype=np.int64)
        for added, table in enumerate(tables, 1):
            total += _align(table, axis)
            if not added % 2 or added == len(tables):
                np.minimum(total, NEVER, out=total)
        return total

    def least_of_all(self) -> Cells | None:
        """What the best set costs, without what is certain; None: there is none."""
        return None if self.rest[0] >= NEVER else self.rest

    def _believe(self, step: _Step) -> Cells:
        """What a step's combinations cost with the rest; those above it are heard first."""
        unheard = []
        while step.belief is None:
            unheard.append(step)
            if step.parent < 0:
                break
            step = self.steps[step.parent]
        for step in reversed(unheard):
            self.packed.made.problem.deadline.check()
            self._hear(step)
        assert step.belief is not None
        return step.belief

    def _hear(self, step: _Step) -> None:
        """What the rest costs, as the parent's step knows it, comes on top."""
        if step.parent < 0:
            beside = np.minimum(self.rest - step.message.cells, NEVER)
            step.belief = np.minimum(step.cells + beside.reshape(-1, *[1] * (step.cells.ndim - 1)), NEVER)
            return
        above = self.steps[step.parent]
        axis = {variable: at for at, variable in enumerate(above.variables)}
        assert above.belief is not None
        beside = np.where(above.belief >= NEVER, NEVER, above.belief - _align(step.message, axis))
        kept = set(step.variables)
        for at in reversed(range(len(above.variables))):
            if above.variables[at] not in kept:
                beside = least(beside, at)
        left = tuple(v for v in above.variables if v in kept)
        axis = {variable: at for at, variable in enumerate(step.variables)}
        step.belief = np.minimum(step.cells + _align(Table(left, beside), axis), NEVER)

    def costs_of(self, variable: int) -> Cells:
        """For each value of a variable what the best set with it costs."""
        if (known := self._costs.get(variable)) is None:
            cells = self._believe(self.steps[variable])
            known = self._costs[variable] = least(cells.reshape(*cells.shape[:2], -1), 1)
        return known

    @property
    def at_best(self) -> dict[int, int]:
        """A best assignment, the first value of several that cost the same."""
        return self._picks[0]

    @property
    def alone(self) -> bool:
        """Whether no other assignment costs as little: no step on the way had a choice."""
        return self._picks[1]

    @cached_property
    def _picks(self) -> tuple[dict[int, int], bool]:
        chosen: dict[int, int] = {}
        all_alone = True
        for variable in reversed(self.order):
            chosen[variable], alone = self._pick(self.steps[variable], chosen)
            all_alone = all_alone and alone
        return chosen, all_alone

    def with_value(self, variable: int, value: int) -> tuple[dict[int, int], set[int]]:
        """A best assignment of those in which the variable has the value, and what is other in it than in
        the best of all; steps under which nothing differs stay as there.
        """
        best = self.at_best
        upward = {variable: value}
        step: _Step | None = self.steps[variable]
        while step is not None:
            self._choose(step.variables, self._believe(step), upward)
            if all(upward[v] == best[v] for v in step.variables[1:]):
                break  # what is above meets nothing that differs: it stays the best
            step = self.steps.get(step.parent)
        chosen = {**best, **upward}
        changed = {v for v, at in upward.items() if at != best[v]}
        waiting = [turn for v in changed for turn in self._below[v]]
        heapq.heapify(waiting)
        done = set(upward)
        while waiting:
            one = self.order[-heapq.heappop(waiting)]
            if one in done:
                continue
            done.add(one)
            step = self.steps[one]
            chosen[one] = int(step.leading[tuple([chosen[v] for v in step.variables[1:]])])
            if chosen[one] != best[one]:
                changed.add(one)
                for turn in self._below[one]:
                    heapq.heappush(waiting, turn)
        return chosen, changed

    @cached_property
    def _below(self) -> Mapping[int, list[int]]:
        """Variable → the turns of the steps that were taken before its own and meet it, counted backwards."""
        found: dict[int, list[int]] = {variable: [] for variable in self.order}
        for turn, variable in enumerate(self.order):
            for other in self.steps[variable].variables[1:]:
                found[other].append(-turn)
        return found

    @staticmethod
    def _pick(step: _Step, chosen: Mapping[int, int]) -> tuple[int, bool]:
        """The step's best value where all it meets is chosen, and whether no other costs as little."""
        around: list[Any] = [chosen[v] for v in step.variables[1:]]
        column = step.cells[(slice(None), slice(None), *around)]
        at = least_at(column)[0]
        alike = column[0] == column[0, at]
        if len(column) > 1:
            alike &= column[1] == column[1, at]
        return at, np.count_nonzero(alike) == 1

    @staticmethod
    def _choose(variables: tuple[int, ...], cells: Cells, chosen: dict[int, int]) -> None:
        """Choose what is not chosen yet of a table's variables, at the least cost."""
        open_ones = [v for v in variables if v not in chosen]
        at = tuple(slice(None) if v not in chosen else chosen[v] for v in variables)
        for one, value in zip(open_ones, least_at(cells[(slice(None), *at)]), strict=True):
            chosen[one] = value


def _align(table: Table, axis: Mapping[int, int]) -> Cells:
    """A table's cells with an axis for each of the variables in `axis`."""
    places = [axis[v] for v in table.variables]
    cells = table.cells
    if places != (in_turn := sorted(places)):
        turned = sorted(range(len(places)), key=places.__getitem__)
        cells = cells.transpose(0, *[at + 1 for at in turned])
    if len(places) == len(axis):
        return cells
    shape = [len(cells), *[1] * len(axis)]
    for at, size in zip(in_turn, cells.shape[1:], strict=True):
        shape[at + 1] = size
    return cells.reshape(shape)


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
