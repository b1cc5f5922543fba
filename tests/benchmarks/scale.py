"""The time of an answer on catalogues of 10 thousand, 100 thousand and 1 million components.

Invented catalogues in SQLite files; the same wish on one vehicle of the first range each time, with
the rule book compiled (cold) and kept (warm). Loading the largest takes minutes.
"""

import os
import statistics
import time
from collections.abc import Iterator

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import warm_up
from graftbook.database import reading
from tests.benchmarks.loaded import load_all, new_database, world

COMPONENTS = tuple(int(n) for n in os.environ.get("GRAFTBOOK_SCALE", "10000,100000,1000000").split(","))
CHASSIS, WISHES = "WA4-025000", [f"f00000-{n}m" for n in (29, 77, 131, 203, 258)]


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was done at which size, and its time."""
    warm_up()
    for components in COMPONENTS:
        size = f"{components:,} components"
        with world(components) as path, new_database() as engine:
            report = load_all(engine, path)
            yield f"{size}: {report.records.total():,} records loaded", f"{report.seconds:.0f} s"
            with reading(engine) as session:
                vehicle = find_vehicle(session, CHASSIS).vehicle
            books = Books(engine)
            start = time.perf_counter()
            books.book(vehicle.variant)
            yield f"{size}: rule book compiled", f"{(time.perf_counter() - start) * 1000:.0f} ms"
            times = []
            for wish in WISHES * 5:
                start = time.perf_counter()
                answer_question(books.book(vehicle.variant), Question(vehicle, (FitComponent(wish),)))
                times.append((time.perf_counter() - start) * 1000)
            yield (
                f"{size}: closure, book looked up and reasoned",
                f"median {statistics.median(times):.2f} ms, worst {max(times):.2f} ms",
            )
