"""A database of its own, in memory: what is worked out there waits for nobody and lets nobody wait."""

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from sqlalchemy import Connection, Engine
from sqlmodel import SQLModel

from graftbook.catalogue.loading import bulk
from graftbook.catalogue.store.to_rows import Row
from graftbook.database import make_engine

_lock = threading.Lock()
_empty: dict[int, Engine] = {}
"""The database without a row, by how many tables were known when it was made."""


@contextmanager
def scratch() -> Iterator[Connection]:
    """A connection to an empty database of this program's shape, which is gone when the block ends.

    References are not held there: it may have a part of the catalogue only.
    """
    engine = make_engine("sqlite://")
    try:
        with engine.connect() as connection:
            raw = _driver(connection)
            with _lock, _shape().connect() as empty:
                _driver(empty).backup(raw)
            raw.execute("PRAGMA foreign_keys = OFF").close()
            yield connection
    finally:
        engine.dispose()


def _driver(connection: Connection) -> sqlite3.Connection:
    driver = connection.connection.dbapi_connection
    if not isinstance(driver, sqlite3.Connection):
        raise TypeError("the connection is closed, or not of SQLite")
    return driver


def _shape() -> Engine:
    tables = len(SQLModel.metadata.tables)
    if tables not in _empty:
        engine = make_engine("sqlite://")
        SQLModel.metadata.create_all(engine)
        _empty[tables] = engine
    return _empty[tables]


def put(scratched: Connection, table: str, rows: Sequence[Row]) -> None:
    """Rows as they were read from the table of the same name; those that are there already stay."""
    bulk.put(scratched, SQLModel.metadata.tables[table], rows, bulk.OnClash.old_stays)
