"""A large load worked out in a copy of the database, so that whoever edits meanwhile need not wait for it.

Everything is read, checked and written in the copy, which notes the rows that it touches. What others
edited meanwhile is then loaded into the copy too, with all its checks: so the load is judged beside what it
will stand beside. Only the last of these edits and putting the touched rows into the database hold the
writers' lock. Where an edit changed what the load changes too, or the two cannot
stand together, the load is done again as a small one is, under the lock.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, Table, event, select
from sqlalchemy.exc import OperationalError
from sqlmodel import SQLModel

from api.catalogue.epoch import epoch_of
from api.catalogue.images import Fields, images, objects_in
from api.catalogue.loading import Load, Report
from api.catalogue.records import KIND_BY_WORD
from api.catalogue.revisions import current_revision, raise_revision
from api.catalogue.sources import from_objects
from api.catalogue.staging import table
from api.database import make_engine, reading
from api.left_behind import work_folder

_OWN = ("revision", "record_change")
"""What an edit writes about itself: its number is known at the end only."""
TRIES = 5
"""So often a load catches up with the edits of others before it makes them wait for the last of it."""
_FAST = ("journal_mode = MEMORY", "synchronous = OFF", "cache_size = -64000")


class Meanwhile(Exception):
    """Others edited something that the load cannot stand beside as it was judged."""


def can_be_copied(engine: Engine) -> bool:
    """Whether a database is a SQLite file."""
    name = engine.url.database or ""
    return engine.dialect.name == "sqlite" and name not in ("", ":memory:") and not name.startswith("file:")


@contextmanager
def copied(engine: Engine) -> Iterator[Engine]:
    """A copy of a SQLite file as it is now, in a file beside it that goes when the block ends.

    What a load that was killed has left there goes first.
    """
    database = Path(str(engine.url.database))
    with work_folder(database.absolute().parent, f".{database.name}.load-") as folder:
        path = folder / "copy.sqlite3"
        try:
            _copy(str(database), path)
        except sqlite3.Error as error:
            raise OperationalError("copying the database", None, error) from error
        copy = make_engine(f"sqlite:///{path}")
        event.listen(copy, "connect", _make_fast)
        try:
            yield copy
        finally:
            copy.dispose()


def _copy(database: str, path: Path) -> None:
    """One state, read in one transaction; a file that is not there is not made."""
    there = f"file:{quote(database)}?mode=rw"
    with (
        closing(sqlite3.connect(there, uri=True, isolation_level=None, timeout=30)) as source,
        closing(sqlite3.connect(path, isolation_level=None)) as target,
    ):
        source.execute("BEGIN")
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()
        source.backup(target)


def _make_fast(connection: Any, _record: Any) -> None:
    """A copy that breaks is thrown away, so nothing in it need last."""
    for pragma in _FAST:
        connection.execute(f"PRAGMA {pragma}").close()


class Copy:
    """A load's copy: notes what is touched there, follows the edits of others, and hands over at the end."""

    def __init__(self, engine: Engine, connection: Connection) -> None:
        self._engine, self._connection = engine, connection
        self._epoch = epoch_of(connection)
        self._seen = current_revision(connection)
        self._ranges: set[str] = set()
        """Those that the edits of others touched."""
        for rows in _tables():
            for statement in _noting(rows):
                connection.exec_driver_sql(statement)

    def catch_up(self, own: int) -> bool:
        """Load what others edited since; `own` is the load's revision in the copy. Whether there was any.

        Raises Meanwhile.
        """
        change, edit = table("record_change"), table("revision")
        with reading(self._engine) as session:
            now = session.connection()
            present = current_revision(now)
            if epoch_of(now) != self._epoch:
                raise Meanwhile
            if present == self._seen:
                return False
            since = change.c.revision > self._seen
            changed = set(map(tuple, now.execute(select(change.c.kind, change.c.name).where(since))))
            if changed & self._changed_by(own):
                raise Meanwhile
            touched = now.execute(select(edit.c.touched).where(edit.c.number > self._seen)).scalars()
            self._ranges |= {name for text in touched for name in text.split("; ")} - {""}
            self._replay(now, sorted(changed))
            self._seen = present
        return True

    def _changed_by(self, own: int) -> set[tuple[str, ...]]:
        change = table("record_change")
        query = select(change.c.kind, change.c.name).where(change.c.revision == own)
        return set(map(tuple, self._connection.execute(query)))

    def _replay(self, now: Connection, changed: list[tuple[str, ...]]) -> None:
        objects: list[Fields] = []
        removals: dict[str, list[str]] = {}
        for kind in KIND_BY_WORD:
            names = [name for of, name in changed if of == kind]
            found = images(now, kind, names) if names else {}
            objects += [one for image in found.values() for one in objects_in(kind, image)]
            if gone := [name for name in names if name not in found]:
                removals[kind] = list(images(self._connection, kind, gone))
        report = Report()
        Load(self._connection, report).run(from_objects(objects), removals)
        if not report.ok:
            raise Meanwhile

    @contextmanager
    def handing_over(self, own: int) -> Iterator[Connection]:
        """The database in one transaction that writes, with no edit of others missing in the copy.

        The copy is attached to it as `worked`. Raises Meanwhile.
        """
        for _ in range(TRIES):
            if not self.catch_up(own):
                break
        with self._engine.connect() as to, _attached(to, self._connection), to.begin():
            # A write of nothing: it waits for the writers' lock of this file, and leaves the copy's alone.
            to.exec_driver_sql("UPDATE main.revision SET number = number WHERE false")
            self.catch_up(own)
            self._connection.commit()
            yield to

    def hand_over(self, to: Connection, own: int, who: str, why: str) -> int:
        """Put every row that was touched into the database, and the load into its history.

        Returns the revision that it is there.
        """
        edit = table("revision")
        touched = self._connection.execute(select(edit.c.touched).where(edit.c.number == own)).scalar_one()
        self._connection.commit()
        to.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        for rows in reversed(_tables()):
            to.exec_driver_sql(_deleting(rows))
        for rows in _tables():
            to.exec_driver_sql(_writing(rows))
        revision = raise_revision(to, who, why, set(touched.split("; ")) - {""} | self._ranges)
        to.exec_driver_sql(
            "INSERT INTO main.record_change (kind, name, revision, before)"
            " SELECT kind, name, ?, before FROM worked.record_change WHERE revision = ? ORDER BY kind, name",
            (revision, own),
        )
        return revision

    def records(self, own: int) -> list[Fields]:
        """What the load brought, as records, kinds in the order of a load."""
        mine = self._changed_by(own)
        found: list[Fields] = []
        for kind in KIND_BY_WORD:
            names = sorted(name for of, name in mine if of == kind)
            for image in images(self._connection, kind, names).values() if names else ():
                found += objects_in(kind, image)
        return found


