"""The table of proposals: what would change, who proposed it, and what became of it."""

from datetime import datetime

from sqlalchemy import Column, Integer
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import at_least, one_of, words

OPEN, ACCEPTED, REFUSED, WITHDRAWN = STATES = ("open", "accepted", "refused", "withdrawn")
SOURCES = ("person", "import", "report", "suggestion")


class ProposalRow(SQLModel, table=True):
    """`changes` is JSON: each record with its rows as they stood and as they shall stand."""

    __tablename__ = "proposal"
    __table_args__ = (
        one_of("state", "state", STATES),
        one_of("source", "source", SOURCES),
        at_least("touched", "touched", 1),
    )
    number: int | None = Field(default=None, sa_column=Column(Integer, primary_key=True))
    state: str = Field(default=OPEN, max_length=20, index=True)
    source: str = Field(default="person", max_length=20)
    why: str = words()
    proposed_at: datetime = Field(sa_column=Column(Moment, nullable=False))
    proposed_by: str = words()
    proposer: str = words()
    revision: int
    touched: int
    changes: str = words("[]")
    decided_at: datetime | None = Field(default=None, sa_column=Column(Moment, nullable=True))
    decided_by: str = words()
    reason: str = words()
    accepted_as: int | None = None
