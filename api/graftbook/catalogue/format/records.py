"""The catalogue's text format: one class per kind of record, a field per column.

These classes are the format's only definition: the sheets that people write, the JSON that
integrations send, the JSON Schema that the API serves and the guide come from
them. References are stable names, never row ids; values carry their unit.
"""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from graftbook.catalogue.format.fields import (
    NAME_PATTERN,
    OF_ITS_KIND,
    UNIT,
    Chassis,
    Conditional,
    Count,
    Day,
    Money,
    Name,
    Names,
    OptionalDay,
    OptionalName,
    Quantity,
    Record,
    Sentence,
    Stated,
    Text,
    Texts,
    WithUnit,
    YesNo,
    clean,
    measured,
    several,
    whole,
)
from graftbook.catalogue.format.records_beside import (
    ExchangeRateRecord,
    MarkRecord,
    OfferRecord,
    OtherWordRecord,
    OutlineRecord,
    ReportRecord,
    SupplierRecord,
    TaxRecord,
    UpgradeRecord,
)
from graftbook.rulebook.model import EffortWord
from graftbook.rulebook.units import QUANTITIES

__all__ = [
    "NAME_PATTERN",
    "QUANTITIES",
    "Conditional",
    "ExchangeRateRecord",
    "MarkRecord",
    "OfferRecord",
    "OtherWordRecord",
    "OutlineRecord",
    "Record",
    "ReportRecord",
    "Stated",
    "SupplierRecord",
    "TaxRecord",
    "UpgradeRecord",
]


Minutes = Annotated[int, Field(ge=0, le=100_000, json_schema_extra={UNIT: "minutes"}), BeforeValidator(whole)]
Order = Annotated[int, Field(ge=0, le=10_000), BeforeValidator(whole)]
Pieces = Annotated[Quantity, Field(json_schema_extra={UNIT: "pieces"})]


class RangeRecord(Record):
    """A family of vehicles."""

    kind_of_record = "range"
    name: Name = Field(description="short name, as variants and conditions write it")
    title: Sentence = Field(description="in words")
    note: Text = Field("", description="anything worth knowing")


class VariantRecord(Record):
    """One version of a range."""

    kind_of_record = "variant"
    name: Name = Field(description="short name, as spans and conditions write it")
    range: Name = Field(description="the range it belongs to")
    title: Sentence = Field(description="in words")
    generation: Name = Field(description="one word for its break in the series")
    body: Name = Field(description="body style")
    engine: Name = Field(description="engine")
    drive: Name = Field(description="driven wheels")
    steering: Literal["left", "right"] = Field(description="steering side")
    market: Name = Field(description="market it was sold in")
    options: Names = several(description="options that a vehicle of this variant may have had from new")
    note: Text = Field("", description="anything worth knowing")


class ChassisSpanRecord(Record):
    """Chassis numbers of a variant, first to last, and when they were built."""

    kind_of_record = "chassis_span"
    variant: Name = Field(description="the variant that was built under these numbers")
    first: Chassis = Field(description="first chassis number")
    last: Chassis = Field(description="last chassis number")
    built_from: Day = Field(description="first day built")
    built_to: Day = Field(description="last day built")


class SectionRecord(Record):
    """A section of the vehicle."""

    kind_of_record = "section"
    name: Name = Field(description="short name, as positions and components write it")
    title: Sentence = Field(description="in words")
    order: Order = Field(description="place among the sections, from 0")


class PositionRecord(Conditional):
    """One place on a vehicle where one component sits. Conditions here are the variant's only."""

    kind_of_record = "position"
    name: Name = Field(description="short name, the place from the general to the exact: `brake.front.left`")
    section: Name = Field(description="the section it belongs to")
    title: Sentence = Field(description="in words")
    essential: YesNo = Field(True, description="never left empty")
    side: Literal["", "left", "right", "front", "rear"] = Field(
        "", description="side of the vehicle, where there are several"
    )
    pair: OptionalName = Field(
        "", description="name shared by the positions that are changed together: one component, or its twin"
    )
    circuit: OptionalName = Field("", description="the circuit that a budget sums over")
    order: Order = Field(0, description="place in its section")


