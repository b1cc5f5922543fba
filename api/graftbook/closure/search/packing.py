"""Tables of whole numbers: the criteria of a cost packed into one or two, each a digit that cannot carry."""

import math
from bisect import bisect
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from graftbook.closure.search.problem import Found, LooseNeed
from graftbook.closure.search.tables import LARGEST_TABLE, Forbidden, Mask, Ordered, Tables, bits

DIGITS = 1 << 60
"""What a cost stays below in one word; a cost takes one word or two."""

NEVER = 1 << 61
"""The cost of what is forbidden. Three of them can be added in 64 bits."""

MOST_KEPT = 4096
"""Tables of bans that are remembered, each of LARGEST_TABLE cells at most."""

Cells = np.ndarray[Any, np.dtype[np.int64]]
"""Costs: the first axis is the word, the others are variables."""


@dataclass(slots=True, eq=False)
class Table:
    """Costs over some variables. Nobody writes in one, so it is the same for as long as it is kept."""

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
        new = self.made.take()
        for variables, rows in self._substitute(new.forbidden).items():
            self._keep(Table(variables, self._ban(variables, rows)))
        for variables, costs in new.costs.items():
            if len(variables) == 1:
                lead, values = self.lead_of(variables[0])
                words = [self._price(costs.get((v,), {})) for v in values]
                self._keep(Table((lead,), np.array(words, dtype=np.int64).T))
                continue
            cells = np.zeros((self.words, *self._sizes(variables)), dtype=np.int64)
            for at, figures in costs.items():
                for word, cost in enumerate(self._price(figures)):
                    cells[(word, *at)] = cost
            self._keep(self._read_off(Table(variables, cells)))
        for variables, bans in new.chains:
            self._keep(self._read_off(Table(variables, np.where([bans] * self.words, NEVER, 0))))

    def _sizes(self, variables: tuple[int, ...]) -> tuple[int, ...]:
        return tuple([len(self.values[v]) for v in variables])

    def _ban(self, variables: tuple[int, ...], rows: Iterable[tuple[Mask, ...]]) -> Cells:
        sizes = self._sizes(variables)
        forbid = _forbidden if math.prod(sizes) <= LARGEST_TABLE else _forbidden.__wrapped__
        return forbid(self.words, sizes, frozenset(rows))

    def _price(self, cost: Mapping[str, int]) -> list[int]:
        """Figures as the words of one packed cost."""
        words = [0] * self.words
        for name, figure in cost.items():
            word, weight = self._weights[name]
            words[word] += weight * figure
        return words

    def _keep(self, table: Table) -> None:
        """Keep a table, added to the one of the same variables."""
        if (same := self._tables.get(table.variables)) is not None:
            table = Table(table.variables, np.minimum(same.cells + table.cells, NEVER))
        self._tables[table.variables] = table

    def _read_off(self, table: Table) -> Table:
        """A table in which no variable is one that is read off another."""
        while (follower := next((v for v in table.variables if v in self.aliases), None)) is not None:
            table = _read_off(table, follower, *self.aliases[follower])
        return table

    def _substitute(self, forbidden: Forbidden) -> Forbidden:
        """The same bans about no variable that is read off another; which ones are is found here.

        A variable whose value follows from another one's is read off that one, and needs no step. The two
        sides of a pair are such, and a loose part that one change alone can bring. What has a table already
        keeps its step; what a budget bans later are variables of its own.
        """
        rows_of: Forbidden = {}
        naming: dict[int, set[tuple[int, ...]]] = defaultdict(set)
        fixed = {variable for variables in self._tables for variable in variables}

        def put(variables: tuple[int, ...], rows: Iterable[tuple[Mask, ...]]) -> None:
            rows_of.setdefault(variables, set()).update(rows)
            for variable in variables:
                naming[variable].add(variables)

        for variables, rows in forbidden.items():
            put(variables, rows)
        waiting = [variables for variables in rows_of if len(variables) == 2]
        while waiting:
            pair = waiting.pop()
            if pair not in rows_of or (follows := self._follows(pair, rows_of[pair], fixed)) is None:
                continue
            variable, lead, values = follows
            self.aliases[variable] = (lead, values)
            for variables in naming.pop(variable):
                rows = rows_of.pop(variables)
                for other in variables:
                    naming[other].discard(variables)
                variables, rows = _without(variables, rows, variable, lead, values)
                put(variables, rows)
                if len(variables) == 2:
                    waiting.append(variables)
        return rows_of

    def _follows(
        self, pair: tuple[int, ...], rows: Iterable[tuple[Mask, ...]], fixed: Container[int]
    ) -> tuple[int, int, list[int]] | None:
        """Of two variables the one that has at most one value for each of the other's, that other, and
        which value it has for each; None where neither follows."""
        sizes = self._sizes(pair)
        following = _following if math.prod(sizes) <= LARGEST_TABLE else _following.__wrapped__
        known = following(sizes, frozenset(rows))
        for lead, variable, values in zip(pair, reversed(pair), known, strict=True):
            if values is not None and variable not in fixed:
                return variable, lead, values
        return None

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


