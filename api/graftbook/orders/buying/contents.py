"""What is bought by how much it holds: fluid by volume, sealant by mass, hose by length."""

from collections.abc import Iterable
from dataclasses import dataclass

from graftbook.closure.answer import Because
from graftbook.rulebook.model import Companion, Component, RuleBook
from graftbook.rulebook.units import UNITS

KINDS = {"contents_volume": "volume", "contents_mass": "mass", "contents_length": "length"}
"""The kinds of characteristic that say what one piece holds → their quantity."""
_WRITTEN_IN = {"volume": ("l", "ml"), "mass": ("kg", "g"), "length": ("m", "mm")}


@dataclass(frozen=True, slots=True)
class Contents:
    """What one piece holds, in SI units of its quantity."""

    size: float
    quantity: str


def contents_of(part: Component) -> Contents | None:
    """What one piece of a component holds; None when that is not recorded."""
    for kind, quantity in KINDS.items():
        measure = part.characteristics.get(kind)
        if measure is not None and measure.si:
            return Contents(measure.si, quantity)
    return None


def needed_amount(book: RuleBook, number: str, reasons: Iterable[Because]) -> float | None:
    """How much of a loose component the rules behind it ask for, in SI; None unless all of them say.

    A rule asks once for each place that brings it, and once in all where one serves all.
    """
    part = book.components[number]
    contents = contents_of(part)
    if contents is None:
        return None
    total = 0.0
    greatest_of_shared = 0.0
    for reason in reasons:
        rule = reason.ground if isinstance(reason.ground, Companion) else None
        asked = [a for a in rule.alternatives if a.amount is not None and a.loose] if rule else []
        fitting = [a for a in asked if a.amount_of == contents.quantity and a.amount and a.amount.high]
        if rule is None or not fitting:
            return None
        amount = max(a.amount.high or 0.0 for a in fitting if a.amount)
        if rule.one_serves_all:
            greatest_of_shared = max(greatest_of_shared, amount)
        else:
            total += amount
    return total + greatest_of_shared


def in_words(amount: float, contents: Contents) -> str:
    """An SI amount as people say it: `1.2 l`, `350 ml`."""
    large, small = _WRITTEN_IN[contents.quantity]
    factors = {name: unit.factor for (of, name), unit in UNITS.items() if of == contents.quantity}
    unit = large if amount >= factors[large] else small
    return f"{amount / factors[unit]:.3g} {unit}"
