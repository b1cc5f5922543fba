"""What the catalogue holds of the kinds that a load brings, and the load does not bring."""

from collections.abc import Iterator

from sqlalchemy import Connection, Select, func, literal, select, union_all

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.history.snapshots import key_of
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED, kinds_brought, table
from graftbook.catalogue.store.tables import CLAIMS


def counts_left(connection: Connection) -> dict[str, int]:
    """How many records of the kinds brought are not in the load, by kind; of chassis spans, variants."""
    queries = [
        select(literal(kind).label("kind"), func.count().label("records")).select_from(query.subquery())
        for kind, query in _left(connection)
    ]
    if not queries:
        return {}
    return {row.kind: row.records for row in connection.execute(union_all(*queries)) if row.records}


def names_left(connection: Connection) -> dict[str, list[str]]:
    """Their names, by kind; of chassis spans, the variants that none was brought for."""
    found = {kind: list(connection.execute(query).scalars()) for kind, query in _left(connection)}
    return {kind: names for kind, names in found.items() if names}


def _left(connection: Connection) -> Iterator[tuple[str, Select[str]]]:
    brought = kinds_brought(connection)
    for kind in KIND_BY_WORD:
        if kind in brought:
            key = table("claim").c.name if kind in CLAIMS else key_of(kind)
            word = SPANS_OF if kind == "chassis_span" else kind
            staged = select(STAGED.c.name).where(STAGED.c.kind == word)
            query = select(key).distinct().where(key.not_in(staged)).order_by(key)
            yield kind, query.where(table("claim").c.kind == kind) if kind in CLAIMS else query
