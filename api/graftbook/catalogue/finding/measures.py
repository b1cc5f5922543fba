"""Numbers with their units in what people say: `60 amp`, `12v`, `10 inch`, as values in SI. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from graftbook.rulebook.units import UNITS

_SAID: Mapping[str, str] = {
    "mm": "mm", "millimetre": "mm", "millimeter": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in",
    "ft": "ft", "v": "V", "volt": "V", "volts": "V", "a": "A", "amp": "A", "amps": "A", "ampere": "A",
    "amperes": "A", "ah": "Ah", "w": "W", "watt": "W", "watts": "W", "kw": "kW", "hp": "hp", "bhp": "hp",
    "bar": "bar", "psi": "psi", "kg": "kg", "g": "g", "lb": "lb", "l": "l", "litre": "l", "litres": "l",
    "liter": "l", "liters": "l", "ml": "ml", "cc": "cc", "gallon": "gal", "gallons": "gal", "ohm": "ohm",
    "ohms": "ohm", "nm": "Nm", "degree": "degC", "degrees": "degC", "deg": "degC",
}  # fmt: skip
"""A unit as people say it → as the catalogue writes it."""
UNIT_WORDS = tuple(sorted(_SAID, key=lambda word: (-len(word), word)))
_PLACES = frozenset(("the", "front", "rear", "back", "left", "right", "my", "a"))
ALIKE = 0.006
"""Values that differ by no more than this part of them are one size: 10 in is sold as 254 mm."""


@dataclass(frozen=True, slots=True)
class MeasureSaid:
    """A number with its unit, as said, and the (quantity, SI value) that it may be."""

    said: str
    number: str
    values: tuple[tuple[str, float], ...]


def read_as_measures(words: Sequence[str]) -> Iterator[str | MeasureSaid]:
    """The words in their order; each number that has a unit behind it is one value with it.

    `5 x 15` is one size without a unit.
    """
    at = 0
    while at < len(words):
        if pair := pair_at(words, at):
            yield MeasureSaid(pair.replace("x", " x "), pair, ())
            at += 3
            continue
        unit, length = _unit_of(words, at)
        if unit:
            yield _value(words[at], unit)
            at += length
        else:
            yield words[at]
            at += 1


def pair_at(words: Sequence[str], at: int) -> str:
    """Two numbers with an `x` between, as one word; "" where there are none."""
    pair = words[at : at + 3]
    is_pair = len(pair) == 3 and pair[1] == "x" and _number(pair[0]) and _number(pair[2])
    return "x".join((pair[0], pair[2])) if is_pair else ""


def _unit_of(words: Sequence[str], at: int) -> tuple[str, int]:
    """The unit of the number that stands there, and how many words both take; "" where there is none."""
    if not _number(words[at]) or at + 1 >= len(words):
        return "", 0
    following = words[at + 1]
    if following == "in" and at + 2 < len(words) and words[at + 2] in _PLACES:
        return "", 0
    return (_SAID[following], 2) if following in _SAID else ("", 0)


def _number(word: str) -> bool:
    return len(word) <= 12 and word.isascii() and word.replace(".", "", 1).isdigit()


def _value(number: str, unit: str) -> MeasureSaid:
    values = [
        (quantity, float(number) * of.factor + of.offset)
        for (quantity, name), of in UNITS.items()
        if name == unit
    ]
    return MeasureSaid(f"{number} {unit}", number, tuple(values))


def same_size(one: float, other: float) -> bool:
    """Whether two SI values are the same size to whoever orders by it."""
    return abs(one - other) <= ALIKE * max(abs(one), abs(other))
