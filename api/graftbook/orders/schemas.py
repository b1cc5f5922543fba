"""What orders, sequences of work and quotations look like."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field
from typing_extensions import TypedDict

from graftbook.document import Document
from graftbook.http.values import GradeWord
from graftbook.questions.closures.schemas import CauseWord, MoneyOut, OutcomeWord, VehicleOut

Fate = Literal["keep with the vehicle", "exchange", "scrap", "rework"]
ReasonWord = Literal[
    "no offer", "none by that date", "stock too small", "least order not reached", "more suppliers needed",
    "not found in time", "no exchange rate",
]  # fmt: skip
DifferenceWord = Literal[
    "amounts put together", "from the shop's store", "not bought", "offers dearer than the catalogue",
    "offers cheaper than the catalogue", "whole packs", "no price in the catalogue",
]  # fmt: skip
WorkWord = Literal["removing", "fitting"]
TimeWord = Literal["recorded", "with its fitting", "not recorded"]
StateWord = Literal["draft", "sent", "partly received", "received", "closed"]


class OrderReasonOut(Document):
    cause: CauseWord
    name: str
    sentence: str
    from_position: str | None


class ShareOut(Document):
    vehicle: str
    positions: list[str]
    quantity: int


ForOut = TypedDict("ForOut", {"for": list[ShareOut]})
"""What a line's pieces are for: a word that no attribute can be called."""


class _LineBoughtOut(Document):
    line: int
    number: str
    name: str
    section: str
    section_title: str
    asked_numbers: list[str]
    chain: Annotated[list[str], Field(description="the numbers from the one asked for to this one")]
    quantity: int
    amount: Annotated[
        str | None, Field(description="of what is bought by volume, mass or length: how much is needed")
    ]
    pack: int
    packs: int
    pieces: int
    surplus: int
    hand: Literal["left", "right"] | None
    pair: Annotated[bool, Field(description="its places are changed together")]
    supplier: Annotated[str | None, Field(description="null: the catalogue knows no suppliers")]
    supplier_title: str | None
    lead_days: int | None
    arrives: str | None
    unit_price: MoneyOut
    total: Annotated[MoneyOut, Field(description="without tax and deposits")]
    tax_rate: Annotated[str | None, Field(description="per cent")]
    tax: MoneyOut
    deposit: MoneyOut
    deposits: MoneyOut


class OrderLineOut(_LineBoughtOut, ForOut):
    reasons: list[str]
    because: list[OrderReasonOut]
    evidence_grade: GradeWord
    cautions: list[str]
    hazard: str | None
    note: str | None


class SupplierOrderOut(Document):
    name: str
    title: str
    lines: int
    parts: MoneyOut
    carriage: MoneyOut
    deposits: MoneyOut
    tax: MoneyOut
    total: MoneyOut
    arrives: str


class FromStockOut(ForOut):
    number: str
    name: str
    quantity: int
    place: str


class AtHandOut(Document):
    number: str
    name: str
    quantity: int
    positions: list[str]
    vehicle: str


class SubstituteOut(Document):
    number: str
    name: str
    sentence: str


class NewPartOut(Document):
    number: str
    name: str


class OfferedOut(Document):
    supplier: str
    title: str
    pieces: Annotated[int, Field(description="at most so many come this way")]
    pack: int
    unit_price: MoneyOut
    arrives: str


class _LackingOut(Document):
    number: str
    name: str
    quantity: int
    reason: ReasonWord
    why: str
    earliest: Annotated[str | None, Field(description="the first day on which all pieces could be there")]
    offered: Annotated[
        list[OfferedOut], Field(description="who has it that day, looked at for this line alone")
    ]
    gets: Annotated[str | None, Field(description="the same, or what stands for it, in words")]
    goes_with: NotRequired[
        Annotated[list[NewPartOut], Field(description="the new components for which a loose part is needed")]
    ]


class NotSuppliedOut(_LackingOut, ForOut):
    substitute: Annotated[
        SubstituteOut | None, Field(description="what somebody supplies and the closure accepts")
    ]


class NotBoughtOut(Document):
    """The lines that are not bought for one reason."""

    reason: ReasonWord
    sentence: str
    numbers: list[str]


class InsteadOut(Document):
    """With this day and this many suppliers more lines are bought; null: any."""

    by: str | None
    at_most_suppliers: int | None
    left_out: Annotated[int, Field(description="lines that are not bought then either")]
    total: Annotated[MoneyOut, Field(description="parts and carriage")]
    suppliers: list[str]
    arrives: str
    proved: Annotated[bool, Field(description="no split of these lines costs less")]
    sentence: str


class PartsDifferenceOut(Document):
    cause: DifferenceWord
    amount: Annotated[MoneyOut, Field(description="what it adds to the order's parts; negative: takes away")]
    numbers: list[str]
    sentence: str


class ReconciliationOut(Document):
    """The answer's parts, at the catalogue's prices, plus all differences are the order's parts."""

    answer_parts: MoneyOut
    order_parts: MoneyOut
    differences: list[PartsDifferenceOut]
    sentence: str


class TakenOffOut(Document):
    vehicle: str
    position: str
    number: str
    name: str
    quantity: int
    replaced_by: str | None
    what: Fate
    why: str


class OrderTotalsOut(Document):
    parts: MoneyOut
    carriage: MoneyOut
    tax: MoneyOut
    deposits: MoneyOut
    total: MoneyOut


class DayPriceOut(Document):
    by: str
    total: MoneyOut
    extra: Annotated[MoneyOut, Field(description="more than the cheapest split")]
    suppliers: list[str]


class SplitOut(Document):
    proved: bool
    gap: MoneyOut
    sentence: str


