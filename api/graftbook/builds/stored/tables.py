"""The tables of builds and specifications.

Names of variants, positions and components refer to the catalogue. Documents are stored as JSON text
and always replaced whole.
"""

from datetime import UTC, date, datetime

from sqlalchemy import BigInteger, CheckConstraint, Column, DateTime, ForeignKeyConstraint, Integer
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import NAME, at_least, key, refers, words


def _moment() -> datetime:
    return datetime.now(UTC)


class BuildRow(SQLModel, table=True):
    """One real vehicle. `version` rises with every change; `decided` is a JSON list of wishes."""

    __tablename__ = "build"
    __table_args__ = (at_least("version", "version", 1),)
    name: str = key()
    variant: str = refers("variant.name")
    chassis: str = Field(default="", max_length=20)
    built: date | None = None
    options: str = words()
    decided: str = words("[]")
    note: str = words()
    version: int = 1
    changed: datetime = Field(
        default_factory=_moment, sa_column=Column(DateTime(timezone=True), nullable=False)
    )
    taken_in: date | None = None
    built_to: str | None = Field(default=None, sa_column=Column(NAME, nullable=True))


class BuildEventRow(SQLModel, table=True):
    """One record in the life of a build, never changed once written (`graftbook.builds.stored.events`).

    What stands in the build's own row, in its fittings and on its bench follows from these.
    """

    __tablename__ = "build_event"
    id: int | None = Field(
        default=None,
        sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    )
    build: str = refers("build.name", cascade=True)
    day: date
    at: datetime = Field(default_factory=_moment, sa_column=Column(DateTime(timezone=True), nullable=False))
    who: str = words()
    what: str = Field(max_length=20)
    detail: str = words("{}")


class BuildFittingRow(SQLModel, table=True):
    """What sits at a position today instead of the original; no component: the position is empty."""

    __tablename__ = "build_fitting"
    build: str = refers("build.name", primary=True, cascade=True)
    position: str = refers("position.name", primary=True)
    component: str | None = refers("component.number", optional=True)


class BuildBenchRow(SQLModel, table=True):
    """A component that is at hand for the build."""

    __tablename__ = "build_bench"
    build: str = refers("build.name", primary=True, cascade=True)
    component: str = refers("component.number", primary=True)


class SpecificationRow(SQLModel, table=True):
    """A named set of wishes; `latest` is the number of its newest version."""

    __tablename__ = "specification"
    __table_args__ = (at_least("latest", "latest", 1),)
    name: str = key()
    title: str = words()
    latest: int = 1


class SpecificationVersionRow(SQLModel, table=True):
    """One version, never changed once written; `document` is JSON text."""

    __tablename__ = "specification_version"
    specification: str = refers("specification.name", primary=True, cascade=True)
    version: int = Field(primary_key=True)
    document: str = words("{}")
    note: str = words()
    at: datetime = Field(default_factory=_moment, sa_column=Column(DateTime(timezone=True), nullable=False))


class HouseSpecificationRow(SQLModel, table=True):
    """The version that the house builds to at present: one row, so that it is one version or none."""

    __tablename__ = "house_specification"
    __table_args__ = (
        CheckConstraint("number = 1", name="number"),
        ForeignKeyConstraint(
            ["specification", "version"],
            ["specification_version.specification", "specification_version.version"],
            name="fk_house_specification_version",
            ondelete="CASCADE",
        ),
    )
    number: int = Field(default=1, sa_column=Column(Integer, primary_key=True, autoincrement=False))
    specification: str = Field(sa_column=Column(NAME, nullable=False))
    version: int
    since: datetime = Field(
        default_factory=_moment, sa_column=Column(DateTime(timezone=True), nullable=False)
    )
    who: str = words()
