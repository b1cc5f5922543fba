"""The catalogue's text format: one class per kind of record, a field per column.

These classes are the format's only definition: the sheets that people write, the JSON that
integrations send, the JSON Schema that the API serves and the table in DEVELOPERS.md come from
them. References are stable names, never row ids; values carry their unit.

In a sheet a cell is text: a list is written with `;` between its items, yes and no are `yes` and
`no`, a date is `1968-03-01`, an empty cell is the field's default.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from api.rulebook.units import QUANTITIES

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 ._:/>@+-]{0,119}$"
CHASSIS_PATTERN = r"^[A-Z0-9]{1,8}-[0-9]{1,9}$"
# Control characters, bidirectional marks and lone surrogates have no place in a parts book.
_UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


def _clean(value: Any) -> Any:
    if isinstance(value, str):
        if found := _UNPRINTABLE.search(value):
            raise ValueError(f"character U+{ord(found.group()):04X} cannot be stored")
        return value.strip()
    return value


def _split(value: Any) -> Any:
    if isinstance(value, str):
        return [item.strip() for item in value.split(";") if item.strip()]
    return value


def _yes_no(value: Any) -> Any:
    if isinstance(value, str):
        word = value.strip().lower()
        if word in ("yes", "no"):
            return word == "yes"
        raise ValueError("yes or no is expected")
    return value


Name = Annotated[str, BeforeValidator(_clean), StringConstraints(pattern=NAME_PATTERN)]
OptionalName = Annotated[str, BeforeValidator(_clean), StringConstraints(pattern=rf"^$|{NAME_PATTERN}")]
Text = Annotated[str, BeforeValidator(_clean), StringConstraints(max_length=2000)]
Sentence = Annotated[str, BeforeValidator(_clean), StringConstraints(min_length=1, max_length=2000)]
Names = Annotated[list[Name], BeforeValidator(_split), Field(max_length=200)]
Texts = Annotated[list[Sentence], BeforeValidator(_split), Field(max_length=200)]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
Chassis = Annotated[str, BeforeValidator(_clean), StringConstraints(pattern=CHASSIS_PATTERN)]
Money = Annotated[Decimal, Field(ge=0, max_digits=12, decimal_places=2)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
Quantity = Annotated[int, Field(ge=1, le=100_000)]


class Record(BaseModel):
    """One record. `kind_of_record` is the word in the sheet's `[…]` row."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    kind_of_record: ClassVar[str]


class Conditional(Record):
    """Columns of every record that may hold for some vehicles only; all that are given must hold.

    A second record says "or". Empty means: wherever it makes sense.
    """

    range: OptionalName = Field(
        "", description="the range it holds for; may be empty while the catalogue has one range"
    )
    variants: Names = Field([], description="variant names")
    generations: Names = Field([], description="generations")
    bodies: Names = Field([], description="body styles")
    engines: Names = Field([], description="engines")
    drives: Names = Field([], description="driven wheels")
    steering: Literal["", "left", "right"] = Field("", description="steering side")
    markets: Names = Field([], description="markets")
    options: Names = Field([], description="options that the vehicle must have")
    without: Names = Field([], description="options that it must not have")
    chassis_from: Annotated[
        str, BeforeValidator(_clean), StringConstraints(pattern=rf"^$|{CHASSIS_PATTERN}")
    ] = Field("", description="first chassis number")
    chassis_to: Annotated[
        str, BeforeValidator(_clean), StringConstraints(pattern=rf"^$|{CHASSIS_PATTERN}")
    ] = Field("", description="last chassis number")
    built_from: date | None = Field(None, description="first day built")
    built_to: date | None = Field(None, description="last day built")


class Stated(Conditional):
    """A claim: a conditional record with evidence."""

    evidence: Names = Field([], description="names of evidence records")
    note: Text = Field("", description="anything worth knowing")


class RangeRecord(Record):
    """A family of vehicles."""

    kind_of_record = "range"
    name: Name
    title: Sentence
    note: Text = ""


