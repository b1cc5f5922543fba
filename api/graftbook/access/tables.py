"""The tables of keys, page sessions and the audit trail. No key and no session id is stored, only digests."""

from datetime import UTC, datetime
from typing import Any, Literal, get_args

from sqlalchemy import Column, DateTime, Index, TypeDecorator
from sqlmodel import Field, SQLModel

from graftbook.access.scopes import Scope
from graftbook.catalogue.store.columns import at_least, by_code_point, one_of, refers, words
from graftbook.database import in_utc

OutcomeWord = Literal["done", "failed", "refused"]
OUTCOMES: tuple[OutcomeWord, ...] = get_args(OutcomeWord)
"""Of an access event: the request was carried out; it went wrong; it was not let in."""

_ID = by_code_point(16)
_DIGEST = by_code_point(64)


class Moment(TypeDecorator[datetime]):
    """A point in time, always in UTC: SQLite would forget the zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        return value.astimezone(UTC) if value else None

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        return in_utc(value) if value else None


def _moment(*, optional: bool = False, index: bool = False) -> Any:
    return Field(default=None if optional else ..., sa_column=Column(Moment, nullable=optional, index=index))


class KeyRow(SQLModel, table=True):
    """An API key: its id and the SHA-256 of the whole key, in hexadecimal. Revoked keys stay on record."""

    __tablename__ = "access_key"
    __table_args__ = (
        one_of("scope", "scope", [scope.value for scope in Scope]),
        Index(None, "created", "id"),
    )
    id: str = Field(sa_column=Column(_ID, primary_key=True))
    digest: str = Field(sa_column=Column(_DIGEST, nullable=False))
    label: str = Field(max_length=120)
    scope: str = Field(max_length=12)
    made_by: str = Field(max_length=200)
    created: datetime = _moment()
    expires: datetime | None = _moment(optional=True)
    used: datetime | None = _moment(optional=True)
    revoked: datetime | None = _moment(optional=True)


class PageSessionRow(SQLModel, table=True):
    """A browser that signed in with a key: the SHA-256 of the id in its cookie, in hexadecimal."""

    __tablename__ = "page_session"
    digest: str = Field(sa_column=Column(_DIGEST, primary_key=True))
    key: str = refers("access_key.id", cascade=True, type_=_ID)
    begun: datetime = _moment()
    seen: datetime = _moment(index=True)


class AccessEventRow(SQLModel, table=True):
    """Something done or refused. `key` is no reference: a refused attempt may name a key that never was.

    `times`: how many attempts alike the row stands for.
    """

    __tablename__ = "access_event"
    __table_args__ = (
        one_of("outcome", "outcome", OUTCOMES),
        at_least("times", "times", 1),
        Index(None, "outcome", "number"),
        Index(None, "key", "number"),
    )
    number: int | None = Field(default=None, primary_key=True)
    at: datetime = _moment()
    key: str | None = Field(default=None, sa_column=Column(_ID, nullable=True))
    what: str = words()
    outcome: str = Field(max_length=10)
    request: str = Field(default="", max_length=64)
    client: str = Field(default="", max_length=64)
    times: int = 1
