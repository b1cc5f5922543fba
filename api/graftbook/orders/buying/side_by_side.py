"""What every supplier asks for a line, side by side, and an order that takes some lines from a supplier of
the asker's choice.

Pure; money is in minor units.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from graftbook.orders.buying.buying import Market
from graftbook.orders.buying.model import Offer
from graftbook.problems import InvalidRequest


@dataclass(frozen=True, slots=True)
class SupplierAsks:
    """What a supplier asks for all pieces of one line, without carriage; `short`: pieces that it lacks."""

    supplier: str
    title: str
    unit_price: int
    pieces: int
    pack: int
    total: int
    deposits: int
    arrives: date
    short: int


def asked_for(market: Market, number: str, quantity: int) -> list[SupplierAsks]:
    """What each supplier asks for so many pieces, who has all of them first, then the cheapest."""
    best: dict[str, SupplierAsks] = {}
    titles = {supplier.name: supplier.title for supplier in market.suppliers}
    for offer in market.offers:
        if offer.component == number:
            asked = _asked_price(offer, titles.get(offer.supplier, offer.supplier), quantity, market.today)
            best[offer.supplier] = min(best.get(offer.supplier, asked), asked, key=_order)
    return sorted(best.values(), key=_order)


def _order(asked: SupplierAsks) -> tuple[int, int, date, str]:
    return asked.short, asked.total + asked.deposits, asked.arrives, asked.supplier


def _asked_price(offer: Offer, title: str, quantity: int, today: date) -> SupplierAsks:
    packs = -(-max(quantity, offer.least) // offer.pack)
    most = packs if offer.stock is None else min(packs, offer.stock // offer.pack)
    pieces = most * offer.pack
    return SupplierAsks(
        supplier=offer.supplier,
        title=title,
        unit_price=offer.price,
        pieces=pieces,
        pack=offer.pack,
        total=offer.price * pieces,
        deposits=offer.deposit * pieces,
        arrives=today + timedelta(days=offer.lead_days),
        short=max(0, quantity - pieces),
    )


def chosen_from(market: Market, buy_from: Mapping[str, str], needed: Iterable[str]) -> Market:
    """The market in which each of these numbers is sold by the supplier named for it alone.

    A number that the order does not need is passed over. Raises InvalidRequest for a supplier that does not
    sell the number.
    """
    sellers = {(offer.component, offer.supplier) for offer in market.offers}
    for number, supplier in buy_from.items():
        if number in set(needed) and (number, supplier) not in sellers:
            known = ", ".join(sorted(name for part, name in sellers if part == number)) or "nobody"
            raise InvalidRequest(
                f"'{supplier}' does not sell {number} today; who does: {known}", pointer="/buy_from"
            )
    offers = (o for o in market.offers if buy_from.get(o.component, o.supplier) == o.supplier)
    return replace(market, offers=tuple(offers))
