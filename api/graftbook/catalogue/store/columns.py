"""The kinds of column that the tables are made of."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import CheckConstraint, Column, ForeignKey, String, Text
from sqlmodel import Field

import graftbook.database  # noqa: F401  (sets the naming convention before the first table)


def by_code_point(length: int) -> Any:
    """Text compared by code point on both engines, so that both sort alike."""
    return String(length).with_variant(String(length, collation="C"), "postgresql")


NAME = by_code_point(120)
CLAIM_NAME = by_code_point(300)
SORT_KEY = by_code_point(400)


def key(type_: Any = NAME) -> Any:
    """A primary key that people chose: the record's stable name."""
    return Field(sa_column=Column(type_, primary_key=True))


def refers(
    to: str,
    *,
    primary: bool = False,
    optional: bool = False,
    index: bool = True,
    cascade: bool = False,
    type_: Any = None,
) -> Any:
    """A column that holds the key of another record, `table.column`.

    Checked at once for single edits; a load defers the check to its end, so that records may refer
    to records further down. `cascade`: the row goes with the record that it belongs to.
    """
    type_ = type_ or (CLAIM_NAME if to == "claim.name" else NAME)
    link = ForeignKey(to, deferrable=True, ondelete="CASCADE" if cascade else None)
    return Field(
        default=None if optional else ...,
        sa_column=Column(type_, link, primary_key=primary, nullable=optional, index=index and not primary),
    )


def words(default: str = "") -> Any:
    """Free text."""
    return Field(default=default, sa_column=Column(Text, nullable=False))


def one_of(name: str, column: str, choices: Iterable[str]) -> CheckConstraint:
    """The database itself refuses a word that is not in the list."""
    listed = ", ".join("'" + choice + "'" for choice in choices)
    return CheckConstraint(f"{column} IN ({listed})", name=name)


def at_least(name: str, column: str, least: int = 0) -> CheckConstraint:
    """The database itself refuses a smaller number."""
    return CheckConstraint(f"{column} >= {least}", name=name)
