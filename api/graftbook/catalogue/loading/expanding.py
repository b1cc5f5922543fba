"""Expanding a load's conditions: which range each belongs to, and for which variants it holds."""

from collections.abc import Iterator, Set
from itertools import groupby
from typing import Any

from sqlalchemy import BigInteger, Column, Connection, MetaData, Table, delete, insert, or_, select, update

from graftbook.catalogue.format.sheets import CATALOGUE, Mistake, Place
from graftbook.catalogue.history.changes import ranges_of_variants_before
from graftbook.catalogue.loading.references import is_broken
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED, write
from graftbook.catalogue.store.conditions import (
    Columns,
    VariantFacts,
    content_id,
    holds_for,
    record_under,
    split,
    unknown_words,
)
from graftbook.catalogue.store.nearest import hint, likest
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.database import listed

_REMAP = Table(
    "condition_remap",
    MetaData(),
    Column("old", BigInteger, primary_key=True, autoincrement=False),
    Column("new", BigInteger, nullable=False),
    prefixes=["TEMPORARY"],
)
_RECORDS_SHOWN = 5


_ABOUT_CONDITIONS = {*CLAIMS, "position", "range", "variant", SPANS_OF}
"""The kinds that have conditions, and those that decide what a condition means."""


def expand_conditions(connection: Connection, brought: Set[str]) -> Iterator[Mistake]:
    """Give every condition its range, spell conditions out, and report those that can never hold; nothing is
    left to do where no kind that is `brought` has to do with conditions."""
    if brought & _ABOUT_CONDITIONS:
        yield from _give_ranges(connection)
        yield from _spell_out(connection, ranges_of_variants_before(connection))


def variants_of(connection: Connection, range_name: str) -> list[VariantFacts]:
    """The variants of a range with what decides conditions."""
    variant, span = table("variant"), table("chassis_span")
    in_range = select(variant.c.name).where(variant.c.range == range_name)
    prefixes: dict[str, set[str]] = {}
    for row in connection.execute(select(span.c.variant, span.c.prefix).where(span.c.variant.in_(in_range))):
        prefixes.setdefault(row.variant, set()).add(row.prefix)
    rows = connection.execute(select(variant).where(variant.c.range == range_name).order_by(variant.c.name))
    return [
        VariantFacts(
            name=row.name,
            generation=row.generation,
            body=row.body,
            engine=row.engine,
            drive=row.drive,
            steering=row.steering,
            market=row.market,
            options=frozenset(split(row.options)),
            prefixes=frozenset(prefixes.get(row.name, ())),
        )
        for row in rows
    ]


def _give_ranges(connection: Connection) -> Iterator[Mistake]:
    condition = table("condition")
    ranges = list(connection.execute(select(table("range").c.name).order_by(table("range").c.name)).scalars())
    remap = []
    for row in connection.execute(select(condition).where(condition.c.range.is_(None))).mappings().all():
        range_name = _range_of(connection, row, ranges)
        if range_name is None:
            message = "there is more than one range; name the range that this holds for"
            yield from _on_records(
                connection, row["id"], "range", message if ranges else "there is no range yet"
            )
            continue
        given = dict(row) | {"range": range_name}
        given["id"] = content_id(given)
        write(connection, {"condition": [given]})
        remap.append({"old": row["id"], "new": given["id"]})
    if remap:
        _move(connection, remap)
    for lost in connection.execute(_of_unknown_range()).all():
        if not is_broken(connection, "range", lost.range):
            near = hint(likest(lost.range, ranges))
            yield from _on_records(connection, lost.id, "range", f"there is no range '{lost.range}'{near}")


def _range_of(connection: Connection, row: Columns, ranges: list[str]) -> str | None:
    """The only range, or the one that all the named variants belong to."""
    if len(ranges) == 1:
        return ranges[0]
    variant = table("variant")
    query = select(variant.c.range).where(variant.c.name.in_(listed(connection, split(row["variants"]))))
    of_variants = set(connection.execute(query).scalars())
    return of_variants.pop() if len(of_variants) == 1 else None


