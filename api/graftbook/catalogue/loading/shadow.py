"""A large load worked out in a shadow copy of the catalogue, so that whoever edits meanwhile need not wait.

The copy of a SQLite file is a file of its own; on PostgreSQL it is temporary tables (`shadow_session`).
Everything is read, checked and written in the copy, which notes the rows that it touches. What others
edited meanwhile is then loaded into the copy too, with all its checks: so the load is judged beside what it
will stand beside. Only the last of these edits and putting the touched rows into the database hold the
writers' lock. Where an edit changed what the load changes too, or the two cannot
stand together, the load is done again as a small one is, under the lock.
"""

import logging
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple, Protocol
from urllib.parse import quote

from sqlalchemy import Connection, Engine, Table, event, select, text
from sqlalchemy.exc import OperationalError

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sources import from_objects
from graftbook.catalogue.history.revisions import current_revision, epoch_of, raise_revision
from graftbook.catalogue.history.snapshots import Fields, images, objects_in
from graftbook.catalogue.loading.load import EnoughMistakes, Load, LoadReport
from graftbook.catalogue.loading.shadow_rows import deleting, keys, same, tables_handed_over, writing
from graftbook.catalogue.loading.shadow_session import in_session, may_note
from graftbook.catalogue.loading.staging import defer_references
from graftbook.catalogue.store.tables import table
from graftbook.database import make_engine, reading
from graftbook.temporary_files import work_folder

_LOG = logging.getLogger("graftbook")
TRIES = 5
"""So often a load catches up with the edits of others before it makes them wait for the last of it."""
FEW = 100
"""Records of others that are caught up with while they wait; with more of them they are let through again."""
_FAST = ("journal_mode = MEMORY", "synchronous = OFF", "cache_size = -64000")


class Overtaken(Exception):
    """Others edited something that the load cannot stand beside as it was judged."""


class _TooMuch(Exception):
    """Others edited more than they should wait for."""


class Sides(Protocol):
    """A load's copy of the catalogue, and the database that it was made of.

    `there` and `worked` stand before the names of their tables in SQL. `copy` is a connection whose names
    mean the copy, in a transaction of its own.
    """

    there: str
    worked: str
    copy: Connection

    def begin_noting(self, rows: Table) -> None:
        """From here on the keys of the rows that are touched or go are kept."""

    def locked(self) -> AbstractContextManager[Connection]:
        """The database, in one transaction that the other editors wait for."""

    def as_others_left_it(self, to: Connection) -> AbstractContextManager[Connection]:
        """The database that is locked, without anything that was written into it for the load."""

    def in_copy(self) -> AbstractContextManager[Connection]:
        """The copy, also while the database is locked."""

    def show_copy(self) -> None:
        """Let the locked database see what was written in the copy."""


def can_be_copied(engine: Engine) -> bool:
    """Whether a load can be worked out in a copy: not in memory, and on PostgreSQL with the rights for it."""
    if engine.dialect.name != "sqlite":
        if not (able := may_note(engine)):
            _LOG.warning("a large load keeps other editors waiting: this user may write no trigger (plpgsql)")
        return able
    name = engine.url.database or ""
    return name not in ("", ":memory:") and not name.startswith("file:")


@contextmanager
def sides_of(engine: Engine) -> Iterator[Sides]:
    """A copy of the catalogue as it is now, beside the database; gone when the block ends."""
    if engine.dialect.name == "postgresql":
        with in_session(engine) as sides:
            yield sides
    else:
        with copied(engine) as copy, copy.connect() as connection:
            yield InFile(engine, connection)


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


