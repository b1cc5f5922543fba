"""A house's own records: its vehicles, what is decided for them, and what it builds to."""

from datetime import UTC, date, datetime

from sqlalchemy import Column, DateTime, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from api.catalogue.columns import NAME, at_least, key, one_of, refers, words


def _moment() -> object:
    return Field(
        default_factory=lambda: datetime.now(UTC), sa_column=Column(DateTime(timezone=True), nullable=False)
    )


class BuildRow(SQLModel, table=True):
    """One real vehicle. `version` counts its edits; `options` are joined by `; `."""

    __tablename__ = "build"
    __table_args__ = (at_least("version", "version", 1),)
    name: str = key()
    title: str = words()
    variant: str = refers("variant.name")
    chassis: str = Field(max_length=20)
    built: date | None = None
    options: str = words()
    note: str = words()
    version: int = 1
    changed_at: datetime = _moment()


class BuildItemRow(SQLModel, table=True):
    """What is fitted to the vehicle today at a position, or decided for it.

    No component: the position is empty (fitted) or to be emptied (decided).
    """

    __tablename__ = "build_item"
    __table_args__ = (one_of("state", "state", ("fitted", "decided")),)
    build: str = refers("build.name", primary=True, cascade=True)
    position: str = refers("position.name", primary=True)
    state: str = Field(primary_key=True, max_length=10)
    component: str | None = refers("component.number", optional=True)
    note: str = words()


class SpecificationRow(SQLModel, table=True):
    """One version of a named set of wishes and limits, kept as the JSON of a question."""

    __tablename__ = "specification"
    __table_args__ = (UniqueConstraint("name", "version"), at_least("version", "version", 1))
    id: int | None = Field(None, primary_key=True)
    name: str = Field(sa_column=Column(NAME, nullable=False))
    version: int
    title: str = words()
    variants: str = words()
    wishes: str = Field("[]", sa_column=Column(Text, nullable=False))
    limits: str = Field("{}", sa_column=Column(Text, nullable=False))
    note: str = words()
    made_at: datetime = _moment()
    who: str = words()