class VariantRecord(Record):
    """One version of a range."""

    kind_of_record = "variant"
    name: Name
    range: Name
    title: Sentence
    generation: Name
    body: Name
    engine: Name
    drive: Name = Field(description="driven wheels")
    steering: Literal["left", "right"]
    market: Name
    options: Names = Field([], description="options that a vehicle of this variant may have had from new")
    note: Text = ""


class ChassisSpanRecord(Record):
    """Chassis numbers of a variant, first to last, and when they were built."""

    kind_of_record = "chassis_span"
    variant: Name
    first: Chassis
    last: Chassis
    built_from: date
    built_to: date


class SectionRecord(Record):
    """A section of the vehicle."""

    kind_of_record = "section"
    name: Name
    title: Sentence
    order: Annotated[int, Field(ge=0, le=10_000)]


class PositionRecord(Conditional):
    """One place on a vehicle where one component sits. Conditions here are the variant's only."""

    kind_of_record = "position"
    name: Name
    section: Name
    title: Sentence
    essential: YesNo = Field(True, description="never left empty")
    side: Literal["", "left", "right", "front", "rear"] = ""
    pair: OptionalName = Field("", description="name shared by the positions that are changed together")
    circuit: OptionalName = Field("", description="the circuit that a budget sums over")
    order: Annotated[int, Field(ge=0, le=10_000)] = Field(0, description="place in its section")


class CharacteristicKindRecord(Record):
    """A kind of characteristic and what it is measured in."""

    kind_of_record = "characteristic_kind"
    name: Name
    title: Sentence
    quantity: Annotated[str, BeforeValidator(_clean), Field(json_schema_extra={"enum": list(QUANTITIES)})]
    choices: Texts = Field([], description="the permitted words, for quantity `choice`")
    note: Text = ""


class EvidenceRecord(Record):
    """Why something is believed."""

    kind_of_record = "evidence"
    name: Name
    grade: Literal["hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven"]
    reference: Sentence
    on: date | None = Field(None, description="the day")
    who: Text = ""
    fitted: Count = Field(0, description="how many times it fitted")
    not_fitted: Count = Field(0, description="how many times it did not")
    note: Text = ""


class ComponentRecord(Record):
    """One part number."""

    kind_of_record = "component"
    number: Name
    name: Sentence
    section: Name
    origin: Literal["original", "later-model", "modern"]
    supply: Literal["current", "superseded", "no longer supplied"] = "current"
    price: Money | None = Field(None, description="one piece, in the catalogue's currency; empty: unknown")
    deposit: Money = Field(Decimal(0), description="exchange deposit on one piece")
    mass: Annotated[str, BeforeValidator(_clean)] = Field("", description="with unit: `1.2 kg`")
    pack: Quantity = Field(1, description="pieces in a pack")
    hazard: Text = Field("", description="hazard of handling or shipping it")
    visible: YesNo = Field(False, description="seen on the finished vehicle without lifting anything")
    twin: OptionalName = Field("", description="number of its handed twin")
    note: Text = ""


class CharacteristicRecord(Record):
    """A measured or stated property of a component, or of a variant."""

    kind_of_record = "characteristic"
    component: OptionalName = Field("", description="component number, or")
    variant: OptionalName = Field("", description="variant name")
    kind: Name
    value: Sentence = Field(description="with its unit; a span is `4.5 .. 6 in`")
    evidence: Names = []


class FitmentRecord(Stated):
    """A component goes in a position."""

    kind_of_record = "fitment"
    name: OptionalName = Field("", description="empty: `component@position`")
    component: Name
    position: Name
    effort: Literal["direct", "with companions", "machining", "cutting"] = "direct"
    quantity: Quantity = 1
    minutes: Annotated[int, Field(ge=0, le=100_000)] = Field(0, description="labour")
    from_new: YesNo = Field(False, description="the factory fitted it to these vehicles")


class SubstituteRecord(Stated):
    """For the original, this component serves instead."""

    kind_of_record = "substitute"
    name: OptionalName = Field("", description="empty: `original>component`")
    original: Name
    component: Name
    position: OptionalName = Field("", description="empty: wherever the original sits")
    both_ways: YesNo = False
    improves: Text = ""


