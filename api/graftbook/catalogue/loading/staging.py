"""Writing a load's records in batches, and remembering where each was read.

The records go straight into the tables, inside the load's one transaction; references are checked
when all are in. The temporary table `staged` holds the name and place of every record of the load.
"""

from collections import defaultdict
from collections.abc import Container, Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Integer,
    MetaData,
    Select,
    String,
    Table,
    Text,
    delete,
    literal_column,
    select,
    true,
    update,
)
from sqlalchemy.schema import CreateTable
from sqlmodel import SQLModel

from graftbook.catalogue.format.sheets import Place
from graftbook.catalogue.loading.bulk import OnClash, put
from graftbook.catalogue.store.columns import CLAIM_NAME
from graftbook.catalogue.store.tables import table
from graftbook.catalogue.store.to_rows import Row
from graftbook.database import as_list, listed, listed_under

STAGED = Table(
    "staged",
    MetaData(),
    Column("name", CLAIM_NAME, primary_key=True),
    Column("kind", String(40), primary_key=True),
    Column("file", Text, nullable=False),
    Column("line", Integer, nullable=False),
    Column("sheet", Text, nullable=False),
    Column("broken", Boolean, nullable=False),
    Column("unchanged", Boolean, nullable=False),
    prefixes=["TEMPORARY"],
    postgresql_on_commit="DELETE ROWS",
)

CHILDREN = (
    "claim_evidence", "wanted", "flaw_also_of", "flaw_substitute", "flaw_add_on", "companion_alternative",
    "upgrade_fit", "upgrade_flaw",
)  # fmt: skip
"""The tables whose rows belong to a claim and go when it is replaced."""

SPANS_OF = "spans of"
"""Staged under this word: the variants whose chassis spans the load brings anew."""


def defer_references(connection: Connection) -> None:
    """Let references wait until the transaction ends."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SET CONSTRAINTS ALL DEFERRED")
    else:
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")


def begin_staging(connection: Connection) -> None:
    """Make room for the places of a load, and let references wait until its end."""
    defer_references(connection)
    make_room(connection, STAGED)


def end_staging(connection: Connection) -> None:
    """Forget the places."""
    forget(connection, STAGED)


def make_room(connection: Connection, temporary: Table) -> None:
    """A temporary table without rows, for the edit at work.

    A session keeps it: made and dropped for each edit it would leave rows in the server's own catalogue, and
    after a DROP the driver forgets every statement that it had prepared.
    """
    connection.execute(CreateTable(temporary, if_not_exists=True))
    connection.execute(delete(temporary))


def forget(connection: Connection, temporary: Table) -> None:
    """Let go of its rows; PostgreSQL does so when the transaction ends."""
    if connection.dialect.name != "postgresql":
        connection.execute(delete(temporary))


def stage(
    connection: Connection,
    kind: str,
    places: dict[str, Place],
    *,
    broken: bool = False,
    new: bool = False,
    unchanged: Container[str] = (),
) -> None:
    """Remember where records of one kind were read; the first place of a name counts.

    `new`: none of them is there yet. `unchanged`: those that say what they said before, and were not written.
    """
    rows = [
        {
            "name": name, "kind": kind, "file": place.file, "line": place.line, "sheet": place.sheet,
            "broken": broken, "unchanged": name in unchanged,
        }
        for name, place in places.items()
    ]  # fmt: skip
    put(connection, STAGED, rows, OnClash.none if new else OnClash.old_stays)


def staged(
    connection: Connection, kinds: Sequence[str], names: Iterable[str]
) -> dict[str, tuple[str, Place]]:
    """Kind and place of those names that the load has brought already, valid or not."""
    found = connection.execute(_staged_query(connection.dialect.name), {"names": as_list(names)})
    return {row.name: (row.kind, Place(row.file, row.line, row.sheet)) for row in found if row.kind in kinds}


def forget_unchanged_places(connection: Connection) -> None:
    """Forget the places of what was not written, since it says what it said before."""
    connection.execute(delete(STAGED).where(STAGED.c.unchanged))


def goes_on(connection: Connection, kind: str, names: Iterable[str]) -> list[str]:
    """Those of the names that were thought unchanged, and now get further rows: they are so no more."""
    those = STAGED.c.kind == kind, STAGED.c.unchanged, STAGED.c.name.in_(listed(connection, names))
    found = list(connection.execute(select(STAGED.c.name).where(*those)).scalars())
    if found:
        connection.execute(update(STAGED).where(*those).values(unchanged=False))
    return found


def kinds_brought(connection: Connection) -> set[str]:
    """The kinds of which the load brought or removed a record; `SPANS_OF` where it was chassis spans."""
    return set(connection.execute(select(STAGED.c.kind).distinct()).scalars())


@cache  # asked for each batch
def _staged_query(dialect: str) -> Select[Any]:
    """By the names alone, which lead to their rows.

    PostgreSQL knows nothing of a table that has just grown, and would read all of it for each batch: what
    stands behind OFFSET it looks up for each name.
    """
    names = listed_under(dialect, "names")
    if dialect != "postgresql":
        return select(STAGED).where(STAGED.c.name.in_(names))
    each = names.subquery()
    found = select(STAGED).where(STAGED.c.name == each.c.value).offset(literal_column("0")).lateral()
    return select(found).select_from(each.join(found, true()))


@cache  # a load asks for each of its batches
def _in_order() -> tuple[Table, ...]:
    """Each table after those that its rows name."""
    return tuple(SQLModel.metadata.sorted_tables)


def write(connection: Connection, rows: dict[str, list[Row]], *, new: frozenset[str] = frozenset()) -> None:
    """Insert rows, replacing those with the same key; conditions are kept when they exist.

    `new`: the tables where none of their keys is yet.
    """
    for into in _in_order():
        if batch := rows.get(into.name):
            put(connection, into, batch, _clash(into, batch, new))


_CLEARED = frozenset((*CHILDREN, "component_word"))
"""The tables of which the rows of what is replaced were taken away before."""


def _clash(into: Table, batch: list[Row], new: frozenset[str]) -> OnClash:
    if into.name in _CLEARED or into.name in new:
        return OnClash.none
    only_key = len(batch[0]) == len(into.primary_key)
    return OnClash.old_stays if into.name == "condition" or only_key else OnClash.replaced


def remove_children(connection: Connection, claims: Sequence[str]) -> None:
    """Take away what belongs to claims that are about to be replaced."""
    if claims:
        for name in CHILDREN:
            child = table(name)
            connection.execute(delete(child).where(child.c.claim.in_(listed(connection, claims))))


def remove_words(connection: Connection, components: Sequence[str]) -> None:
    """Take away the words by which components were found until now."""
    if components:
        word = table("component_word")
        connection.execute(delete(word).where(word.c.component.in_(listed(connection, components))))


def merged(many: Iterable[dict[str, list[Row]]]) -> dict[str, list[Row]]:
    """The rows of many records together, by table."""
    together: dict[str, list[Row]] = defaultdict(list)
    for rows in many:
        for name, some in rows.items():
            together[name] += some
    return together
