"""The SQL of measured parts; each function works inside its caller's connection."""

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, select

from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.rulebook.compare import EITHER
from graftbook.rulebook.units import Measure

MOST_OF_A_KIND = 2_000
"""Components with one figure that are looked at: what so many have tells little."""


def kinds_named(connection: Connection, names: Iterable[str]) -> dict[str, Any]:
    """The kinds of characteristic of these names."""
    kind = table("characteristic_kind")
    rows = connection.execute(select(kind).where(kind.c.name.in_(listed(connection, list(names)))))
    return {row.name: row for row in rows}


def kinds_of_components(connection: Connection) -> list[Any]:
    """The kinds of characteristic that some component has, by title."""
    kind, own = table("characteristic_kind"), table("characteristic")
    held = select(own.c.claim).where(own.c.kind == kind.c.name, own.c.component.is_not(None)).exists()
    return list(connection.execute(select(kind).where(held).order_by(kind.c.title, kind.c.name)))


def components_with(connection: Connection, measured: Mapping[str, Measure]) -> set[str]:
    """Components of which at least one of the measures may be a recorded figure."""
    own = table("characteristic")
    found: set[str] = set()
    for kind, value in measured.items():
        same: ColumnElement[bool]
        if value.low is None or value.high is None:
            same = own.c.text.in_([value.text, EITHER])
        else:
            slack = 1e-9 * max(abs(value.low), abs(value.high), 1e-6)
            same = and_(own.c.low <= value.high + slack, own.c.high >= value.low - slack)
        query = select(own.c.component).where(own.c.kind == kind, own.c.component.is_not(None), same)
        found |= set(connection.execute(query.order_by(own.c.component).limit(MOST_OF_A_KIND)).scalars())
    return found


def measures_of(connection: Connection, numbers: Iterable[str]) -> dict[str, dict[str, Measure]]:
    """Every recorded characteristic of these components."""
    own = table("characteristic")
    query = select(own).where(own.c.component.in_(listed(connection, sorted(numbers))))
    found: dict[str, dict[str, Measure]] = {}
    for row in connection.execute(query.order_by(own.c.component, own.c.kind)):
        found.setdefault(row.component, {})[row.kind] = Measure(row.written, row.low, row.high, row.text)
    return found


def lines_of(connection: Connection, numbers: Iterable[str]) -> dict[str, Any]:
    """Name and section of these components."""
    component = table("component")
    query = select(component.c.number, component.c.name, component.c.section)
    rows = connection.execute(query.where(component.c.number.in_(listed(connection, list(numbers)))))
    return {row.number: row for row in rows}


def kinds(connection: Connection) -> dict[str, Any]:
    """Every kind of characteristic."""
    kind = table("characteristic_kind")
    return {row.name: row for row in connection.execute(select(kind))}
