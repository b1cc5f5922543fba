"""The table of answers that were given under an Idempotency-Key."""

from datetime import datetime

from sqlalchemy import Column, LargeBinary, String
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import words

LONGEST_KEY = 255


def _plain(length: int, *, primary: bool = False) -> Column[str]:
    type_ = String(length).with_variant(String(length, collation="C"), "postgresql")
    return Column(type_, primary_key=primary, nullable=False)


class AnsweredOnceRow(SQLModel, table=True):
    """The answer to a request that changed something; stored in the transaction of the change.

    `digest`: SHA-256 of the request in hexadecimal; `headers`: JSON text; `principal`: who asked.
    """

    __tablename__ = "answered_once"
    principal: str = Field(sa_column=_plain(64, primary=True))
    key: str = Field(sa_column=_plain(LONGEST_KEY, primary=True))
    digest: str = Field(sa_column=_plain(64))
    status: int
    headers: str = words("{}")
    body: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    at: datetime = Field(sa_column=Column(Moment, nullable=False, index=True))
