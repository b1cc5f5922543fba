"""Taking records out of the catalogue, who still names them, and what a whole load takes out."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, ForeignKey, Select, Table, delete, func, literal, select, union_all
from sqlmodel import SQLModel

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import Mistake, Place
from graftbook.catalogue.history.snapshots import key_of, remember
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED, kinds_brought, stage
from graftbook.catalogue.store.conditions import Columns, record_under
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.database import listed

MOST = 200
REMOVED = "removed"
"""Instead of a file, in the places of records that an edit removes."""

Removals = Mapping[str, Sequence[str]]
"""Names by kind of record."""
_OWN: Mapping[str, Sequence[tuple[str, str]]] = {
    "component": (
        ("characteristic", "component"),
        ("fitment", "component"),
        ("companion", "component"),
        ("substitute", "original"),
        ("substitute", "component"),
        ("flaw", "component"),
        ("tightening", "component"),
        ("offer", "component"),
    ),
    "supplier": (("offer", "supplier"),),
    "variant": (("chassis_span", "variant"), ("characteristic", "variant")),
}
"""By kind the records, with the column that names it, that say nothing without it."""


def remove(connection: Connection, removals: Removals, *, keep_images: bool) -> Iterator[Mistake]:
    """Take the records out. A name that nobody has is a mistake."""
    for kind, names in removals.items():
        if keep_images:
            remember(connection, kind, names)
        held, key = _table_of(kind)
        these = key.in_(listed(connection, names))
        known = set(connection.execute(select(key).where(these, *_of_kind(kind))).scalars())
        for name in names:
            if name not in known:
                yield Mistake(Place(REMOVED, 0), kind, "", f"there is no {kind_words(kind)} '{name}'", name)
        connection.execute(delete(held).where(these, *_of_kind(kind)))
        stage(
            connection, SPANS_OF if kind == "chassis_span" else kind, dict.fromkeys(known, Place(REMOVED, 0))
        )
    if ranges := removals.get("range"):
        _drop_unused_conditions(connection, ranges)


def own_of(connection: Connection, kind: str, name: str) -> dict[str, list[str]]:
    """The records that say nothing without this one, such as a component's fitments and offers, by kind."""
    own: dict[str, list[str]] = {}
    for holder, column in _OWN.get(kind, ()):
        query = select(key_of(holder)).distinct().where(table(holder).c[column] == name)
        names = [*own.get(holder, ()), *connection.execute(query).scalars()]
        if names:
            own[holder] = sorted(dict.fromkeys(names))
    return own


def _table_of(kind: str) -> tuple[Table, Any]:
    """The table that holds the records of a kind, some with others, and its key."""
    return (table("claim"), table("claim").c.name) if kind in CLAIMS else (table(kind), key_of(kind))


def _of_kind(kind: str) -> list[Any]:
    return [table("claim").c.kind == kind] if kind in CLAIMS else []


def _drop_unused_conditions(connection: Connection, ranges: Sequence[str]) -> None:
    condition = table("condition")
    used = [select(table(holder).c.condition_id) for holder in ("claim", "position")]
    of_range = condition.c.range.in_(listed(connection, ranges))
    unused = [
        ~query.where(query.selected_columns[0] == condition.c.id).correlate(condition).exists()
        for query in used
    ]
    connection.execute(delete(condition).where(of_range, *unused))


def still_named(connection: Connection, removals: Removals) -> Iterator[Mistake]:
    """Everything that names a removed record: the database's own references, whatever room they are in."""
    for kind, names in removals.items():
        if kind == "chassis_span":
            continue
        for key in _references_to(kind):
            column = key.parent
            query = select(column.table).where(column.in_(listed(connection, names))).limit(MOST)
            for row in connection.execute(query).mappings():
                by = _owner(connection, column.table, row)
                owner = f"{kind_words(by[0])} '{by[1]}'" if by[1] else f"the {by[0]}"
                message = (
                    f"{owner} still names the {kind_words(kind)} '{row[column.name]}'; change that first"
                )
                yield Mistake(Place(REMOVED, 0), kind, column.name, message, row[column.name], by=by)


def _references_to(kind: str, *, going_with_it: bool = False) -> Iterator[ForeignKey]:
    """The columns that name records of a kind: those whose rows go with it, or all others."""
    targets = {table(kind)} | ({table("claim")} if kind in CLAIMS else set())
    for holder in SQLModel.metadata.sorted_tables:
        for key in holder.foreign_keys:
            if key.column.table in targets and (key.ondelete == "CASCADE") is going_with_it:
                yield key


def remove_dependents(connection: Connection, removals: Removals) -> None:
    """Delete what goes with the records, and what other rooms (builds, orders, stock) hold of them: only
    where nothing is kept and references are not held."""
    for kind, names in removals.items():
        if kind in ("range", "chassis_span"):
            continue
        elsewhere = (k for k in _references_to(kind) if "claim" not in k.parent.table.c)
        others = (k for k in elsewhere if k.parent.table.name not in KIND_BY_WORD)
        for key in (*others, *_references_to(kind, going_with_it=True)):
            gone = delete(key.parent.table).where(key.parent.in_(listed(connection, names)))
            connection.execute(gone)


def counts_left(connection: Connection) -> dict[str, int]:
    """How many records of the kinds brought are not in the load, by kind; of chassis spans, variants."""
    queries = [
        select(literal(kind).label("kind"), func.count().label("records")).select_from(query.subquery())
        for kind, query in _unbrought(connection)
    ]
    if not queries:
        return {}
    return {row.kind: row.records for row in connection.execute(union_all(*queries)) if row.records}


def names_left(connection: Connection) -> dict[str, list[str]]:
    """Their names, by kind; of chassis spans, the variants that none was brought for."""
    found = {kind: list(connection.execute(query).scalars()) for kind, query in _unbrought(connection)}
    return {kind: names for kind, names in found.items() if names}


def _unbrought(connection: Connection) -> Iterator[tuple[str, Select[str]]]:
    brought = kinds_brought(connection)
    for kind in KIND_BY_WORD:
        if kind in brought:
            _, key = _table_of(kind)
            word = SPANS_OF if kind == "chassis_span" else kind
            staged = select(STAGED.c.name).where(STAGED.c.kind == word)
            query = select(key).distinct().where(key.not_in(staged)).order_by(key)
            yield kind, query.where(*_of_kind(kind))


_OWNERS = {"build": "build", "list": "order_list", "specification": "specification"}
"""Columns that name what a row belongs to, and what that is called."""


def _owner(connection: Connection, holder: Table, row: Columns) -> tuple[str, str]:
    """What a row belongs to, and its name: `companion`, `disc-hub`; `build`, `red-van`."""
    if "claim" in holder.c:
        claim = table("claim")
        kind = connection.execute(select(claim.c.kind).where(claim.c.name == row["claim"])).scalar()
        return kind or holder.name, row["claim"]
    for of, name in _OWNERS.items():
        if of in row:
            return name, row[of]
    if holder.name == "shop_stock":
        return "store", ""
    if holder.name == "condition" and (under := record_under(connection, row["id"])):
        return under
    key = next(iter(holder.primary_key))
    return holder.name, row[key.name]


def kind_words(kind: str) -> str:
    """A kind of record as people say it."""
    return kind.replace("_", " ")
