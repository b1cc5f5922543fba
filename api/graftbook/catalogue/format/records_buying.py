"""The kinds of record about buying: suppliers, what they offer, taxes, exchange rates.

None of them says anything about fitting, so none touches a rule book.
"""

from datetime import date
from decimal import Decimal
from typing import Annotated

from pydantic import BeforeValidator, Field, StringConstraints

from graftbook.catalogue.format.fields import (
    OFFER_MONEY,
    PER_CENT,
    UNIT,
    Count,
    Money,
    Name,
    OptionalName,
    Quantity,
    Record,
    Sentence,
    Text,
    clean,
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
    valid_from: date | None = Field(None, description="first day of the offer; empty: since ever")
    valid_to: date | None = Field(None, description="last day of the offer; empty: until further notice")
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
    valid_from: date | None = Field(None, description="first day; empty: since ever")
    valid_to: date | None = Field(None, description="last day; empty: until further notice")


class ExchangeRateRecord(Record):
    """What a foreign currency is worth. The latest that is not after the day counts."""

    kind_of_record = "exchange_rate"
    currency: Currency = Field(description="ISO 4217 code of the foreign currency")
    rate: Annotated[Decimal, Field(gt=0, max_digits=15, decimal_places=8)] = Field(
        description="the catalogue's currency for 1 unit"
    )
    valid_from: date = Field(description="first day of the rate")
