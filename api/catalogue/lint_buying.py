"""Lint of offers: currencies without a rate, and offers for numbers that nobody orders."""

from collections.abc import Iterator

from sqlalchemy import Connection, func, select

from api.catalogue.finding import Finding, Wrong
from api.catalogue.staging import table


def offer_findings(connection: Connection, currency: str) -> Iterator[Finding]:
    """Findings about offers; `currency` is the catalogue's own. A component without an offer is none."""
    yield from _without_rate(connection, currency)
    yield from _for_nothing(connection)


def _without_rate(connection: Connection, currency: str) -> Iterator[Finding]:
    offer, rate = table("offer"), table("exchange_rate")
    known = select(rate.c.name).where(rate.c.currency == offer.c.currency).exists()
    query = (
        select(offer.c.currency, func.count().label("count"), func.min(offer.c.name).label("name"))
        .where(offer.c.currency.not_in(("", currency)), ~known)
        .group_by(offer.c.currency)
        .order_by(offer.c.currency)
    )
    for row in connection.execute(query):
        more = f" and {row.count - 1} more" if row.count > 1 else ""
        sentence = f"the offer {row.name}{more} is in {row.currency}, which has no exchange rate"
        yield Finding(Wrong.no_rate, (row.currency, row.name), sentence)


def _for_nothing(connection: Connection) -> Iterator[Finding]:
    offer, component = table("offer"), table("component")
    query = (
        select(offer.c.name, component.c.number, component.c.supply)
        .join(component, component.c.number == offer.c.component)
        .where(component.c.supply != "current")
        .order_by(offer.c.name)
    )
    for row in connection.execute(query):
        sentence = f"the offer {row.name} is for {row.number}, which is {row.supply}: nobody orders it"
        yield Finding(Wrong.offer_of_nothing, (row.name, row.number), sentence)
