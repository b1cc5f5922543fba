"""The tables of a range's drawing: its outlines, and where positions are on them."""

from typing import Any

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from graftbook.catalogue.format.records_drawing import WIDEST
from graftbook.catalogue.store.columns import CLAIM_NAME, key, one_of, refers, words

VIEWS = ("side", "plan")


def _within(column: str) -> CheckConstraint:
    return CheckConstraint(f"{column} >= 0 AND {column} <= {WIDEST}", name=column)


class OutlineRow(SQLModel, table=True):
    """A line of a drawing. `points` and `bodies` hold their items with `;` between, points in their order."""

    __tablename__ = "outline"
    __table_args__: Any = (one_of("view", "view", VIEWS),)
    name: str = key()
    range: str = refers("range.name")
    view: str = Field(max_length=4)
    points: str = words()
    closed: bool = True
    bodies: str = words()


class MarkRow(SQLModel, table=True):
    """Where a position is in a view of a range."""

    __tablename__ = "mark"
    __table_args__: Any = (one_of("view", "view", VIEWS), _within("x"), _within("y"))
    name: str = key(CLAIM_NAME)
    position: str = refers("position.name")
    range: str = refers("range.name")
    view: str = Field(max_length=4)
    x: int
    y: int
