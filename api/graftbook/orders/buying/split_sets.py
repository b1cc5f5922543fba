"""The cheapest split where only a few of the suppliers may be ordered from: set by set, the best bound first.

For each set of suppliers there is a bound: the lines that it cannot supply at all, then each other line from
where it is cheapest in the set, and carriage that cannot become free. Packs, least orders and carriage only
make a split dearer. So a set whose bound is worse than a split that is known holds none that is better, and
mostly a few sets of thousands are left to be asked; each of those is a small question.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from math import comb
from typing import Any

import numpy as np

from graftbook.closure.search.deadline import Deadline
from graftbook.orders.buying.offers import Choices, Way
from graftbook.orders.buying.split_model import SplitModel, SplitSolved
from graftbook.orders.buying.split_start import Picks, start, worth

MOST_CELLS = 40_000_000
"""Sets times lines times suppliers of a set; beyond it no set is looked at by itself."""
AT_ONCE = 2_000_000
MOST_TRIED = 16
"""So many sets with the least bounds get a split by rule of thumb, to have a good one early."""
MOST_ASKED = 25
"""Where more sets are left, one question over all of them is the shorter way."""
NOWHERE = 1 << 62

Bound = tuple[int, int, tuple[str, ...]]
"""The lines that stay out at least, what the others cost at least, and the suppliers in use at most."""


@dataclass(frozen=True, slots=True)
class Narrowed:
    """The sets in which a better split can be than `first`, the best one known; the best bound first."""

    sets: tuple[Bound, ...]
    first: Picks
    fewest: int
    """No split leaves fewer lines out."""


def narrowed(choices: Choices, at_most: int, first: Picks, until: Deadline) -> Narrowed | None:
    """What at most so many suppliers come to; None where nothing is to be narrowed, or too much looked at."""
    names = [name for name in choices.suppliers if _reaches_least_order(choices, name)]
    sizes = range(1, min(at_most, len(names)) + 1)
    cells = sum(comb(len(names), size) * size for size in sizes) * len(choices.ways)
    if not sizes or at_most >= len(names) or cells > MOST_CELLS or _too_large(choices):
        return None
    bounds = sorted(_bounds(choices, names, sizes))
    for _, _, held in bounds[:MOST_TRIED]:
        if until.passed:
            break
        first = min(first, start(choices.of(held), None, until), key=lambda picks: worth(choices, picks))
    known = worth(choices, first)
    return Narrowed(tuple(bound for bound in bounds if bound[:2] <= known), first, bounds[0][0])


def cheapest_of_sets(choices: Choices, known: Narrowed, until: Deadline) -> SplitSolved:
    """The cheapest split of the most lines in any of these sets. Proved where every set that might hold a
    better one was asked to the end."""
    best, asked = known.first, list[frozenset[str]]()
    for out, least, held in known.sets:
        if (out, least) > worth(choices, best):
            break
        if any(held_before.issuperset(held) for held_before in asked):
            continue
        solved = _in_set(choices, held, best, until)
        if solved.picks is not None and _order(choices, solved.picks) < _order(choices, best):
            best = solved.picks
        if not (solved.proved or solved.impossible):
            return SplitSolved(best, False, bound=least if out == worth(choices, best)[0] else 0)
        asked.append(frozenset(held))
    return SplitSolved(best, True)


def _in_set(choices: Choices, held: tuple[str, ...], best: Picks, until: Deadline) -> SplitSolved:
    """The best split from a set, where it is not worse than the best one known."""
    theirs = choices.of(held)
    left_out, most = worth(choices, best)
    cannot = len(choices.ways) - len(theirs.ways)
    solved = SplitModel(theirs).cheapest(until, at_most=most if cannot == left_out else None)
    if not solved.impossible or cannot >= left_out:
        return solved
    model = SplitModel(theirs, whole=False)
    fewest = model.fewest_left_out(until)
    if fewest is None:
        return SplitSolved(None, False)
    more = cannot + fewest
    if more > left_out:
        return SplitSolved(None, False, impossible=True)
    return model.cheapest(until, at_most=most if more == left_out else None)


def _order(choices: Choices, picks: Picks) -> tuple[int, int, int, Any, int]:
    """Of splits of one cost fewer suppliers, then the earlier day, then the earlier names."""
    used = picks.parts()
    last = max((way.arrives for packs in picks.values() for way in packs), default=None)
    ranks = sum(rank for rank, name in enumerate(choices.suppliers, 1) if name in used)
    return *worth(choices, picks), len(used), str(last or ""), ranks


def _too_large(choices: Choices) -> bool:
    """Whether sums would leave the whole numbers of the arrays; the model says then what is wrong."""
    return sum(_most(ways) for ways in choices.ways.values()) >= NOWHERE >> 2


def _reaches_least_order(choices: Choices, name: str) -> bool:
    """Whether a supplier sells any line, and is sent enough if it gets all."""
    ways = _ways_of(choices, name)
    return bool(ways) and _most(ways) >= choices.suppliers[name].least_order


def _ways_of(choices: Choices, name: str) -> list[Way]:
    return [way for some in choices.ways.values() for way in some if way.offer.supplier == name]


def _most(ways: Any) -> int:
    return sum(way.pack_price * way.most for way in ways)


def _bounds(choices: Choices, names: list[str], sizes: range) -> Iterator[Bound]:
    prices, leasts, pieces, needed = _table(choices, names)
    charges = np.array([_charge(choices, name) for name in names], dtype=np.int64)
    for size in sizes:
        every = np.array(list(combinations(range(len(names)), size)), dtype=np.int64)
        step = max(1, AT_ONCE // (size * len(needed)))
        for begin in range(0, len(every), step):
            some = every[begin : begin + step]
            covered = pieces[:, some].sum(axis=2) >= needed[:, None]
            each = np.maximum(prices[:, some].min(axis=2), leasts[:, some].min(axis=2))
            cheapest = np.where(covered, each, 0).sum(axis=0) + charges[some].sum(axis=1)
            out = (~covered).sum(axis=0)
            for row, left, least in zip(some.tolist(), out.tolist(), cheapest.tolist(), strict=True):
                yield left, least, tuple(names[place] for place in row)


def _table(choices: Choices, names: list[str]) -> tuple[Any, Any, Any, Any]:
    """By line and supplier: what all pieces cost at least at its prices, the least that may be bought of it,
    the most pieces to be had; and by line the pieces needed."""
    place = {name: number for number, name in enumerate(names)}
    needed = np.array([choices.needs[line] for line in choices.ways], dtype=np.int64)
    prices = np.full((len(needed), len(names)), NOWHERE, dtype=np.int64)
    leasts, pieces = prices.copy(), np.zeros(prices.shape, dtype=np.int64)
    for line, ways in enumerate(choices.ways.values()):
        for way in ways:
            if (at := place.get(way.offer.supplier)) is not None:
                prices[line, at] = min(prices[line, at], int(needed[line]) * way.offer.price)
                leasts[line, at] = min(leasts[line, at], way.least * way.pack_price)
                pieces[line, at] += way.pieces
    return prices, leasts, pieces, needed


def _charge(choices: Choices, name: str) -> int:
    """The carriage of a supplier that cannot become free, whatever is ordered there."""
    supplier = choices.suppliers[name]
    free_from = supplier.carriage_free_from
    free = free_from is not None and _most(_ways_of(choices, name)) >= free_from
    return 0 if free else supplier.carriage
