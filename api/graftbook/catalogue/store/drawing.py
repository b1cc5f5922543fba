"""What a range's drawing is made of, read by index: a few lines and a place for each position."""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from graftbook.catalogue.format.records_beside import View, read_point
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.tables import table

Point = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Outline:
    """A line of a view, in units of the drawing."""

    view: View
    points: tuple[Point, ...]
    closed: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a position is in a view."""

    view: View
    position: str
    at: Point


def outlines_of(connection: Connection, range_: str, body: str) -> list[Outline]:
    """The outlines of a range that a body style has, by name; none: the range is not drawn."""
    held = table("outline")
    query = select(held).where(held.c.range == range_).order_by(held.c.name)
    return [
        Outline(row.view, tuple(map(read_point, split(row.points))), row.closed)
        for row in connection.execute(query)
        if not row.bodies or body in split(row.bodies)
    ]


def marks_of(connection: Connection, range_: str) -> list[Mark]:
    """Where each position is on a range's drawing, by view and from the front."""
    held = table("mark")
    query = select(held).where(held.c.range == range_).order_by(held.c.view, held.c.x, held.c.y, held.c.name)
    return [Mark(row.view, row.position, (row.x, row.y)) for row in connection.execute(query)]
