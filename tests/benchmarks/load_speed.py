"""How fast records load, how much memory that takes, and what a rule book and a search then cost.

Invented catalogues of 12 thousand, 120 thousand and 1 million records in SQLite files, each loaded
by a process of its own so that its memory is its own.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.search import Search, find
from graftbook.database import reading
from tests.benchmarks.loaded import load_all, new_database, world

COMPONENTS = (4_000, 40_000, 332_000)


def run() -> Iterator[tuple[str, str]]:
    """Rows of (what, figure)."""
    for components in COMPONENTS:
        shown = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.load_speed", str(components)],
            capture_output=True,
            text=True,
            check=True,
        )
        yield from json.loads(shown.stdout)


def measure(components: int) -> list[tuple[str, str]]:
    """Load one catalogue and ask it; rows of (what, figure)."""
    with world(components) as path, new_database() as engine:
        before = _peak()
        report = load_all(engine, path)
        records = report.records.total()
        rows = [
            (f"{records:,} records: loaded a second", f"{records / report.seconds:,.0f}"),
            (f"{records:,} records: more memory at the peak", f"{_peak() - before} MB"),
        ]
        with reading(engine) as session:
            for what, ask in (
                ("a rule book compiled", lambda: compile_book(session, "f00000-v4")),
                ("a search by number", lambda: find(session, Search(number="f00000-29"))),
                (
                    "a search by vehicle and word",
                    lambda: find(session, Search(chassis="WA4-2500", words="better")),
                ),
                ("a search by a common word", lambda: find(session, Search(words="part"))),
            ):
                rows.append((f"{records:,} records: {what}", f"{_median(ask) * 1000:.1f} ms"))
    return rows


def _median(ask: Callable[[], object]) -> float:
    times = []
    for _ in range(5):
        started = time.perf_counter()
        ask()
        times.append(time.perf_counter() - started)
    return sorted(times)[2]


def _peak() -> int:
    """The most memory this process ever had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


if __name__ == "__main__":
    print(json.dumps(measure(int(sys.argv[1]))))
