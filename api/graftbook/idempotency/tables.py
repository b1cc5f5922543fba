"""The table of answers that were given under an Idempotency-Key."""

from datetime import datetime

from sqlalchemy import Column, LargeBinary
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import by_code_point, words

LONGEST_KEY = 255


class AnsweredOnceRow(SQLModel, table=True):
    """The answer to a request that changed something; stored in the transaction of the change.

    `digest`: SHA-256 of the request in hexadecimal; `headers`: JSON text; `principal`: who asked.
    """

    __tablename__ = "answered_once"
    principal: str = Field(sa_column=Column(by_code_point(64), primary_key=True))
    key: str = Field(sa_column=Column(by_code_point(LONGEST_KEY), primary_key=True))
    digest: str = Field(sa_column=Column(by_code_point(64), nullable=False))
    status: int
    headers: str = words("{}")
    body: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    at: datetime = Field(sa_column=Column(Moment, nullable=False, index=True))
