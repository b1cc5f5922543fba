"""All checks of one set beside the closure that gave the set, on the demo range."""

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
from tests.benchmarks.report import Line, Table

ASKED = {
    "alternator": ("24PR-012000", "QL-7075"),
    "front discs": ("24PL-018412", "QB-3310"),
    "injection": ("24PL-018412", "QF-7000"),
}


def tables(full: bool) -> Iterator[Table]:
    """One line a wish."""
    warm_up()
    table = Table(
        "The arithmetic of a set",
        "Median processor time of every check of one set.",
        "the whole answer that gave the set",
        "ms",
        "ours as a part of what stands beside it",
    )
    with new_database() as engine:
        load_all(engine, demo_sheets())
        books = Books(engine)
        for what, (chassis, wish) in ASKED.items():
            with reading(engine) as session:
                vehicle = find_vehicle(session, chassis).vehicle
            book = books.book(vehicle.variant)
            question = Question(vehicle, (FitComponent(wish),), seconds=60)
            reasoned, checked, findings = [], [], []
            for _ in range(15 if full else 7):
                start = time.process_time()
                solution = answer_question(book, question).solution
                between = time.process_time()
                assert solution is not None, what
                findings = check_set(book, vehicle, solution.today, solution.after)
                reasoned.append(between - start)
                checked.append(time.process_time() - between)
            checks, closure = statistics.median(checked) * 1000, statistics.median(reasoned) * 1000
            more = {"findings": len(findings)}
            table.lines.append(Line(what, checks, closure, checks / closure, more=more))
    yield table
