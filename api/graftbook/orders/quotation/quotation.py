"""What a set costs the owner: parts, labour, taxes, deposits, an allowance, and in which payments.

Pure. Money is in minor units and exact: every sum is the sum of what is shown.
"""

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a quotation, without tax. `rate`: its tax in per cent; None: none is recorded."""

    what: str
    amount: int
    rate: Decimal | None = None


@dataclass(frozen=True, slots=True)
class TaxOn:
    """The tax on everything of one rate; rounded once, half up."""

    rate: Decimal
    base: int
    tax: int


@dataclass(frozen=True, slots=True)
class Payment:
    """What is due on a day, and what for."""

    on: date
    what: str
    amount: int


@dataclass(frozen=True, slots=True)
class Quotation:
    """The whole: items, taxes by rate, exchange deposits (they come back), payments that add up to it."""

    items: tuple[Item, ...]
    taxes: tuple[TaxOn, ...]
    deposits: int
    payments: tuple[Payment, ...]

    @property
    def net(self) -> int:
        """Without taxes and exchange deposits."""
        return sum(item.amount for item in self.items)

    @property
    def tax(self) -> int:
        return sum(tax.tax for tax in self.taxes)

    @property
    def total(self) -> int:
        """Everything that is to be paid."""
        return self.net + self.tax + self.deposits


def labour(minutes: int, rate_an_hour: int) -> int:
    """Minutes at a rate an hour, rounded half up to the minor unit."""
    return rounded(Decimal(minutes) * rate_an_hour / 60)


def part_of(amount: int, per_cent: Decimal) -> int:
    """So many per cent of an amount, rounded half up."""
    return rounded(amount * per_cent / HUNDRED)


def rounded(amount: Decimal) -> int:
    """To the minor unit, half up."""
    return int(amount.quantize(Decimal(1), ROUND_HALF_UP))


def quote(
    items: Sequence[Item],
    deposits: int,
    today: date,
    first_part: Decimal,
    months: int,
) -> Quotation:
    """A quotation with its payments: a first part (per cent of the whole) today, the rest over months.

    Without months the rest is due with the first payment. Raises ValueError for a negative number of
    months, and for a first part that is not 0 to 100.
    """
    rates = sorted({item.rate for item in items if item.rate is not None})
    taxes = tuple(
        TaxOn(rate, base, part_of(base, rate))
        for rate in rates
        if (base := sum(item.amount for item in items if item.rate == rate))
    )
    made = Quotation(tuple(items), taxes, deposits, ())
    return Quotation(made.items, taxes, deposits, payments(made.total, today, first_part, months))


def payments(total: int, today: date, first_part: Decimal, months: int) -> tuple[Payment, ...]:
    """Payments that add up to the total to the last penny; the earlier ones take what is left over.

    Months are counted from today; where a month has no such day, its last day counts.
    """
    if months < 0 or not 0 <= first_part <= HUNDRED:
        raise ValueError("months are not below zero, and a first part is 0 to 100 per cent")
    if months == 0:
        return (Payment(today, "the whole", total),)
    first = part_of(total, first_part)
    each, over = divmod(total - first, months)
    stages = [each + (1 if number < over else 0) for number in range(months)]
    due = [Payment(today, "on order", first)] if first else []
    due += [
        Payment(months_after(today, number), f"stage {number} of {months}", amount)
        for number, amount in enumerate(stages, start=1)
    ]
    return tuple(due)


def months_after(day: date, months: int) -> date:
    """The same day so many months later; the last day of a month that is too short."""
    year, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + year, month + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))
