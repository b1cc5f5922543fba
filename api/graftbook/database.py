"""Engines, sessions, and lists of values in SQL. A session is opened and closed inside the function that
uses it.

SQLite is told everything that it does not do by itself: foreign keys on every connection, a
write-ahead log, an explicit BEGIN (so that two reads of one session see one state), and BEGIN
IMMEDIATE for writers (a read that turns into a write would fail at once however long it may wait).
"""

import json
import os
import re
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    BigInteger,
    BindParameter,
    Connection,
    Engine,
    Select,
    Text,
    bindparam,
    cast,
    column,
    create_engine,
    event,
    func,
    inspect,
    select,
)
from sqlalchemy import table as bare_table
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import DBAPIError, DisconnectionError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.pool import ConnectionPoolEntry, StaticPool
from sqlmodel import Session, SQLModel

if TYPE_CHECKING:
    from alembic.config import Config

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
SQLModel.metadata.naming_convention = NAMING
"""Set before the first table is defined: a constraint without a name cannot be dropped later."""
SQLModel.model_config["defer_build"] = True
"""Rows are not validated (what comes in was, by its form), so no process builds validators of its tables."""

UNREACHABLE: tuple[type[Exception], ...] = (DBAPIError, PoolTimeout)
"""What may be raised when the database cannot be used; `graftbook.database_faults` tells which of it."""

_WRITES = "graftbook_writes"

Source = Engine | Connection
"""What is read from: a database as it is, or the transaction that a connection is at."""


def make_engine(url: str, pool_size: int = 5) -> Engine:
    """An engine for `sqlite:///file`, `sqlite://` (in memory) or `postgresql://…`."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        return _sqlite(address)
    if address.drivername == "postgresql":
        address = address.set(drivername="postgresql+psycopg")
    return create_engine(
        address, pool_size=pool_size, max_overflow=2 * pool_size, pool_pre_ping=True, hide_parameters=True
    )


def close_engine(engine: Engine) -> None:
    """Close every connection; one that somebody still has at work is closed as soon as he gives it back."""
    left = engine.pool
    engine.dispose()

    @event.listens_for(left, "checkin")
    def close(_connection: Any, record: ConnectionPoolEntry) -> None:
        record.invalidate()

    left.dispose()  # what came back between the two


def _sqlite(address: Any) -> Engine:
    in_memory = not address.database or address.database == ":memory:"
    options: dict[str, Any] = {
        "connect_args": {"check_same_thread": False, "timeout": 30},
        "hide_parameters": True,
    }
    if in_memory:
        options["poolclass"] = StaticPool
    engine = create_engine(address, **options)
    path = file_of(address)
    if path is not None:
        _follow_file(engine, path)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        # Its own knows no letters but those of ASCII; PostgreSQL's knows all.
        connection.create_function("lower", 1, _lower, deterministic=True)
        if path is None or not _only_read(path):
            connection.execute("PRAGMA journal_mode = WAL").close()
        for pragma in ("foreign_keys = ON", "synchronous = NORMAL", "cache_size = -16000"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def file_of(address: str | URL) -> Path | None:
    """The file of a SQLite database; None where it is in memory, behind SQLite's own URI, or elsewhere."""
    url = make_url(address)
    if (
        url.get_backend_name() != "sqlite"
        or not url.database
        or url.database.startswith((":memory:", "file:"))
    ):
        return None
    return Path(url.database)


def _only_read(path: Path) -> bool:
    """Whether the file is there and may only be read: by its own mode, or for what lies beside it in use."""
    return path.exists() and not (os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK))


def _to_read(path: Path) -> str:
    """The URI by which SQLite reads a file that it may not write.

    It wants a file of shared memory beside it, which cannot be made there. Without a log of writes beside
    it nobody has the database open, so that it may be told that nothing changes.
    """
    log = Path(f"{path}-wal")
    still = not log.exists() or not log.stat().st_size
    return f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' if still else ''}"


