"""What somebody may have meant who wrote a figure that cannot be: another unit, decimal or sign."""

from collections.abc import Iterator
from decimal import Decimal

from graftbook.rulebook.sane import Span, inside
from graftbook.rulebook.units import UNITS, Measure, NotAMeasure, number_and_unit, read_measure

MOST_MEANT = 2

_MIXED_UP: dict[str, tuple[str, ...]] = {
    "length": ("mm", "in", "cm", "m", "um"),
    "area": ("mm2", "cm2", "in2"),
    "volume": ("l", "ml", "cc", "gal", "pt"),
    "mass": ("kg", "lb", "g", "t"),
    "speed": ("km/h", "mph", "m/s"),
    "force": ("N", "lbf", "kgf", "kN"),
    "torque": ("Nm", "lbfft", "kgfm"),
    "pressure": ("bar", "psi", "kPa", "MPa"),
    "power": ("kW", "hp", "PS", "W"),
    "stiffness": ("N/mm", "lbf/in", "N/m", "kgf/mm"),
    "current": ("A", "mA"),
    "voltage": ("V", "mV"),
    "resistance": ("ohm", "mohm"),
    "charge": ("Ah", "C"),
    "angle": ("deg", "rad"),
    "volume flow": ("l/h", "l/min", "cc/min"),
    "mass flow": ("kg/h", "lb/h"),
    "turns per distance": ("1/m", "rev/km", "rev/mile"),
    "temperature": ("degC", "degF", "K"),
    "rotation": ("rpm", "rad/s"),
    "ratio": ("%", ""),
}
"""The units of a quantity that people take for each other, the likelier first."""
_SHIFTS = (-1, 1, -2, 2, -3, 3)
"""Places by which a decimal point is lost."""


def meant(written: str, quantity: str, span: Span, peers: Span | None = None) -> list[str]:
    """At most two ways of writing the figure that fit what it can be.

    `span` is what the kind can be, `peers` what is recorded of it elsewhere, both in SI. What lands
    among the peers leaves out what is only possible.
    """
    found = list(_other_ways(written, quantity))
    near = [way for way, measure in found if peers and _lies(measure, _widened(peers))]
    likely = near or [way for way, measure in found if _lies(measure, _narrowed(span))]
    return likely[:MOST_MEANT]


def or_meant(ways: list[str]) -> str:
    """`; did you mean '22.2 mm' or '0.875 in'?`; empty when nothing is likely."""
    quoted = [f"'{way}'" for way in ways]
    return f"; did you mean {' or '.join(quoted)}?" if ways else ""


def in_unit(value: float, quantity: str, unit: str) -> str:
    """An SI value in a unit, in four digits: `22.2 mm`."""
    known = UNITS[quantity, unit]
    number = float(f"{(value - known.offset) / known.factor:.4g}")
    return f"{number:.12g} {unit}".rstrip()


def _other_ways(written: str, quantity: str) -> Iterator[tuple[str, Measure]]:
    """Each text that may have been meant, likeliest first, with its value; none twice."""
    low, high, unit = number_and_unit(written)
    numbers = [Decimal(number) for number in (low, high) if number]
    units = [other for other in _MIXED_UP.get(quantity, ()) if other != unit]
    texts = [_text(numbers, other) for other in units if other != "%" or max(numbers) <= 100]
    if any(number < 0 for number in numbers):
        texts.insert(0, _text(sorted(abs(number) for number in numbers), unit))
    texts += [_text([number.scaleb(shift) for number in numbers], unit) for shift in _SHIFTS]
    seen: set[tuple[float | None, float | None]] = set()
    for text in texts:
        try:
            measure = read_measure(text, quantity)
        except NotAMeasure:
            continue
        if (measure.low, measure.high) not in seen:
            seen.add((measure.low, measure.high))
            yield text, measure


def _text(numbers: list[Decimal], unit: str) -> str:
    range_ = " .. ".join(f"{number.normalize():f}" for number in numbers)
    return f"{range_} {unit}".rstrip()


def _lies(measure: Measure, span: Span) -> bool:
    return all(value is not None and inside(span, value) for value in (measure.low, measure.high))


def _widened(span: Span) -> Span:
    """A little more than what was recorded: another one may be the smallest or the greatest so far."""
    part = 0.25
    return (span[0] - part * abs(span[0]), span[1] + part * abs(span[1]))


def _narrowed(span: Span) -> Span:
    """Well inside: a bound is generous, so what lies at its edge is hardly what was meant."""
    low, high = span
    part = 0.25
    return (low * (1 + part) if low > 0 else low, high / (1 + part) if high > 0 else high)
