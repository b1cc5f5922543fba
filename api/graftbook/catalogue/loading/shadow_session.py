"""A copy of the catalogue on PostgreSQL: temporary tables of one session, which nobody else sees.

They have the names of the catalogue's own tables and are found before them, or behind them, by the order of
the session's search path. They end with the session, so nothing stays behind of a load that was killed.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from sqlalchemy import Connection, Engine, ForeignKeyConstraint, MetaData, Table
from sqlalchemy.exc import DBAPIError
from sqlalchemy.schema import AddConstraint, CreateIndex, CreateTable
from sqlmodel import SQLModel

from graftbook.catalogue.history.revisions import current_revision, wait_for_editors
from graftbook.catalogue.loading.shadow_rows import (
    keys,
    listed_columns,
    same,
    tables_handed_over,
    tables_of_the_catalogue,
)
from graftbook.catalogue.loading.staging import defer_references
from graftbook.database import make_engine, reading

_COPY = "pg_temp"
_ONLY = {"record_change": "false", "revision": 'number = (SELECT max(number) FROM "revision")'}
"""Which rows a load needs of a table, where it is not all: the history itself is not looked at."""
SECONDS_AHEAD = 10.0
"""So long a load that has written ahead tries for the lock; then it takes it back, and queues."""
SECONDS_TO_LOOK = 5
"""So long it waits, with the lock held, to read what others left; then the load is refused."""
_WAIT = "20ms"


class _InTheWay(Exception):
    """Others edit what was written ahead, or edit without a pause."""


def may_note(engine: Engine) -> bool:
    """Whether the database lets this user write the triggers that note what is touched."""
    usable = "SELECT has_language_privilege(oid, 'usage') FROM pg_language WHERE lanname = 'plpgsql'"
    with engine.connect() as connection:
        return bool(connection.exec_driver_sql(usable).scalar())


def look_over(engine: Engine) -> None:
    """Let the server look at how many rows there are now.

    By itself it does so a minute later; until then it may read a whole table for a few of its rows. It passes
    over what others have locked, and what belongs to another user.
    """
    named = ", ".join(f'"{rows.name}"' for rows in tables_of_the_catalogue())
    with suppress(DBAPIError), engine.connect() as connection:  # the load is kept, whatever becomes of this
        connection.execution_options(isolation_level="AUTOCOMMIT")
        connection.exec_driver_sql(f"ANALYZE (SKIP_LOCKED) {named}")


class InSession:
    """The two sides of a load: the copy and the database, both seen by one session, one at a time."""

    there, worked = "", f"{_COPY}."

    def __init__(self, connection: Connection) -> None:
        self.copy = connection
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        self._bare: dict[str, Table] = {}
        """What has neither indices nor references yet, because the catalogue was empty."""
        self._path = connection.exec_driver_sql("SHOW search_path").scalar_one()
        self._copy_all()

    def _copy_all(self) -> None:
        """One state of the catalogue, read in one transaction."""
        connection = self.copy
        self._face_database()
        worked = MetaData(naming_convention=SQLModel.metadata.naming_convention)
        made = [rows.to_metadata(worked, schema=_COPY) for rows in tables_of_the_catalogue()]
        for rows in made:
            connection.execute(CreateTable(rows, include_foreign_key_constraints=[]))
            connection.exec_driver_sql(_filling(rows))
        if current_revision(connection):
            for rows in made:
                self._make_quick_and_strict(rows)
        else:  # a load checks its own references, and an index of many rows is made quicker than kept
            self._bare = {rows.name: rows for rows in made}
        connection.exec_driver_sql(f"SET search_path = {_COPY}, {self._path}")
        connection.commit()
        # Were this another session of the server, the names would mean the database's own tables.
        connection.exec_driver_sql(f'SELECT FROM {_COPY}."epoch"')

    def _make_quick_and_strict(self, rows: Table) -> None:
        for index in sorted(rows.indexes, key=lambda index: str(index.name)):
            self.copy.execute(CreateIndex(index))
        for link in rows.constraints:
            if isinstance(link, ForeignKeyConstraint):
                link.dialect_options["postgresql"]["not_valid"] = True  # what is there was checked already
                self.copy.execute(AddConstraint(link))
        self.copy.exec_driver_sql(f'ANALYZE {_COPY}."{rows.name}"')

    def begin_noting(self, rows: Table) -> None:
        """From here on the keys of the rows that are touched or go are kept."""
        if (bare := self._bare.pop(rows.name, None)) is not None:
            self._make_quick_and_strict(bare)
        for name in ("touched", "gone"):
            noted = f'{_COPY}."{name}_{rows.name}"'
            kept = f'SELECT {keys(rows)} FROM {_COPY}."{rows.name}" WHERE false'
            self.copy.exec_driver_sql(f"CREATE TABLE {noted} AS {kept}")
            self.copy.exec_driver_sql(f"ALTER TABLE {noted} ADD PRIMARY KEY ({keys(rows)})")
        self.copy.exec_driver_sql(_noting(rows))
        self.copy.exec_driver_sql(
            f'CREATE TRIGGER note AFTER INSERT OR UPDATE OR DELETE ON {_COPY}."{rows.name}"'
            f' FOR EACH ROW EXECUTE FUNCTION {_COPY}."note_{rows.name}"()'
        )

    @contextmanager
    def locked(self) -> Iterator[Connection]:
        """The database, in one transaction that the other editors wait for."""
        self.copy.commit()
        with self.copy.begin():
            self._face_database()
            self._write_ahead()
            wait_for_editors(self.copy)
            yield self.copy

    @contextmanager
    def as_others_left_it(self, to: Connection) -> Iterator[Connection]:
        """The database that is locked, without anything that was written into it for the load."""
        with reading(to.engine) as session:
            # Behind someone who wants a table for himself it would wait for what waits for this session.
            session.connection().exec_driver_sql(f"SET LOCAL lock_timeout = '{SECONDS_TO_LOOK}s'")
            yield session.connection()

    @contextmanager
    def in_copy(self) -> Iterator[Connection]:
        """The copy, also while the database is locked."""
        path = self.copy.exec_driver_sql("SHOW search_path").scalar_one()
        self.copy.exec_driver_sql(f"SET LOCAL search_path = {_COPY}, {self._path}")
        yield self.copy
        self.copy.exec_driver_sql(f"SET LOCAL search_path = {path}")

    def show_copy(self) -> None:
        """Nothing: a session sees what it wrote itself."""

    def _write_ahead(self) -> None:
        """Write what is new before others have to wait, and lock the database; else leave it as it was.

        Nobody sees what is written until this transaction ends, and it does not end well without the lock.
        Whoever comes to edit the same records waits for it, so it must not wait for them: that would be a
        circle.
        """
        try:
            with self.copy.begin_nested():
                self.copy.exec_driver_sql(f"SET LOCAL lock_timeout = '{_WAIT}'")
                # Row by row, what was empty before would be read to its end for each that is put into it.
                self.copy.exec_driver_sql("SET LOCAL enable_nestloop = off")
                defer_references(self.copy)
                for rows in tables_handed_over():
                    self.copy.exec_driver_sql(_forgetting_restored(rows))
                    self.copy.exec_driver_sql(_forgetting_unchanged(rows))
                    self.copy.exec_driver_sql(_writing_ahead(rows))
                    self._make_way()
                self.copy.exec_driver_sql("SET LOCAL enable_nestloop TO DEFAULT")
                self.copy.exec_driver_sql("SET CONSTRAINTS ALL IMMEDIATE")
                self._lock_between_edits()
        except _InTheWay:
            pass
        except DBAPIError as error:
            if error.connection_invalidated:
                raise

    def _lock_between_edits(self) -> None:
        """Wait for the lock, but never so long that the server takes it for a circle that must be broken."""
        setting = "SELECT CAST(setting AS integer) FROM pg_settings WHERE name = 'deadlock_timeout'"
        half = max(1, self.copy.exec_driver_sql(setting).scalar_one() // 2)
        until = time.monotonic() + SECONDS_AHEAD
        while not self._lock_within(half):
            self._make_way()
            if time.monotonic() > until:
                raise _InTheWay

    def _lock_within(self, milliseconds: int) -> bool:
        try:
            with self.copy.begin_nested():
                self.copy.exec_driver_sql(f"SET LOCAL lock_timeout = '{milliseconds}ms'")
                self.copy.exec_driver_sql("LOCK TABLE revision IN EXCLUSIVE MODE")
        except DBAPIError as error:
            if error.connection_invalidated:
                raise
            return False
        return True

    def _make_way(self) -> None:
        """Raises _InTheWay when somebody waits for this session."""
        # Not pg_stat_activity: a transaction that looked there once never sees who came after.
        waiting = "NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid))"
        if self.copy.exec_driver_sql(f"SELECT count(*) FROM pg_locks WHERE {waiting}").scalar_one():
            raise _InTheWay

    def _face_database(self) -> None:
        self.copy.exec_driver_sql(f"SET LOCAL search_path = {self._path}, {_COPY}")


@contextmanager
def in_session(engine: Engine) -> Iterator[InSession]:
    """A copy of the catalogue as it is now, in a session of its own that ends with the block."""
    own = make_engine(engine.url.render_as_string(hide_password=False), pool_size=1)
    try:
        with own.connect() as connection:
            yield InSession(connection)
    finally:
        own.dispose()


def _filling(rows: Table) -> str:
    columns = listed_columns(column.name for column in rows.columns)
    which = _ONLY.get(rows.name, "true")
    return f'INSERT INTO {_COPY}."{rows.name}" ({columns}) SELECT {columns} FROM "{rows.name}" WHERE {which}'


def _noting(rows: Table) -> str:
    def kept(name: str, which: str) -> str:
        return f'INSERT INTO {_COPY}."{name}_{rows.name}" SELECT {keys(rows, which)} ON CONFLICT DO NOTHING;'

    return (
        f'CREATE FUNCTION {_COPY}."note_{rows.name}"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN'
        f" IF TG_OP = 'DELETE' THEN {kept('gone', 'OLD.')} ELSE {kept('touched', 'NEW.')} END IF;"
        " RETURN NULL; END $$"
    )


def _forgetting_unchanged(rows: Table) -> str:
    """Forgets that a row was touched which is the same in the database."""
    columns = [column.name for column in rows.columns]
    return (
        f'DELETE FROM {_COPY}."touched_{rows.name}" t USING {_COPY}."{rows.name}" w, "{rows.name}" r'
        f" WHERE {same(rows, 't', 'w')} AND {same(rows, 't', 'r')}"
        f" AND ROW({listed_columns(columns, 'w.')}) IS NOT DISTINCT FROM ROW({listed_columns(columns, 'r.')})"
    )


def _forgetting_restored(rows: Table) -> str:
    """Forgets that a row went which is there again."""
    return (
        f'DELETE FROM {_COPY}."gone_{rows.name}" g USING {_COPY}."{rows.name}" w WHERE {same(rows, "g", "w")}'
    )


def _writing_ahead(rows: Table) -> str:
    """Writes the rows that the database does not have, and forgets that they were touched."""
    columns = [column.name for column in rows.columns]
    touched = f'{_COPY}."touched_{rows.name}" t'
    known = f'SELECT FROM "{rows.name}" r WHERE {same(rows, "r", "t")}'
    return (
        f'WITH put AS (INSERT INTO "{rows.name}" ({listed_columns(columns)})'
        f" SELECT {listed_columns(columns, 'w.')}"
        f' FROM {touched} JOIN {_COPY}."{rows.name}" w ON {same(rows, "t", "w")}'
        f" WHERE NOT EXISTS ({known}) RETURNING {keys(rows)})"
        f" DELETE FROM {touched} USING put WHERE {same(rows, 't', 'put')}"
    )
