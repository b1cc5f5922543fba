"""The catalogue's tables: one for each word of the architecture.

Rows refer to each other by stable name, as the text format does. Every record that states something
has a row in `claim`: its name, the condition under which it holds, its evidence. Conditions are
shared: many claims hold under the same one. `condition_variant` spells out for which variants the
variant's part of a condition holds, so that one variant's rule book is a few indexed joins however
large the catalogue is.
"""

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    DateTime,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlmodel import Field, SQLModel

import graftbook.catalogue.store.tables_beside  # noqa: F401  (defines tables that are looked up here by name)
from graftbook.catalogue.store.columns import CLAIM_NAME, NAME, SORT_KEY, at_least, key, one_of, refers, words
from graftbook.rulebook.model import Comparator, Origin, Supply

GRADES = ("hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven")
EFFORTS = ("direct", "with companions", "machining", "cutting")
SEVERITIES = ("minor", "moderate", "severe", "dangerous")
CLAIMS = (
    "characteristic",
    "fitment",
    "substitute",
    "flaw",
    "companion",
    "conflict",
    "joint",
    "budget",
    "supersession",
    "precedence",
    "access",
    "tightening",
    "upgrade",
)
"""The kinds of record that state something."""


def _condition(*, optional: bool) -> Any:
    return refers("condition.id", optional=optional, type_=BigInteger)


class RevisionRow(SQLModel, table=True):
    """One edit of the catalogue: number, when, who, why, and the ranges whose rule books it touched.

    `changes`: how many records it changed; None: it is older than this column, and they are counted.
    """

    __tablename__ = "revision"
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: datetime = Field(
        default_factory=lambda: datetime.now(UTC), sa_column=Column(DateTime(timezone=True), nullable=False)
    )
    who: str = words()
    why: str = words()
    touched: str = words()
    changes: int | None = None


class RecordChangeRow(SQLModel, table=True):
    """That an edit changed a record, and what stood there before, as JSON; None: there was no such record.

    What stood there afterwards is what the next change of the record found, or what stands there now.
    """

    __tablename__ = "record_change"
    __table_args__ = (Index(None, "revision", "kind", "name"),)
    kind: str = Field(sa_column=Column(String(40), primary_key=True))
    name: str = key(CLAIM_NAME)
    revision: int = refers("revision.number", primary=True, type_=Integer)
    before: str | None = Field(default=None, sa_column=Column(Text))


class RangeRow(SQLModel, table=True):
    """A family of vehicles. `revision` is that of the last edit that touched one of its rule books."""

    __tablename__ = "range"
    name: str = key()
    title: str = words()
    note: str = words()
    revision: int = 0


class SectionRow(SQLModel, table=True):
    __tablename__ = "section"
    name: str = key()
    title: str = words()
    order: int


class CharacteristicKindRow(SQLModel, table=True):
    """`choices` are the permitted words, joined by `; `; `least` and `most` are as written."""

    __tablename__ = "characteristic_kind"
    name: str = key()
    title: str = words()
    quantity: str = Field(max_length=40)
    choices: str = words()
    note: str = words()
    least: str = Field(max_length=60)
    most: str = Field(max_length=60)


class EvidenceRow(SQLModel, table=True):
    __tablename__ = "evidence"
    __table_args__ = (
        one_of("grade", "grade", GRADES),
        at_least("fitted", "fitted"),
        at_least("not_fitted", "not_fitted"),
    )
    name: str = key()
    grade: str = Field(max_length=20)
    reference: str = words()
    on: date | None = None
    who: str = words()
    fitted: int = 0
    not_fitted: int = 0
    note: str = words()


class VariantRow(SQLModel, table=True):
    """One version of a range. `options` are joined by `; `."""

    __tablename__ = "variant"
    __table_args__ = (one_of("steering", "steering", ("left", "right")),)
    name: str = key()
    range: str = refers("range.name")
    title: str = words()
    generation: str = Field(sa_column=Column(NAME, nullable=False))
    body: str = Field(sa_column=Column(NAME, nullable=False))
    engine: str = Field(sa_column=Column(NAME, nullable=False))
    drive: str = Field(sa_column=Column(NAME, nullable=False))
    steering: str = Field(max_length=5)
    market: str = Field(sa_column=Column(NAME, nullable=False))
    options: str = words()
    note: str = words()


