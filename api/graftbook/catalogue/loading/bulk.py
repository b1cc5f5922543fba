"""Many rows at once, by each engine's quickest way: one prepared statement on SQLite, COPY on PostgreSQL.

Values go to the driver as tuples; putting each row together as a statement's parameters costs more than
writing it.
"""

from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import Connection, Table
from sqlalchemy.exc import DBAPIError

from graftbook.catalogue.store.to_rows import Row

FEW = 50
"""Rows for which a COPY takes longer than a statement for each."""


class OnClash(StrEnum):
    """What becomes of a row whose key is there already."""

    none = "none"
    """The caller knows that there is none."""
    old_stays = "old stays"
    replaced = "replaced"


class _Way(NamedTuple):
    """How rows with certain columns get into a table; `tail` are the defaults of columns not given."""

    columns: tuple[str, ...]
    values: Callable[[Row], tuple[Any, ...]]
    key: Callable[[Row], Any]
    tail: tuple[Any, ...]
    settling: str


def put(connection: Connection, into: Table, rows: Sequence[Row], clash: OnClash) -> None:
    """Insert rows that all have the same columns. Of two with one key the last counts, if any replaces."""
    if not rows:
        return
    asked = connection.dialect.name, into, tuple(rows[0]), clash
    if (way := _ways.get(asked)) is None:  # a load asks for each of its batches
        way = _ways[asked] = _way(connection.dialect, *asked[1:])
    if clash is not OnClash.none:
        counted: Iterable[Row] = rows if clash is OnClash.replaced else reversed(rows)
        rows = list({way.key(row): row for row in counted}.values())
    values = [way.values(row) + way.tail for row in rows] if way.tail else list(map(way.values, rows))
    if connection.dialect.name == "postgresql" and len(values) > FEW:
        _copied(connection, into, way, values, clash)
    else:
        mark = "%s" if connection.dialect.name == "postgresql" else "?"
        marks = ", ".join([mark] * len(way.columns))
        named = _listed(way.columns)
        statement = f'INSERT INTO "{into.name}" ({named}) VALUES ({marks}){way.settling}'
        connection.exec_driver_sql(statement, values)


def _copied(connection: Connection, into: Table, way: _Way, values: Iterable[Any], clash: OnClash) -> None:
    """Straight into the table, or by way of a table without keys where rows may be there already."""
    named = _listed(way.columns)
    if clash is OnClash.none:
        _copy(connection, f'"{into.name}"', named, values)
        return
    coming = f'pg_temp."coming_{into.name}"'
    connection.exec_driver_sql(
        f'CREATE TEMPORARY TABLE IF NOT EXISTS "coming_{into.name}" ON COMMIT DROP'
        f' AS SELECT {named} FROM "{into.name}" WHERE false'
    )
    _copy(connection, coming, named, values)
    connection.exec_driver_sql(
        f'INSERT INTO "{into.name}" ({named}) SELECT {named} FROM {coming}{way.settling}'
    )
    connection.exec_driver_sql(f"TRUNCATE {coming}")


def _copy(connection: Connection, into: str, named: str, values: Iterable[Any]) -> None:
    statement = f"COPY {into} ({named}) FROM STDIN"
    raw: Any = connection.connection
    errors = connection.dialect.loaded_dbapi.Error
    try:
        with raw.cursor() as cursor, cursor.copy(statement) as copy:
            for row in values:
                copy.write_row(row)
    except errors as error:
        raise DBAPIError.instance(statement, None, error, errors, hide_parameters=True) from error


_ways: dict[tuple[str, Table, tuple[str, ...], OnClash], _Way] = {}
"""By kind of database: each database in memory has a dialect of its own, of which none is to be kept."""


def _way(dialect: Any, into: Table, given: tuple[str, ...], clash: OnClash) -> _Way:
    keys = tuple(column.name for column in into.primary_key)
    missing = [column for column in into.columns if column.name not in given and column.default is not None]
    new = ", ".join(f'"{name}" = excluded."{name}"' for name in given if name not in keys)
    settling = {
        OnClash.none: "",
        OnClash.old_stays: " ON CONFLICT DO NOTHING",
        OnClash.replaced: f" ON CONFLICT ({_listed(keys)}) DO UPDATE SET {new}",
    }[clash]
    return _Way(
        (*given, *(column.name for column in missing)),
        _values(dialect, into, given),
        itemgetter(*keys),
        tuple(_default(dialect, column) for column in missing),
        settling,
    )


def _default(dialect: Any, column: Any) -> Any:
    change = column.type.dialect_impl(dialect).bind_processor(dialect)
    value = column.default.arg
    return change(value) if change else value


def _values(dialect: Any, into: Table, given: tuple[str, ...]) -> Callable[[Row], tuple[Any, ...]]:
    """What makes the driver's values of a row; most tables hold nothing that must be changed for it."""
    changes = {
        name: change
        for name in given
        if (change := into.c[name].type.dialect_impl(dialect).bind_processor(dialect))
        and _must_change(into.c[name].type, dialect)
    }
    if not changes:
        return itemgetter(*given)
    each = [(name, changes.get(name)) for name in given]

    def changed(row: Row) -> tuple[Any, ...]:
        return tuple(change(row[name]) if change else row[name] for name, change in each)

    return changed


def _must_change(type_: Any, dialect: Any) -> bool:
    """Truth values are whole numbers to SQLite as they are."""
    return not (dialect.name == "sqlite" and type_.python_type is bool)


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
