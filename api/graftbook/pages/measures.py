"""A recorded measure in the reader's units, with the recorded one beside: `0.874 in (22.20 mm)`.

The factors are those of the international yard and pound and of standard gravity (NIST SP 811, appendix B;
BS 350), the imperial gallon of 4.54609 l (BS 350) and the US gallon of 231 cubic inches (NIST SP 811).
What is recorded governs: a conversion is rounded, what stands in brackets is not. Pure.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, NamedTuple

from jinja2 import pass_context
from jinja2.runtime import Context

from graftbook.pages import country
from graftbook.pages.words import MINUS, NO_BREAK, figure, printed
from graftbook.rulebook.model import Comparator
from graftbook.rulebook.units import (
    GALLON_IMPERIAL,
    INCH,
    PINT_IMPERIAL,
    POUND,
    UNITS,
    WORDED,
    NotAMeasure,
    Unit,
    number_and_unit,
)


class Units(StrEnum):
    """What a reader wants measures in."""

    recorded = "recorded"
    metric = "metric"
    imperial = "imperial"
    us = "us"


UNITS_WORDS = {
    Units.recorded: "as recorded",
    Units.metric: "metric",
    Units.imperial: "imperial (gallon of 4.546 l)",
    Units.us: "US (gallon of 3.785 l)",
}

GALLON_US = 231 * INCH**3
TRUE_WITHIN, SIZE_WITHIN = 0.01, 0.0025
"""A rounded value lies this near to the exact one, as a part of it, however roughly it was recorded; what
has a size to be cut or fitted to lies nearer."""
MOST_PLACES = 12
WHOLE_BELOW = 100
"""A last place worth less than this, in the reader's unit, is never rounded to tens."""


class _Into(NamedTuple):
    """A unit of the reader's: SI value = `factor` x number + `offset`."""

    symbol: str
    factor: float
    offset: float = 0.0


_KNOWN: Mapping[str, Unit] = {name: unit for (_, name), unit in UNITS.items() if name}
"""Units by name; none belongs to two quantities."""
_SYMBOLS = {
    "lbfft": "lbf ft",
    "kgfm": "kgf m",
    "gal": "imp gal",
    "pt": "imp pt",
    "degC": "°C",
    "degF": "°F",
    "deg": "°",
    "um": "µm",
    "mm2": "mm²",
    "cm2": "cm²",
    "m2": "m²",
    "in2": "in²",
    "m3": "m³",
}


def _conversion(name: str) -> _Into:
    unit = _KNOWN[name]
    return _Into(_SYMBOLS.get(name, name), unit.factor, unit.offset)


def _into(**ways: Iterable[str]) -> dict[str, tuple[_Into, ...]]:
    """Recorded unit → the reader's unit of the catalogue's own list."""
    return {name: (_conversion(way.replace("_per_", "/")),) for way, names in ways.items() for name in names}


