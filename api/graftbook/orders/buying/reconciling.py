"""Why an order's parts cost otherwise than its answers' parts: cause by cause, adding up to the penny.

Pure. An answer prices parts at the catalogue's own prices, an order at the suppliers' offers. Money is in
minor units. The steps follow a number's way: what the answers count, what is needed of it in all, what of
that is bought, at whose price, and in which packs.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from graftbook.closure.answer import Solution
from graftbook.orders.buying.buying import Line, Order
from graftbook.orders.needs import Needs
from graftbook.rulebook.model import Component


class DifferenceCause(StrEnum):
    """Why an order's parts differ from its answers'."""

    amounts = "amounts put together"
    store = "from the shop's store"
    not_bought = "not bought"
    dearer = "offers dearer than the catalogue"
    cheaper = "offers cheaper than the catalogue"
    packs = "whole packs"
    no_price = "no price in the catalogue"


@dataclass(frozen=True, slots=True)
class PartsDifference:
    """What one cause adds to the order's parts (less, when negative), and the numbers it is about."""

    cause: DifferenceCause
    amount: int
    numbers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """From the answers' parts to the order's: `answer` plus all differences is `order`.

    `unpriced`: numbers of no known price that are not bought, or taken from the store; neither counts them.
    """

    answer: int
    order: int
    differences: tuple[PartsDifference, ...]
    unpriced: tuple[str, ...] = ()


def reconcile(solutions: Iterable[Solution], needs: Needs, order: Order) -> Reconciliation:
    """The way from the answers' parts to their order's; causes without money are left out."""
    answered = _counts_of(solutions)
    parts = {need.part.number: need.part for need in needs.lines}
    wanted = {need.part.number: need.quantity for need in needs.lines}
    sums: dict[DifferenceCause, dict[str, int]] = {cause: defaultdict(int) for cause in DifferenceCause}
    for number, part in parts.items():
        if part.price is not None:
            sums[DifferenceCause.amounts][number] += part.price * wanted[number] - answered.get(number, 0)
    for taken in order.from_store:
        sums[DifferenceCause.store][taken.need.part.number] -= _catalogue(taken.need.part, taken.quantity)
    for need, _ in order.not_supplied:
        sums[DifferenceCause.not_bought][need.part.number] -= _catalogue(need.part, need.quantity)
    for line in order.lines:
        for cause, amount in _of_line(line):
            sums[cause][line.need.part.number] += amount
    differences = (_difference(cause, by_number) for cause, by_number in sums.items())
    return Reconciliation(
        sum(answered.values()),
        sum(line.total or 0 for line in order.lines),
        tuple(one for one in differences if one.numbers),
        tuple(sorted(_numbers_unpriced(order))),
    )


def _numbers_unpriced(order: Order) -> set[str]:
    """The numbers that neither sum counts: nobody asks a price for them, and the catalogue has none."""
    parts = [need.part for need, _ in order.not_supplied]
    parts += [taken.need.part for taken in order.from_store]
    return {part.number for part in parts if part.price is None} - {
        line.need.part.number for line in order.lines if line.unit_price is not None
    }


def _counts_of(solutions: Iterable[Solution]) -> dict[str, int]:
    """What the answers count for each number, at the catalogue's prices."""
    found: dict[str, int] = defaultdict(int)
    for solution in solutions:
        for change in solution.changes:
            if change.component:
                found[change.component] += change.price or 0
        for part in solution.loose:
            found[part.component] += part.price or 0
    return found


def _catalogue(part: Component, quantity: int) -> int:
    return (part.price or 0) * quantity


def _of_line(line: Line) -> Sequence[tuple[DifferenceCause, int]]:
    if line.unit_price is None:
        return ()
    if line.need.part.price is None:
        return ((DifferenceCause.no_price, line.unit_price * line.pieces),)
    more = (line.unit_price - line.need.part.price) * line.quantity
    surplus = line.unit_price * (line.pieces - line.quantity)
    return (
        (DifferenceCause.dearer if more > 0 else DifferenceCause.cheaper, more),
        (DifferenceCause.packs, surplus),
    )


def _difference(cause: DifferenceCause, by_number: dict[str, int]) -> PartsDifference:
    counted = {number: amount for number, amount in by_number.items() if amount}
    return PartsDifference(cause, sum(counted.values()), tuple(sorted(counted)))
