"""What suggestions are made of: a few bounded queries of the catalogue and the kept order lists."""

from collections import Counter
from collections.abc import Iterable

from sqlalchemy import Connection, func, select
from sqlmodel import SQLModel

from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.editing.suggesting.suggestions import OtherRecorded, Rule

MOST_LIKE = 300
MOST_RULES = 3_000
MOST_ORDERS = 500
MOST_VALUES = 5_000
MOST_NAMES = 500


def parts_like(connection: Connection, number: str, position: str) -> list[str]:
    """Other components at the positions of one, or at the position that is named."""
    fitment = table("fitment")
    own = select(fitment.c.position).where(fitment.c.component == number)
    there = fitment.c.position == position if position else fitment.c.position.in_(own)
    query = select(fitment.c.component).where(there, fitment.c.component != number).distinct()
    return list(connection.execute(query.order_by(fitment.c.component).limit(MOST_LIKE)).scalars())


def rules_of(connection: Connection, numbers: Iterable[str]) -> list[Rule]:
    """What the companion rules of some components ask for, component by component."""
    rule, alternative = table("companion"), table("companion_alternative")
    query = (
        select(rule.c.component, alternative.c.component.label("fit"), rule.c.reason)
        .join(alternative, alternative.c.claim == rule.c.claim)
        .where(rule.c.component.in_(listed(connection, numbers)), alternative.c.component.is_not(None))
        .order_by(rule.c.component, rule.c.claim, alternative.c.slot)
        .limit(MOST_RULES)
    )
    return [Rule(row.component, row.fit, row.reason) for row in connection.execute(query)]


def orders_with(connection: Connection, number: str) -> tuple[int, Counter[str]]:
    """How many kept lists order a component (the last ones), and how many of these each other one."""
    line, kept = SQLModel.metadata.tables.get("order_line"), SQLModel.metadata.tables.get("order_list")
    if line is None or kept is None:
        return 0, Counter()
    last = (
        select(kept.c.name)
        .join(line, line.c.list == kept.c.name)
        .where(line.c.component == number)
        .distinct()
        .order_by(kept.c.name)
        .limit(MOST_ORDERS)
    )
    lists = list(connection.execute(last).scalars())
    query = (
        select(line.c.component, func.count(line.c.list.distinct()))
        .where(line.c.list.in_(listed(connection, lists)), line.c.component != number)
        .group_by(line.c.component)
    )
    return len(lists), Counter({row[0]: row[1] for row in connection.execute(query)})


def quantity_of(connection: Connection, kind: str) -> str:
    """What a kind of characteristic is measured in; empty: there is no such kind."""
    held = table("characteristic_kind")
    return connection.execute(select(held.c.quantity).where(held.c.name == kind)).scalar() or ""


def values_of(connection: Connection, kind: str, without: str) -> list[OtherRecorded]:
    """The measured values of a kind that other components have."""
    held = table("characteristic")
    query = (
        select(held.c.component, held.c.written, held.c.low, held.c.high)
        .where(held.c.kind == kind, held.c.component.is_not(None), held.c.component != without)
        .where(held.c.low.is_not(None))
        .order_by(held.c.component)
        .limit(MOST_VALUES)
    )
    return [OtherRecorded(row.component, row.written, row.low, row.high) for row in connection.execute(query)]


def names_of(connection: Connection, kind: str) -> list[str]:
    """The names of records of a kind, one more than `MOST_NAMES` at most."""
    named = table(kind)
    query = select(named.c.name).order_by(named.c.name).limit(MOST_NAMES + 1)
    return list(connection.execute(query).scalars())
