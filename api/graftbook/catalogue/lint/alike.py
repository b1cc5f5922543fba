"""Which variants of a range have the same rule book but for their names: one of them is looked at for all."""

from collections import defaultdict
from collections.abc import Hashable, Sequence

from sqlalchemy import Connection, select

from graftbook.catalogue.loading.staging import listed, listed_numbers, table
from graftbook.catalogue.store.conditions import when_of
from graftbook.rulebook.model import ALWAYS


def alike_variants(connection: Connection, variants: Sequence[str]) -> list[list[str]]:
    """The variants in groups, each in the order given, the groups in that of their first ones.

    Those are alike that hold under the same conditions and have the same characteristics. Where a
    condition asks for chassis numbers, days or options, the vehicles of each variant decide, so that
    it is a group by itself; so is one without chassis numbers, of which there is no vehicle.
    """
    conditions = _conditions(connection, variants)
    bound = _bound(connection, frozenset[int]().union(*conditions.values()))
    facts, built = _facts(connection, variants), _built(connection, variants)
    groups: dict[Hashable, list[str]] = {}
    for variant in variants:
        holding = conditions[variant]
        shared = variant in built and not holding & bound
        groups.setdefault((holding, facts[variant]) if shared else variant, []).append(variant)
    return list(groups.values())


def _conditions(connection: Connection, variants: Sequence[str]) -> dict[str, frozenset[int]]:
    spelt = table("condition_variant")
    found: dict[str, set[int]] = {variant: set() for variant in variants}
    query = select(spelt.c.variant, spelt.c.condition_id)
    for row in connection.execute(query.where(spelt.c.variant.in_(listed(connection, variants)))):
        found[row.variant].add(row.condition_id)
    return {variant: frozenset(held) for variant, held in found.items()}


def _bound(connection: Connection, ids: frozenset[int]) -> set[int]:
    """Those of the conditions that the single vehicle decides."""
    condition = table("condition")
    rows = connection.execute(select(condition).where(condition.c.id.in_(listed_numbers(connection, ids))))
    return {row["id"] for row in rows.mappings() if when_of(row) is not ALWAYS}


def _facts(connection: Connection, variants: Sequence[str]) -> dict[str, frozenset[Hashable]]:
    fact = table("characteristic")
    found: dict[str, set[Hashable]] = defaultdict(set)
    query = select(fact.c.variant, fact.c.kind, fact.c.low, fact.c.high, fact.c.text)
    for variant, *said in connection.execute(query.where(fact.c.variant.in_(listed(connection, variants)))):
        found[variant].add(tuple(said))
    return {variant: frozenset(found[variant]) for variant in variants}


def _built(connection: Connection, variants: Sequence[str]) -> set[str]:
    """Those that have chassis numbers."""
    span = table("chassis_span")
    query = select(span.c.variant).where(span.c.variant.in_(listed(connection, variants)))
    return set(connection.execute(query).scalars())
