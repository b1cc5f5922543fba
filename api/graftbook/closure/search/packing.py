"""Tables of whole numbers: the criteria of a cost packed into one or two, each a digit that cannot carry."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from graftbook.closure.search.problem import Found, LooseNeed
from graftbook.closure.search.tables import Mask, Ordered, Priced, Tables, bits

DIGITS = 1 << 60
"""What a cost stays below in one word; a cost takes one word or two."""

NEVER = 1 << 61
"""The cost of what is forbidden. Two of them can be added in 64 bits."""

Cells = np.ndarray[Any, np.dtype[np.int64]]
"""Costs: the first axis is the word, the others are variables."""


@dataclass(slots=True)
class Table:
    """Costs over some variables."""

    variables: tuple[int, ...]
    cells: Cells


class TooWide(Exception):
    """The tables would be larger than they may be, or a cost longer than two words."""


class Packed:
    """Tables whose costs are whole numbers, one a group of variables; none of what follows from another."""

    def __init__(self, made: Tables) -> None:
        self.made = made
        self.values = made.values
        self.constant = made.constant
        self.names = made.names
        self._weights = _digits(self.names, made.most)
        self.words = 1 + max(word for word, _ in self._weights.values())
        self.aliases: dict[int, tuple[int, list[int]]] = {}
        self._tables: dict[tuple[int, ...], Table] = {}
        self._naming: dict[int, set[tuple[int, ...]]] = defaultdict(set)
        self._restricted: list[Table] = []
        self._leads: tuple[dict[int, list[str]], dict[int, list[int]]] | None = None
        self.take_in()

    @property
    def ready(self) -> list[Table]:
        """The tables that name no variable which is read off another."""
        return [*self._tables.values(), *self._restricted]

    def take_in(self) -> None:
        """Add what was made since the last time."""
        self._leads = None
        found: dict[tuple[int, ...], Cells] = {}
        priced, forbidden = self.made.take()
        for table in priced:
            turned = sorted(range(len(table.variables)), key=table.variables.__getitem__)
            cells = self._cells(found, tuple(table.variables[at] for at in turned))
            self._add(table, cells.transpose(0, *(turned.index(at) + 1 for at in range(len(turned)))))
        for variables, rows in forbidden.items():
            _forbid(self._cells(found, variables), rows)
        waiting = []
        for variables, cells in found.items():
            table_of = Table(variables, np.minimum(cells, NEVER))
            while (follower := next((v for v in table_of.variables if v in self.aliases), None)) is not None:
                table_of = _read_off(table_of, follower, *self.aliases[follower])
            waiting.append(self._put(table_of))
        self._substitute([variables for variables in waiting if len(variables) == 2])

    def _cells(self, found: dict[tuple[int, ...], Cells], variables: tuple[int, ...]) -> Cells:
        if (cells := found.get(variables)) is None:
            shape = tuple(len(self.values[v]) for v in variables)
            cells = found[variables] = np.zeros((self.words, *shape), dtype=np.int64)
        return cells

    def _put(self, table: Table) -> tuple[int, ...]:
        """Keep a table, added to the one of the same variables."""
        if (same := self._tables.get(table.variables)) is not None:
            table = Table(table.variables, np.minimum(same.cells + table.cells, NEVER))
        self._tables[table.variables] = table
        for variable in table.variables:
            self._naming[variable].add(table.variables)
        return table.variables

    def _add(self, table: Priced, cells: Cells) -> None:
        """Add a priced table to cells whose axes stand as its variables do. What is forbidden stays so."""
        for at, cost in table.costs.items():
            for name, figure in cost.items():
                word, weight = self._weights[name]
                cells[(word, *at)] += weight * figure
        if table.bans is not None:
            cells[:, table.bans] = NEVER

    def _substitute(self, waiting: list[tuple[int, ...]]) -> None:
        """A variable whose value follows from another one's is read off that one, and needs no step.

        The two sides of a pair are such, and a loose part that one change alone can bring.
        """
        while waiting:
            table = self._tables.get(waiting.pop())
            if table is None or (follows := _follows(table)) is None:
                continue
            variable, lead, values = follows
            self.aliases[variable] = (lead, values)
            for variables in sorted(self._naming.pop(variable)):
                old = self._tables.pop(variables)
                for other in variables:
                    if other != variable:
                        self._naming[other].discard(variables)
                put = self._put(_read_off(old, variable, lead, values))
                if len(put) == 2:
                    waiting.append(put)

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

    def release(self) -> None:
        """Take back what was restricted."""
        self._restricted.clear()

    def _at(self, variable: int, chosen: Mapping[int, int]) -> int:
        if (alias := self.aliases.get(variable)) is None:
            return chosen[variable]
        lead, values = alias
        return values[self._at(lead, chosen)]

    def read(self, chosen: Mapping[int, int]) -> Found:
        """An assignment as a set."""
        variables = self.made.variable_of
        values = {
            place: self.values[variables[place]][self._at(variables[place], chosen)]
            if place in variables
            else next(iter(domain))
            for place, domain in sorted(self.made.domains.items())
        }
        return Found(values, self._orders(self.made.orders, chosen))

    def read_beside(self, best: Found, chosen: Mapping[int, int], changed: set[int]) -> Found:
        """An assignment as a set, where only some variables are other than in the best one's."""
        values, orders = dict(best.values), dict(best.orders)
        places, asked = self._led
        for lead in changed:
            for place in places.get(lead, ()):
                variable = self.made.variable_of[place]
                values[place] = self.values[variable][self._at(variable, chosen)]
        touched = {number for lead in changed for number in asked.get(lead, ())}
        for number in touched:
            orders.pop(number, None)
        orders.update(self._orders({number: self.made.orders[number] for number in touched}, chosen))
        return Found(values, dict(sorted(orders.items())))

    def _orders(self, asked: Mapping[int, Ordered], chosen: Mapping[int, int]) -> dict[int, LooseNeed]:
        orders = {}
        for number, (event, needs, variable) in asked.items():
            if event is None or event.values >> self._at(event.variable, chosen) & 1:
                orders[number] = (
                    needs[0] if variable is None else self.values[variable][self._at(variable, chosen)]
                )
        return orders

    @property
    def _led(self) -> tuple[dict[int, list[str]], dict[int, list[int]]]:
        """Variable → the places, and the demands for loose parts, that are read off it."""
        if self._leads is None:
            places: dict[int, list[str]] = defaultdict(list)
            asked: dict[int, list[int]] = defaultdict(list)
            for place, variable in self.made.variable_of.items():
                places[self.lead_of(variable)[0]].append(place)
            for number, (event, _, chosen) in self.made.orders.items():
                for one in (event.variable if event else None, chosen):
                    if one is not None:
                        asked[self.lead_of(one)[0]].append(number)
            self._leads = places, asked
        return self._leads


