"""The kinds of record beside what fits.

Buying (suppliers, what they offer, taxes, exchange rates) says nothing about fitting, so it touches no rule
book. How people speak: named upgrades, and other words for the catalogue's own. A drawing of a vehicle: the
outlines of a range, and where each position is on them. A report: what a workshop found when it tried.
"""

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from graftbook.catalogue.format.fields import (
    NAME_PATTERN,
    OFFER_MONEY,
    PER_CENT,
    UNIT,
    Chassis,
    Count,
    Day,
    Money,
    Name,
    Names,
    OptionalDay,
    OptionalName,
    Quantity,
    Record,
    Said,
    Sentence,
    Stated,
    Text,
    Texts,
    YesNo,
    clean,
    several,
    whole,
)

Currency = Annotated[str, BeforeValidator(clean), StringConstraints(pattern=r"^[A-Z]{3}$")]
OptionalCurrency = Annotated[str, BeforeValidator(clean), StringConstraints(pattern=r"^([A-Z]{3})?$")]


class SupplierRecord(Record):
    """Who sells components. Money is in the catalogue's currency, whatever the offers are in."""

    kind_of_record = "supplier"
    name: Name = Field(description="short name, as offers write it")
    title: Sentence = Field(description="in words")
    carriage: Money = Field(Decimal(0), description="charged once an order")
    carriage_free_from: Money | None = Field(
        None, description="no carriage when the parts come to this; empty: always charged"
    )
    least_order: Money = Field(Decimal(0), description="an order whose parts come to less is not taken")
    lead_days: Count = Field(
        0,
        json_schema_extra={UNIT: "days"},
        description="days from order to arrival, where an offer says no other",
    )
    market: OptionalName = Field("", description="the market it sells from")
    note: Text = Field("", description="anything worth knowing")


class OfferRecord(Record):
    """What a supplier asks for a component. Several that hold on one day are several ways to buy it."""

    kind_of_record = "offer"
    name: OptionalName = Field(
        "", description="empty: `supplier:component`, and `@valid_from` when that is given"
    )
    supplier: Name = Field(description="who offers it")
    component: Name = Field(description="number that is offered")
    price: Annotated[Decimal, Field(gt=0, max_digits=12, decimal_places=2)] = Field(
        description="one piece, without tax", json_schema_extra={UNIT: OFFER_MONEY, "format": "decimal"}
    )
    currency: OptionalCurrency = Field("", description="ISO 4217; empty: the catalogue's currency")
    pack: Quantity = Field(
        1, description="pieces in a pack; sold in whole packs", json_schema_extra={UNIT: "pieces"}
    )
    least: Quantity = Field(1, description="least pieces", json_schema_extra={UNIT: "pieces"})
    lead_days: Count | None = Field(
        None,
        description="days from order to arrival; empty: the supplier's",
        json_schema_extra={UNIT: "days"},
    )
    stock: Count | None = Field(
        None, description="pieces at hand; empty: as many as wanted", json_schema_extra={UNIT: "pieces"}
    )
    deposit: Money = Field(
        Decimal(0),
        description="exchange deposit on one piece, in the offer's currency",
        json_schema_extra={UNIT: OFFER_MONEY, "format": "decimal"},
    )
    valid_from: OptionalDay = Field(None, description="first day of the offer; empty: since ever")
    valid_to: OptionalDay = Field(None, description="last day of the offer; empty: until further notice")
    note: Text = Field("", description="anything worth knowing")


class TaxRecord(Record):
    """A tax on parts sold into a market. A rate for a section beats the one for every section."""

    kind_of_record = "tax"
    name: Name = Field(description="short name, as an order's page writes it")
    market: Name = Field(description="the market into which parts are sold")
    section: OptionalName = Field("", description="empty: every section")
    rate: Annotated[Decimal, Field(ge=0, le=100, max_digits=7, decimal_places=4)] = Field(
        description="per cent of the price", json_schema_extra={UNIT: PER_CENT}
    )
    valid_from: OptionalDay = Field(None, description="first day; empty: since ever")
    valid_to: OptionalDay = Field(None, description="last day; empty: until further notice")


class ExchangeRateRecord(Record):
    """What a foreign currency is worth. The latest that is not after the day counts."""

    kind_of_record = "exchange_rate"
    currency: Currency = Field(description="ISO 4217 code of the foreign currency")
    rate: Annotated[Decimal, Field(gt=0, max_digits=15, decimal_places=8)] = Field(
        description="the catalogue's currency for 1 unit"
    )
    valid_from: Day = Field(description="first day of the rate")


class UpgradeRecord(Stated):
    """What customers order by one name: the wishes that belong to it, for the vehicles that it holds for."""

    kind_of_record = "upgrade"
    name: Name = Field(description="short name")
    title: Sentence = Field(description="as the counter says it: `front discs`")
    called: Texts = several(description="what else people call it")
    fit: Names = several(description="numbers to fit; `number@position` where only that place is meant")
    remedy: Names = several(description="flaws to remedy, by name")