class InFile:
    """The two sides on SQLite: two files, the copy attached to the database when it is handed over."""

    there, worked = "main.", "worked."

    def __init__(self, engine: Engine, copy: Connection) -> None:
        self._engine, self.copy = engine, copy
        self._left_out = _laid_bare(copy.connection.dbapi_connection)

    def begin_noting(self, rows: Table) -> None:
        """From here on the keys of the rows that are touched or go are kept."""
        self._make_strict()
        for statement in _noting(rows):
            self.copy.exec_driver_sql(statement)

    def _make_strict(self) -> None:
        if self._left_out:
            self.copy.commit()  # references can be switched between transactions only
            raw: Any = self.copy.connection.dbapi_connection
            for statement in self._left_out:
                raw.execute(statement).close()
            self._left_out = []

    @contextmanager
    def locked(self) -> Iterator[Connection]:
        """The database, in one transaction that the other editors wait for."""
        self.copy.commit()
        with self._engine.connect() as to, _attached(to, self.copy), to.begin():
            # A write of nothing: it waits for the writers' lock of this file, and leaves the copy's alone.
            to.exec_driver_sql("UPDATE main.revision SET number = number WHERE false")
            yield to

    @contextmanager
    def as_others_left_it(self, to: Connection) -> Iterator[Connection]:
        """The database that is locked, without anything that was written into it for the load."""
        yield to

    @contextmanager
    def in_copy(self) -> Iterator[Connection]:
        """The copy, also while the database is locked."""
        yield self.copy

    def show_copy(self) -> None:
        """Let the locked database see what was written in the copy."""
        self.copy.commit()


class _Edited(NamedTuple):
    """What others edited since a revision: the records changed, what they say now, and which are gone."""

    revision: int
    changed: set[tuple[str, str]]
    ranges: set[str]
    objects: list[Fields]
    gone: dict[str, list[str]]


class Copy:
    """A load's copy: notes what is touched there, follows the edits of others, and hands over at the end."""

    def __init__(self, engine: Engine, sides: Sides) -> None:
        self._engine, self._sides = engine, sides
        self._epoch = epoch_of(sides.copy)
        self._seen = current_revision(sides.copy)
        self._ranges: set[str] = set()
        """Those that the edits of others touched."""
        self._kinds_alone: frozenset[str] = frozenset()
        self._was_empty = not self._seen
        if not self._was_empty:
            self._begin_noting()

    def load_is_in(self, kinds_alone: Iterable[str] = ()) -> None:
        """Note every row of a catalogue that was empty before: all at once, not by a trigger for each.

        `kinds_alone`: of these kinds nobody else may have edited anything.
        """
        self._kinds_alone = frozenset(kinds_alone)
        if self._was_empty:
            self._begin_noting()
            for rows in tables_handed_over():
                every = f'SELECT {keys(rows)} FROM "{rows.name}"'
                self._sides.copy.exec_driver_sql(f'INSERT INTO "touched_{rows.name}" ({keys(rows)}) {every}')

    def _begin_noting(self) -> None:
        for rows in tables_handed_over():
            self._sides.begin_noting(rows)

    def catch_up(self, own: int) -> bool:
        """Load what others edited since; `own` is the load's revision in the copy. Whether there was any.

        Raises Overtaken.
        """
        with reading(self._engine) as session:
            edited = self._edits_since(session.connection())
        return self._follow(edited, own)

    def _edits_since(self, now: Connection, most: int | None = None) -> _Edited | None:
        """What others edited since the copy followed last.

        Raises Overtaken where it is another database, and _TooMuch for more records than `most`.
        """
        if epoch_of(now) != self._epoch:
            raise Overtaken
        present = current_revision(now)
        if present == self._seen:
            return None
        change, edit = table("record_change"), table("revision")
        since = change.c.revision > self._seen
        records = now.execute(select(change.c.kind, change.c.name).where(since))
        changed = {(kind, name) for kind, name in records}
        if most is not None and len(changed) > most:
            raise _TooMuch
        touched = now.execute(select(edit.c.touched).where(edit.c.number > self._seen)).scalars()
        ranges = {name for names in touched for name in names.split("; ")} - {""}
        objects: list[Fields] = []
        gone: dict[str, list[str]] = {}
        for kind in KIND_BY_WORD:
            names = sorted(name for of, name in changed if of == kind)
            found = images(now, kind, names) if names else {}
            objects += [one for image in found.values() for one in objects_in(kind, image)]
            gone[kind] = [name for name in names if name not in found]
        return _Edited(present, changed, ranges, objects, gone)

    def _follow(self, edited: _Edited | None, own: int) -> bool:
        if edited is None:
            return False
        with self._sides.in_copy() as copy:
            if edited.changed & self._changed_by(own) or self._kinds_alone & {
                kind for kind, _ in edited.changed
            }:
                raise Overtaken
            removals = {kind: list(images(copy, kind, names)) for kind, names in edited.gone.items() if names}
            report = LoadReport()
            with suppress(EnoughMistakes):
                Load(copy, report).run(from_objects(edited.objects), removals)
            if not report.ok:
                raise Overtaken
        self._ranges |= edited.ranges
        self._seen = edited.revision
        return True

    def _changed_by(self, own: int) -> set[tuple[str, str]]:
        change = table("record_change")
        query = select(change.c.kind, change.c.name).where(change.c.revision == own)
        return {(kind, name) for kind, name in self._sides.copy.execute(query)}

    @contextmanager
    def handing_over(self, own: int) -> Iterator[Connection]:
        """The database in one transaction that writes, with no edit of others missing in the copy.

        Raises Overtaken.
        """
        for left in reversed(range(TRIES)):
            if self.catch_up(own) and left:
                continue
            with suppress(_TooMuch), self._sides.locked() as to:
                with self._sides.as_others_left_it(to) as now:
                    edited = self._edits_since(now, FEW if left else None)
                self._follow(edited, own)
                yield to
                return

    def hand_over(self, to: Connection, own: int, who: str, why: str) -> int:
        """Put every row that was touched into the database, and the load into its history.

        Returns the revision that it is there.
        """
        edit, there, worked = table("revision"), self._sides.there, self._sides.worked
        with self._sides.in_copy() as copy:
            mine = copy.execute(select(edit.c.touched, edit.c.changes).where(edit.c.number == own)).one()
        self._sides.show_copy()
        defer_references(to)
        for rows in reversed(tables_handed_over()):
            to.exec_driver_sql(deleting(rows, there, worked))
        for rows in tables_handed_over():
            to.exec_driver_sql(writing(rows, there, worked))
        ranges = set(mine.touched.split("; ")) - {""} | self._ranges
        revision = raise_revision(to, current_revision(to), who, why, ranges, mine.changes)
        keeping = text(
            f"INSERT INTO {there}record_change (kind, name, revision, before)"
            f" SELECT kind, name, CAST(:revision AS INTEGER), before FROM {worked}record_change"
            " WHERE revision = :own ORDER BY kind, name"
        )
        to.execute(keeping, {"revision": revision, "own": own})
        return revision

    def records(self, own: int) -> list[Fields]:
        """What the load brought, as records, kinds in the order of a load."""
        mine = self._changed_by(own)
        found: list[Fields] = []
        for kind in KIND_BY_WORD:
            names = sorted(name for of, name in mine if of == kind)
            for image in images(self._sides.copy, kind, names).values() if names else ():
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