class OrderVehicleOut(VehicleOut):
    label: str
    wishes: list[str]
    outcome: OutcomeWord
    catalogue_revision: int


class HeadlineOut(Document):
    complete: Annotated[bool, Field(description="false: lines are not bought, and the sums are without them")]
    not_bought: Annotated[int, Field(description="lines that are not bought")]
    lines_needed: Annotated[int, Field(description="numbers to buy, those not bought included")]
    headline: Annotated[str, Field(description="the sum, and what it is without, in words")]


class LackingOut(Document):
    not_bought_why: list[NotBoughtOut]
    instead: Annotated[
        list[InsteadOut], Field(description="terms with which more would be bought, each tried")
    ]
    not_supplied: Annotated[list[NotSuppliedOut], Field(description="the lines that are not bought")]


class PlacedOut(LackingOut):
    """What is ordered, but for its lines: those of a list that is kept say how far they have come."""

    date: str
    currency: str
    suppliers: list[SupplierOrderOut]
    from_stock: list[FromStockOut]
    at_hand: list[AtHandOut]
    taken_off: list[TakenOffOut]
    totals: OrderTotalsOut
    unknown_prices: list[str]
    price_of_days: list[DayPriceOut]
    split: SplitOut
    cautions: list[str]
    defers: str


class BoughtOut(PlacedOut):
    lines: list[OrderLineOut]


class AskedForOut(Document):
    market: str
    catalogue_revision: int
    vehicles: list[OrderVehicleOut]
    reconciliation: Annotated[
        ReconciliationOut | None,
        Field(
            description="why the parts cost otherwise than in the answer; null: not known of a list kept "
            "before"
        ),
    ]


class OrderOut(HeadlineOut, BoughtOut, AskedForOut):
    """What must be bought, from whom, what is not bought and why, what is at hand, and what comes off."""

    name: str | None
    state: StateWord | None


class LooseUseOut(Document):
    component: str
    name: str
    quantity: int
    amount: Annotated[str, Field(description="how much of what the pieces hold; empty: not recorded")]
    goes_on: Annotated[
        Literal["before", "after"] | None, Field(description="before or after the step's own part")
    ]
    sentence: str


class StepOut(Document):
    step: int
    work: WorkWord
    verb: Annotated[
        str, Field(description="what is done, in the words of the trade: `Take off`, `Fit`, `Put back`")
    ]
    for_access: Annotated[
        str | None,
        Field(
            description="nothing is changed here: what it makes of the place while there is work elsewhere, "
            "`off`, `disconnected`, …; `again`: tightened again on the road"
        ),
    ]
    job: Annotated[str, Field(description="the position, the state and the position, or `loose NUMBER`")]
    title: str
    section: str
    section_title: str
    minutes: Annotated[int, Field(description="0 where `time` is not `recorded`")]
    time: TimeWord
    start: Annotated[int | None, Field(description="minutes from the beginning, in the earliest finish")]
    end: int | None
    hands: Annotated[int | None, Field(description="which pair of hands, from 1; 0 where it takes no time")]
    waits_for: Annotated[
        list[int],
        Field(description="steps that are done before, but for those that another of them waits for"),
    ]
    instructions: Annotated[list[str], Field(description="how it is done, and why it makes room")]
    loose_parts: Annotated[list[LooseUseOut], Field(description="what the step uses beside its own part")]
    tools: list[str]
    tightenings: list[str]


class SectionTimeOut(Document):
    section: str
    title: str
    removing: int
    fitting: int
    minutes: int


class CircleOut(Document):
    jobs: list[str]
    records: list[str]
    sentence: str


class WorkOut(Document):
    steps: list[StepOut]
    sections: list[SectionTimeOut]
    minutes: int
    tools: list[str]
    circles: Annotated[
        list[CircleOut], Field(description="records that wait for each other; the lint finds them too")
    ]
    hands: int
    finish_minutes: int
    proved: bool
    proved_of: Annotated[str, Field(description="what `proved` speaks of")]
    orders_recorded: Annotated[
        int, Field(description="records of the order of work that this order respects")
    ]
    steps_without_order: int
    steps_without_time: Annotated[
        int, Field(description="above 0: `minutes` and `finish_minutes` are at least so many")
    ]
    at_least_minutes: int
    longest_chain_minutes: int
    sentence: str
    cautions: list[str]
    defers: str


class FittingAskedOut(Document):
    date: str
    vehicle: VehicleOut
    wishes: list[str]
    outcome: OutcomeWord
    catalogue_revision: int


class FittingOut(FittingAskedOut, WorkOut):
    """The jobs of a closure in an order that respects what comes off and goes on first."""


class QuotedItemOut(Document):
    what: str
    amount: MoneyOut
    tax_rate: str | None


class TaxOnOut(Document):
    rate: str
    on: MoneyOut
    tax: MoneyOut


class PaymentOut(Document):
    on: str
    what: str
    amount: MoneyOut


class SumsOut(Document):
    items: list[QuotedItemOut]
    net: MoneyOut
    taxes: list[TaxOnOut]
    tax: MoneyOut
    deposits: MoneyOut
    total: MoneyOut
    payments: list[PaymentOut]
    sentence: str


class _QuotedOut(Document):
    complete: Annotated[bool, Field(description="false: lines are not bought, and the sum is without them")]
    not_bought: int
    lines_needed: int
    date: str
    currency: str
    market: str
    catalogue_revision: int
    vehicles: list[OrderVehicleOut]
    labour_minutes: int
    labour_rate: MoneyOut


class QuotationOut(_QuotedOut, SumsOut):
    """What a set costs its owner, and in which payments; they add up to the total."""

    not_in_it: Annotated[
        list[str], Field(description="parts without a known price, lines that are not bought")
    ]
    cautions: list[str]
    defers: str
