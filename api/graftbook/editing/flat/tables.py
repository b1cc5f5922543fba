"""The table of flat lists: a mapping under its name, with its decisions and the issues it is worked at."""

from datetime import datetime

from sqlalchemy import Column
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import at_least, key, words


class FlatListRow(SQLModel, table=True):
    """A list that comes in issues. `version` rises with every change; all but the names are JSON text.

    `mapping`: which column is what; `decisions`: answers by question; `issue`: the rows that are worked at,
    empty when none are; `taken`: what the last issue that was taken said, by number.
    """

    __tablename__ = "flat_list"
    __table_args__ = (at_least("version", "version", 1),)
    name: str = key()
    version: int = 1
    mapping: str = words("{}")
    decisions: str = words("{}")
    issue: str = words("{}")
    issue_file: str = words()
    taken: str = words("{}")
    taken_file: str = words()
    taken_revision: int | None = None
    changed: datetime = Field(sa_column=Column(Moment, nullable=False))