class ChassisSpanRow(SQLModel, table=True):
    """Chassis numbers of a variant. `digits` is how wide the serial is written."""

    __tablename__ = "chassis_span"
    __table_args__ = (
        CheckConstraint("first_serial <= last_serial", name="serials"),
        CheckConstraint("built_from <= built_to", name="days"),
        Index(None, "prefix", "first_serial"),
    )
    variant: str = refers("variant.name", primary=True)
    prefix: str = Field(sa_column=Column(NAME, primary_key=True))
    first_serial: int = Field(primary_key=True)
    last_serial: int
    digits: int
    built_from: date
    built_to: date


class ConditionRow(SQLModel, table=True):
    """What must hold for a claim to hold. Lists are sorted and joined by `; `; empty: whatever.

    `id` is made from the content, so equal conditions are one row, wherever they were loaded.
    """

    __tablename__ = "condition"
    __table_args__ = (
        one_of("steering", "steering", ("", "left", "right")),
        CheckConstraint("built_from IS NULL OR built_to IS NULL OR built_from <= built_to", name="days"),
    )
    id: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    range: str | None = refers("range.name", optional=True)
    variants: str = words()
    generations: str = words()
    bodies: str = words()
    engines: str = words()
    drives: str = words()
    steering: str = Field(default="", max_length=5)
    markets: str = words()
    options: str = words()
    without: str = words()
    chassis_from: str = Field(default="", max_length=20)
    chassis_to: str = Field(default="", max_length=20)
    built_from: date | None = None
    built_to: date | None = None


class ConditionVariantRow(SQLModel, table=True):
    """The variants for which the variant's part of a condition holds."""

    __tablename__ = "condition_variant"
    variant: str = refers("variant.name", primary=True, cascade=True)
    condition_id: int = refers("condition.id", primary=True, cascade=True, type_=BigInteger)
    __table_args__ = (Index(None, "condition_id"),)


class PositionRow(SQLModel, table=True):
    """One place on a vehicle where one component sits."""

    __tablename__ = "position"
    __table_args__ = (one_of("side", "side", ("", "left", "right", "front", "rear")),)
    name: str = key()
    section: str = refers("section.name")
    title: str = words()
    essential: bool = True
    side: str = Field(default="", max_length=5)
    pair: str = Field(default="", sa_column=Column(NAME, nullable=False))
    circuit: str = Field(default="", sa_column=Column(NAME, nullable=False))
    order: int = 0
    condition_id: int = _condition(optional=False)


class ComponentRow(SQLModel, table=True):
    """One part number. Money is in minor units of the catalogue's currency.

    `effort` and `minutes` are the work that one piece of a loose part asks for.
    `typed` is the number without case, spaces, dashes and dots; `sort_key` puts 9 before 10.
    """

    __tablename__ = "component"
    __table_args__ = (
        one_of("origin", "origin", [o.value for o in Origin]),
        one_of("supply", "supply", [s.value for s in Supply]),
        at_least("price", "price"),
        at_least("deposit", "deposit"),
        at_least("pack", "pack", 1),
        one_of("effort", "effort", EFFORTS),
        at_least("minutes", "minutes"),
        CheckConstraint("mass_kg >= 0", name="mass_kg"),
        Index(None, "section", "sort_key", "number"),
        Index(None, "origin", "sort_key", "number"),
        Index(None, "sort_key", "number"),
    )
    number: str = key()
    name: str = words()
    section: str = refers("section.name", index=False)
    origin: str = Field(max_length=20)
    supply: str = Field(default="current", max_length=20)
    price: int | None = Field(default=None, sa_column=Column(BigInteger))
    deposit: int = Field(default=0, sa_column=Column(BigInteger, nullable=False))
    mass: str = Field(default="", max_length=60)
    mass_kg: float | None = None
    pack: int = 1
    hazard: str = words()
    visible: bool = False
    twin: str | None = refers("component.number", optional=True)
    note: str = words()
    typed: str = Field(sa_column=Column(NAME, nullable=False, index=True))
    sort_key: str = Field(sa_column=Column(SORT_KEY, nullable=False))
    effort: str = Field(default="direct", max_length=20)
    minutes: int = 0
    reworked: bool = False