@lru_cache(maxsize=MOST_KEPT)
def _forbidden(words: int, sizes: tuple[int, ...], rows: frozenset[tuple[Mask, ...]]) -> Cells:
    """A table that forbids the cells in which every variable has one of a row's values. Most rules forbid
    alike, so the same tables come again and again; nobody may write in them."""
    cells = np.zeros((words, *sizes), dtype=np.int64)
    if len(sizes) == 2:
        beside = [0] * sizes[0]
        for one, other in rows:
            for at in bits(one):
                beside[at] |= other
        cells[:, [[mask >> at & 1 == 1 for at in range(sizes[1])] for mask in beside]] = NEVER
    else:
        for row in rows:
            inside: list[Any] = list(np.ix_(*(list(bits(values)) for values in row)))
            cells[(slice(None), *inside)] = NEVER
    cells.flags.writeable = False
    return cells


@lru_cache(maxsize=MOST_KEPT)
def _following(
    sizes: tuple[int, ...], rows: frozenset[tuple[Mask, ...]]
) -> tuple[list[int] | None, list[int] | None]:
    """Which value the second of two variables has for each of the first's, and the first for each of the
    second's; None where it may have more than one."""
    found: list[list[int] | None] = []
    for lead, other in ((0, 1), (1, 0)):
        left = [(1 << sizes[other]) - 1] * sizes[lead]
        for row in rows:
            for at in bits(row[lead]):
                left[at] &= ~row[other]
        alone = not any(values & (values - 1) for values in left)
        found.append([max(values.bit_length() - 1, 0) for values in left] if alone else None)
    return found[0], found[1]


def _without(
    variables: tuple[int, ...], rows: Iterable[tuple[Mask, ...]], variable: int, lead: int, values: list[int]
) -> tuple[tuple[int, ...], set[tuple[Mask, ...]]]:
    """Bans in which a variable is read off the one that leads it. What can never be so is left out."""
    at = variables.index(variable)
    left = variables[:at] + variables[at + 1 :]
    known: dict[Mask, Mask] = {}
    found = set()
    if lead in left:
        there = left.index(lead)
    else:
        there = bisect(left, lead)
        left = (*left[:there], lead, *left[there:])
    for row in rows:
        if (mask := known.get(row[at])) is None:
            mask = known[row[at]] = sum([1 << n for n, value in enumerate(values) if row[at] >> value & 1])
        others = row[:at] + row[at + 1 :]
        if len(others) == len(left):
            mask &= others[there]
            others = others[:there] + others[there + 1 :]
        if mask:
            found.add((*others[:there], mask, *others[there:]))
    return left, found


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
    if cells.ndim <= 2:
        return (at,) * (cells.ndim - 1)
    return tuple([int(place) for place in np.unravel_index(at, cells.shape[1:])])
