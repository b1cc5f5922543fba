"""What orders look like, for the OpenAPI document."""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from graftbook.http.values import GradeWord
from graftbook.questions.closures.schemas import CauseWord, MoneyOut, Out, OutcomeWord, VehicleOut

Fate = Literal["keep with the vehicle", "exchange", "scrap"]
ReasonWord = Literal[
    "no offer", "none by that date", "stock too small", "least order not reached", "more suppliers needed",
    "not found in time", "no exchange rate",
]  # fmt: skip
DifferenceWord = Literal[
    "amounts put together", "from the shop's store", "not bought", "offers dearer than the catalogue",
    "offers cheaper than the catalogue", "whole packs", "no price in the catalogue",
]  # fmt: skip
StateWord = Literal["draft", "sent", "partly received", "received", "closed"]


class OrderReasonOut(Out):
    cause: CauseWord
    name: str
    sentence: str
    from_position: str | None


class ShareOut(Out):
    vehicle: str
    positions: list[str]
    quantity: int


class OrderLineOut(Out):
    line: int
    number: str
    name: str
    section: str
    section_title: str
    asked_numbers: list[str]
    chain: list[str] = Field(description="the numbers from the one asked for to this one")
    quantity: int
    amount: str | None = Field(description="of what is bought by volume, mass or length: how much is needed")
    pack: int
    packs: int
    pieces: int
    surplus: int
    hand: Literal["left", "right"] | None
    pair: bool = Field(description="its places are changed together")
    supplier: str | None = Field(description="null: the catalogue knows no suppliers")
    supplier_title: str | None
    lead_days: int | None
    arrives: str | None
    unit_price: MoneyOut
    total: MoneyOut = Field(description="without tax and deposits")
    tax_rate: str | None = Field(description="per cent")
    tax: MoneyOut
    deposit: MoneyOut
    deposits: MoneyOut
    for_: list[ShareOut] = Field(alias="for")
    reasons: list[str]
    because: list[OrderReasonOut]
    evidence_grade: GradeWord
    cautions: list[str]
    hazard: str | None
    note: str | None


class SupplierOrderOut(Out):
    name: str
    title: str
    lines: int
    parts: MoneyOut
    carriage: MoneyOut
    deposits: MoneyOut
    tax: MoneyOut
    total: MoneyOut
    arrives: str


class FromStockOut(Out):
    number: str
    name: str
    quantity: int
    place: str


class AtHandOut(Out):
    number: str
    name: str
    quantity: int
    positions: list[str]
    vehicle: str


class SubstituteOut(Out):
    number: str
    name: str
    sentence: str


class NewPartOut(Out):
    number: str
    name: str


class OfferedOut(Out):
    supplier: str
    title: str
    pieces: int = Field(description="at most so many come this way")
    pack: int
    unit_price: MoneyOut
    arrives: str


class NotSuppliedOut(Out):
    number: str
    name: str
    quantity: int
    reason: ReasonWord
    why: str
    earliest: str | None = Field(description="the first day on which all pieces could be there")
    offered: list[OfferedOut] = Field(description="who has it that day, looked at for this line alone")
    gets: str | None = Field(description="the same, or what stands for it, in words")
    goes_with: list[NewPartOut] = Field(
        default_factory=list, description="the new components for which a loose part is needed"
    )
    for_: list[ShareOut] = Field(alias="for")
    substitute: SubstituteOut | None = Field(description="what somebody supplies and the closure accepts")


class NotBoughtOut(Out):
    """The lines that are not bought for one reason."""

    reason: ReasonWord
    sentence: str
    numbers: list[str]


class InsteadOut(Out):
    """With this day and this many suppliers more lines are bought; null: any."""

    by: str | None
    at_most_suppliers: int | None
    left_out: int = Field(description="lines that are not bought then either")
    total: MoneyOut = Field(description="parts and carriage")
    suppliers: list[str]
    arrives: str
    proved: bool = Field(description="no split of these lines costs less")
    sentence: str


class PartsDifferenceOut(Out):
    cause: DifferenceWord
    amount: MoneyOut = Field(description="what it adds to the order's parts; negative: takes away")
    numbers: list[str]
    sentence: str


class ReconciliationOut(Out):
    """The answer's parts, at the catalogue's prices, plus all differences are the order's parts."""

    answer_parts: MoneyOut
    order_parts: MoneyOut
    differences: list[PartsDifferenceOut]
    sentence: str


class TakenOffOut(Out):
    vehicle: str
    position: str
    number: str
    name: str
    quantity: int
    replaced_by: str | None
    what: Fate
    why: str


class OrderTotalsOut(Out):
    parts: MoneyOut
    carriage: MoneyOut
    tax: MoneyOut
    deposits: MoneyOut
    total: MoneyOut


class DayPriceOut(Out):
    by: str
    total: MoneyOut
    extra: MoneyOut = Field(description="more than the cheapest split")
    suppliers: list[str]