def _lower(text: Any) -> Any:
    return text.lower() if isinstance(text, str) else text


def _follow_file(engine: Engine, path: Path) -> None:
    """Let go of connections to a file that was removed or replaced: what they wrote would be lost.

    A file that was there is not made anew: an empty database in its place would help nobody.
    """
    was_there = False

    @event.listens_for(engine, "do_connect")
    def opened(_dialect: Any, _record: Any, arguments: list[Any], options: dict[str, Any]) -> None:
        if was_there and not path.exists():
            raise sqlite3.OperationalError(f"the file {path.name} is gone")
        if _only_read(path):
            arguments[0], options["uri"] = _to_read(path), True

    @event.listens_for(engine, "connect")
    def note(_connection: Any, record: Any) -> None:
        nonlocal was_there
        was_there = True
        record.info["file"] = _identity(path)

    @event.listens_for(engine, "checkout")
    def still_there(_connection: Any, record: Any, _proxy: Any) -> None:
        if record.info["file"] != _identity(path):
            raise DisconnectionError("the file is another one now")


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


@contextmanager
def reading(engine: Source) -> Iterator[Session]:
    """A session whose reads all see one state of the database; nothing it does is kept.

    Given a connection, it reads inside the transaction that the connection is at.
    """
    if isinstance(engine, Connection):
        with Session(engine, join_transaction_mode="create_savepoint") as session:
            yield session
        return
    options: dict[str, Any] = {}
    if engine.dialect.name == "postgresql":
        options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    with Session(engine.execution_options(**options)) as session:
        try:
            yield session
        finally:
            session.rollback()


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """A session in one transaction: kept when the block ends, undone when it raises."""
    with Session(engine.execution_options(**{_WRITES: True}), expire_on_commit=False) as session:
        try:
            yield session
            session.commit()
        except BaseException:
            session.rollback()
            raise


def listed(connection: Connection, names: Iterable[str]) -> Select[Any]:
    """A list of names as a select, whatever its length: one parameter, the same on both engines."""
    return _elements(connection.dialect.name, as_list(names))


def as_list(names: Iterable[str]) -> str:
    """A list of names as the value of a parameter."""
    return json.dumps(list(names))


def listed_under(dialect: str, parameter: str) -> Select[Any]:
    """A list of names as a select in a statement that is kept: `parameter` is given its `as_list`."""
    return _elements(dialect, bindparam(parameter, type_=Text()))


def _elements(dialect: str, text: str | BindParameter[str]) -> Select[Any]:
    if dialect == "postgresql":
        from sqlalchemy.dialects.postgresql import JSONB

        array = cast(cast(text, Text), JSONB)
        elements = func.jsonb_array_elements_text(array).table_valued("value").render_derived()
    else:
        elements = func.json_each(text).table_valued("value")
    return select(elements.c.value)


def listed_numbers(connection: Connection, numbers: Iterable[int]) -> Select[Any]:
    """A list of whole numbers as a select, whatever its length."""
    texts = listed(connection, [str(number) for number in numbers]).subquery()
    return select(cast(texts.c[0], BigInteger))


def in_utc(at: datetime) -> datetime:
    """An instant with its zone; all are stored in UTC, and SQLite forgets that."""
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


