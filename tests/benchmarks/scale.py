"""The same questions of catalogues from ten thousand to a million components (GRAFTBOOK_SCALE: other sizes).

Invented catalogues in SQLite files; the same wish on one vehicle of the first range each time, with the
rule book kept. Loading the largest takes minutes, so that only the full form does.
"""

import os
import statistics
import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from sqlalchemy import Engine

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.lint.lint import lint
from graftbook.catalogue.search import Search, find
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import warm_up
from graftbook.database import reading
from tests.benchmarks.loaded import load_all, new_database, world
from tests.benchmarks.plot import Plot
from tests.benchmarks.report import Line, Table

QUICK, FULL = "5000,20000", "10000,100000,1000000"
MOST = 1.5
"""How many times the time of the smallest catalogue anything may take."""

CHASSIS, WISHES = "WA4-025000", [f"f00000-{n}m" for n in (29, 77, 131, 203, 258)]


def tables(full: bool) -> Iterator[Table]:
    """What is asked, at each size."""
    warm_up()
    plot = Plot("The same questions of larger catalogues", "components", "processor time, ms")
    table = Table(
        "Catalogues at size",
        "Median processor time of the same question on invented catalogues of more ranges, in SQLite.",
        "the same on the smallest of them, in the same run",
        "ms",
        "how many times as long it takes",
        plots=[plot],
    )
    least: dict[str, float] = {}
    for size in (int(n) for n in os.environ.get("GRAFTBOOK_SCALE", FULL if full else QUICK).split(",")):
        for what, took in _measured(size):
            beside = least.setdefault(what, took)
            ratio = took / beside
            met = None if took is beside or what in ONCE else ratio <= MOST
            target = "" if met is None else f"at most {MOST:g}"
            table.lines.append(Line(f"{what}, {size:,} components", took, beside, ratio, target, met))
            plot.add(what, size, took)
    yield table


ONCE = ("a thousand records loaded", "a thousand components linted")
"""What has no target here."""


def _measured(size: int) -> Iterator[tuple[str, float]]:
    with world(size) as path, new_database() as engine:
        start = time.process_time()
        records = load_all(engine, path).records.total()
        yield ONCE[0], (time.process_time() - start) * 1_000_000 / records
        start = time.process_time()
        found = {finding.wrong for finding in lint(engine)}
        assert found == {Wrong.no_evidence}, found
        yield ONCE[1], (time.process_time() - start) * 1_000_000 / size
        yield from ((what, _median(ask)) for what, ask in _questions(engine))


def _questions(engine: Engine) -> Iterator[tuple[str, Callable[[], object]]]:
    with reading(engine) as session:
        vehicle = find_vehicle(session, CHASSIS).vehicle
    yield "rule book compiled", lambda: Books(engine).book(vehicle.variant)
    books, wishes = Books(engine), iter(WISHES * 100)

    def closure() -> None:
        question = Question(vehicle, (FitComponent(next(wishes)),))
        answer = answer_question(books.book(vehicle.variant), question)
        assert answer.solution is not None

    yield "closure", closure
    yield "vehicle looked up", partial(_read, engine, lambda session: find_vehicle(session, CHASSIS))
    for what, search in (
        ("search by number", Search(number="f00000-29")),
        ("search by a common word", Search(words="part")),
        ("search by vehicle and word", Search(chassis="WA4-2500", words="better")),
    ):
        yield what, partial(_read, engine, partial(_found, search))


def _found(search: Search, session: Any) -> None:
    assert find(session, search), search


def _read(engine: Engine, work: Callable[[Any], object]) -> None:
    with reading(engine) as session:
        work(session)


def _median(ask: Callable[[], object]) -> float:
    """Processor milliseconds of one, the first left out."""
    took = []
    for _ in range(16):
        start = time.process_time()
        ask()
        took.append((time.process_time() - start) * 1000)
    return statistics.median(took[1:])