class SplitOut(Out):
    proved: bool
    gap: MoneyOut
    sentence: str


class OrderVehicleOut(VehicleOut):
    label: str
    wishes: list[str]
    outcome: OutcomeWord
    catalogue_revision: int


class OrderOut(Out):
    """What must be bought, from whom, what is not bought and why, what is at hand, and what comes off."""

    name: str | None
    state: StateWord | None
    complete: bool = Field(description="false: lines are not bought, and the sums are without them")
    not_bought: int = Field(description="lines that are not bought")
    lines_needed: int = Field(description="numbers to buy, those not bought included")
    headline: str = Field(description="the sum, and what it is without, in words")
    not_bought_why: list[NotBoughtOut]
    instead: list[InsteadOut] = Field(description="terms with which more would be bought, each tried")
    not_supplied: list[NotSuppliedOut] = Field(description="the lines that are not bought")
    date: str
    market: str
    catalogue_revision: int
    currency: str
    vehicles: list[OrderVehicleOut]
    lines: Sequence[OrderLineOut]
    suppliers: list[SupplierOrderOut]
    from_stock: list[FromStockOut]
    at_hand: list[AtHandOut]
    taken_off: list[TakenOffOut]
    totals: OrderTotalsOut
    reconciliation: ReconciliationOut | None = Field(
        description="why the parts cost otherwise than in the answer; null: not known of a list kept before"
    )
    unknown_prices: list[str]
    price_of_days: list[DayPriceOut]
    split: SplitOut
    cautions: list[str]
    defers: str


class LooseUseOut(Out):
    component: str
    name: str
    quantity: int
    amount: str = Field(description="how much of what the pieces hold; empty: not recorded")
    goes_on: Literal["before", "after"] | None = Field(description="before or after the step's own part")
    sentence: str


class StepOut(Out):
    step: int
    work: Literal["removing", "fitting"]
    verb: str = Field(description="what is done, in the words of the trade: `Take off`, `Fit`, `Put back`")
    for_access: str | None = Field(
        description="nothing is changed here: what it makes of the place while there is work elsewhere, "
        "`off`, `disconnected`, …; `again`: tightened again on the road"
    )
    job: str = Field(description="the position, the state and the position, or `loose NUMBER`")
    title: str
    section: str
    section_title: str
    minutes: int = Field(description="0 where `time` is not `recorded`")
    time: Literal["recorded", "with its fitting", "not recorded"]
    start: int | None = Field(description="minutes from the beginning, in the earliest finish")
    end: int | None
    hands: int | None = Field(description="which pair of hands, from 1; 0 where it takes no time")
    waits_for: list[int] = Field(
        description="steps that are done before, but for those that another of them waits for"
    )
    instructions: list[str] = Field(description="how it is done, and why it makes room")
    loose_parts: list[LooseUseOut] = Field(description="what the step uses beside its own part")
    tools: list[str]
    tightenings: list[str]


class SectionTimeOut(Out):
    section: str
    title: str
    removing: int
    fitting: int
    minutes: int


class CircleOut(Out):
    jobs: list[str]
    records: list[str]
    sentence: str


class FittingOut(Out):
    """The jobs of a closure in an order that respects what comes off and goes on first."""

    date: str
    vehicle: VehicleOut
    wishes: list[str]
    outcome: OutcomeWord
    catalogue_revision: int
    steps: list[StepOut]
    sections: list[SectionTimeOut]
    minutes: int
    tools: list[str]
    circles: list[CircleOut] = Field(description="records that wait for each other; the lint finds them too")
    hands: int
    finish_minutes: int
    proved: bool
    proved_of: str = Field(description="what `proved` speaks of")
    orders_recorded: int = Field(description="records of the order of work that this order respects")
    steps_without_order: int
    steps_without_time: int = Field(
        description="above 0: `minutes` and `finish_minutes` are at least so many"
    )
    at_least_minutes: int
    longest_chain_minutes: int
    sentence: str
    cautions: list[str]
    defers: str


class QuotedItemOut(Out):
    what: str
    amount: MoneyOut
    tax_rate: str | None


class TaxOnOut(Out):
    rate: str
    on: MoneyOut
    tax: MoneyOut


class PaymentOut(Out):
    on: str
    what: str
    amount: MoneyOut


class QuotationOut(Out):
    """What a set costs its owner, and in which payments; they add up to the total."""

    complete: bool = Field(description="false: lines are not bought, and the sum is without them")
    not_bought: int
    lines_needed: int
    date: str
    currency: str
    market: str
    catalogue_revision: int
    vehicles: list[OrderVehicleOut]
    labour_minutes: int
    labour_rate: MoneyOut
    items: list[QuotedItemOut]
    net: MoneyOut
    taxes: list[TaxOnOut]
    tax: MoneyOut
    deposits: MoneyOut
    total: MoneyOut
    payments: list[PaymentOut]
    sentence: str
    not_in_it: list[str] = Field(description="parts without a known price, lines that are not bought")
    cautions: list[str]
    defers: str
