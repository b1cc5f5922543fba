"""Watches for commits: whether the database still holds what an answer from the catalogue depends on.

An answer that was given stays right while epoch and revision stand. To ask the database for them costs more
than to send the answer, so it is asked only when something may have changed:

- Whatever this process commits is counted, so that the next request sees its own edit on either engine.
- SQLite tells in a few microseconds whether any other connection has committed (`PRAGMA data_version`), so
  that another process's edit is seen by the next request too.
- PostgreSQL tells nothing unasked, so it is asked again after half a second.
"""

import os
import sqlite3
import threading
from collections.abc import Hashable
from dataclasses import dataclass
from itertools import count
from time import monotonic
from typing import Any

from sqlalchemy import Connection, Engine, event

from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.database import reading

BELIEVED = 0.5
"""Seconds that PostgreSQL is believed without asking it again."""
_COMMITTED = "graftbook_committed"


@dataclass(frozen=True, slots=True)
class CatalogueState:
    """A state of the catalogue: while it stands, what was answered from it is what would be answered."""

    epoch: str
    revision: int


@dataclass(frozen=True, slots=True)
class CommitMark:
    """What was known of commits at a time. Taken before something is read, it tells later whether that
    stands."""

    commits: Hashable
    at: float


class CommitWatch:
    """Follows one database. Safe for threads."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._file = _SqliteFile(engine.url.database) if _is_file(engine) else None
        self._asks_again = engine.dialect.name != "sqlite"
        self._commits = 0
        self._counter = count(1)
        self._last: tuple[CatalogueState, CommitMark] | None = None
        self._lock = threading.Lock()
        self._count_commits()

    def known(self) -> CatalogueState | None:
        """The state, without asking for it; None when `read` must."""
        return self.known_at(self.mark())

    def known_at(self, now: CommitMark | None) -> CatalogueState | None:
        """The same for who has the mark of now already."""
        last = self._last
        return last[0] if last is not None and self.stands(last[1], now) else None

    def read(self) -> CatalogueState:
        """The state as the database tells it; not from an event loop."""
        mark = self.mark()
        with reading(self._engine) as session:
            connection = session.connection()
            state = CatalogueState(epoch_of(connection), current_revision(connection))
        if mark is not None:
            with self._lock:
                if self._last is None or self._last[1].at <= mark.at:
                    self._last = state, mark
        return state

    def mark(self) -> CommitMark | None:
        """Of now; None when nothing could be believed."""
        at = monotonic()
        commits = self._commits_now()
        return None if commits is None else CommitMark(commits, at)

    def stands(self, mark: CommitMark, now: CommitMark | None) -> bool:
        """Whether what was read after `mark` was taken is still so `now`, as far as it is believed."""
        if now is None or now.commits != mark.commits:
            return False
        return not self._asks_again or now.at - mark.at <= BELIEVED

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            self._file.close()

    def _commits_now(self) -> Hashable | None:
        """Changes with every commit that can be told of; None when none can."""
        if self._file is None:
            return self._commits
        version = self._file.version()
        return None if version is None else (self._commits, version)

    def _count_commits(self) -> None:
        """Count after each commit: counted before it, the old state could be read under the new count."""

        @event.listens_for(self._engine, "commit")
        def commits(connection: Connection) -> None:
            connection.info[_COMMITTED] = True

        @event.listens_for(self._engine, "checkin")
        def committed(_connection: Any, record: Any) -> None:
            if record.info.pop(_COMMITTED, False):
                self._commits = next(self._counter)


def _is_file(engine: Engine) -> bool:
    return engine.dialect.name == "sqlite" and engine.url.database not in (None, "", ":memory:")


class _SqliteFile:
    """A connection that only ever asks whether others have committed."""

    def __init__(self, path: Any) -> None:
        self._path = str(path)
        self._is_uri = self._path.startswith("file:")
        self._lock = threading.Lock()
        self._connection: sqlite3.Connection | None = None
        self._inode: tuple[int, int] | None = None
        self._opened = 0
        self._closed = False

    def version(self) -> Hashable | None:
        """Another one after each commit by another connection, and for another file in its place."""
        if self._is_uri:
            return None
        with self._lock:
            try:
                found = os.stat(self._path)
                if (found.st_dev, found.st_ino) != self._inode:
                    self._connect((found.st_dev, found.st_ino))
                if self._connection is None:
                    return None
                row = self._connection.execute("PRAGMA data_version").fetchone()
            except (OSError, sqlite3.Error):
                return None
            return self._opened, row[0]

    def _connect(self, inode: tuple[int, int]) -> None:
        self._disconnect()
        if self._closed:
            return
        self._connection = sqlite3.connect(
            f"file:{self._path.replace('%', '%25').replace('?', '%3f').replace('#', '%23')}?mode=rw",
            uri=True,
            timeout=0,
            check_same_thread=False,
            isolation_level=None,
        )
        self._inode = inode
        self._opened += 1

    def _disconnect(self) -> None:
        if self._connection is not None:
            self._connection.close()
        self._connection = self._inode = None

    def close(self) -> None:
        with self._lock:
            self._closed = True
            self._disconnect()
