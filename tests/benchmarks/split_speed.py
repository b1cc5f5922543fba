"""The split of 500 lines over 12 suppliers, beside a second solver on the same order.

The ratio is what counts: below 1, the split is proved sooner than HiGHS proves its cost. Then orders
made to be hard: they end at their deadline with a gap.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from functools import partial

from graftbook.closure.search.constrain import warm_up
from graftbook.orders.buying.split_days import price_of_days
from graftbook.orders.buying.splitting import split
from tests.orders.split_oracles import highs
from tests.orders.split_worlds import TODAY, hostile, shop

LINES, SUPPLIERS, ORDERS = 500, 12, 3
HARD = ((500, 12), (1_000, 50))
SECONDS = 5.0


def _timed(work: Callable[[], object]) -> tuple[float, object]:
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def run() -> Iterator[tuple[str, str]]:
    """Rows of (what, seconds and ratio)."""
    warm_up()
    ours, theirs, same, proved = [], [], 0, 0
    for seed in range(ORDERS):
        world = shop(LINES, SUPPLIERS, seed)
        asked = (world.needs, world.offers, world.suppliers, TODAY)
        taken, found = _timed(partial(split, *asked, seconds=60))
        ours.append(taken)
        taken, least = _timed(partial(highs, world))
        theirs.append(taken)
        same += found.total == least
        proved += found.proved
    mine, other = statistics.median(ours), statistics.median(theirs)
    yield (
        f"{LINES} lines over {SUPPLIERS} suppliers, proved {proved} of {ORDERS}",
        f"{mine:.2f} s, worst {max(ours):.2f} s",
    )
    yield (
        f"the same with HiGHS, one cost {same} of {ORDERS}",
        f"{other:.2f} s, ratio {mine / other:.2f}",
    )
    taken, table = _timed(lambda: price_of_days(*asked, seconds=30))
    yield (f"the price of its days, {len(table.rows)} rows", f"{taken:.2f} s")
    for lines, suppliers in HARD:
        world = hostile(lines, suppliers, 1)
        asked = (world.needs, world.offers, world.suppliers, TODAY)
        taken, found = _timed(partial(split, *asked, seconds=SECONDS))
        gap = "gap not known" if found.gap is None else f"gap {found.gap:.2%}"
        yield (
            f"equal prices, {lines} lines over {suppliers}, {SECONDS:g} s given",
            f"{taken:.2f} s, {'proved' if found.proved else gap}, {len(found.unsupplied)} lines left out",
        )


if __name__ == "__main__":
    for what, figures in run():
        print(f"{what:<75} {figures}")
