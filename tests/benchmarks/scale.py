"""The same questions of catalogues from ten thousand to a million components.

Invented catalogues; the same wish on one vehicle of the first range each time, with the rule book kept.
Loading the largest takes minutes, so that only the full form does. For other sizes, up to as many as the
disk holds (a million components take 1.8 GB in SQLite), and for a PostgreSQL that is started for it:

    GRAFTBOOK_SCALE=10000,10000000 GRAFTBOOK_SCALE_ON=postgresql python -m tests.benchmarks --full scale
"""

import os
import statistics
import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from sqlalchemy import Engine

from graftbook.app import collect_seldom
from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.search import Search, find
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answering import answer_question
from graftbook.closure.compatibility import Fits, compatible
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import warm_up
from graftbook.database import reading
from graftbook.editing.linting.side_by_side import lint
from tests.benchmarks.loaded import load_all, world
from tests.benchmarks.plot import Plot
from tests.benchmarks.report import Line, Table
from tests.soundness.databases import databases_of, opened

QUICK, FULL = "5000,20000", "10000,100000,1000000"
MOST = 1.5
"""How many times the time of the smallest catalogue anything may take."""

CHASSIS, WISHES = "WA4-025000", [f"f00000-{n}m" for n in (29, 77, 131, 203, 258)]
ASKED = [f"f00000-{n}b" for n in range(300)]
CLOCKS: dict[str, Callable[[], float]] = {"sqlite": time.process_time, "postgresql": time.perf_counter}
"""SQLite works in this process; PostgreSQL in others, so that only the time that passes tells of it."""


def tables(full: bool) -> Iterator[Table]:
    """What is asked, at each size."""
    warm_up()
    collect_seldom()
    on = os.environ.get("GRAFTBOOK_SCALE_ON", "sqlite")
    kind = "processor time" if on == "sqlite" else "time"
    plot = Plot("The same questions of larger catalogues", "components", f"{kind}, ms")
    table = Table(
        "Catalogues at size",
        f"Median {kind} of the same question on invented catalogues of more ranges, in {on}.",
        "the same on the smallest of them, in the same run",
        "ms",
        "how many times as long it takes",
        plots=[plot],
    )
    least: dict[str, float] = {}
    for size in (int(n) for n in os.environ.get("GRAFTBOOK_SCALE", FULL if full else QUICK).split(",")):
        for what, took in _measured(size, on):
            beside = least.setdefault(what, took)
            ratio = took / beside
            met = None if took is beside or what in ONCE else ratio <= MOST
            target = "" if met is None else f"at most {MOST:g}"
            table.lines.append(Line(f"{what}, {size:,} components", took, beside, ratio, target, met))
            plot.add(what, size, took)
    yield table


ONCE = ("a thousand records loaded", "a thousand components linted")
"""What has no target here."""


def _measured(size: int, on: str) -> Iterator[tuple[str, float]]:
    clock = CLOCKS[on]
    with world(size) as path, databases_of(on) as databases, opened(databases.new()) as engine:
        start = clock()
        records = load_all(engine, path).records.total()
        yield ONCE[0], (clock() - start) * 1_000_000 / records
        start = clock()
        found = {finding.wrong for finding in lint(engine)}
        assert found == {Wrong.no_evidence}, found
        yield ONCE[1], (clock() - start) * 1_000_000 / size
        yield from ((what, _median(ask, clock)) for what, ask in _questions(engine))


def _questions(engine: Engine) -> Iterator[tuple[str, Callable[[], object]]]:
    with reading(engine) as session:
        vehicle = find_vehicle(session, CHASSIS).vehicle
    books, wishes, asked = Books(engine), iter(WISHES * 100), iter(ASKED)

    def closure(books: Books) -> None:
        question = Question(vehicle, (FitComponent(next(wishes)),))
        answer = answer_question(books.book(vehicle.variant), question)
        assert answer.solution is not None

    def compatibility() -> None:
        answer = compatible(books.book(vehicle.variant), vehicle, next(asked))
        assert answer.verdict is not Fits.not_known, answer

    yield "first answer of a variant", lambda: closure(Books(engine))
    yield "closure", partial(closure, books)
    yield "compatibility", compatibility
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


def _median(ask: Callable[[], object], clock: Callable[[], float]) -> float:
    """Milliseconds of one, the first left out."""
    took = []
    for _ in range(16):
        start = clock()
        ask()
        took.append((clock() - start) * 1000)
    return statistics.median(took[1:])
