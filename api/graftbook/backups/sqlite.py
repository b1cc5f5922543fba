"""Backup and restore of a SQLite file by SQLite's online backup, while others read and write it."""

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from graftbook.backups.files import Refused, starts_with, written_whole
from graftbook.backups.levels import made_ready, require_known_level
from graftbook.database import make_engine
from graftbook.problems import Unavailable
from graftbook.temporary_files import work_folder

MARK = b"SQLite format 3\0"
PAGES_A_STEP = 1_000
WRITERS_WAIT = 60
"""Seconds that a restore waits for whoever writes to the database."""


def backup(database: Path, target: Path) -> None:
    """Write a checked copy of one state of the database. Raises Refused, Unavailable, OSError."""
    with _readable(), written_whole(target) as part, closing(_open(database)) as source:
        # A read transaction holds its state: else each foreign write would begin the copy anew.
        source.execute("BEGIN")
        source.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()
        with closing(sqlite3.connect(part)) as copy:
            source.backup(copy, pages=PAGES_A_STEP)
            copy.execute("PRAGMA journal_mode = DELETE").fetchone()
            _check(copy, "the copy")


def restore(database: Path, source: Path, *, replace: bool) -> int:
    """Put a backup in the database's place, in one transaction of the database itself.

    Whoever has it open sees the old state until then, and the new one after. Returns the catalogue's
    revision. Raises Refused, Unavailable, OSError.
    """
    with _readable(), work_folder(database.parent, f".{database.name}.restore-") as folder:
        copy = folder / "copy.sqlite3"
        with closing(_open(source, "ro")) as given, closing(sqlite3.connect(copy)) as own:
            given.backup(own)
            _check(own, "the backup")
        revision = _made_ready(copy, source)
        with closing(sqlite3.connect(database, timeout=WRITERS_WAIT)) as live:
            if not replace and live.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
                raise Refused(f"{database} holds a database already; --replace puts the backup in its place")
            live.execute("PRAGMA journal_mode = WAL").fetchone()
            live.execute("PRAGMA synchronous = FULL")
            with closing(_open(copy)) as ready:
                ready.backup(live, pages=-1, progress=_patience(WRITERS_WAIT))
        return revision


def is_backup(path: Path) -> bool:
    """Whether a file is a SQLite database."""
    return starts_with(path, MARK)


def _made_ready(copy: Path, source: Path) -> int:
    engine = make_engine(f"sqlite:///{copy}")
    try:
        require_known_level(engine, str(source))
        return made_ready(engine)
    finally:
        engine.dispose()


def _open(path: Path, mode: str = "rw") -> sqlite3.Connection:
    """Open a database that exists; another name would make an empty one."""
    if not path.is_file():
        raise Refused(f"there is no file {path}")
    return sqlite3.connect(f"file:{quote(str(path))}?mode={mode}", uri=True, isolation_level=None, timeout=30)


def _check(connection: sqlite3.Connection, what: str) -> None:
    wrong = [row[0] for row in connection.execute("PRAGMA integrity_check(5)")]
    if wrong != ["ok"]:
        raise Refused(f"{what} is damaged: {'; '.join(map(str, wrong))}")
    if broken := connection.execute("PRAGMA foreign_key_check").fetchall():
        raise Refused(f"{what} has {len(broken)} broken references")


def _patience(seconds: float) -> Callable[[int, int, int], None]:
    """Stops a copy that waits for a lock too long: it would try for ever."""
    until = time.monotonic() + seconds

    def progress(status: int, _left: int, _all: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise Unavailable(f"somebody wrote to the database for {seconds:.0f} s; nothing was changed")

    return progress


@contextmanager
def _readable() -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:
        raise Unavailable(f"the database does not answer: {error}") from error
    except sqlite3.DatabaseError as error:
        raise Refused(f"this is no whole database: {error}") from error