def _move(connection: Connection, remap: list[dict[str, int]]) -> None:
    _REMAP.create(connection)
    connection.execute(insert(_REMAP), remap)
    for name in ("claim", "position"):
        held = table(name)
        new = select(_REMAP.c.new).where(_REMAP.c.old == held.c.condition_id).scalar_subquery()
        moved = held.c.condition_id.in_(select(_REMAP.c.old))
        connection.execute(update(held).where(moved).values(condition_id=new))
    condition = table("condition")
    connection.execute(delete(condition).where(condition.c.id.in_(select(_REMAP.c.old))))
    _REMAP.drop(connection)


def _of_unknown_range() -> Any:
    condition, known = table("condition"), table("range")
    return (
        select(condition.c.id, condition.c.range)
        .select_from(condition.outerjoin(known, known.c.name == condition.c.range))
        .where(condition.c.range.is_not(None), known.c.name.is_(None))
    )


def _spell_out(connection: Connection, ranges_before: set[str]) -> Iterator[Mistake]:
    """Spell out the new conditions, and all those of a range whose variants the load changed."""
    condition, spelt, variant = table("condition"), table("condition_variant"), table("variant")
    brought = select(STAGED.c.name).where(STAGED.c.kind.in_(("variant", SPANS_OF)))
    changed = select(variant.c.range).where(variant.c.name.in_(brought))
    in_changed = or_(condition.c.range.in_(changed), condition.c.range.in_(listed(connection, ranges_before)))
    old = select(condition.c.id).where(in_changed)
    connection.execute(delete(spelt).where(spelt.c.condition_id.in_(old)))
    unspelt = ~select(spelt.c.condition_id).where(spelt.c.condition_id == condition.c.id).exists()
    known = condition.c.range.in_(select(table("range").c.name))
    query = select(condition).where(unspelt, known).order_by(condition.c.range, condition.c.id)
    pending = connection.execute(query).mappings().all()
    for range_name, rows in groupby(pending, key=lambda row: row["range"]):
        variants = variants_of(connection, range_name)
        for row in rows:
            yield from _spell(connection, row, variants)


def _spell(connection: Connection, row: Columns, variants: list[VariantFacts]) -> Iterator[Mistake]:
    wrong = unknown_words(row, variants)
    holding = [{"variant": v.name, "condition_id": row["id"]} for v in variants if holds_for(row, v)]
    if holding:
        connection.execute(insert(table("condition_variant")), holding)
    elif not wrong:
        wrong = [
            (
                "",
                f"no variant of the range {row['range']} meets all its conditions at once; drop one of them",
            )
        ]
    for field, message in wrong:
        yield from _on_records(connection, row["id"], field, message)


def _on_records(connection: Connection, condition_id: int, field: str, message: str) -> Iterator[Mistake]:
    """The mistake at the first records that hold under a condition."""
    shown = 0
    for name, kind in (("claim", None), ("position", "position")):
        holder = table(name)
        kind_column = holder.c.kind if kind is None else kind
        query = (
            select(STAGED.c.kind, STAGED.c.name, STAGED.c.file, STAGED.c.line, STAGED.c.sheet)
            .join(holder, (holder.c.name == STAGED.c.name) & (STAGED.c.kind == kind_column))
            .where(holder.c.condition_id == condition_id)
            .order_by(STAGED.c.file, STAGED.c.sheet, STAGED.c.line)
            .limit(_RECORDS_SHOWN)
        )
        for row in connection.execute(query).all():
            shown += 1
            yield Mistake(Place(row.file, row.line, row.sheet), row.kind, field, message, row.name)
    if not shown and (under := record_under(connection, condition_id)):
        kind, name = under
        yield Mistake(CATALOGUE, "", field, f"{kind} '{name}' no longer holds: {message}")