class CharacteristicKindRecord(Record):
    """A kind of characteristic and what it is measured in."""

    kind_of_record = "characteristic_kind"
    name: Name = Field(description="short name, as characteristics write it: `bolt_circle`")
    title: Sentence = Field(description="in words")
    quantity: Annotated[
        str, BeforeValidator(clean), Field(min_length=1, json_schema_extra={"enum": list(QUANTITIES)})
    ] = Field(description="what is measured; `choice` names its own words")
    choices: Texts = several(description="the permitted words, for quantity `choice`")
    least: WithUnit = Field("", description="nothing of this kind is below it, with unit: `6 mm`")
    most: WithUnit = Field("", description="nothing of this kind is above it, with unit: `100 mm`")
    note: Text = Field("", description="anything worth knowing")


class EvidenceRecord(Record):
    """Why something is believed."""

    kind_of_record = "evidence"
    name: Name = Field(description="short name, as claims write it")
    grade: Literal[
        "hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven"
    ] = Field(description="how it is known, weakest first")
    reference: Sentence = Field(description="where it stands: book and page, sheet, job")
    on: OptionalDay = Field(None, description="the day")
    who: Text = Field("", description="who says so")
    fitted: Count = Field(0, description="how many times it fitted")
    not_fitted: Count = Field(0, description="how many times it did not")
    note: Text = Field("", description="anything worth knowing")


class ComponentRecord(Record):
    """One part number."""

    kind_of_record = "component"
    number: Name = Field(description="part number, as it is ordered")
    name: Sentence = Field(description="what it is, in words")
    section: Name = Field(description="the section it belongs to")
    origin: Literal["original", "later-model", "modern"] = Field(
        description="from the factory for these vehicles, for later ones, or made today"
    )
    supply: Literal["current", "superseded", "no longer supplied"] = Field(
        "current", description="whether it can still be had"
    )
    price: Money | None = Field(None, description="one piece, in the catalogue's currency; empty: unknown")
    deposit: Money = Field(Decimal(0), description="exchange deposit on one piece")
    mass: WithUnit = Field("", json_schema_extra=measured("mass"), description="with unit: `1.2 kg`")
    pack: Pieces = Field(1, description="pieces in a pack")
    hazard: Text = Field("", description="hazard of handling or shipping it")
    visible: YesNo = Field(False, description="seen on the finished vehicle without lifting anything")
    twin: OptionalName = Field("", description="number of its handed twin")
    note: Text = Field("", description="anything worth knowing")
    effort: EffortWord = Field(
        "direct", description="of a loose part: the work that it asks for; elsewhere its fitments say it"
    )
    minutes: Minutes = Field(0, description="of a loose part: labour for one piece")
    reworked: YesNo = Field(
        False, description="the vehicle's own part that it replaces is worked on to make it: none comes off"
    )


class CharacteristicRecord(Record):
    """A measured or stated property of a component, or of a variant."""

    kind_of_record = "characteristic"
    component: OptionalName = Field("", description="component number, or")
    variant: OptionalName = Field("", description="variant name")
    kind: Name = Field(description="kind of characteristic")
    value: Sentence = Field(
        json_schema_extra={UNIT: OF_ITS_KIND}, description="with its unit; a span is `4.5 .. 6 in`"
    )
    evidence: Names = several(description="names of evidence records")


class FitmentRecord(Stated):
    """A component goes in a position."""

    kind_of_record = "fitment"
    name: OptionalName = Field("", description="empty: `component@position`")
    component: Name = Field(description="the component that goes there")
    position: Name = Field(description="the place where it goes")
    effort: EffortWord = Field("direct", description="the work that it asks for")
    quantity: Pieces = Field(1, description="pieces that sit there")
    minutes: Minutes = Field(0, description="labour")
    from_new: YesNo = Field(False, description="the factory fitted it to these vehicles")
    tools: Texts = several(description="special tools that the work needs")