class ComponentWordRow(SQLModel, table=True):
    """The words by which a component is found, in small letters."""

    __tablename__ = "component_word"
    word: str = Field(sa_column=Column(NAME, primary_key=True))
    component: str = refers("component.number", primary=True, cascade=True)
    __table_args__ = (Index(None, "component"),)


class ClaimRow(SQLModel, table=True):
    """What every record that states something has in common. No condition: it always holds."""

    __tablename__ = "claim"
    __table_args__ = (one_of("kind", "kind", CLAIMS), Index(None, "condition_id", "kind"))
    name: str = key(CLAIM_NAME)
    kind: str = Field(max_length=20)
    condition_id: int | None = refers("condition.id", optional=True, index=False, type_=BigInteger)
    note: str = words()


class ClaimEvidenceRow(SQLModel, table=True):
    __tablename__ = "claim_evidence"
    claim: str = refers("claim.name", primary=True, cascade=True)
    evidence: str = refers("evidence.name", primary=True)
    __table_args__ = (Index(None, "evidence"),)


class CharacteristicRow(SQLModel, table=True):
    """A property of a component or of a variant, as written and in SI.

    `low` and `high` differ for a span; both are empty for words, which stand in `text`.
    """

    __tablename__ = "characteristic"
    __table_args__ = (
        CheckConstraint("(component IS NULL) <> (variant IS NULL)", name="owner"),
        UniqueConstraint("component", "kind"),
        UniqueConstraint("variant", "kind"),
        Index(None, "kind", "low"),
        Index(None, "kind", "high"),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    component: str | None = refers("component.number", optional=True, index=False)
    variant: str | None = refers("variant.name", optional=True, index=False)
    kind: str = refers("characteristic_kind.name", index=False)
    written: str = words()
    low: float | None = None
    high: float | None = None
    text: str | None = None


class FitmentRow(SQLModel, table=True):
    """`tools` are joined by `; `."""

    __tablename__ = "fitment"
    __table_args__ = (
        one_of("effort", "effort", EFFORTS),
        at_least("quantity", "quantity", 1),
        at_least("minutes", "minutes"),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    component: str = refers("component.number")
    position: str = refers("position.name")
    effort: str = Field(default="direct", max_length=20)
    quantity: int = 1
    minutes: int = 0
    from_new: bool = False
    tools: str = words()


class SubstituteRow(SQLModel, table=True):
    __tablename__ = "substitute"
    claim: str = refers("claim.name", primary=True, cascade=True)
    original: str = refers("component.number")
    component: str = refers("component.number")
    position: str | None = refers("position.name", optional=True)
    both_ways: bool = False
    improves: str = words()


class FlawRow(SQLModel, table=True):
    __tablename__ = "flaw"
    __table_args__ = (one_of("severity", "severity", SEVERITIES),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    component: str = refers("component.number")
    severity: str = Field(max_length=20)
    symptom: str = words()
    appears_when: str = words()


class FlawAlsoOfRow(SQLModel, table=True):
    """A further component that has the same flaw."""

    __tablename__ = "flaw_also_of"
    claim: str = refers("flaw.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    component: str = refers("component.number", primary=True)
    __table_args__ = (Index(None, "component"),)


class FlawSubstituteRow(SQLModel, table=True):
    """A substitute that remedies a flaw."""

    __tablename__ = "flaw_substitute"
    claim: str = refers("flaw.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    substitute: str = refers("substitute.claim", primary=True, type_=CLAIM_NAME)
    __table_args__ = (Index(None, "substitute"),)


class FlawAddOnRow(SQLModel, table=True):
    """A component that remedies a flaw while the flawed one stays."""

    __tablename__ = "flaw_add_on"
    claim: str = refers("flaw.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    component: str = refers("component.number", primary=True)
    __table_args__ = (Index(None, "component"),)


class CompanionRow(SQLModel, table=True):
    __tablename__ = "companion"
    claim: str = refers("claim.name", primary=True, cascade=True)
    component: str = refers("component.number")
    position: str | None = refers("position.name", optional=True)
    required: bool = True
    reason: str = words()
    one_serves_all: bool = False


class CompanionAlternativeRow(SQLModel, table=True):
    """One way to satisfy a companion rule. Wanted values are in `wanted`, by `slot`.

    `amount` is in SI; `amount_written` is what the editor wrote.
    """

    __tablename__ = "companion_alternative"
    __table_args__ = (
        at_least("quantity", "quantity", 1),
        CheckConstraint("amount > 0", name="amount"),
        one_of("goes_on", "goes_on", ("", "before", "after")),
    )
    claim: str = refers("companion.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    slot: int = Field(primary_key=True)
    component: str | None = refers("component.number", optional=True)
    position: str | None = refers("position.name", optional=True)
    quantity: int = 1
    empty: bool = False
    amount: float | None = None
    amount_written: str = Field(default="", max_length=60)
    goes_on: str = Field(default="", max_length=6)
    goes_in: str | None = refers("position.name", optional=True)


class ConflictRow(SQLModel, table=True):
    """Wanted values of the one side are in `wanted` with slot 0, of the other with slot 1."""

    __tablename__ = "conflict"
    claim: str = refers("claim.name", primary=True, cascade=True)
    component: str | None = refers("component.number", optional=True)
    position: str | None = refers("position.name", optional=True)
    other_component: str | None = refers("component.number", optional=True)
    other_position: str | None = refers("position.name", optional=True)
    reason: str = words()


class WantedRow(SQLModel, table=True):
    """A characteristic value that an alternative or a side of a conflict asks for."""

    __tablename__ = "wanted"
    __table_args__ = (one_of("comparator", "comparator", [c.value for c in Comparator]), Index(None, "kind"))
    claim: str = refers("claim.name", primary=True, cascade=True)
    slot: int = Field(primary_key=True)
    number: int = Field(primary_key=True)
    kind: str = refers("characteristic_kind.name", index=False)
    comparator: str = Field(max_length=10)
    written: str = words()
    low: float | None = None
    high: float | None = None
    text: str | None = None


class JointRow(SQLModel, table=True):
    """`margin` is in SI; `margin_written` is what the editor wrote."""

    __tablename__ = "joint"
    __table_args__ = (one_of("comparator", "comparator", [c.value for c in Comparator]),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    kind: str = refers("characteristic_kind.name")
    comparator: str = Field(max_length=10)
    other_position: str = refers("position.name")
    other_kind: str = refers("characteristic_kind.name")
    margin: float = 0.0
    margin_written: str = Field(default="", max_length=60)
    reason: str = words()


class BudgetRow(SQLModel, table=True):
    """`usable` is the part of the supply that counts, in hundred-thousandths (exact)."""

    __tablename__ = "budget"
    __table_args__ = (CheckConstraint("usable > 0 AND usable <= 100000", name="usable"),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    circuit: str = Field(default="", sa_column=Column(NAME, nullable=False))
    supply: str = refers("characteristic_kind.name")
    demand: str = refers("characteristic_kind.name")
    usable: int = 100_000
    reason: str = words()


class SupersessionRow(SQLModel, table=True):
    __tablename__ = "supersession"
    __table_args__ = (CheckConstraint("old <> new", name="two_numbers"),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    old: str = refers("component.number")
    new: str = refers("component.number")
    from_date: date | None = None
    both_ways: bool = False


def table(name: str) -> Table:
    """A table of the database by its name."""
    return SQLModel.metadata.tables[name]
