"""Which history of the database this is: a restore begins another one.

Revisions and versions count inside one history. After a restore the same number can stand for
something else, so whatever is kept or compared under a number carries the epoch too.
"""

import secrets

from sqlalchemy import CheckConstraint, Connection, insert, select, update
from sqlmodel import Field, SQLModel

import graftbook.database  # noqa: F401  (sets the naming convention before the first table)

LENGTH = 12


class EpochRow(SQLModel, table=True):
    """The one row that names the history; `number` is always 1."""

    __tablename__ = "epoch"
    __table_args__ = (CheckConstraint("number = 1", name="number"),)
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    name: str = Field(max_length=LENGTH)


def epoch_of(connection: Connection) -> str:
    """The name of this history; empty in a database that was never given one."""
    # Of the table, not of the class: the first use of a class makes the ORM ready for every other too.
    return connection.execute(select(SQLModel.metadata.tables["epoch"].c.name)).scalar() or ""


def begin_epoch(connection: Connection) -> str:
    """From here on it is another history. Returns its name."""
    name = secrets.token_hex(LENGTH // 2)
    if not connection.execute(update(EpochRow).values(name=name)).rowcount:
        connection.execute(insert(EpochRow).values(number=1, name=name))
    return name