class SubstituteRecord(Stated):
    """For the original, this component serves instead."""

    kind_of_record = "substitute"
    name: OptionalName = Field("", description="empty: `original>component`")
    original: Name = Field(description="number that is replaced")
    component: Name = Field(description="number that serves instead")
    position: OptionalName = Field("", description="empty: wherever the original sits")
    both_ways: YesNo = Field(False, description="the original serves for the component too")
    improves: Text = Field("", description="what is better with it")


class FlawRecord(Stated):
    """A known flaw of a component, and of others that have the same."""

    kind_of_record = "flaw"
    name: Name = Field(description="short name, as wishes write it")
    component: Name = Field(description="number that has the flaw")
    also_of: Names = Field(
        [], description="further components with the same flaw: none of them remedies it on another"
    )
    severity: Literal["minor", "moderate", "severe", "dangerous"] = Field(description="how bad it is")
    symptom: Sentence = Field(description="what one sees, hears or feels")
    appears_when: Text = Field("", description="when it shows")
    substitutes: Names = several(description="names of substitute records that remedy it")
    add_ons: Names = several(description="components that remedy it while the flawed one stays")


class CompanionRecord(Stated):
    """When the component is fitted, at least one of the alternatives must be fitted too.

    One row is one alternative; further rows with the same name add alternatives and leave the
    other columns empty. All-of is several records.
    """

    kind_of_record = "companion"
    name: Name = Field(description="short name; further rows with it add alternatives")
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
    quantity: Pieces = Field(1, description="alternative: of a loose component")
    amount: WithUnit = Field(
        "",
        json_schema_extra=measured("volume", "mass", "length"),
        description="alternative: how much of a loose component, with unit: `1.2 l`",
    )
    goes_on: Literal["", "before", "after"] = Field(
        "", description="alternative: it goes on before or after the component that demands it"
    )
    goes_in: OptionalName = Field(
        "", description="alternative: position in whose step a loose component is used, if it is another's"
    )
    having: Texts = Field(
        [],
        json_schema_extra={UNIT: OF_ITS_KIND},
        description="alternative: values wanted of what sits there: `master_bore at least 22 mm`",
    )
    empty: YesNo = Field(False, description="alternative: the position stays empty")


class ConflictRecord(Stated):
    """Two things that may not be fitted together; each a component, or values at a position."""

    kind_of_record = "conflict"
    name: Name = Field(description="short name")
    component: OptionalName = Field("", description="one side: this component, or")
    position: OptionalName = Field("", description="one side: what sits here, with the values in `having`")
    having: Texts = Field(
        [],
        json_schema_extra={UNIT: OF_ITS_KIND},
        description="one side: the values: `polarity equal negative`",
    )
    other_component: OptionalName = Field("", description="other side: this component, or")
    other_position: OptionalName = Field("", description="other side: what sits here")
    other_having: Texts = Field(
        [],
        json_schema_extra={UNIT: OF_ITS_KIND},
        description="other side: the values: `polarity equal negative`",
    )
    reason: Sentence = Field(description="one sentence")


class JointRecord(Stated):
    """Two positions whose components must agree on a characteristic."""

    kind_of_record = "joint"
    name: Name = Field(description="short name")
    position: Name = Field(description="one place")
    characteristic: Name = Field(description="kind that must agree, of what sits at `position`")
    comparator: Literal["equal", "at least", "at most", "within"] = Field(
        description="how it must stand to the other: `within` a span of the other"
    )
    other_position: Name = Field(description="the other place")
    other_characteristic: OptionalName = Field("", description="empty: the same kind")
    margin: WithUnit = Field("", description="how much the two may differ, with unit: `0.5 mm`")
    reason: Sentence = Field(description="one sentence")


