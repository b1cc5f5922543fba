"""The catalogue's tables beside what fits: buying; how people speak (named upgrades, other words); a range's
drawing; what workshops report; the order of work.

Money is in minor units and rates are in whole small parts, so both are exact on both engines.
"""

from datetime import date
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Column, Index
from sqlmodel import Field, SQLModel

from graftbook.catalogue.format.records_beside import WIDEST
from graftbook.catalogue.store.columns import CLAIM_NAME, NAME, at_least, key, one_of, refers, words

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


class UpgradeRow(SQLModel, table=True):
    """A named upgrade; `called` holds what else it is called, with `;` between."""

    __tablename__ = "upgrade"
    claim: str = refers("claim.name", primary=True, cascade=True)
    title: str = words()
    called: str = words()


class UpgradeFitRow(SQLModel, table=True):
    """A component that an upgrade fits; no position: wherever it goes."""

    __tablename__ = "upgrade_fit"
    claim: str = refers("upgrade.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    component: str = refers("component.number")
    position: str | None = refers("position.name", optional=True)


class UpgradeFlawRow(SQLModel, table=True):
    """A flaw that an upgrade remedies."""

    __tablename__ = "upgrade_flaw"
    claim: str = refers("upgrade.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    flaw: str = refers("flaw.claim", primary=True, type_=CLAIM_NAME)
    __table_args__ = (Index(None, "flaw"),)


class OtherWordRow(SQLModel, table=True):
    """What people say; `means` holds the catalogue's words for it, with `;` between."""

    __tablename__ = "other_word"
    said: str = key()
    means: str = words()


VIEWS = ("side", "plan")


def _within(column: str) -> CheckConstraint:
    return CheckConstraint(f"{column} >= 0 AND {column} <= {WIDEST}", name=column)


class OutlineRow(SQLModel, table=True):
    """A line of a drawing. `points` and `bodies` hold their items with `;` between, points in their order."""

    __tablename__ = "outline"
    __table_args__: Any = (one_of("view", "view", VIEWS),)
    name: str = key()
    range: str = refers("range.name")
    view: str = Field(max_length=4)
    points: str = words()
    closed: bool = True
    bodies: str = words()


class MarkRow(SQLModel, table=True):
    """Where a position is in a view of a range."""

    __tablename__ = "mark"
    __table_args__: Any = (one_of("view", "view", VIEWS), _within("x"), _within("y"))
    name: str = key(CLAIM_NAME)
    position: str = refers("position.name")
    range: str = refers("range.name")
    view: str = Field(max_length=4)
    x: int
    y: int


OUTCOMES = ("fitted", "fitted after work", "did not fit")


class ReportRow(SQLModel, table=True):
    """What a workshop found on a vehicle, of a component at a position or of a claim.

    `options` and `measured` hold their items with `;` between; `digits` are those of the chassis number.
    """

    __tablename__ = "report"
    __table_args__: Any = (
        one_of("outcome", "outcome", OUTCOMES),
        Index(None, "prefix", "serial"),
    )
    name: str = key(CLAIM_NAME)
    outcome: str = Field(max_length=17)
    workshop: str = Field(sa_column=Column(NAME, nullable=False))
    on: date
    prefix: str = Field(sa_column=Column(NAME, nullable=False))
    serial: int
    digits: int
    component: str | None = refers("component.number", optional=True)
    position: str | None = refers("position.name", optional=True)
    claim: str | None = refers("claim.name", optional=True)
    built: date | None = None
    options: str = words()
    measured: str = words()
    build: str = Field(default="", sa_column=Column(NAME, nullable=False, index=True))
    note: str = words()


ACCESS_STATES = ("off", "carried over", "disconnected", "depressurised", "on stands", "drained", "bled")


class PrecedenceRow(SQLModel, table=True):
    """The work at `position` is done before the work at `other_position`."""

    __tablename__ = "precedence"
    __table_args__ = (
        one_of("work", "work", ("fitting", "removing")),
        CheckConstraint("position <> other_position", name="two_positions"),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    other_position: str = refers("position.name")
    work: str = Field(default="fitting", max_length=10)
    reason: str = words()


class AccessRow(SQLModel, table=True):
    """While there is work at `position`, what is at `other_position` is in a state."""

    __tablename__ = "access"
    __table_args__ = (
        one_of("state", "state", ACCESS_STATES),
        CheckConstraint(
            "position <> other_position OR state NOT IN ('off', 'carried over')", name="two_positions"
        ),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    component: str | None = refers("component.number", optional=True)
    other_position: str = refers("position.name")
    other_component: str | None = refers("component.number", optional=True)
    state: str = Field(default="off", max_length=20)
    opening: str = words()
    closing: str = words()
    reason: str = words()


class TighteningRow(SQLModel, table=True):
    """Torque, angle and distance as written and in SI; `low` and `high` differ for a span."""

    __tablename__ = "tightening"
    __table_args__ = (CheckConstraint("torque_low > 0", name="torque"),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    component: str | None = refers("component.number", optional=True)
    fastener: str = words()
    torque: str = Field(max_length=60)
    torque_low: float
    torque_high: float
    angle: str = Field(default="", max_length=60)
    angle_low: float | None = None
    angle_high: float | None = None
    again_after: str = Field(default="", max_length=60)
    again_after_low: float | None = None
    again_after_high: float | None = None
