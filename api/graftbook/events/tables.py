"""The tables of webhooks: where events are sent to, how far each has come, and what its receiver answered."""

from datetime import datetime
from typing import Literal, get_args

from sqlalchemy import Boolean, Column, Integer, String
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import by_code_point, one_of, refers, words
from graftbook.events.outbox import NUMBER

StateWord = Literal["active", "paused", "disabled"]
STATES: tuple[StateWord, ...] = get_args(StateWord)
_ID = by_code_point(24)


def _text(length: int) -> str:
    found: str = Field(default="", sa_column=Column(String(length), nullable=False))
    return found


class WebhookRow(SQLModel, table=True):
    """A receiver of events. The event table is its outbox: it has had, or did not want, all up to `position`.

    `kinds`: joined by `; `, none for all; `why`: why it is not active; `epoch`: the history in which it was
    last made active, so that a restored copy sends nothing by itself; `attempts`: how often the next event
    failed; `due`: not before; `lease`: the worker that sends now, and until when others leave it to it.
    """

    __tablename__ = "webhook"
    __table_args__ = (one_of("state", "state", STATES),)
    id: str = Field(sa_column=Column(_ID, primary_key=True))
    url: str = words()
    kinds: str = words()
    note: str = words()
    state: str = Field(default="active", sa_column=Column(String(10), nullable=False))
    why: str = words()
    secret: str = _text(100)
    old_secret: str = _text(100)
    old_until: datetime | None = Field(default=None, sa_column=Column(Moment, nullable=True))
    made: datetime = Field(sa_column=Column(Moment, nullable=False))
    made_by: str = words()
    version: int = Field(default=1, sa_column=Column(Integer, nullable=False))
    epoch: str = _text(12)
    position: int = Field(default=0, sa_column=Column(NUMBER, nullable=False))
    attempts: int = Field(default=0, sa_column=Column(Integer, nullable=False))
    due: datetime = Field(sa_column=Column(Moment, nullable=False))
    lease: str = _text(32)
    lease_until: datetime = Field(sa_column=Column(Moment, nullable=False))


class DeliveryRow(SQLModel, table=True):
    """What became of one event on its way to one receiver. `answer`: the last one, in words."""

    __tablename__ = "delivery"
    webhook: str = refers("webhook.id", primary=True, cascade=True, type_=_ID)
    number: int = Field(sa_column=Column(NUMBER, primary_key=True, autoincrement=False))
    attempts: int = Field(default=1, sa_column=Column(Integer, nullable=False))
    at: datetime = Field(sa_column=Column(Moment, nullable=False))
    delivered: bool = Field(sa_column=Column(Boolean, nullable=False))
    answer: str = words()
