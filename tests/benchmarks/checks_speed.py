"""All checks of one set beside the closure that gave the set, on the demo range.

The ratio is what counts: below 1, the arithmetic costs less than the reasoning.
"""

import statistics
import time
from collections.abc import Iterator

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.checks.set import check_set
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import warm_up
from graftbook.commands.demo import demo_sheets
from graftbook.database import reading
from tests.benchmarks.loaded import load_all, new_database

ASKED = (("24PL-018412", "QB-3310"), ("24PR-012000", "QL-7075"), ("24PL-018412", "QF-7000"))
TIMES = 7


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was wished, and milliseconds of closure and checks with their ratio."""
    warm_up()
    with new_database() as engine:
        load_all(engine, demo_sheets())
        books = Books(engine)
        for chassis, wish in ASKED:
            with reading(engine) as session:
                vehicle = find_vehicle(session, chassis).vehicle
            book = books.book(vehicle.variant)
            question = Question(vehicle, (FitComponent(wish),), seconds=60)
            reasoned, checked = [], []
            for _ in range(TIMES):
                start = time.perf_counter()
                solution = answer_question(book, question).solution
                between = time.perf_counter()
                check_set(book, vehicle, solution.today, solution.after)
                reasoned.append(between - start)
                checked.append(time.perf_counter() - between)
            closure, checks = statistics.median(reasoned) * 1000, statistics.median(checked) * 1000
            yield (
                f"{wish} on {chassis}",
                f"closure {closure:.1f} ms, checks {checks:.1f} ms, ratio {checks / closure:.2f}",
            )
