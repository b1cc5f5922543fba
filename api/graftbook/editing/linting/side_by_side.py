"""The lint of a catalogue of many ranges, by several processes: each range is judged by itself.

Helpers are processes that read the database themselves. They are begun when the first range has shown that
the others would take longer than it takes to begin one.
"""

import os
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.lint.finding import Finding
from graftbook.catalogue.lint.lint import of_range, of_records, ranges_of
from graftbook.database import file_of, make_engine, reading
from graftbook.process.reasoning.pool import Pool

SECONDS_WORTH_HELP = 3.0
"""What waits takes at least so long here, or no process is begun for it."""
SECONDS_EACH = 3_600.0
"""A range that a helper has not judged by then is judged here."""


class State(NamedTuple):
    """Which database it is, and how far its history goes."""

    epoch: str
    revision: int


def helpers_here() -> int:
    """As many as there are cores beside the one of this process."""
    return (os.cpu_count() or 1) - 1


def lint(engine: Engine, currency: str = "", *, helpers: int = 0) -> Iterator[Finding]:
    """What `catalogue.lint` finds, in the same order and of one revision, with up to so many helpers."""
    with reading(engine) as session:
        connection = session.connection()
        yield from of_records(connection, currency)
        board = _Board(ranges_of(connection))
        with closing(_Helpers(engine, _state(connection), board, helpers)) as helping:
            for number in range(len(board.ranges)):
                while not board.judged(number):
                    if (taken := board.take()) is not None:
                        began = time.monotonic()
                        board.put(taken, list(of_range(session, *board.ranges[taken])))
                        helping.begin_if_worth(time.monotonic() - began)
                yield from board.found(number)


def found_in(url: str, state: State, range_name: str, variants: list[str]) -> list[Finding] | None:
    """What is found in one range, by a helper; None where somebody has edited the catalogue since."""
    with reading(_engine(url)) as session:
        if _state(session.connection()) != state:
            return None
        return list(of_range(session, range_name, variants))


def _state(connection: Connection) -> State:
    return State(epoch_of(connection), current_revision(connection))


@cache
def _engine(url: str) -> Engine:
    return make_engine(url, pool_size=1)


class _Board:
    """Which ranges wait, and what was found in those that are judged. Safe for threads."""

    def __init__(self, ranges: list[tuple[str, list[str]]]) -> None:
        self.ranges = ranges
        self._waiting = list(reversed(range(len(ranges))))
        self._found: dict[int, list[Finding]] = {}
        self._changed = threading.Condition()

    @property
    def waiting(self) -> int:
        """How many ranges nobody has taken."""
        return len(self._waiting)

    def take(self) -> int | None:
        """The first range that waits, for the caller to judge; None where none does."""
        with self._changed:
            return self._waiting.pop() if self._waiting else None

    def put(self, number: int, found: list[Finding]) -> None:
        """Say what was found in a range."""
        with self._changed:
            self._found[number] = found
            self._changed.notify_all()

    def give_back(self, number: int) -> None:
        """Let somebody else judge it."""
        with self._changed:
            self._waiting.append(number)
            self._changed.notify_all()

    def judged(self, number: int) -> bool:
        """Waits until a range is judged, or there is one to be judged meanwhile; whether it is judged."""
        with self._changed:
            self._changed.wait_for(lambda: number in self._found or self._waiting)
            return number in self._found

    def found(self, number: int) -> list[Finding]:
        """What was found in a range that is judged; forgotten with this."""
        with self._changed:
            return self._found.pop(number)


class _Helpers:
    """Processes that judge ranges of the board as long as any waits."""

    def __init__(self, engine: Engine, state: State, board: _Board, most: int) -> None:
        self._url = engine.url.render_as_string(hide_password=False)
        self._most = most if engine.dialect.name != "sqlite" or file_of(engine.url) else 0
        self._state, self._board = state, board
        self._pool: Pool | None = None

    def begin_if_worth(self, seconds: float) -> None:
        """Begin them, where a range takes so many seconds; does nothing where they are at work already."""
        if self._most and self._pool is None and seconds * self._board.waiting > SECONDS_WORTH_HELP:
            self._pool = Pool(self._most)
            for _ in range(self._most):
                threading.Thread(target=self._help, args=(self._pool,), name="lint", daemon=True).start()

    def _help(self, pool: Pool) -> None:
        while (taken := self._board.take()) is not None:
            try:
                asked = self._url, self._state, *self._board.ranges[taken]
                found = pool.run(found_in, *asked, seconds=SECONDS_EACH)
            except Exception:  # whatever it was, it shows where the range is judged instead
                found = None
            if found is None:
                self._board.give_back(taken)
                return
            self._board.put(taken, found)

    def close(self) -> None:
        """End them, whatever they do."""
        if self._pool:
            self._pool.close()