def _digits(names: Sequence[str], most: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Criterion → its word and its weight in it: the last criterion of a word weighs 1. Raises TooWide."""
    found: dict[str, tuple[int, int]] = {}
    inside: list[str] = []
    words: list[list[str]] = []
    size = 1
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


def _forbid(cells: Cells, rows: Iterable[tuple[Mask, ...]]) -> None:
    """Forbid the cells in which every variable has one of a row's values."""
    sizes = cells.shape[1:]
    if len(sizes) == 2:
        beside = [0] * sizes[0]
        for one, other in rows:
            for at in bits(one):
                beside[at] |= other
        cells[:, [[mask >> at & 1 == 1 for at in range(sizes[1])] for mask in beside]] = NEVER
        return
    for row in rows:
        inside: list[Any] = list(np.ix_(*(list(bits(values)) for values in row)))
        cells[(slice(None), *inside)] = NEVER


def _follows(table: Table) -> tuple[int, int, list[int]] | None:
    """For a table of two: the variable that has at most one value for each of the other's, that other, and
    which value it has for each; None where neither follows."""
    allowed = table.cells[0] < NEVER
    one, other = table.variables
    if np.count_nonzero(allowed) > max(allowed.shape):
        return None
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
        only: Cells = cells.min(axis=axis + 1)
        return only
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
