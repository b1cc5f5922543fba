"""What the orders room reasons over: suppliers and what they offer. Money is in minor units."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Supplier:
    """Who sells. `carriage` is charged once an order, unless the parts come to `carriage_free_from`.

    An order under `least_order` is not taken.
    """

    name: str
    title: str
    carriage: int = 0
    carriage_free_from: int | None = None
    least_order: int = 0


@dataclass(frozen=True, slots=True)
class Offer:
    """What a supplier asks for a component: `price` and `deposit` for one piece, without tax.

    Sold in whole packs, at least `least` pieces, at most `stock` (None: as many as wanted); it arrives
    `lead_days` after it is ordered. `currency` is what the supplier writes; the price is converted.
    """

    supplier: str
    component: str
    price: int
    pack: int = 1
    least: int = 1
    lead_days: int = 0
    stock: int | None = None
    deposit: int = 0
    valid_from: date | None = None
    valid_to: date | None = None
    currency: str = ""
    note: str = ""

    def holds_on(self, day: date) -> bool:
        """Whether the offer is valid on a day."""
        return (self.valid_from is None or self.valid_from <= day) and (
            self.valid_to is None or day <= self.valid_to
        )