class OtherWordRecord(Record):
    """What people say, and the catalogue's words for it: whoever looks for the one finds the other."""

    kind_of_record = "other_word"
    said: Said = Field(description="a word or a few, in the singular: `generator`")
    means: Texts = Field(description="the catalogue's words: `dynamo`", min_length=1)


WIDEST = 1000
"""Drawings are made on a field of so many units each way; the front is at the left."""
_POINT = re.compile(r"^(\d{1,4}) (\d{1,4})$")

View = Literal["side", "plan"]
Unit = Annotated[int, Field(ge=0, le=WIDEST), BeforeValidator(whole)]


class NotAPoint(ValueError):
    """The text is no point of a drawing."""


class OutlineRecord(Record):
    """One line of a range's drawing, seen from its left side or from above."""

    kind_of_record = "outline"
    name: Name = Field(description="short name")
    range: Name = Field(description="the range that looks so")
    view: View = Field(description="from its left side, or from above")
    points: Texts = Field(
        description=f"points in their order, `x y` each, in whole units from 0 to {WIDEST}: `40 370; 60 250`",
        min_length=2,
    )
    closed: YesNo = Field(True, description="the last point goes back to the first: a shape")
    bodies: Names = several(description="body styles that look so; empty: all")


class MarkRecord(Record):
    """Where a position is on a range's drawing."""

    kind_of_record = "mark"
    position: Name = Field(description="the position that is shown here")
    range: Name = Field(description="the range whose drawing it is on")
    view: View = Field(description="from its left side, or from above")
    x: Unit = Field(description="from the front")
    y: Unit = Field(description="from the top; in plan from the right side of the vehicle")


def read_point(text: str) -> tuple[int, int]:
    """The units of `40 370`. Raises NotAPoint."""
    match = _POINT.match(text)
    x, y = (int(part) for part in match.groups()) if match else (-1, -1)
    if not match or max(x, y) > WIDEST:
        raise NotAPoint(f"'{text[:40]}' is no point: two whole numbers from 0 to {WIDEST}, such as `40 370`")
    return x, y


def drawing_findings(record: OutlineRecord) -> Iterator[tuple[str, str]]:
    """Every mistake that an outline shows by itself, as (field, what is wrong)."""
    try:
        different = {read_point(text) for text in record.points}
    except NotAPoint as wrong:
        yield "points", str(wrong)
        return
    if len(different) < 2 + record.closed:
        yield (
            "points",
            f"{'a shape has three' if record.closed else 'a line has two'} different points or more",
        )


OutcomeWord = Literal["fitted", "fitted after work", "did not fit"]
ClaimName = Annotated[
    str, BeforeValidator(clean), StringConstraints(pattern=rf"^$|{NAME_PATTERN.replace('119', '299')}")
]


class NotMeasured(ValueError):
    """The text is no measured characteristic."""


class ReportRecord(Record):
    """What one workshop found on one vehicle, about a component at a position or a record by its name."""

    kind_of_record = "report"
    name: OptionalName = Field("", description="empty: `workshop day chassis number, what was tried`")
    outcome: OutcomeWord = Field(
        description="`fitted after work`: something had to be made, cut or bent that it should not need"
    )
    workshop: Name = Field(description="who found it")
    on: Day = Field(description="the day")
    chassis: Chassis = Field(description="chassis number of the vehicle that it was tried on")
    component: OptionalName = Field("", description="what was fitted, with `position`; or `claim` instead")
    position: OptionalName = Field("", description="where it was fitted")
    claim: ClaimName = Field("", description="the fitment, substitute or companion that it is about, by name")
    built: OptionalDay = Field(None, description="day built, where it is known better than by the number")
    options: Names = several(description="the vehicle's options, where what is tried depends on them")
    measured: Texts = several(description="what was measured, with units: `master_bore 22.2 mm`")
    build: OptionalName = Field("", description="the build that it comes from")
    note: Text = Field("", description="anything worth knowing")


def read_measured(text: str) -> tuple[str, str]:
    """The parts of `master_bore 22.2 mm`: kind and value. Raises NotMeasured."""
    kind, _, value = text.partition(" ")
    if not value.strip():
        raise NotMeasured(f"'{text[:60]}' is no kind with a value, such as `master_bore 22.2 mm`")
    return kind, value.strip()


def report_findings(record: ReportRecord) -> Iterator[tuple[str, str]]:
    """Every mistake that a report shows by itself, as (field, what is wrong)."""
    if record.claim and (record.component or record.position):
        yield "claim", "a report is about a component at a position or about a record: give one of the two"
    elif not (record.claim or record.component or record.position):
        yield "component", "say what was tried: a component and its position, or the name of a record"
    elif record.component and not record.position:
        yield "position", f"say where {record.component} was tried"
    elif record.position and not record.component:
        yield "component", f"say what was tried at {record.position}"
    if record.built and record.on < record.built:
        yield "on", f"that is before the vehicle was built, {record.built}"
    for text in record.measured:
        try:
            read_measured(text)
        except NotMeasured as wrong:
            yield "measured", str(wrong)
