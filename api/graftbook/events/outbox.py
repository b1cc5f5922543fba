"""The transactional outbox: each effect writes its event in its own transaction.

Events are numbered by the one row of `feed`, which an effect raises last before it commits. That row stays
locked until then, so numbers are given in the order of the commits: whoever has read up to a number never
misses a smaller one that came later. An identity column gives numbers in the order of the inserts, and on
PostgreSQL a reader would pass by the one whose transaction took longer. It also leaves no number out.
"""

import json
import secrets
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Literal, get_args

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Connection,
    DateTime,
    Integer,
    String,
    Text,
    insert,
    update,
)
from sqlmodel import Field, SQLModel

import graftbook.database  # noqa: F401  (sets the naming convention before the first table)

Kind = Literal[
    "catalogue.revised",
    "order_list.created",
    "order_list.changed",
    "order_list.sent",
    "order_list.received",
    "order_list.corrected",
    "order_list.closed",
    "order_list.discarded",
    "build.created",
    "build.changed",
    "build.removed",
]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""The subject, a full stop, what became of it."""

NUMBER = BigInteger().with_variant(Integer, "sqlite")


class EventRow(SQLModel, table=True):
    """One event. `id` stays the same wherever the database is restored; `data` is JSON text."""

    __tablename__ = "event"
    number: int = Field(sa_column=Column(NUMBER, primary_key=True, autoincrement=False))
    id: str = Field(sa_column=Column(String(40), nullable=False))
    kind: str = Field(sa_column=Column(String(40), nullable=False))
    at: datetime = Field(sa_column=Column(DateTime(timezone=True), nullable=False))
    data: str = Field(sa_column=Column(Text, nullable=False))


class FeedRow(SQLModel, table=True):
    """The one row that counts the events: the last number given, and up to which they are kept no more."""

    __tablename__ = "feed"
    __table_args__ = (CheckConstraint("one = 1", name="one"),)
    one: int = Field(default=1, primary_key=True, sa_column_kwargs={"autoincrement": False})
    last: int = Field(default=0, sa_column=Column(NUMBER, nullable=False))
    forgotten: int = Field(default=0, sa_column=Column(NUMBER, nullable=False))


EVENT = SQLModel.metadata.tables["event"]
FEED = SQLModel.metadata.tables["feed"]


def record_event(connection: Connection, kind: Kind, data: Mapping[str, object]) -> None:
    """Write an event in the transaction of its effect. Called last: whoever else records one waits for its
    end."""
    counted = update(FEED).values(last=FEED.c.last + 1).returning(FEED.c.last)
    connection.execute(
        insert(EVENT).values(
            number=connection.execute(counted).scalar_one(),
            id=f"evt_{secrets.token_hex(16)}",
            kind=kind,
            at=datetime.now(UTC),
            data=json.dumps(data, ensure_ascii=False),
        )
    )
