"""A database of its own, in memory: what is worked out there waits for nobody and lets nobody wait."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, insert
from sqlmodel import SQLModel

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
            raw = connection.connection.dbapi_connection
            with _lock, _shape().connect() as empty:
                empty.connection.dbapi_connection.backup(raw)  # type: ignore[union-attr]
            raw.execute("PRAGMA foreign_keys = OFF").close()  # type: ignore[union-attr]
            yield connection
    finally:
        engine.dispose()


def _shape() -> Engine:
    tables = len(SQLModel.metadata.tables)
    if tables not in _empty:
        engine = make_engine("sqlite://")
        SQLModel.metadata.create_all(engine)
        _empty[tables] = engine
    return _empty[tables]


def put(scratched: Connection, table: str, rows: list[Mapping[Any, Any]]) -> None:
    """Rows as they were read from the table of the same name; those that are there already stay."""
    if rows:
        into = SQLModel.metadata.tables[table]
        scratched.execute(insert(into).prefix_with("OR IGNORE"), [dict(row) for row in rows])
