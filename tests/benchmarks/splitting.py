"""The split of an order over suppliers, beside a second solver on the same order."""

import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from graftbook.closure.search.constrain import warm_up
from graftbook.orders.buying.split_days import price_of_days
from graftbook.orders.buying.splitting import split
from tests.benchmarks.report import Line, Table, times
from tests.orders.split_oracles import highs
from tests.orders.split_worlds import TODAY, hostile, shop

LINES, SUPPLIERS, ORDERS = 500, 12, 3
HARD = ((500, 12), (1_000, 50))
SECONDS = 5.0


def _timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What comes of it, and the milliseconds by the clock: both sides work in threads of their own."""
    start = time.perf_counter()
    found = work()
    return found, (time.perf_counter() - start) * 1000


def tables(full: bool) -> Iterator[Table]:
    """Orders as a counter has them; then orders made to be hard, which end at their deadline with a gap."""
    warm_up()
    yield _beside_highs(5 if full else 3)
    yield _hard()


def _beside_highs(orders: int) -> Table:
    table = Table(
        "An order split over suppliers",
        f"Time by the clock until the cheapest split of {LINES} lines over {SUPPLIERS} suppliers is proved.",
        "HiGHS, which proves the cost of the same order",
        "ms",
        "how many times as fast ours is",
    )
    for seed in range(orders):
        world = shop(LINES, SUPPLIERS, seed)
        asked = (world.needs, world.offers, world.suppliers, TODAY)
        found, mine = _timed(partial(split, *asked, seconds=60))
        least, beside = _timed(partial(highs, world))
        assert found.total == least or not found.proved, (seed, found.total, least)
        days, took = _timed(partial(price_of_days, *asked, seconds=30))
        more = {"the price of its days, ms": took, "its rows": len(days.rows)}
        checked = "proved; the same cost" if found.proved else "not proved"
        ratio = times(mine, beside)
        table.lines.append(Line(f"order {seed + 1}", mine, beside, ratio, checked=checked, more=more))
    return table


def _hard() -> Table:
    table = Table(
        "Orders of equal prices",
        "Made to be hard: they end at their deadline and say how far from the best they may be.",
        "the time that was given",
        "ms",
        "ours as a part of what was given",
    )
    for lines, suppliers in HARD:
        world = hostile(lines, suppliers, 1)
        asked = (world.needs, world.offers, world.suppliers, TODAY)
        found, mine = _timed(partial(split, *asked, seconds=SECONDS))
        gap = "proved" if found.proved else "not known" if found.gap is None else f"{found.gap:.2%}"
        more: dict[str, float | str] = {"gap": gap, "lines left out": len(found.unsupplied)}
        given = SECONDS * 1000
        table.lines.append(Line(f"{lines} lines over {suppliers}", mine, given, mine / given, more=more))
    return table
