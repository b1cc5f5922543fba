"""Figures of a record that can be written and yet cannot be: common practice, no published source.

What was stored once is read as it stood, so none of these bounds stands in a record's class.
"""

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from typing import get_args

from graftbook.catalogue.format import records as r
from graftbook.rulebook.sane import Span, inside
from graftbook.rulebook.slips import MOST_MEANT, in_unit, meant, or_meant
from graftbook.rulebook.units import NotAMeasure, number_and_unit, read_amount, read_measure

Finding = tuple[str, str]
"""(field, what is wrong and what to do)."""

FIRST_DAY, LAST_DAY = date(1885, 1, 1), date(2099, 12, 31)
LAST_BUILT = date(2035, 12, 31)
_YEARS_OFF = (100, -100, 1900, 1000, 900, -1000)
"""What a year is off by when a digit or the century is lost or mistyped."""

MOST_MONEY = Decimal(1_000_000_000)
_MOST: Mapping[tuple[str, str], tuple[Decimal, str]] = {
    ("fitment", "minutes"): (Decimal(60_000), "minutes, which is a thousand hours"),
    ("fitment", "quantity"): (Decimal(5_000), "pieces at one position"),
    ("companion", "quantity"): (Decimal(5_000), "pieces for one rule"),
    ("component", "pack"): (Decimal(20_000), "pieces in a pack"),
    ("offer", "pack"): (Decimal(20_000), "pieces in a pack"),
    ("offer", "lead_days"): (Decimal(1_825), "days, which is five years"),
    ("supplier", "lead_days"): (Decimal(1_825), "days, which is five years"),
    ("evidence", "fitted"): (Decimal(100_000), "vehicles"),
    ("evidence", "not_fitted"): (Decimal(100_000), "vehicles"),
    ("component", "price"): (MOST_MONEY, "in any currency"),
    ("component", "deposit"): (MOST_MONEY, "in any currency"),
    ("offer", "price"): (MOST_MONEY, "in any currency"),
    ("offer", "deposit"): (MOST_MONEY, "in any currency"),
    ("supplier", "carriage"): (MOST_MONEY, "in any currency"),
}
"""The most of a whole number or a sum of money, and what it counts, by kind of record and field."""

_DEGREE = 0.017453292519943295
_MEASURED: Mapping[tuple[str, str], tuple[str, Span]] = {
    ("component", "mass"): ("mass", (0.0, 10_000.0)),
    ("tightening", "torque"): ("torque", (0.02, 10_000.0)),
    ("tightening", "angle"): ("angle", (0.5 * _DEGREE, 1080 * _DEGREE)),
}
"""Quantity and sane range in SI of what is measured in a record."""
_AMOUNTS: Mapping[str, Span] = {"volume": (0.0, 2.0), "mass": (0.0, 1000.0), "length": (0.0, 2000.0)}


def absurdities(record: r.Record) -> Iterator[Finding]:
    """Every figure of the record that cannot be, with what was likely meant."""
    kind, given = record.kind_of_record, record.model_fields_set
    for field in _fields_doubted(type(record)):
        if field not in given:
            continue
        value = getattr(record, field)
        if isinstance(value, date):
            yield from _day(field, value)
        elif value not in (None, "") and (kind, field) in _MOST:
            most, counted = _MOST[kind, field]
            if value > most:
                yield field, f"'{value}' cannot be: at most {most:,} {counted}"
        elif value and (kind, field) in _MEASURED:
            yield from _out_of_span(field, value, *_MEASURED[kind, field])
    if isinstance(record, r.CompanionRecord) and record.amount:
        yield from _amount(record.amount)


@cache  # a load asks for each of its records
def _fields_doubted(kind: type[r.Record]) -> tuple[str, ...]:
    """The fields of a kind of record that hold a day or a figure with a bound."""
    bounded = {field for of, field in (*_MOST, *_MEASURED) if of == kind.kind_of_record}
    return tuple(
        name
        for name, field in kind.model_fields.items()
        if name in bounded or date in (field.annotation, *get_args(field.annotation))
    )


def _day(field: str, day: date) -> Iterator[Finding]:
    last = LAST_BUILT if field in ("built_from", "built_to") else LAST_DAY
    if not FIRST_DAY <= day <= last:
        ways = [other for years in _YEARS_OFF for other in _years_later(day, years)]
        likely = [str(way) for way in ways if FIRST_DAY <= way <= LAST_BUILT][:MOST_MEANT]
        between = f"between {FIRST_DAY.year} and {last.year}"
        yield field, f"'{day}' cannot be: a day {between} is expected{or_meant(likely)}"


def _years_later(day: date, years: int) -> list[date]:
    try:
        return [day.replace(year=day.year + years)]
    except ValueError:  # no such year, or no 29 February in it
        return []


def _amount(written: str) -> Iterator[Finding]:
    try:
        quantity, _ = read_amount(written)
    except NotAMeasure:
        return
    yield from _out_of_span("amount", written, quantity, _AMOUNTS[quantity])


def _out_of_span(field: str, written: str, quantity: str, span: Span) -> Iterator[Finding]:
    try:
        measure = read_measure(written, quantity)
    except NotAMeasure:
        return
    if all(value is not None and inside(span, value) for value in (measure.low, measure.high)):
        return
    low, high = (in_unit(bound, quantity, number_and_unit(written)[2]) for bound in span)
    yield field, f"'{written}' cannot be: between {low} and {high}{or_meant(meant(written, quantity, span))}"
