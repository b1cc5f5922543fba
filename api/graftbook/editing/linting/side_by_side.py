"""The lint by several processes: variants are judged apart from one another, and each range is told when all
of its own are.

Helpers are processes that read the database themselves. They are begun when the first variant has shown that
the others would take longer than it takes to begin one.
"""

import os
import threading
import time
from collections import Counter, deque
from collections.abc import Iterator
from contextlib import closing, suppress
from functools import cache
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.lint.finding import LintFinding
from graftbook.catalogue.lint.lint import (
    Judged,
    alike_variants,
    findings_of,
    flaws_from_new,
    judge,
    of_records,
    ranges_of,
)
from graftbook.catalogue.lint.rules import Key
from graftbook.database import file_of, make_engine, reading
from graftbook.process.commits import CatalogueState
from graftbook.process.reasoning.pool import Lost, NoneFree, Pool

SECONDS_WORTH_HELP = 3.0
"""What waits takes at least so long here, or no process is begun for it."""
SECONDS_TO_BEGIN = 60.0
"""A process that is not there by then helps nobody."""
SECONDS_EACH = 3_600.0
"""A variant that a helper has not judged by then is judged here."""


def helpers_here() -> int:
    """As many as there are cores beside the one of this process."""
    return (os.cpu_count() or 1) - 1


def lint(engine: Engine, currency: str = "", *, helpers: int = 0) -> Iterator[LintFinding]:
    """Every finding, all of one revision: first the catalogue's own, then range by range.

    `currency` is the catalogue's own, which needs no exchange rate. `helpers`: so many at the most; each
    process holds one rule book at a time.
    """
    with reading(engine) as session:
        connection = session.connection()
        yield from of_records(connection, currency)
        board, unopened = _Board(), deque(enumerate(ranges_of(connection)))
        with closing(_Helpers(engine, _state(connection), board, helpers)) as helping:
            for number in range(len(unopened)):
                while not board.is_judged(number):
                    while unopened and (unopened[0][0] <= number + helpers or board.waiting <= helpers):
                        board.open(connection, *unopened.popleft())
                    if (task := board.take()) is None:
                        board.wait_for(number)
                        continue
                    began = time.monotonic()
                    board.put(task, judge(session, task.variant, task.settled, task.from_new))
                    waiting = board.waiting + len(unopened)
                    helping.begin_if_worth((time.monotonic() - began) * waiting)
                yield from findings_of(session, board.judged(number))


def judged_in(
    url: str, state: CatalogueState, variant: str, settled: frozenset[Key], from_new: set[str]
) -> Judged | None:
    """What one variant shows, by a helper; None where somebody has edited the catalogue since."""
    with reading(_engine(url)) as session:
        if _state(session.connection()) != state:
            return None
        return judge(session, variant, settled, from_new)


def _state(connection: Connection) -> CatalogueState:
    return CatalogueState(epoch_of(connection), current_revision(connection))


@cache
def _engine(url: str) -> Engine:
    return make_engine(url, pool_size=1)


class _Task(NamedTuple):
    """A variant to be judged for all that are alike, and what is known by then to be well in its range."""

    range: int
    place: int
    variant: str
    from_new: set[str]
    settled: frozenset[Key] = frozenset()


class _Board:
    """Which variants wait, and what those show that are judged. Safe for threads."""

    def __init__(self) -> None:
        self._waiting: list[_Task] = []
        self._in_hand: Counter[int] = Counter()
        self._groups: dict[int, list[list[str]]] = {}
        self._judged: dict[int, dict[int, Judged]] = {}
        self._ended = False
        self._changed = threading.Condition()

    @property
    def waiting(self) -> int:
        """How many variants nobody has taken."""
        return len(self._waiting)

    def open(self, connection: Connection, number: int, of_range: tuple[str, list[str]]) -> None:
        """Let the variants of a range be judged, one of each that are alike."""
        range_name, variants = of_range
        groups, from_new = alike_variants(connection, variants), flaws_from_new(connection, range_name)
        with self._changed:
            self._groups[number], self._judged[number] = groups, {}
            self._waiting += [_Task(number, n, alike[0], from_new) for n, alike in enumerate(groups)]
            self._changed.notify_all()

    def take(self, *, patient: bool = False) -> _Task | None:
        """A variant for the caller to judge; None where none waits, for who is `patient` where none will.
        Rather of a range that nobody is at: what is well on one variant is not asked of the next."""
        with self._changed:
            if patient:
                self._changed.wait_for(lambda: self._waiting or self._ended)
            if self._ended or not self._waiting:
                return None
            task = next((t for t in self._waiting if not self._in_hand[t.range]), self._waiting[0])
            self._waiting.remove(task)
            self._in_hand[task.range] += 1
            settled = frozenset[Key]().union(*(one.well for one in self._judged[task.range].values()))
            return task._replace(settled=settled)

    def put(self, task: _Task, judged: Judged) -> None:
        """Say what a variant shows."""
        with self._changed:
            self._in_hand[task.range] -= 1
            self._judged[task.range][task.place] = judged
            self._changed.notify_all()

    def give_back(self, task: _Task) -> None:
        """Let somebody else judge it."""
        with self._changed:
            self._in_hand[task.range] -= 1
            self._waiting.insert(0, task)
            self._changed.notify_all()

    def is_judged(self, number: int) -> bool:
        """Whether all of a range is judged."""
        with self._changed:
            return number in self._groups and self._open_count(number) == 0

    def wait_for(self, number: int) -> None:
        """Until all of a range is judged, or there is something to judge meanwhile."""
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or not self._open_count(number))

    def _open_count(self, number: int) -> int:
        return len(self._groups[number]) - len(self._judged[number])

    def judged(self, number: int) -> list[tuple[list[str], Judged]]:
        """What the variants of a range show, in order, each with those alike; forgotten with this."""
        with self._changed:
            judged = self._judged.pop(number)
            return [(alike, judged[place]) for place, alike in enumerate(self._groups.pop(number))]

    def end(self) -> None:
        """There will be nothing more to judge."""
        with self._changed:
            self._ended = True
            self._changed.notify_all()


class _Helpers:
    """Processes that judge variants of the board as long as there are any."""

    def __init__(self, engine: Engine, state: CatalogueState, board: _Board, most: int) -> None:
        self._url = engine.url.render_as_string(hide_password=False)
        self._most = most if engine.dialect.name != "sqlite" or file_of(engine.url) else 0
        self._state, self._board = state, board
        self._pool: Pool | None = None

    def begin_if_worth(self, seconds: float) -> None:
        """Begin them, where what waits takes so many seconds; does nothing where they are at work already."""
        if self._most and self._pool is None and seconds > SECONDS_WORTH_HELP:
            self._pool = Pool(self._most)
            for _ in range(self._most):
                threading.Thread(target=self._help, args=(self._pool,), name="lint", daemon=True).start()

    def _help(self, pool: Pool) -> None:
        with suppress(NoneFree, Lost):
            pool.run(os.getpid, seconds=SECONDS_TO_BEGIN)  # nothing is taken before there is a process for it
            self._judge(pool)

    def _judge(self, pool: Pool) -> None:
        while (task := self._board.take(patient=True)) is not None:
            try:
                asked = self._url, self._state, task.variant, task.settled, task.from_new
                judged = pool.run(judged_in, *asked, seconds=SECONDS_EACH)
            except Exception:  # whatever it was, it shows where the variant is judged instead
                judged = None
            if judged is None:
                self._board.give_back(task)
                return
            self._board.put(task, judged)

    def close(self) -> None:
        """End them, whatever they do."""
        self._board.end()
        if self._pool:
            self._pool.close()