_CUBIC_INCH = _Into("in³", INCH**3)
_METRIC = {
    **_into(mm=("in",), m=("ft",), km=("mile",), cm2=("in2",), kg=("lb", "cwt"), l=("gal", "pt")),
    **_into(N=("lbf", "kgf"), Nm=("lbfft", "kgfm"), bar=("psi",), kW=("hp",), degC=("degF",)),
    **_into(km_per_h=("mph",), N_per_mm=("lbf/in", "kgf/mm"), kg_per_h=("lb/h",), rev_per_km=("rev/mile",)),
    "lb/hph": (_conversion("g/kWh"),),
}
_CUSTOMARY = {
    **_into(mile=("km",), ft=("m",), in2=("mm2", "cm2", "m2"), lb=("kg", "t"), mph=("km/h",)),
    **_into(lbf=("N", "kN", "kgf"), lbfft=("Nm", "kgfm"), psi=("Pa", "kPa", "MPa", "bar"), hp=("kW", "PS")),
    **_into(degF=("degC",), lb_per_h=("kg/h",), rev_per_mile=("rev/km",)),
    **{name: (_conversion("in"),) for name in ("um", "mm", "cm")},
    **{name: (_conversion("lbf/in"),) for name in ("N/m", "N/mm", "kgf/mm")},
    "g": (_conversion("lb"), _Into("oz", POUND / 16)),
    "g/kWh": (_conversion("lb/hph"),),
    "cc": (_CUBIC_INCH,),
}
_IMPERIAL_LIQUID = (
    _conversion("gal"),
    _conversion("pt"),
    _Into("imp fl oz", PINT_IMPERIAL / 20),
    _CUBIC_INCH,
)
_IMPERIAL = {
    **dict.fromkeys(("l", "ml"), _IMPERIAL_LIQUID),
    "l/h": (_Into("imp gal/h", GALLON_IMPERIAL / 3600),),
    "l/min": (_Into("imp gal/min", GALLON_IMPERIAL / 60),),
}
_US_LIQUID = (
    _Into("US gal", GALLON_US),
    _Into("US qt", GALLON_US / 4),
    _Into("US fl oz", GALLON_US / 128),
    _CUBIC_INCH,
)
_US = {
    **dict.fromkeys(("l", "ml", "gal", "pt"), _US_LIQUID),
    "l/h": (_Into("US gal/h", GALLON_US / 3600),),
    "l/min": (_Into("US gal/min", GALLON_US / 60),),
    "cwt": (_conversion("lb"),),
}
_WAYS: Mapping[Units, Mapping[str, tuple[_Into, ...]]] = {
    Units.recorded: {},
    Units.metric: _METRIC,
    Units.imperial: _CUSTOMARY | _IMPERIAL,
    Units.us: _CUSTOMARY | _US,
}
"""Reader → recorded unit → the reader's units for it, the greatest first."""


def measured(written: str, units: Units, quantity: str = "") -> str:
    """A measure as it was recorded, such as `4.5 .. 6 in`, for a reader; words stay as they are.

    `quantity` is that of the kind where it is known: what is recorded as words is never converted.
    """
    try:
        low, high, name = number_and_unit(written)
    except NotAMeasure:
        return printed(written)
    if quantity in WORDED or (name and name not in _KNOWN):
        return printed(written)
    numbers = [low, high] if high else [low]
    recorded = _with_unit(
        " to ".join(number.replace("-", MINUS) for number in numbers), _SYMBOLS.get(name, name)
    )
    converted = _numbers_converted(numbers, name, units, " to ")
    return f"{converted} ({recorded})" if converted else recorded


def worked_out(values: Iterable[float | None], unit: str, units: Units) -> str:
    """Figures of the arithmetic, today's and the set's: `112 → 78.7 lbf (500 → 350 N)`."""
    numbers = [figure(value) for value in values]
    own = _with_unit(" → ".join(dict.fromkeys(numbers)), _SYMBOLS.get(unit, unit))
    plain = [number.replace(",", "").replace(MINUS, "-") for number in dict.fromkeys(numbers)]
    if "not known" in plain:
        return own
    converted = _numbers_converted(plain, unit, units, " → ")
    return f"{converted} ({own})" if converted else own


def read_in(value: float | None, unit: str, units: Units) -> tuple[float | None, str]:
    """A figure of the arithmetic in the reader's unit, unrounded, and that unit's symbol."""
    ways = _WAYS[units].get(unit)
    if ways is None:
        return value, _SYMBOLS.get(unit, unit)
    way = ways[0]
    return None if value is None else _worth(value, _KNOWN[unit], way), way.symbol


_MEASURE = (
    r"(?P<number>\d+(?:\.\d+)?(?: \.\. \d+(?:\.\d+)?)?) (?P<unit>Nm|lbfft|kgfm|km|mile)s?(?=[,;]| \(|$)"
)
_TORQUE = re.compile(rf"(?<=: ){_MEASURE}")
_AGAIN = re.compile(rf"(?<=; again after ){_MEASURE}")


