"""What names are called, for whoever shows records to people."""

from collections.abc import Iterable

from sqlalchemy import select
from sqlmodel import Session

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import as_called
from graftbook.catalogue.store.from_rows import records_named
from graftbook.catalogue.store.tables import table
from graftbook.database import listed


def section_titles(session: Session) -> dict[str, str]:
    """Section → title, in the house's order."""
    section = table("section")
    query = select(section.c.name, section.c.title).order_by(section.c.order, section.c.name)
    return {row.name: row.title for row in session.connection().execute(query)}


def titles(session: Session, kind: type[r.Record], names: Iterable[str]) -> dict[str, str]:
    """Name → what people call it, for the records of one kind that there are."""
    wanted = sorted(set(names))
    if not wanted:
        return {}
    connection = session.connection()
    found = records_named(connection, kind, listed(connection, wanted))
    if kind is r.ComponentRecord:
        return {record.number: record.name for record in found if isinstance(record, r.ComponentRecord)}
    return {str(getattr(record, "name", "")): str(getattr(record, "title", "")) for record in found}


def kinds_called(session: Session, word: str) -> dict[str, str]:
    """Kind of characteristic → the quantity that it is measured in, for the kinds whose name or title a word
    is, however it is written; its very name comes before a title."""
    kind, called = table("characteristic_kind"), as_called(word)
    query = select(kind.c.name, kind.c.title, kind.c.quantity).order_by(kind.c.name)
    every = session.connection().execute(query).all()
    named = {row.name: row.quantity for row in every if as_called(row.name) == called}
    return named or {row.name: row.quantity for row in every if as_called(row.title) == called}


def quantities(session: Session, kinds: Iterable[str]) -> dict[str, str]:
    """Kind of characteristic → the quantity that it is measured in, for the kinds that there are."""
    wanted = sorted(set(kinds))
    if not wanted:
        return {}
    connection = session.connection()
    found = records_named(connection, r.CharacteristicKindRecord, listed(connection, wanted))
    return {kind.name: kind.quantity for kind in found if isinstance(kind, r.CharacteristicKindRecord)}
