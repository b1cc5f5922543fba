"""The tables that a load works on, and the SQL that puts what it touched from a copy into the database."""

from collections.abc import Iterable

from sqlalchemy import Table
from sqlmodel import SQLModel

from graftbook.catalogue.history import revisions
from graftbook.catalogue.store import tables, tables_beside

_MODULES = (tables, tables_beside, revisions)
OWN = ("revision", "record_change")
"""What an edit writes about itself: its number is known at the end only."""


def tables_of_the_catalogue() -> list[Table]:
    """Every table of the catalogue, those first that others refer to."""
    ours = {
        found.__table__.name
        for module in _MODULES
        for found in vars(module).values()
        if isinstance(found, type) and hasattr(found, "__table__")
    }
    return [rows for rows in SQLModel.metadata.sorted_tables if rows.name in ours]


def tables_handed_over() -> list[Table]:
    """Those whose rows are put into the database as they are in the copy."""
    return [rows for rows in tables_of_the_catalogue() if rows.name not in OWN]


def keys(rows: Table, prefix: str = "") -> str:
    """The columns of a table's primary key, as SQL."""
    return listed_columns((column.name for column in rows.primary_key), prefix)


def listed_columns(names: Iterable[str], prefix: str = "") -> str:
    """Columns by their names, as SQL."""
    return ", ".join(f'{prefix}"{name}"' for name in names)


def same(rows: Table, one: str, other: str) -> str:
    """That two rows have the same primary key, as SQL."""
    return " AND ".join(f'{one}."{column.name}" = {other}."{column.name}"' for column in rows.primary_key)


def deleting(rows: Table, there: str, copy: str) -> str:
    """Takes out of the database what went in the copy; `there` and `copy` stand before their table names."""
    still = f'SELECT 1 FROM {copy}"{rows.name}" w WHERE {same(rows, "w", "g")}'
    gone = f'SELECT {keys(rows)} FROM {copy}"gone_{rows.name}" g WHERE NOT EXISTS ({still})'
    return f'DELETE FROM {there}"{rows.name}" WHERE ({keys(rows)}) IN ({gone})'


def writing(rows: Table, there: str, copy: str) -> str:
    """Puts what was touched in the copy into the database."""
    own = {column.name for column in rows.primary_key}
    names = [column.name for column in rows.columns]
    new = ", ".join(f'"{name}" = excluded."{name}"' for name in names if name not in own)
    return (
        f'INSERT INTO {there}"{rows.name}" ({listed_columns(names)}) SELECT {listed_columns(names, "w.")}'
        f' FROM {copy}"touched_{rows.name}" t CROSS JOIN {copy}"{rows.name}" w'
        f" WHERE {same(rows, 't', 'w')}"
        f" ON CONFLICT ({keys(rows)}) DO {f'UPDATE SET {new}' if new else 'NOTHING'}"
    )
