"""Reading values whose kind came later in the load, or whose kind the load changed."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, bindparam, func, or_, select, update

from graftbook.catalogue.format.kind_rules import Absurd, KindRules
from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.references import place_of
from graftbook.catalogue.loading.staging import STAGED
from graftbook.catalogue.store.tables import table
from graftbook.catalogue.store.to_rows import margin, measured
from graftbook.database import listed
from graftbook.rulebook.units import WORDED, NotAMeasure


def read_late(
    connection: Connection, kinds: KindRules, changed: set[str], *, fresh: bool
) -> Iterator[Mistake]:
    """Read every value of a kind in `changed`, and every value that could not be read before.

    `fresh`: the catalogue was empty, so that what has been read was read by the kinds as they are.
    """
    of_kinds: set[str] = set() if fresh else changed
    yield from _values(connection, "characteristic", kinds, of_kinds)
    yield from _values(connection, "wanted", kinds, of_kinds)
    yield from _margins(connection, kinds, changed)


def _values(connection: Connection, name: str, kinds: KindRules, changed: set[str]) -> Iterator[Mistake]:
    """Only what says something else than is stored is written: what came behind its kind was read well."""
    held = table(name)
    unread = (held.c.low.is_(None)) & (held.c.text.is_(None))
    keys = [column.name for column in held.primary_key]
    columns = [held.c[column] for column in (*keys, *_STORED, "kind", "written")]
    if "claim" not in keys:
        columns.append(held.c.claim)
    query = select(*columns).where(or_(unread, held.c.kind.in_(listed(connection, changed))))
    better = []
    for row in connection.execute(query):
        if row.kind not in kinds:
            continue
        try:
            values = measured(row.written, row.kind, kinds)
        except NotAMeasure as error:
            field = "value" if name == "characteristic" else "having"
            yield _mistake(connection, row.claim, field, absurd_sentence(connection, error))
            continue
        if any(values[column] != getattr(row, column) for column in _STORED):
            better.append({f"of_{key}": getattr(row, key) for key in keys} | values)
    if better:
        of_row = [held.c[key] == bindparam(f"of_{key}") for key in keys]
        connection.execute(update(held).where(*of_row), better)


_STORED = ("low", "high", "text")


def absurd_sentence(connection: Connection, error: NotAMeasure) -> str:
    """The error's sentence; of a value that cannot be, with what the catalogue's others make likely."""
    if not isinstance(error, Absurd):
        return str(error.args[0])
    held = table("characteristic")
    low, high = error.rule.span
    query = select(func.min(held.c.low), func.max(held.c.high))
    others = query.where(held.c.kind == error.kind, held.c.low >= low, held.c.high <= high)
    least, most = connection.execute(others).one()
    return error.sentence(None if least is None else (least, most))


def _margins(connection: Connection, kinds: KindRules, changed: set[str]) -> Iterator[Mistake]:
    joint = table("joint")
    query = select(joint).where(joint.c.margin_written != "", joint.c.kind.in_(listed(connection, changed)))
    for row in connection.execute(query).mappings().all():
        try:
            in_si = margin(row["margin_written"], row["kind"], kinds)
        except NotAMeasure as error:
            yield _mistake(connection, row["claim"], "margin", str(error))
            continue
        connection.execute(update(joint).where(joint.c.claim == row["claim"]).values(margin=in_si))


def unlike_kinds(connection: Connection, kinds: KindRules, changed: set[str]) -> Iterator[Mistake]:
    """Joints and budgets whose two kinds cannot be compared, and words compared by size.

    Looks at what the load brought; at everything when it changed a kind.
    """
    for row in connection.execute(_of_those_brought("joint", changed)).mappings().all():
        yield from _joint(connection, row, kinds)
    for row in connection.execute(_of_those_brought("budget", changed)).mappings().all():
        two = {kinds[row[side]].quantity for side in ("supply", "demand") if row[side] in kinds}
        if len(two) > 1:
            yield _mistake(
                connection, row["claim"], "demand", f"supply and demand are measured unlike: {_and(two)}"
            )
        if two & set(WORDED):
            yield _mistake(
                connection, row["claim"], "supply", "words cannot be added up; name a kind that is measured"
            )
    by_size = _of_those_brought("wanted", changed).where(table("wanted").c.comparator != "equal")
    for row in connection.execute(by_size).mappings().all():
        if row["kind"] in kinds and kinds[row["kind"]].quantity in WORDED:
            yield _mistake(
                connection, row["claim"], "having", f"'{row['kind']}' is words; they can only be `equal`"
            )


COMPARING = {"joint", "budget", "companion", "conflict"}
"""The kinds that compare what is measured."""


def _of_those_brought(name: str, changed: set[str]) -> Any:
    held = table(name)
    query = select(held)
    return query if changed else query.where(held.c.claim.in_(select(STAGED.c.name)))


def _joint(connection: Connection, row: Any, kinds: KindRules) -> Iterator[Mistake]:
    two = {kinds[row[side]].quantity for side in ("kind", "other_kind") if row[side] in kinds}
    worded = two & set(WORDED)
    if len(two) > 1 and not two <= set(WORDED):
        message = f"the two sides are measured unlike: {_and(two)}"
        yield _mistake(connection, row["claim"], "other_characteristic", message)
    elif worded and row["comparator"] != "equal":
        yield _mistake(connection, row["claim"], "comparator", "words can only be `equal`")


def _and(words: set[str]) -> str:
    return " and ".join(sorted(words))


def _mistake(connection: Connection, claim: str, field: str, message: str) -> Mistake:
    kind = connection.execute(
        select(table("claim").c.kind).where(table("claim").c.name == claim)
    ).scalar_one()
    return Mistake(place_of(connection, kind, claim), kind, field, message, claim)