@contextmanager
def _attached(to: Connection, copy: Connection) -> Iterator[None]:
    """Outside of any transaction, where alone that can be done."""
    raw: Any = to.connection.dbapi_connection
    raw.execute("ATTACH DATABASE ? AS worked", (str(copy.engine.url.database),)).close()
    try:
        yield
    finally:
        raw.execute("DETACH DATABASE worked").close()


def _tables() -> list[Table]:
    return [rows for rows in SQLModel.metadata.sorted_tables if rows.name not in _OWN]


def _keys(rows: Table, prefix: str = "") -> str:
    return ", ".join(f'{prefix}"{column.name}"' for column in rows.primary_key)


def _same(rows: Table, one: str, other: str) -> str:
    return " AND ".join(f'{one}."{column.name}" = {other}."{column.name}"' for column in rows.primary_key)


def _noting(rows: Table) -> Iterator[str]:
    for name in ("touched", "gone"):
        yield f'CREATE TABLE "{name}_{rows.name}" ({_keys(rows)}, PRIMARY KEY ({_keys(rows)})) WITHOUT ROWID'
    for what, which, into in (
        ("INSERT", "NEW", "touched"),
        ("UPDATE", "NEW", "touched"),
        ("DELETE", "OLD", "gone"),
    ):
        noted, new = f"{into}_{rows.name}", _keys(rows, f"{which}.")
        # The statement that fires a trigger settles conflicts inside it too, so "or ignore" would not hold.
        yield (
            f'CREATE TRIGGER "{rows.name}_{what}" AFTER {what} ON "{rows.name}" BEGIN INSERT INTO "{noted}"'
            f' SELECT {new} WHERE NOT EXISTS (SELECT 1 FROM "{noted}" n WHERE {_same(rows, "n", which)}); END'
        )


def _deleting(rows: Table) -> str:
    there = f'SELECT 1 FROM worked."{rows.name}" w WHERE {_same(rows, "w", "g")}'
    gone = f'SELECT {_keys(rows)} FROM worked."gone_{rows.name}" g WHERE NOT EXISTS ({there})'
    return f'DELETE FROM main."{rows.name}" WHERE ({_keys(rows)}) IN ({gone})'


def _writing(rows: Table) -> str:
    own = {column.name for column in rows.primary_key}
    columns = ", ".join(f'"{column.name}"' for column in rows.columns)
    values = ", ".join(f'w."{column.name}"' for column in rows.columns)
    new = ", ".join(f'"{c.name}" = excluded."{c.name}"' for c in rows.columns if c.name not in own)
    return (
        f'INSERT INTO main."{rows.name}" ({columns}) SELECT {values}'
        f' FROM worked."touched_{rows.name}" t CROSS JOIN worked."{rows.name}" w'
        f" WHERE {_same(rows, 't', 'w')}"
        f" ON CONFLICT ({_keys(rows)}) DO {f'UPDATE SET {new}' if new else 'NOTHING'}"
    )