class BudgetRecord(Stated):
    """The supplies of a characteristic must cover the demands."""

    kind_of_record = "budget"
    name: Name = Field(description="short name")
    circuit: OptionalName = Field("", description="empty: the whole vehicle")
    supply: Name = Field(description="kind of characteristic")
    demand: Name = Field(description="kind of characteristic")
    usable: Annotated[Decimal, Field(gt=0, le=1, max_digits=5)] = Field(
        Decimal(1), description="part of the supply that counts", json_schema_extra={UNIT: "part of 1"}
    )
    reason: Sentence = Field(description="one sentence")


class SupersessionRecord(Record):
    """Number `old` is now number `new`."""

    kind_of_record = "supersession"
    name: OptionalName = Field("", description="empty: `old>>new`")
    old: Name = Field(description="number that was")
    new: Name = Field(description="number that it is now")
    from_date: OptionalDay = Field(None, description="first day of the new number")
    both_ways: YesNo = Field(
        False, description="the new number serves for the old one and the other way round"
    )
    evidence: Names = several(description="names of evidence records")
    note: Text = Field("", description="anything worth knowing")


class PrecedenceRecord(Stated):
    """The work at one position is done before the work at another."""

    kind_of_record = "precedence"
    name: Name = Field(description="short name")
    first: Name = Field(description="position: the work at `first` comes before …")
    then: Name = Field(description="position: … the work at `then`")
    work: Literal["fitting", "removing"] = Field("fitting", description="when parts go on, or come off")
    reason: Sentence = Field(description="one sentence")


class AccessRecord(Stated):
    """What is off, or made safe, while there is work at a position; undone afterwards."""

    kind_of_record = "access"
    name: Name = Field(description="short name")
    position: Name = Field(description="where the work is")
    component: OptionalName = Field("", description="only while this is fitted there; empty: for any work")
    other_position: Name = Field(description="what is off, or made safe, for it")
    other_component: OptionalName = Field("", description="only while this sits there; empty: whatever does")
    state: Literal["off", "carried over", "disconnected", "depressurised", "on stands", "drained", "bled"] = (
        Field("off", description="`carried over`: from the old component at `position` to the new one")
    )
    opening: Text = Field("", description="what is done before; empty: no more than the state says")
    closing: Text = Field("", description="what is done after; empty: no more than undoing the state")
    reason: Sentence = Field(description="one sentence")


class TighteningRecord(Stated):
    """How tight a fastener at a position is made."""

    kind_of_record = "tightening"
    name: Name = Field(description="short name")
    position: Name = Field(description="where the fastener is")
    component: OptionalName = Field("", description="only while this sits there; empty: whatever sits there")
    fastener: Sentence = Field(description="what is tightened, in words: `wheel nut`")
    torque: WithUnit = Field(
        min_length=1,
        json_schema_extra=measured("torque"),
        description="with unit, or a span: `95 Nm`, `40 .. 48 Nm`",
    )
    angle: WithUnit = Field(
        "", json_schema_extra=measured("angle"), description="turned on after the torque, with unit: `60 deg`"
    )
    again_after: WithUnit = Field(
        "",
        json_schema_extra=measured("length"),
        description="distance after which it is tightened again: `50 mile`",
    )


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
    PrecedenceRecord,
    AccessRecord,
    TighteningRecord,
    UpgradeRecord,
    ReportRecord,
    OtherWordRecord,
    OutlineRecord,
    MarkRecord,
    SupplierRecord,
    OfferRecord,
    TaxRecord,
    ExchangeRateRecord,
)
"""Every kind, each after those it refers to: the order of an export."""

KindWord = Literal[
    "range", "section", "characteristic_kind", "evidence", "variant", "chassis_span", "position", "component",
    "characteristic", "fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget",
    "supersession", "precedence", "access", "tightening", "upgrade", "report", "other_word", "outline",
    "mark", "supplier", "offer", "tax", "exchange_rate",
]  # fmt: skip
"""The words for the kinds, as addresses name them; a test holds them to `KINDS`."""

KIND_BY_WORD: dict[str, type[Record]] = {kind.kind_of_record: kind for kind in KINDS}
