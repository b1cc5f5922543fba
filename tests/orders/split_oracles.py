"""Two other ways to the cheapest split, which share no code with it: brute force, and HiGHS.

Both read the rules from their statement: whole packs, least pieces, stock, least orders, carriage, no
pack that could stay away; as many lines as possible first, then the least of parts and carriage.
"""

import itertools
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from graftbook.orders.buying.model import Offer
from tests.orders.split_worlds import TODAY, World

Bought = tuple[tuple[Offer, int], ...]
"""Offers of one line with their packs."""


def usable(world: World, line: str, by: date | None) -> list[Offer]:
    return [
        o
        for o in world.offers
        if o.component == line and (by is None or TODAY + timedelta(days=o.lead_days) <= by)
    ]


def counts(offer: Offer, needed: int) -> list[int]:
    """The numbers of packs of one offer that make sense for a need, none aside."""
    least = max(1, -(-offer.least // offer.pack))
    most = max(least, -(-needed // offer.pack))
    return [n for n in range(least, most + 1) if offer.stock is None or n * offer.pack <= offer.stock]


def covers(world: World, line: str, by: date | None) -> Iterator[Bought]:
    """Every way to cover a line from which no pack, and no offer, could be left away."""
    needed, offers = world.needs[line], usable(world, line, by)
    for packs in itertools.product(*([0, *counts(o, needed)] for o in offers)):
        bought = tuple((o, n) for o, n in zip(offers, packs, strict=True) if n)
        pieces = sum(o.pack * n for o, n in bought)
        if pieces >= needed and not any(
            pieces - n * o.pack >= needed
            or ((n - 1) * o.pack >= max(1, o.least) and pieces - o.pack >= needed)
            for o, n in bought
        ):
            yield bought


def brute_force(world: World, by: date | None = None, at_most: int | None = None) -> tuple:
    """(lines left out, cost, suppliers, last day, sum of places of their names) of the best split."""
    by_name = {s.name: s for s in world.suppliers}
    places = {name: place for place, name in enumerate(sorted(by_name), 1)}
    ways = [[None, *covers(world, line, by)] for line in world.needs]
    best = (len(ways) + 1,)
    for picked in itertools.product(*ways):
        bought = [pair for line in picked if line for pair in line]
        parts: dict[str, int] = {}
        for offer, packs in bought:
            parts[offer.supplier] = parts.get(offer.supplier, 0) + offer.price * offer.pack * packs
        if at_most is not None and len(parts) > at_most:
            continue
        if any(value < by_name[name].least_order for name, value in parts.items()):
            continue
        charged = [
            by_name[name].carriage
            for name, value in parts.items()
            if by_name[name].carriage_free_from is None or value < by_name[name].carriage_free_from
        ]
        last = max((offer.lead_days for offer, _ in bought), default=0)
        rank = sum(places[name] for name in parts)
        best = min(best, (picked.count(None), sum(parts.values()) + sum(charged), len(parts), last, rank))
    return best


class _Rows:
    """Linear constraints, gathered row by row."""

    def __init__(self) -> None:
        self.rows: list[int] = []
        self.columns: list[int] = []
        self.values: list[float] = []
        self.least: list[float] = []
        self.most: list[float] = []

    def add(self, terms: list[tuple[int, float]], least: float, most: float) -> None:
        for column, value in terms:
            self.rows.append(len(self.least))
            self.columns.append(column)
            self.values.append(value)
        self.least.append(least)
        self.most.append(most)

    def constraint(self, columns: int) -> LinearConstraint:
        shape = (len(self.least), columns)
        return LinearConstraint(
            csr_array((self.values, (self.rows, self.columns)), shape), self.least, self.most
        )


def highs(
    world: World,
    by: date | None = None,
    at_most: int | None = None,
    seconds: float = 60,
    left_out: int = 0,
) -> int | None:
    """The least cost of a split of all lines but `left_out` as HiGHS proves it; None when there is none.

    Surpluses may be greater than packs force: for prices where that helps nobody.
    """
    costs: list[float] = []
    tops: list[float] = []
    rows = _Rows()

    def variable(cost: float, top: float = 1) -> int:
        costs.append(cost)
        tops.append(top)
        return len(costs) - 1

    used = {s.name: variable(s.carriage) for s in world.suppliers}
    value: dict[str, list[tuple[int, float]]] = {s.name: [] for s in world.suppliers}
    out = {line: variable(0, min(left_out, 1)) for line in world.needs}
    rows.add([(column, 1) for column in out.values()], 0, left_out)
    for line, needed in world.needs.items():
        cover = []
        for offer in usable(world, line, by):
            if not (possible := counts(offer, needed)):
                continue
            price = offer.price * offer.pack
            packs, taken = variable(price, possible[-1]), variable(0)
            rows.add([(packs, 1), (taken, -possible[-1])], -np.inf, 0)
            rows.add([(packs, 1), (taken, -possible[0])], 0, np.inf)
            rows.add([(taken, 1), (used[offer.supplier], -1)], -np.inf, 0)
            cover.append((packs, offer.pack))
            value[offer.supplier].append((packs, price))
        rows.add([*cover, (out[line], needed)], needed, np.inf)
    for s in world.suppliers:
        rows.add([*value[s.name], (used[s.name], -s.least_order)], 0, np.inf)
        if s.carriage and s.carriage_free_from is not None:
            free = variable(-s.carriage)
            rows.add([(free, 1), (used[s.name], -1)], -np.inf, 0)
            rows.add([*value[s.name], (free, -s.carriage_free_from)], 0, np.inf)
    if at_most is not None:
        rows.add([(column, 1) for column in used.values()], 0, at_most)
    found = milp(
        costs,
        integrality=np.ones(len(costs)),
        bounds=Bounds(0, tops),
        constraints=rows.constraint(len(costs)),
        options={"mip_rel_gap": 0, "time_limit": seconds},
    )
    if found.status == 2:
        return None
    assert found.status == 0, found.message
    return round(found.fun)
