"""The catalogue's tables about buying.

Money is in minor units and rates are in whole small parts, so both are exact on both engines.
"""

from datetime import date
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Column, Index
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import CLAIM_NAME, NAME, at_least, key, refers, words

RATE_PLACES = 8
"""An exchange rate is kept in hundred-millionths."""

TAX_PLACES = 4
"""A tax is kept in ten-thousandths of a per cent."""


def _days() -> CheckConstraint:
    return CheckConstraint("valid_from IS NULL OR valid_to IS NULL OR valid_from <= valid_to", name="days")


def _money(*, optional: bool = False) -> Any:
    return Field(default=None if optional else 0, sa_column=Column(BigInteger, nullable=optional))


class SupplierRow(SQLModel, table=True):
    """Who sells components."""

    __tablename__ = "supplier"
    __table_args__ = (
        at_least("carriage", "carriage"),
        at_least("carriage_free_from", "carriage_free_from"),
        at_least("least_order", "least_order"),
        at_least("lead_days", "lead_days"),
    )
    name: str = key()
    title: str = words()
    carriage: int = _money()
    carriage_free_from: int | None = _money(optional=True)
    least_order: int = _money()
    lead_days: int = 0
    market: str = Field(default="", sa_column=Column(NAME, nullable=False))
    note: str = words()


class OfferRow(SQLModel, table=True):
    """What a supplier asks for a component, in minor units of `currency` (empty: the catalogue's)."""

    __tablename__ = "offer"
    __table_args__ = (
        at_least("price", "price", 1),
        at_least("deposit", "deposit"),
        at_least("pack", "pack", 1),
        at_least("least", "least", 1),
        at_least("lead_days", "lead_days"),
        at_least("stock", "stock"),
        _days(),
    )
    name: str = key(CLAIM_NAME)
    supplier: str = refers("supplier.name")
    component: str = refers("component.number")
    price: int = _money()
    currency: str = Field(default="", max_length=3)
    pack: int = 1
    least: int = 1
    lead_days: int | None = None
    stock: int | None = None
    deposit: int = _money()
    valid_from: date | None = None
    valid_to: date | None = None
    note: str = words()


class TaxRow(SQLModel, table=True):
    """A tax on parts sold into a market; no section: every section."""

    __tablename__ = "tax"
    __table_args__ = (
        CheckConstraint("rate >= 0 AND rate <= 1000000", name="rate"),
        _days(),
        Index(None, "market"),
    )
    name: str = key()
    market: str = Field(sa_column=Column(NAME, nullable=False))
    section: str | None = refers("section.name", optional=True)
    rate: int
    valid_from: date | None = None
    valid_to: date | None = None


class ExchangeRateRow(SQLModel, table=True):
    """The catalogue's currency for one unit of another, from a day on."""

    __tablename__ = "exchange_rate"
    __table_args__ = (at_least("rate", "rate", 1), Index(None, "currency", "valid_from"))
    name: str = key()
    currency: str = Field(max_length=3)
    rate: int = Field(sa_column=Column(BigInteger, nullable=False))
    valid_from: date
