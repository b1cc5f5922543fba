"""What can be bought, from whom, and what it costs on a day: reads of the catalogue by index."""

from collections.abc import Iterable
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, NamedTuple

from sqlalchemy import Select, and_, func, or_, select
from sqlmodel import Session

from graftbook.catalogue.store.tables import table
from graftbook.catalogue.store.tables_beside import RATE_PLACES, TAX_PLACES
from graftbook.database import listed
from graftbook.orders.buying.model import Offer, Supplier


def suppliers(session: Session) -> list[Supplier]:
    """Every supplier, by name."""
    held = table("supplier")
    return [
        Supplier(row.name, row.title, row.carriage, row.carriage_free_from, row.least_order)
        for row in session.connection().execute(select(held).order_by(held.c.name))
    ]


def rates(session: Session, day: date) -> dict[str, Decimal]:
    """What one unit of each foreign currency is worth on a day: its latest rate not after it."""
    held = table("exchange_rate")
    latest = (
        select(held.c.currency, func.max(held.c.valid_from).label("since"))
        .where(held.c.valid_from <= day)
        .group_by(held.c.currency)
        .subquery()
    )
    of_day = and_(held.c.currency == latest.c.currency, held.c.valid_from == latest.c.since)
    rows = session.connection().execute(select(held.c.currency, held.c.rate).join(latest, of_day))
    return {row.currency: Decimal(row.rate).scaleb(-RATE_PLACES) for row in rows}


def taxes(session: Session, market: str, day: date) -> dict[str, Decimal]:
    """Per cent by section for parts sold into a market; "" is for every section not named.

    Of several that hold on the day, the one that begins latest counts, then the last by name.
    """
    held = table("tax")
    query = select(held).where(held.c.market == market, *_on(held, day))
    rows = session.connection().execute(query.order_by(*_oldest_first(held))).all()
    return {row.section or "": Decimal(row.rate).scaleb(-TAX_PLACES) for row in rows}


class OffersAndRates(NamedTuple):
    """Offers, and by component the currencies of those that have no rate on the day."""

    offers: list[Offer]
    without_rate: dict[str, frozenset[str]]


def offered(session: Session, numbers: Iterable[str], day: date, currency: str = "") -> OffersAndRates:
    """The offers for components that hold on a day, by component, supplier, pack and least quantity.

    Prices are in minor units of the house's `currency`; a foreign one is converted and rounded half up.
    Of a supplier's offers alike in component, pack and least quantity, the one that begins latest counts.
    """
    known = rates(session, day) | {"": Decimal(1), currency: Decimal(1)}
    found = OffersAndRates([], {})
    for row in _rows(session, numbers, day):
        if row.currency in known:
            found.offers.append(_offer(row, known[row.currency]))
        else:
            others = found.without_rate.get(row.component, frozenset())
            found.without_rate[row.component] = others | {row.currency}
    return found


def offers_for(session: Session, numbers: Iterable[str], day: date, currency: str = "") -> list[Offer]:
    """The offers of `offered`, without what it says of the others."""
    return offered(session, numbers, day, currency).offers


def _rows(session: Session, numbers: Iterable[str], day: date) -> list[Any]:
    connection = session.connection()
    query = _offers().where(
        table("offer").c.component.in_(listed(connection, sorted(set(numbers)))), *_on(table("offer"), day)
    )
    rows = connection.execute(query.order_by(*_oldest_first(table("offer")))).all()
    latest = {(row.component, row.supplier, row.pack, row.least): row for row in rows}
    return [latest[key] for key in sorted(latest)]


def _offers() -> Select[Any]:
    """Offers with the lead time that their supplier gives where they give none."""
    offer, supplier = table("offer"), table("supplier")
    days = func.coalesce(offer.c.lead_days, supplier.c.lead_days).label("days")
    return select(offer, days).join(supplier, supplier.c.name == offer.c.supplier)


def _on(held: Any, day: date) -> tuple[Any, ...]:
    """It holds on a day."""
    return (
        or_(held.c.valid_from.is_(None), held.c.valid_from <= day),
        or_(held.c.valid_to.is_(None), held.c.valid_to >= day),
    )


def _oldest_first(held: Any) -> tuple[Any, ...]:
    return (held.c.valid_from.asc().nulls_first(), held.c.name)


def _offer(row: Any, rate: Decimal) -> Offer:
    return Offer(
        supplier=row.supplier,
        component=row.component,
        price=converted(row.price, rate),
        pack=row.pack,
        least=row.least,
        lead_days=row.days,
        stock=row.stock,
        deposit=converted(row.deposit, rate),
        valid_from=row.valid_from,
        valid_to=row.valid_to,
        currency=row.currency,
        note=row.note,
    )


def converted(amount: int, rate: Decimal) -> int:
    """Minor units of one currency in those of another, exact and then rounded half up."""
    return int((amount * rate).quantize(Decimal(1), ROUND_HALF_UP))
