"""Lint of offers: currencies without a rate, and offers for numbers that nobody orders."""

from collections.abc import Iterator
from itertools import groupby

from sqlalchemy import Connection, func, select

from graftbook.catalogue.lint.finding import LintFinding, Wrong
from graftbook.catalogue.store.tables import table

_SHOWN = 8
"""Numbers of a section that the sentence names; all are among the records."""


def offer_findings(connection: Connection, currency: str) -> Iterator[LintFinding]:
    """Findings about offers; `currency` is the catalogue's own.

    While there is no offer at all, the catalogue's prices stand and nothing needs one.
    """
    yield from _without_rate(connection, currency)
    yield from _for_nothing(connection)
    yield from _offered_by_nobody(connection)


def _without_rate(connection: Connection, currency: str) -> Iterator[LintFinding]:
    offer, rate = table("offer"), table("exchange_rate")
    known = select(rate.c.name).where(rate.c.currency == offer.c.currency).exists()
    query = (
        select(offer.c.currency, func.count().label("offers"), func.min(offer.c.name).label("name"))
        .where(offer.c.currency.not_in(("", currency)), ~known)
        .group_by(offer.c.currency)
        .order_by(offer.c.currency)
    )
    for row in connection.execute(query):
        more = f" and {row.offers - 1} more" if row.offers > 1 else ""
        sentence = f"the offer {row.name}{more} is in {row.currency}, which has no exchange rate"
        yield LintFinding(Wrong.no_rate, (row.currency, row.name), sentence)


def _for_nothing(connection: Connection) -> Iterator[LintFinding]:
    offer, component = table("offer"), table("component")
    query = (
        select(offer.c.name, component.c.number, component.c.supply)
        .join(component, component.c.number == offer.c.component)
        .where(component.c.supply != "current")
        .order_by(offer.c.name)
    )
    for row in connection.execute(query):
        sentence = f"the offer {row.name} is for {row.number}, which is {row.supply}: nobody orders it"
        yield LintFinding(Wrong.offer_of_nothing, (row.name, row.number), sentence)


def _offered_by_nobody(connection: Connection) -> Iterator[LintFinding]:
    """Section by section, the current components without an offer, once there is any."""
    offer, component = table("offer"), table("component")
    if connection.execute(select(offer.c.name).limit(1)).first() is None:
        return
    query = select(component.c.section, component.c.number).where(
        component.c.supply == "current",
        ~select(offer.c.name).where(offer.c.component == component.c.number).exists(),
    )
    rows = connection.execute(query.order_by(component.c.section, component.c.number))
    for section, group in groupby(rows.all(), key=lambda row: row.section):
        numbers = tuple(row.number for row in group)
        more = len(numbers) - _SHOWN
        shown = ", ".join(numbers[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
        sentence = f"no supplier offers {shown} (section {section}), and an order could not buy it"
        yield LintFinding(Wrong.nobody_offers, numbers, sentence)
