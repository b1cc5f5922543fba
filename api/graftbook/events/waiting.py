"""Waiting for events: whoever waits holds neither a thread nor a connection of the database.

One task of the process looks while anybody waits. On SQLite a look costs microseconds, since the file tells
whether anything was committed; PostgreSQL is asked for two numbers every half second.
"""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager

from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from graftbook.events.cursors import FeedState
from graftbook.events.service import state_of
from graftbook.problems import Busy
from graftbook.process.commits import CommitMark, CommitWatch
from graftbook.process.draining import draining

EVERY = 0.25
"""Seconds between two looks."""
MOST_WAITING = 1_000


class Waiting:
    """Those who wait in one process's event loop."""

    def __init__(self, engine: Engine, commits: CommitWatch) -> None:
        self._engine, self._commits = engine, commits
        self._known: tuple[FeedState, CommitMark | None] | None = None
        self._news = asyncio.Event()
        self._waiting = self._readers = 0
        self._watch: asyncio.Task[None] | None = None

    def require_room(self) -> None:
        """Raises Busy when as many read as may."""
        if self._readers >= MOST_WAITING:
            raise Busy("readers of events")

    @contextmanager
    def reader(self) -> Iterator[None]:
        """One more reads. Raises Busy: many may have been told together that there is room."""
        self.require_room()
        self._readers += 1
        try:
            yield
        finally:
            self._readers -= 1

    async def beyond(self, seen: FeedState, seconds: float) -> bool:
        """Wait until there is more than was seen; False when the time is over or the process is to end."""
        self._waiting += 1
        if self._watch is None or self._watch.done():
            self._watch = asyncio.create_task(self._look_while_anybody_waits())
        try:
            async with asyncio.timeout(seconds):
                while not self._is_beyond(seen) and not draining():
                    await self._news.wait()
        except TimeoutError:
            pass
        finally:
            self._waiting -= 1
        return self._is_beyond(seen)

    def _is_beyond(self, seen: FeedState) -> bool:
        if self._known is None:
            return False
        state = self._known[0]
        return state.epoch != seen.epoch or state.last > seen.last

    async def _look_while_anybody_waits(self) -> None:
        while self._waiting:
            before = self._known and self._known[0]
            await self._look()
            if draining() or (self._known and self._known[0] != before):
                self._news.set()
                self._news = asyncio.Event()
            await asyncio.sleep(EVERY)
        self._known = None

    async def _look(self) -> None:
        mark = self._commits.mark()
        if self._known and self._known[1] and self._commits.stands(self._known[1], mark):
            return
        try:
            self._known = await run_in_threadpool(state_of, self._engine), mark
        except SQLAlchemyError:
            self._known = None  # whoever reads next is told what is wrong
