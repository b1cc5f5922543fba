"""The controlled list of units: what a value may be written in, and what it is in SI.

A value is stored in the unit it was recorded in and compared in SI. The factors are the exact
definitions of the international yard and pound, ISO 80000 and CODATA's standard gravity. Last, how a chassis
number is written, in the module that every room has: the shell's completion waits for what is loaded.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType

STANDARD_GRAVITY = 9.80665
INCH = 0.0254
POUND = 0.45359237
MILE = 1609.344
HORSEPOWER = 550 * 12 * INCH * POUND * STANDARD_GRAVITY
GALLON_IMPERIAL = 4.54609e-3
PINT_IMPERIAL = GALLON_IMPERIAL / 8


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = `factor` × number + `offset`."""

    name: str
    quantity: str
    factor: float
    offset: float = 0.0


# quantity → {unit: factor}; the first unit of each line is the SI unit itself.
_FACTORS: dict[str, dict[str, float]] = {
    "length": {
        "m": 1,
        "mm": 1e-3,
        "cm": 1e-2,
        "um": 1e-6,
        "km": 1e3,
        "in": INCH,
        "ft": 12 * INCH,
        "mile": MILE,
    },
    "area": {"m2": 1, "mm2": 1e-6, "cm2": 1e-4, "in2": INCH**2},
    "volume": {"m3": 1, "l": 1e-3, "ml": 1e-6, "cc": 1e-6, "gal": GALLON_IMPERIAL, "pt": PINT_IMPERIAL},
    "mass": {"kg": 1, "g": 1e-3, "t": 1e3, "lb": POUND, "cwt": 112 * POUND},
    "time": {"s": 1, "min": 60, "h": 3600, "ms": 1e-3},
    "speed": {"m/s": 1, "km/h": 1 / 3.6, "mph": MILE / 3600},
    "rotation": {"rad/s": 1, "rpm": 2 * math.pi / 60},
    "frequency": {"Hz": 1},
    "force": {"N": 1, "kN": 1e3, "kgf": STANDARD_GRAVITY, "lbf": POUND * STANDARD_GRAVITY},
    "torque": {
        "Nm": 1,
        "kgfm": STANDARD_GRAVITY,
        "lbfft": POUND * STANDARD_GRAVITY * 12 * INCH,
    },
    "pressure": {
        "Pa": 1,
        "kPa": 1e3,
        "MPa": 1e6,
        "GPa": 1e9,
        "bar": 1e5,
        "psi": POUND * STANDARD_GRAVITY / INCH**2,
    },
    "power": {
        "W": 1,
        "kW": 1e3,
        "hp": HORSEPOWER,
        "PS": 75 * STANDARD_GRAVITY,
    },
    "stiffness": {
        "N/m": 1,
        "N/mm": 1e3,
        "kgf/mm": STANDARD_GRAVITY * 1e3,
        "lbf/in": POUND * STANDARD_GRAVITY / INCH,
    },
    "current": {"A": 1, "mA": 1e-3},
    "voltage": {"V": 1, "mV": 1e-3},
    "resistance": {"ohm": 1, "mohm": 1e-3},
    "charge": {"C": 1, "Ah": 3600},
    "angle": {"rad": 1, "deg": math.pi / 180},
    "volume flow": {"m3/s": 1, "l/h": 1e-3 / 3600, "l/min": 1e-3 / 60, "cc/min": 1e-6 / 60},
    "mass flow": {"kg/s": 1, "kg/h": 1 / 3600, "lb/h": POUND / 3600},
    "turns per distance": {"1/m": 1, "rev/km": 1e-3, "rev/mile": 1 / MILE},
    "density": {"kg/m3": 1, "kg/l": 1e3},
    "specific consumption": {"kg/J": 1, "g/kWh": 1e-3 / 3.6e6, "lb/hph": POUND / (HORSEPOWER * 3600)},
    "ratio": {"": 1, "%": 1e-2},
    "count": {"": 1},
}

_OFFSETS = {"K": (1.0, 0.0), "degC": (1.0, 273.15), "degF": (5 / 9, 459.67 * 5 / 9)}

WORDED = ("text", "choice")
"""Quantities whose value is words: `text` is free, `choice` is one of the kind's list."""


def _table() -> dict[tuple[str, str], Unit]:
    units = {
        (quantity, name): Unit(name, quantity, float(factor))
        for quantity, factors in _FACTORS.items()
        for name, factor in factors.items()
    }
    for name, (factor, offset) in _OFFSETS.items():
        units["temperature", name] = Unit(name, "temperature", factor, offset)
    return units


UNITS: Mapping[tuple[str, str], Unit] = MappingProxyType(_table())
QUANTITIES: tuple[str, ...] = (*_FACTORS, "temperature", *WORDED)

_NUMBER = r"[+-]?(?:\d{1,15}(?:\.\d{1,12})?|\.\d{1,12})(?:[eE][+-]?\d{1,2})?"
_WRITTEN = re.compile(rf"^\s*({_NUMBER})\s*(?:\.\.\s*({_NUMBER}))?(?:\s*([^\s\d].*?)|\s+(1/.*?))?\s*$")
"""A unit that begins with a digit ("1/m") stands apart from its number."""
_FRACTION = re.compile(
    r"(?<![\w.,/])(?:(\d{1,3})[ -])?(\d{1,2})/(2|4|8|16|32|64)(?= ?(?:in$|inch|[\"″”]|\.\.))", re.ASCII
)
"""Half a number of inches and finer, as rules and spanners are marked: exact in decimals."""
_SAID = dict.fromkeys(('"', "″", "”", "inch", "inches"), "in")
"""Other ways to write a unit."""


