"""The catalogue's revision: one number an edit, and which ranges' rule books the edit touched.

The epoch is which history of the database this is: a restore begins another one. Revisions and versions count
inside one history. After a restore the same number can stand for something else, so whatever is kept or
compared under a number carries the epoch too.
"""

import secrets
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    CompoundSelect,
    Connection,
    Select,
    Text,
    cast,
    collate,
    func,
    insert,
    literal,
    select,
    union,
    union_all,
    update,
)
from sqlmodel import Field, SQLModel

from graftbook.catalogue.history.changes import spoken_of_before
from graftbook.catalogue.loading.staging import STAGED
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.database import as_list, listed, listed_under

_NAMING = (
    ("characteristic", "component"),
    ("fitment", "component"),
    ("substitute", "original"),
    ("substitute", "component"),
    ("flaw", "component"),
    ("flaw_also_of", "component"),
    ("flaw_add_on", "component"),
    ("companion", "component"),
    ("companion_alternative", "component"),
    ("conflict", "component"),
    ("conflict", "other_component"),
    ("access", "component"),
    ("access", "other_component"),
    ("tightening", "component"),
    ("upgrade_fit", "component"),
)
"""Every place where a claim names a component."""


def naming_claims(components: Select[Any]) -> Any:
    """(claim, component) for every claim that names one of the components."""
    return union_all(
        *(
            select(table(name).c.claim, table(name).c[column].label("component")).where(
                table(name).c[column].in_(components)
            )
            for name, column in _NAMING
        )
    )


def chain_of(dialect: str, components: Select[Any], *, twins: bool = True) -> Any:
    """The components, their twins, and every number that supersessions tie to them, older and newer."""
    supersession, component = table("supersession"), table("component")
    ties = [
        select(component.c.number.label("here"), component.c.twin.label("there")).where(
            component.c.twin.is_not(None)
        ),
        select(supersession.c.old.label("here"), supersession.c.new.label("there")),
        select(supersession.c.new.label("here"), supersession.c.old.label("there")),
    ][0 if twins else 1 :]
    if dialect == "postgresql":
        # It takes one recursive term only, looks each branch of a union up by its index, and wants
        # the terms alike to the letter.
        start = components.subquery().columns[0]
        chain = select(collate(cast(start, Text), "C").label("number")).cte("chain", recursive=True)
        tie = union_all(*ties).subquery("tie")
        return chain.union(select(cast(tie.c.there, Text)).join(chain, tie.c.here == chain.c.number))
    chain = components.cte("chain", recursive=True)
    number = chain.columns[0]
    # SQLite would build that union whole; it takes several recursive terms instead.
    each = [tie.subquery() for tie in ties]
    return chain.union(*(select(tie.c.there).join(chain, tie.c.here == number) for tie in each))


EDITORS_WAIT = 30
"""Seconds that an editor waits for another, as on SQLite."""


def wait_for_editors(connection: Connection) -> None:
    """Edits of the catalogue go one after the other; on SQLite there is one writer anyway.

    Two of them at once on PostgreSQL would lock the same records in two orders. Whoever waits too
    long gets the database's own error, as on SQLite.
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{EDITORS_WAIT}s'")
        connection.exec_driver_sql("LOCK TABLE revision IN EXCLUSIVE MODE")


def raise_revision(
    connection: Connection, present: int, who: str, why: str, touched: set[str], changes: int
) -> int:
    """Write the revision after the present one, which changes so many records, and put it on the ranges
    touched. Returns its number."""
    revision, ranges = table("revision"), table("range")
    number = present + 1
    values = {"number": number, "at": datetime.now(UTC), "who": who, "why": why, "changes": changes}
    connection.execute(insert(revision).values(**values, touched="; ".join(sorted(touched))))
    if touched:
        of_these = ranges.c.name.in_(listed(connection, touched))
        connection.execute(update(ranges).where(of_these).values(revision=number))
    return number


def current_revision(connection: Connection) -> int:
    """The number of the last edit; 0 when nothing was ever loaded."""
    return connection.execute(select(func.max(table("revision").c.number))).scalar() or 0


def revision_of_range(connection: Connection, name: str, at_most: int) -> int:
    """The last edit, up to a revision, that touched a range's rule books; 0 when none did."""
    edit = table("revision").c
    touches = (literal("; ") + edit.touched + literal("; ")).contains(f"; {name}; ", autoescape=True)
    query = select(edit.number).where(edit.number <= at_most, touches).order_by(edit.number.desc()).limit(1)
    return connection.execute(query).scalar() or 0