def tightening(line: str, units: Units) -> str:
    """A line of a fitting sequence, `wheel nuts: 62 lbfft; again after 40 miles (clean thread)`.

    Its torque and its distance are converted; the fastener and the note, which people wrote, are not.
    """
    for once in (_TORQUE, _AGAIN):
        line = once.sub(lambda found: measured(f"{found['number']} {found['unit']}", units), line, count=1)
    return line


def wanted(said: str, units: Units, quantity: str) -> str:
    """A wanted value as a record has it: `at least 22 mm`; `equal` goes without saying."""
    for comparator in Comparator:
        if said.startswith(f"{comparator.value} "):
            value = measured(said.removeprefix(f"{comparator.value} "), units, quantity)
            return value if comparator is Comparator.equal else f"{comparator.value} {value}"
    return printed(said)


def _numbers_converted(numbers: list[str], name: str, units: Units, between: str) -> str:
    """Numbers of one unit in the reader's; empty where they are the reader's already."""
    ways = _WAYS[units].get(name)
    if not ways:
        return ""
    unit, most = _KNOWN[name], max(abs(float(number)) for number in numbers)
    way = next((way for way in ways if most * unit.factor >= way.factor), ways[-1])
    worth = [_worth(float(number), unit, way) for number in numbers]
    last_place = min(10.0 ** int(Decimal(number).as_tuple().exponent) for number in numbers)
    places = _places(worth, last_place * unit.factor / way.factor, _within(unit))
    return _with_unit(between.join(_rounded(value, places) for value in worth), way.symbol)


def _worth(number: float, unit: Unit, way: _Into) -> float:
    return (number * unit.factor + unit.offset - way.offset) / way.factor


def _within(unit: Unit) -> float:
    """Temperatures have a zero of their own, so that they have no part to be near to."""
    sized = unit.quantity in ("length", "area") and unit.name not in ("km", "mile")
    return math.inf if unit.quantity == "temperature" else SIZE_WITHIN if sized else TRUE_WITHIN


def _places(worth: Iterable[float], last_place: float, within: float) -> int:
    """The decimals whose last place is nearest to the recorded one's, more where that would be too rough.

    NIST SP 811, B.7: accuracy is neither given away nor claimed.
    """
    some = [value for value in worth if value]
    places = -round(math.log10(last_place))
    if last_place < WHOLE_BELOW:
        places = max(0, places)
    while places < MOST_PLACES and any(abs(round(v, places) - v) > within * abs(v) for v in some):
        places += 1
    return places if some else 0


def _rounded(value: float, places: int) -> str:
    return f"{round(value, places) + 0.0:,.{max(0, places)}f}".replace("-", MINUS)


def _with_unit(number: str, symbol: str) -> str:
    """A number with its unit; the sign of a plane angle stands close (SI brochure, 5.4.3)."""
    more = "s" if symbol == "mile" and number != "1" else ""
    return number + ("" if symbol in ("", "°") else NO_BREAK) + symbol + more


@pass_context
def _measured_value(context: Context, written: str, quantity: str = "") -> str:
    return country.converted(measured(written, context["units"], quantity), country.of(context))


@pass_context
def _tightening(context: Context, line: str) -> str:
    return tightening(line, context["units"])


@pass_context
def _wanted_value(context: Context, said: str, quantity: str = "") -> str:
    return wanted(said, context["units"], quantity)


@pass_context
def _in_reader_units(context: Context, figures: Iterable[Mapping[str, Any]]) -> Iterator[tuple[str, str]]:
    """Of the figures of a finding those whose unit is not the reader's: what it is, and how much."""
    for one in figures:
        if one["unit"] in _WAYS[context["units"]]:
            converted = worked_out((one["before"], one["after"]), one["unit"], context["units"])
            yield one["name"], country.number(converted, country.of(context))


FILTERS: dict[str, Any] = {
    "measured": _measured_value,
    "tightening": _tightening,
    "wanted": _wanted_value,
    "in_reader_units": _in_reader_units,
}