def _laid_bare(copy: Any) -> list[str]:
    """Take indices and the check of references from the copy of an empty catalogue.

    A load checks its own references, and an index of many rows is made quicker than kept. Returns what
    gives them back.
    """
    if copy.execute("SELECT count(*) FROM revision").fetchone()[0]:
        return []
    made = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql LIKE 'CREATE INDEX%'"
    indices = copy.execute(made).fetchall()
    copy.execute("PRAGMA foreign_keys = OFF").close()
    for name, _ in indices:
        copy.execute(f'DROP INDEX "{name}"').close()
    return ["PRAGMA foreign_keys = ON", *(sql for _, sql in indices)]


def _noting(rows: Table) -> Iterator[str]:
    for name in ("touched", "gone"):
        yield f'CREATE TABLE "{name}_{rows.name}" ({keys(rows)}, PRIMARY KEY ({keys(rows)})) WITHOUT ROWID'
    for what, which, into in (
        ("INSERT", "NEW", "touched"),
        ("UPDATE", "NEW", "touched"),
        ("DELETE", "OLD", "gone"),
    ):
        noted, new = f"{into}_{rows.name}", keys(rows, f"{which}.")
        # The statement that fires a trigger settles conflicts inside it too, so "or ignore" would not hold.
        yield (
            f'CREATE TRIGGER "{rows.name}_{what}" AFTER {what} ON "{rows.name}" BEGIN INSERT INTO "{noted}"'
            f' SELECT {new} WHERE NOT EXISTS (SELECT 1 FROM "{noted}" n WHERE {same(rows, "n", which)}); END'
        )
