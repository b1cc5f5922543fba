"""Counts, at the database, the transactions of an application that write or take a writer's lock.

SQLite: a connection says of each statement that it runs it; PostgreSQL: a transaction that wrote has a
number, and its locks are on record.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, event

_TAKEN = (
    "SELECT pg_current_xact_id_if_assigned() IS NOT NULL OR EXISTS (SELECT FROM pg_locks"
    " WHERE pid = pg_backend_pid() AND locktype = 'relation' AND mode <> 'AccessShareLock')"
)


@contextmanager
def writes_counted(engine: Engine) -> Iterator[list[str]]:
    """What begins to write while the block runs: how it began on SQLite, "wrote" on PostgreSQL."""
    counted: list[str] = []
    on_sqlite = engine.dialect.name == "sqlite"

    def opened(connection: Any, _record: Any = None, _proxy: Any = None) -> None:
        connection.set_trace_callback(said)

    def said(statement: str) -> None:
        if statement.upper().startswith(("BEGIN IMMEDIATE", "BEGIN EXCLUSIVE", "INSERT", "UPDATE", "DELETE")):
            counted.append(statement[:60])

    def ending(connection: Connection) -> None:
        raw = connection.connection.driver_connection
        if raw.info.transaction_status.name == "INTRANS" and raw.execute(_TAKEN).fetchone()[0]:
            counted.append("wrote")

    hooks = [("checkout", opened)] if on_sqlite else [("commit", ending), ("rollback", ending)]
    for name, hook in hooks:
        event.listen(engine, name, hook)
    try:
        yield counted
    finally:
        for name, hook in hooks:
            event.remove(engine, name, hook)
