"""What is bought where: needs less what lies in the store, split over suppliers, with taxes.

Pure: from values to values. Money is in minor units, taxes are rounded half up a line.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from graftbook.orders.buying.model import Offer, Supplier
from graftbook.orders.buying.offers import Unsupplied, Why
from graftbook.orders.buying.split_days import DayPrices, price_of_days
from graftbook.orders.buying.splitting import Bought, Split, split
from graftbook.orders.needs import Need, Needs
from graftbook.rulebook.model import Supply

SHARE_OF_SPLIT = 0.6
"""Of the seconds, what the split may take; the rest is for the price of days."""


@dataclass(frozen=True, slots=True)
class Market:
    """What is offered on the day: offers, suppliers, taxes in per cent by section ("": any other).

    `without_rate`: the currencies in which a component is offered too, and which have no rate on the day.
    """

    today: date
    offers: tuple[Offer, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    taxes: Mapping[str, Decimal] = field(default_factory=dict)
    without_rate: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def tax_on(self, section: str) -> Decimal | None:
        """The tax on parts of a section in per cent; None: none is recorded."""
        return self.taxes.get(section, self.taxes.get(""))


@dataclass(frozen=True, slots=True)
class Terms:
    """How to buy: at the latest by a day, over at most so many suppliers, as fast as can be."""

    by: date | None = None
    at_most: int | None = None
    fastest: bool = False
    use_stock: bool = True
    seconds: float = 5.0


@dataclass(frozen=True, slots=True)
class InStore:
    """Pieces of a number in the shop's own store."""

    number: str
    quantity: int
    place: str = ""


@dataclass(frozen=True, slots=True)
class FromStore:
    """Pieces of a line that are taken from the store."""

    need: Need
    quantity: int
    place: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an order: pieces of a number from one offer, or at the catalogue's price.

    `bought` is None where the catalogue knows no suppliers. `quantity` is what is needed of it,
    `pieces` what comes in whole packs.
    """

    need: Need
    quantity: int
    pieces: int
    pack: int
    unit_price: int | None
    deposit: int
    tax_rate: Decimal | None
    bought: Bought | None = None

    @property
    def total(self) -> int | None:
        """Without tax and deposits; None when the price is unknown."""
        return None if self.unit_price is None else self.unit_price * self.pieces

    @property
    def tax(self) -> int | None:
        if self.total is None or self.tax_rate is None:
            return None
        return taxed(self.total, self.tax_rate)

    @property
    def deposits(self) -> int:
        return self.deposit * self.pieces


@dataclass(frozen=True, slots=True)
class Order:
    """The whole order, and the terms it keeps. `split` is None where the catalogue knows no suppliers."""

    lines: tuple[Line, ...]
    from_store: tuple[FromStore, ...]
    not_supplied: tuple[tuple[Need, Unsupplied], ...]
    split: Split | None
    days: DayPrices | None
    terms: Terms = Terms()

    @property
    def proved(self) -> bool:
        """Whether time had no part in it: neither in the split, nor in what is told beside it."""
        split, days = self.split, self.days
        if split is None:
            return True
        beside = (split.fastest_proved is not False, *(other.proved for other in split.instead))
        return split.proved and all(beside) and not (days and days.cut_short)


def taxed(amount: int, rate: Decimal) -> int:
    """The tax on an amount in minor units, rounded half up."""
    return int((amount * rate / 100).quantize(Decimal(1), ROUND_HALF_UP))


def buy(needs: Needs, market: Market, terms: Terms, store: Sequence[InStore] = ()) -> Order:
    """Buy what is needed: first from the store, then from whom it costs least.

    A catalogue without suppliers gives lines at its own prices. Raises ValueError as `split` does.
    """
    from_store, left = _from_store(needs.lines, store if terms.use_stock else ())
    if not market.suppliers:
        lines = [_at_catalogue_price(need, market) for need in left if _obtainable(need)]
        missing = [
            (need, Unsupplied(need.part.number, need.quantity, Why.no_offer))
            for need in left
            if not _obtainable(need)
        ]
        return Order(tuple(lines), from_store, tuple(missing), None, None, terms)
    wanted = {need.part.number: need.quantity for need in left}
    found = split(
        wanted,
        market.offers,
        market.suppliers,
        market.today,
        by=terms.by,
        at_most=terms.at_most,
        fastest=terms.fastest,
        seconds=terms.seconds * SHARE_OF_SPLIT,
    )
    days = price_of_days(
        wanted,
        market.offers,
        market.suppliers,
        market.today,
        at_most=terms.at_most,
        seconds=terms.seconds * (1 - SHARE_OF_SPLIT),
    )
    by_number = {need.part.number: need for need in left}
    missing = [(by_number[line.component], line) for line in found.unsupplied]
    return Order(tuple(_lines(left, found, market)), from_store, tuple(missing), found, days, terms)


def _from_store(needs: Sequence[Need], store: Sequence[InStore]) -> tuple[tuple[FromStore, ...], list[Need]]:
    held = {one.number: one for one in store}
    taken, left = [], []
    for need in needs:
        here = held.get(need.part.number)
        pieces = min(need.quantity, here.quantity) if here else 0
        if here and pieces:
            taken.append(FromStore(need, pieces, here.place))
        if need.quantity > pieces:
            left.append(replace(need, quantity=need.quantity - pieces))
    return tuple(taken), left


def _obtainable(need: Need) -> bool:
    return need.part.supply is Supply.current


def _at_catalogue_price(need: Need, market: Market) -> Line:
    part = need.part
    pieces = -(-need.quantity // part.pack) * part.pack
    return Line(need, need.quantity, pieces, part.pack, part.price, part.deposit, market.tax_on(part.section))


def _lines(needs: Sequence[Need], found: Split, market: Market) -> list[Line]:
    """A line for each offer bought from; what is needed is told once, the surplus with the last."""
    bought: dict[str, list[Bought]] = {}
    for order in found.orders:
        for piece in order.lines:
            bought.setdefault(piece.component, []).append(piece)
    lines = []
    for need in needs:
        still = need.quantity
        for piece in sorted(
            bought.get(need.part.number, ()), key=lambda one: (one.arrives, one.offer.supplier)
        ):
            quantity = min(still, piece.pieces)
            still -= quantity
            offer = piece.offer
            lines.append(
                Line(
                    need,
                    quantity,
                    piece.pieces,
                    offer.pack,
                    offer.price,
                    offer.deposit,
                    market.tax_on(need.part.section),
                    piece,
                )
            )
    return lines