def ranges_touched(connection: Connection, present: int) -> set[str]:
    """The ranges whose rule books depend on what the edit at work changed; `present`: the revision before."""
    known = set(connection.execute(select(table("range").c.name)).scalars())
    telling = ("section", "characteristic_kind", "report")
    brought = set(
        connection.execute(select(STAGED.c.kind).where(STAGED.c.kind.in_(telling)).distinct()).scalars()
    )
    if not present or brought - {"report"}:
        return known
    before, numbers = spoken_of_before(connection)
    touched = before | set(connection.execute(_ranges_brought()).scalars())
    if brought:
        touched |= set(connection.execute(_ranges_reported_on()).scalars())
    naming = _ranges_naming(connection.dialect.name)
    return known & (touched | set(connection.execute(naming, {"numbers": as_list(numbers)}).scalars()))


@cache  # an edit asks for it under the lock; putting it together takes as long as a small edit's answer
def _ranges_brought() -> CompoundSelect[Any]:
    """The ranges that the records of the edit at work speak of."""
    condition, claim, ranges = table("condition"), table("claim"), table("range")
    of_claims = select(condition.c.range).join(claim, claim.c.condition_id == condition.c.id)
    queries = [
        select(ranges.c.name).join(STAGED, (STAGED.c.kind == "range") & (STAGED.c.name == ranges.c.name)),
        select(table("variant").c.range).where(table("variant").c.name.in_(_names("variant", "spans of"))),
        select(table("variant").c.range)
        .join(table("characteristic"), table("characteristic").c.variant == table("variant").c.name)
        .where(table("characteristic").c.claim.in_(_names("characteristic"))),
        select(condition.c.range)
        .join(table("position"), table("position").c.condition_id == condition.c.id)
        .where(table("position").c.name.in_(_names("position"))),
        of_claims.join(STAGED, (STAGED.c.name == claim.c.name) & STAGED.c.kind.in_(CLAIMS)),
        of_claims.join(table("claim_evidence"), table("claim_evidence").c.claim == claim.c.name).where(
            table("claim_evidence").c.evidence.in_(_names("evidence"))
        ),
    ]
    return union(*queries)


def _ranges_reported_on() -> Select[Any]:
    """The ranges of the vehicles of the reports of the edit at work."""
    report, span, variant = table("report"), table("chassis_span"), table("variant")
    return (
        select(variant.c.range)
        .join(span, span.c.variant == variant.c.name)
        .join(report, report.c.prefix == span.c.prefix)
        .where(report.c.name.in_(_names("report")))
        .distinct()
    )


@cache
def _ranges_naming(dialect: str) -> Select[Any]:
    """The ranges of every claim that names a component of the edit at work, one of the list `numbers`, or a
    number tied to one."""
    condition, claim = table("condition"), table("claim")
    components = union(listed_under(dialect, "numbers"), _components_brought()).subquery()
    chain = chain_of(dialect, select(components.columns[0]))
    naming = naming_claims(select(chain.columns[0])).subquery()
    return (
        select(condition.c.range)
        .join(claim, claim.c.condition_id == condition.c.id)
        .join(naming, naming.c.claim == claim.c.name)
        .distinct()
    )


def _names(*kinds: str) -> Select[Any]:
    return select(STAGED.c.name).where(STAGED.c.kind.in_(kinds))


def _components_brought() -> Select[Any]:
    supersession, characteristic = table("supersession"), table("characteristic")
    component, fitment = table("component"), table("fitment")
    superseding = supersession.c.claim.in_(_names("supersession"))
    brought = union(
        select(component.c.number).where(component.c.number.in_(_names("component"))),
        select(characteristic.c.component).where(
            characteristic.c.claim.in_(_names("characteristic")), characteristic.c.component.is_not(None)
        ),
        select(supersession.c.old).where(superseding),
        select(supersession.c.new).where(superseding),
        select(fitment.c.component).where(fitment.c.claim.in_(_names("fitment"))),
    )
    return select(brought.subquery().columns[0])


LENGTH = 12


class EpochRow(SQLModel, table=True):
    """The one row that names the history; `number` is always 1."""

    __tablename__ = "epoch"
    __table_args__ = (CheckConstraint("number = 1", name="number"),)
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    name: str = Field(max_length=LENGTH)


def epoch_of(connection: Connection) -> str:
    """The name of this history; empty in a database that was never given one."""
    # Of the table, not of the class: the first use of a class makes the ORM ready for every other too.
    return connection.execute(select(SQLModel.metadata.tables["epoch"].c.name)).scalar() or ""


def begin_epoch(connection: Connection) -> str:
    """From here on it is another history. Returns its name."""
    name = secrets.token_hex(LENGTH // 2)
    if not connection.execute(update(EpochRow).values(name=name)).rowcount:
        connection.execute(insert(EpochRow).values(number=1, name=name))
    return name