def migrations_folder() -> Path:
    """Where the migrations lie: inside an installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent
    installed = package / "_migrations"
    return installed if installed.is_dir() else package.parents[1] / "migrations"


def migrate(engine: Engine, revision: str = "head") -> None:
    """Bring the database to a revision of its shape, up or down, in one transaction.

    On SQLite foreign keys are off meanwhile, since rebuilding a table would delete what refers to
    it, and everything is checked before it is kept. Raises RuntimeError when a reference is broken, and
    ValueError for a revision that there is not.
    """
    with _migrated_to(engine, revision):
        pass


def lost_by(engine: Engine, revision: str) -> dict[str, int]:
    """What going down to this revision takes away: rows by table, or by "table.column" of one that stays.

    Found out by going there in a transaction that is undone. Empty where nothing is lost, and for a
    revision that is not behind.
    """
    with engine.connect() as connection:
        if not _goes_down(migration_config(), connection, revision):
            return {}
        there = _columns(connection)
        rows = {name: _count(connection, name) for name in there}
    try:
        with _migrated_to(engine, revision) as connection:
            left = _columns(connection)
            raise _Undone
    except _Undone:
        pass
    lost = {name: rows[name] for name in there if name not in left}
    lost |= {f"{n}.{c}": rows[n] for n in there if n in left for c in sorted(there[n] - left[n])}
    return {name: count for name, count in lost.items() if count and name != "alembic_version"}


class _Undone(Exception):
    """Ends a transaction that was only to be looked at."""


@contextmanager
def _migrated_to(engine: Engine, revision: str) -> Iterator[Connection]:
    """The database at a revision of its shape: kept when the block ends, undone when it raises.

    Raises ValueError for a revision that there is not.
    """
    from alembic import command
    from alembic.util import CommandError

    config = migration_config()
    with engine.connect().execution_options(**{_WRITES: True}) as connection:
        on_sqlite = engine.dialect.name == "sqlite"
        if on_sqlite:
            _foreign_keys(connection, "OFF")
        try:
            with connection.begin():
                config.attributes["connection"] = connection
                run = command.downgrade if _goes_down(config, connection, revision) else command.upgrade
                try:
                    run(config, revision)
                except CommandError as error:
                    raise ValueError(f"the database cannot be brought to {revision!r}: {error}") from error
                if on_sqlite and (broken := connection.exec_driver_sql("PRAGMA foreign_key_check").all()):
                    raise RuntimeError(f"the migration broke {len(broken)} references; nothing was kept")
                yield connection
        finally:
            if on_sqlite:
                _foreign_keys(connection, "ON")


_STEP = re.compile(r'^(down_)?revision = "(.+)"$', re.MULTILINE)


def level_needed() -> str:
    """The shape that this program needs: the newest migration. Read off their texts, since every command asks
    this and Alembic takes longer to load than most of them to answer."""
    texts = (path.read_text(encoding="utf-8") for path in (migrations_folder() / "versions").glob("*.py"))
    steps = [match for text in texts for match in _STEP.findall(text)]
    before = {name for down, name in steps if down}
    return ", ".join(sorted({name for down, name in steps if not down} - before))


def level_of(connection: Connection) -> str:
    """The shape that a database has: its migration, empty where it has none."""
    if not inspect(connection).has_table("alembic_version"):
        return ""
    level = bare_table("alembic_version", column("version_num"))
    return ", ".join(sorted(connection.execute(select(level.c.version_num)).scalars()))


def migration_config() -> "Config":
    """Where Alembic finds the migrations. It is imported where the shape is looked at: it takes as long to
    load as the whole ORM, and reasoning needs none of it."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    return config


def _columns(connection: Connection) -> dict[str, set[str]]:
    looking = inspect(connection)
    return {name: {c["name"] for c in looking.get_columns(name)} for name in looking.get_table_names()}


def _count(connection: Connection, name: str) -> int:
    return int(connection.execute(select(func.count()).select_from(bare_table(name))).scalar_one())


def _goes_down(config: "Config", connection: Connection, revision: str) -> bool:
    """Whether a revision lies behind the one that the database is at."""
    if revision in ("base", "head") or revision[0] in "+-":
        return revision == "base" or revision[0] == "-"
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    here = MigrationContext.configure(connection).get_current_revision()
    behind = {step.revision for step in ScriptDirectory.from_config(config).iterate_revisions(here, "base")}
    return revision in behind - {here}


def _foreign_keys(connection: Connection, state: str) -> None:
    """The pragma does nothing inside a transaction, so it goes round SQLAlchemy's autobegin."""
    raw = connection.connection.dbapi_connection
    if raw is None:
        raise RuntimeError("the connection is closed")
    raw.execute(f"PRAGMA foreign_keys = {state}").close()
