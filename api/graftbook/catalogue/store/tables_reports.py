"""The table of what workshops report."""

from datetime import date
from typing import Any

from sqlalchemy import Column, Index
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import CLAIM_NAME, NAME, key, one_of, refers, words

OUTCOMES = ("fitted", "fitted after work", "did not fit")


class ReportRow(SQLModel, table=True):
    """What a workshop found on a vehicle, of a component at a position or of a claim.

    `options` and `measured` hold their items with `;` between; `digits` are those of the chassis number.
    """

    __tablename__ = "report"
    __table_args__: Any = (
        one_of("outcome", "outcome", OUTCOMES),
        Index(None, "prefix", "serial"),
    )
    name: str = key(CLAIM_NAME)
    outcome: str = Field(max_length=17)
    workshop: str = Field(sa_column=Column(NAME, nullable=False))
    on: date
    prefix: str = Field(sa_column=Column(NAME, nullable=False))
    serial: int
    digits: int
    component: str | None = refers("component.number", optional=True)
    position: str | None = refers("position.name", optional=True)
    claim: str | None = refers("claim.name", optional=True)
    built: date | None = None
    options: str = words()
    measured: str = words()
    build: str = Field(default="", sa_column=Column(NAME, nullable=False, index=True))
    note: str = words()