class NotAMeasure(ValueError):
    """The text is no value of that quantity; the message says what is expected."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A value as recorded, and in SI.

    `low` and `high` are SI values and are equal unless a span was recorded ("4.5 .. 6 in");
    both are None for worded values, which carry `text`.
    """

    written: str
    low: float | None = None
    high: float | None = None
    text: str | None = None

    @property
    def si(self) -> float | None:
        """The single SI value; None for a span or a worded value."""
        return self.low if self.low == self.high else None


def units_of(quantity: str) -> tuple[str, ...]:
    """The unit names that a quantity may be written in, SI first; empty for worded quantities."""
    return tuple(name for of, name in UNITS if of == quantity)


@lru_cache(maxsize=4096)  # a catalogue says the same few values again and again
def read_measure(written: str, quantity: str, choices: tuple[str, ...] = ()) -> Measure:
    """Read "22.2 mm", "4.5 .. 6 in", "10" or, for worded quantities, the words themselves.

    Raises NotAMeasure when the text is not a value of `quantity` in one of its units.
    """
    text = " ".join(written.split())
    if quantity in WORDED:
        if not text:
            raise NotAMeasure("a value is expected")
        if quantity == "choice" and text not in choices:
            raise NotAMeasure(f"one of {', '.join(choices)} is expected, not '{text}'")
        return Measure(text, text=text)
    parts = _parts(text)
    if parts is None:
        raise NotAMeasure(f"'{text}' is not a number with a unit of {quantity}")
    low, high, name = parts
    unit = UNITS.get((quantity, name))
    if unit is None:
        raise NotAMeasure(_no_unit(text, quantity, name))
    first = float(low) * unit.factor + unit.offset
    last = first if not high else float(high) * unit.factor + unit.offset
    if not (math.isfinite(first) and math.isfinite(last)):
        raise NotAMeasure(f"'{text}' is beyond what can be recorded")
    if last < first:
        raise NotAMeasure(f"'{text}' ends below its start")
    if quantity == "count" and (first != int(first) or last != int(last)):
        raise NotAMeasure(f"'{text}' is not a whole number")
    return Measure(text, first, last)


def _no_unit(text: str, quantity: str, name: str) -> str:
    """Why a value has no unit of its quantity, and what may be meant."""
    if name.startswith(","):
        return f"'{text}' has a comma; a dot stands before the decimals and nothing between thousands"
    units = units_of(quantity)
    known = ", ".join(one or "no unit" for one in units)
    if not name:
        return f"a {quantity} has a unit: one of: {known}"
    meant = "".join(f" did you mean '{one}'?" for one in units if one.lower() == name.lower())
    return f"'{name}' is not a unit of {quantity};{meant} use one of: {known}"


def number_and_unit(written: str) -> tuple[str, str, str]:
    """The parts of a measured value as written: number, second number of a span or "", unit or "".

    Raises NotAMeasure when it is written in no such way.
    """
    parts = _parts(" ".join(written.split()))
    if parts is None:
        raise NotAMeasure(f"'{written}' is not a number with a unit")
    return parts


def _parts(text: str) -> tuple[str, str, str] | None:
    """Number, second number or "", unit or ""; fractions of an inch as decimals, which they are exactly."""
    match = _WRITTEN.match(_FRACTION.sub(_decimal, text) if "/" in text else text)
    if match is None:
        return None
    unit = match.group(3) or match.group(4) or ""
    return match.group(1), match.group(2) or "", _SAID.get(unit, unit)


def _decimal(found: re.Match[str]) -> str:
    return str(int(found[1] or 0) + Decimal(found[2]) / Decimal(found[3]))


AMOUNTS = ("volume", "mass", "length")
"""What an amount of a loose component is measured in; no unit belongs to two of them."""


def read_amount(written: str) -> tuple[str, Measure]:
    """The quantity and the measure of an amount: "1.2 l", "50 g", "3 m". Raises NotAMeasure."""
    for quantity in AMOUNTS:
        try:
            return quantity, read_measure(written, quantity)
        except NotAMeasure:
            continue
    raise NotAMeasure(f"'{written}' is no volume, mass or length with its unit, such as `1.2 l`")


def same_value(a: float, b: float) -> bool:
    """Whether two SI values are equal for a joint: within one part in a million."""
    return math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-12)


def chassis_parts(chassis: str) -> tuple[str, int]:
    """The halves of "24L-018412": prefix and serial; "1204" has no prefix."""
    prefix, _, serial = chassis.rpartition("-")
    return prefix, int(serial)


def chassis_number(prefix: str, serial: int, digits: int = 0) -> str:
    """The chassis number of its halves, the serial with so many digits."""
    return f"{prefix}-{serial:0{digits}d}" if prefix else f"{serial:0{digits}d}"