class FlawRecord(Stated):
    """A known flaw of a component."""

    kind_of_record = "flaw"
    name: Name
    component: Name
    severity: Literal["minor", "moderate", "severe", "dangerous"]
    symptom: Sentence
    appears_when: Text = ""
    substitutes: Names = Field([], description="names of substitute records that remedy it")
    add_ons: Names = Field([], description="components that remedy it while the flawed one stays")


class CompanionRecord(Stated):
    """When the component is fitted, at least one of the alternatives must be fitted too.

    One row is one alternative; further rows with the same name add alternatives and leave the
    other columns empty. All-of is several records.
    """

    kind_of_record = "companion"
    name: Name
    component: OptionalName = Field("", description="the component that demands")
    position: OptionalName = Field("", description="only when it sits here")
    strength: Literal["", "required", "advised"] = Field("", description="empty: required")
    reason: Text = Field("", description="one sentence")
    one_serves_all: YesNo = Field(
        False, description="a loose part that is needed once however many ask for it"
    )
    fit: OptionalName = Field("", description="alternative: this component")
    at: OptionalName = Field(
        "", description="alternative: at this position; empty: any it fits, or loose if it fits none"
    )
    quantity: Quantity = Field(1, description="alternative: of a loose component")
    having: Texts = Field([], description="alternative: wanted values at `at`: `master_bore at least 22 mm`")
    empty: YesNo = Field(False, description="alternative: nothing at `at`")


class ConflictRecord(Stated):
    """Two things that may not be fitted together; each a component, or values at a position."""

    kind_of_record = "conflict"
    name: Name
    component: OptionalName = ""
    position: OptionalName = ""
    having: Texts = []
    other_component: OptionalName = ""
    other_position: OptionalName = ""
    other_having: Texts = []
    reason: Sentence


class JointRecord(Stated):
    """Two positions whose components must agree on a characteristic."""

    kind_of_record = "joint"
    name: Name
    position: Name
    characteristic: Name
    comparator: Literal["equal", "at least", "at most", "within"]
    other_position: Name
    other_characteristic: OptionalName = Field("", description="empty: the same kind")
    margin: Annotated[str, BeforeValidator(_clean)] = Field("", description="with unit")
    reason: Sentence


class BudgetRecord(Stated):
    """The supplies of a characteristic must cover the demands."""

    kind_of_record = "budget"
    name: Name
    circuit: OptionalName = Field("", description="empty: the whole vehicle")
    supply: Name = Field(description="kind of characteristic")
    demand: Name = Field(description="kind of characteristic")
    usable: Annotated[Decimal, Field(gt=0, le=1, max_digits=5)] = Field(
        Decimal(1), description="part of the supply that counts"
    )
    reason: Sentence


class SupersessionRecord(Record):
    """Number `old` is now number `new`."""

    kind_of_record = "supersession"
    name: OptionalName = Field("", description="empty: `old>>new`")
    old: Name
    new: Name
    from_date: date | None = None
    both_ways: YesNo = False
    evidence: Names = []
    note: Text = ""


KINDS: tuple[type[Record], ...] = (
    RangeRecord,
    SectionRecord,
    CharacteristicKindRecord,
    EvidenceRecord,
    VariantRecord,
    ChassisSpanRecord,
    PositionRecord,
    ComponentRecord,
    CharacteristicRecord,
    FitmentRecord,
    SubstituteRecord,
    FlawRecord,
    CompanionRecord,
    ConflictRecord,
    JointRecord,
    BudgetRecord,
    SupersessionRecord,
)
"""Every kind, each after those it refers to: the order of an export."""

KindWord = Literal[
    "range", "section", "characteristic_kind", "evidence", "variant", "chassis_span", "position", "component",
    "characteristic", "fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget",
    "supersession",
]  # fmt: skip
"""The words for the kinds, as addresses name them; a test holds them to `KINDS`."""

KIND_BY_WORD: dict[str, type[Record]] = {kind.kind_of_record: kind for kind in KINDS}
