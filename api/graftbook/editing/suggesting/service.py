"""Suggestions for a record as it is typed: asked of the catalogue as it is, nothing is stored."""

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, Engine

from graftbook.database import reading
from graftbook.editing.suggesting import store
from graftbook.editing.suggesting.suggestions import (
    Suggestion,
    companions_like,
    ordered_together,
    unlike_others,
)


def suggestions(engine: Engine, kind: str, fields: Mapping[str, str]) -> list[Suggestion]:
    """What might be said too, or was likely meant, of a record of `kind` with these fields as typed.

    Of a component, its fitment or companion: companions; of a characteristic: its value.
    """
    typed = {name: text.strip() for name, text in fields.items()}
    with reading(engine) as session:
        connection = session.connection()
        if kind == "characteristic":
            return _of_value(connection, typed)
        number = typed.get("number" if kind == "component" else "component", "")
        if kind not in ("component", "fitment", "companion") or not number:
            return []
        return _of_companions(connection, number, typed.get("position", ""), typed.get("fit", ""))


def names_to_pick(engine: Engine, kinds: Sequence[str]) -> dict[str, list[str]]:
    """The names of records of some kinds, for pick lists; of a kind with very many, none."""
    with reading(engine) as session:
        found = {kind: store.names_of(session.connection(), kind) for kind in kinds}
    return {kind: names for kind, names in found.items() if len(names) <= store.MOST_NAMES}


def _of_value(connection: Connection, typed: Mapping[str, str]) -> list[Suggestion]:
    kind, written, component = (typed.get(name, "") for name in ("kind", "value", "component"))
    quantity = store.quantity_of(connection, kind) if kind and written and component else ""
    if not quantity:
        return []
    return list(unlike_others(kind, quantity, written, store.values_of(connection, kind, component)))


def _of_companions(connection: Connection, number: str, position: str, fit: str) -> list[Suggestion]:
    like = store.parts_like(connection, number, position)
    rules = store.rules_of(connection, [number, *like])
    own = {rule.fit for rule in rules if rule.component == number} | {fit}
    found = companions_like(number, own, like, rules)
    orders, together = store.orders_with(connection, number)
    known = own | {one.fields["fit"] for one in found}
    return [*found, *ordered_together(number, known, orders, together)]
