"""What orders, sequences of work and quotations look like."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field
from typing_extensions import TypedDict

from graftbook.document import DayOut, Document, RateOut
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
    """Why a line is on the order."""

    cause: CauseWord
    name: str
    sentence: str
    from_position: str | None


class ShareOut(Document):
    """Which part of a line's pieces is for which vehicle."""

    vehicle: Annotated[str, Field(description="label of the vehicle")]
    positions: Annotated[list[str], Field(description="where they go")]
    quantity: Annotated[int, Field(description="pieces for them")]


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
    arrives: Annotated[
        DayOut | None, Field(description="the day it is there; null: the catalogue knows no suppliers")
    ]
    unit_price: MoneyOut
    total: Annotated[MoneyOut, Field(description="without tax and deposits")]
    tax_rate: Annotated[RateOut | None, Field(description="per cent")]
    tax: MoneyOut
    deposit: MoneyOut
    deposits: MoneyOut


class OrderLineOut(_LineBoughtOut, ForOut):
    """A number to buy, how many, from whom, at what price, and why."""

    reasons: list[str]
    because: list[OrderReasonOut]
    evidence_grade: GradeWord
    cautions: list[str]
    hazard: str | None
    note: str | None


class SupplierOrderOut(Document):
    """What one supplier sends, and what it comes to."""

    name: Annotated[str, Field(description="name of the supplier")]
    title: Annotated[str, Field(description="the supplier in words")]
    lines: Annotated[int, Field(description="how many numbers it sends")]
    parts: Annotated[MoneyOut, Field(description="without carriage, deposits and tax")]
    carriage: MoneyOut
    deposits: MoneyOut
    tax: MoneyOut
    total: Annotated[MoneyOut, Field(description="parts, carriage, tax and deposits")]
    arrives: Annotated[DayOut, Field(description="the day all of it is there")]


class FromStockOut(ForOut):
    """What the shop's own store gives."""

    number: str
    name: str
    quantity: int
    place: str


class AtHandOut(Document):
    """What lies on the bench already."""

    number: str
    name: str
    quantity: int
    positions: Annotated[list[str], Field(description="where it goes")]
    vehicle: Annotated[str, Field(description="label of the vehicle")]


class SubstituteOut(Document):
    """Another number that the closure accepts."""

    number: str
    name: str
    sentence: Annotated[str, Field(description="why it may stand for it, in words")]


class NewPartOut(Document):
    """A new component."""

    number: str
    name: str


class OfferedOut(Document):
    """A supplier who has a number, and when it could be there."""

    supplier: str
    title: Annotated[str, Field(description="the supplier in words")]
    pieces: Annotated[int, Field(description="at most so many come this way")]
    pack: int
    unit_price: MoneyOut
    arrives: Annotated[DayOut, Field(description="the day it could be there")]


class _LackingOut(Document):
    number: str
    name: str
    quantity: int
    reason: ReasonWord
    why: Annotated[str, Field(description="the reason in words")]
    earliest: Annotated[DayOut | None, Field(description="the first day on which all pieces could be there")]
    offered: Annotated[
        list[OfferedOut], Field(description="who has it that day, looked at for this line alone")
    ]
    gets: Annotated[str | None, Field(description="the same, or what stands for it, in words")]
    goes_with: NotRequired[
        Annotated[list[NewPartOut], Field(description="the new components for which a loose part is needed")]
    ]


class NotSuppliedOut(_LackingOut, ForOut):
    """A line that is not bought, and why."""

    substitute: Annotated[
        SubstituteOut | None, Field(description="what somebody supplies and the closure accepts")
    ]


class NotBoughtOut(Document):
    """The lines that are not bought for one reason."""

    reason: ReasonWord
    sentence: Annotated[str, Field(description="the reason in words")]
    numbers: Annotated[list[str], Field(description="the numbers of these lines")]


class InsteadOut(Document):
    """With this day and this many suppliers more lines are bought; null: any."""

    by: Annotated[DayOut | None, Field(description="everything by this day; null: any day")]
    at_most_suppliers: Annotated[int | None, Field(description="so many suppliers; null: any number")]
    left_out: Annotated[int, Field(description="lines that are not bought then either")]
    total: Annotated[MoneyOut, Field(description="parts and carriage")]
    suppliers: Annotated[list[str], Field(description="who sends something then, by name")]
    arrives: Annotated[DayOut, Field(description="the day the last of it is there")]
    proved: Annotated[bool, Field(description="no split of these lines costs less")]
    sentence: str


class PartsDifferenceOut(Document):
    """One cause why the order's parts cost otherwise than the answer's."""

    cause: DifferenceWord
    amount: Annotated[MoneyOut, Field(description="what it adds to the order's parts; negative: takes away")]
    numbers: Annotated[list[str], Field(description="numbers that it is about")]
    sentence: str


class ReconciliationOut(Document):
    """The answer's parts, at the catalogue's prices, plus all differences are the order's parts."""

    answer_parts: MoneyOut
    order_parts: MoneyOut
    differences: Annotated[list[PartsDifferenceOut], Field(description="the causes; they add up")]
    sentence: str


class TakenOffOut(Document):
    """What comes off a vehicle, and what becomes of it."""

    vehicle: Annotated[str, Field(description="label of the vehicle")]
    position: str
    number: str
    name: str
    quantity: Annotated[int, Field(description="pieces that come off")]
    replaced_by: Annotated[str | None, Field(description="number that sits there then; null: nothing")]
    what: Annotated[Fate, Field(description="what becomes of it")]
    why: Annotated[str, Field(description="what decides its fate, in words")]


class OrderTotalsOut(Document):
    """The sums of an order."""

    parts: Annotated[MoneyOut, Field(description="of all suppliers, without carriage, deposits and tax")]
    carriage: MoneyOut
    tax: MoneyOut
    deposits: MoneyOut
    total: Annotated[MoneyOut, Field(description="of all suppliers: parts, carriage, tax and deposits")]


class DayPriceOut(Document):
    """What everything costs when it must be there by that day."""

    by: Annotated[DayOut, Field(description="everything is there by this day")]
    total: Annotated[MoneyOut, Field(description="parts and carriage then; null: not known")]
    extra: Annotated[MoneyOut, Field(description="more than the cheapest split")]
    suppliers: Annotated[list[str], Field(description="who sends something then, by name")]


class SplitOut(Document):
    """Whether a cheaper split over the suppliers is possible."""

    proved: Annotated[bool, Field(description="no split over suppliers costs less")]
    gap: Annotated[MoneyOut, Field(description="how much cheaper a split could still be; null: not known")]
    sentence: str


class OrderVehicleOut(VehicleOut):
    """A vehicle that is ordered for."""

    label: str
    wishes: list[str]
    outcome: Annotated[OutcomeWord, Field(description="of its closure")]
    catalogue_revision: int
    cautions: NotRequired[
        Annotated[list[str], Field(description="of what it gets; a list kept before 2026-12-01 lacks it")]
    ]


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

    date: DayOut
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

    name: Annotated[str | None, Field(description="of a kept list; null: it is not kept")]
    state: StateWord | None


class LooseUseOut(Document):
    """A loose part that a step uses."""

    component: str
    name: str
    quantity: int
    amount: Annotated[str, Field(description="how much of what the pieces hold; empty: not recorded")]
    goes_on: Annotated[
        Literal["before", "after"] | None, Field(description="before or after the step's own part")
    ]
    sentence: str


class StepOut(Document):
    """One step of the work."""

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
    title: Annotated[str, Field(description="what the step works on, in words")]
    section: Annotated[str, Field(description="section of the vehicle")]
    section_title: str
    minutes: Annotated[int, Field(description="0 where `time` is not `recorded`")]
    time: TimeWord
    start: Annotated[int | None, Field(description="minutes from the beginning, in the earliest finish")]
    end: Annotated[
        int | None, Field(description="minutes from the beginning; null: its time is not recorded")
    ]
    hands: Annotated[int | None, Field(description="which pair of hands, from 1; 0 where it takes no time")]
    waits_for: Annotated[
        list[int],
        Field(description="steps that are done before, but for those that another of them waits for"),
    ]
    instructions: Annotated[list[str], Field(description="how it is done, and why it makes room")]
    loose_parts: Annotated[list[LooseUseOut], Field(description="what the step uses beside its own part")]
    tools: Annotated[list[str], Field(description="what it takes beside common tools")]
    tightenings: Annotated[list[str], Field(description="figures and order of tightening, in words")]


class SectionTimeOut(Document):
    """The time that the work on a section takes."""

    section: str
    title: Annotated[str, Field(description="the section in words")]
    removing: Annotated[int, Field(description="minutes for taking off")]
    fitting: Annotated[int, Field(description="minutes for fitting")]
    minutes: Annotated[int, Field(description="minutes for both")]


class CircleOut(Document):
    """Jobs that wait for each other by what is recorded."""

    jobs: Annotated[list[str], Field(description="the jobs that wait for each other")]
    records: Annotated[list[str], Field(description="the records that make the circle, by name")]
    sentence: str


class WorkOut(Document):
    steps: Annotated[list[StepOut], Field(description="in the order of the work")]
    sections: list[SectionTimeOut]
    minutes: int
    tools: list[str]
    circles: Annotated[
        list[CircleOut], Field(description="records that wait for each other; the lint finds them too")
    ]
    hands: int
    finish_minutes: int
    proved: Annotated[bool, Field(description="no order of the steps ends earlier")]
    proved_of: Annotated[str, Field(description="what `proved` speaks of")]
    orders_recorded: Annotated[
        int, Field(description="records of the order of work that this order respects")
    ]
    steps_without_order: Annotated[
        int, Field(description="steps that no record of the order of work speaks of")
    ]
    steps_without_time: Annotated[
        int, Field(description="above 0: `minutes` and `finish_minutes` are at least so many")
    ]
    at_least_minutes: Annotated[
        int, Field(description="no order of the steps can end sooner than this many minutes")
    ]
    longest_chain_minutes: Annotated[
        int, Field(description="minutes of the longest chain of steps that wait for each other")
    ]
    sentence: str
    cautions: list[str]
    defers: str


class FittingAskedOut(Document):
    date: DayOut
    vehicle: VehicleOut
    wishes: list[str]
    outcome: Annotated[OutcomeWord, Field(description="of the closure")]
    catalogue_revision: int


class FittingOut(FittingAskedOut, WorkOut):
    """The jobs of a closure in an order that respects what comes off and goes on first."""


class QuotedItemOut(Document):
    """A line of the quotation."""

    what: Annotated[str, Field(description="what is charged for")]
    amount: Annotated[MoneyOut, Field(description="without tax; null: not known")]
    tax_rate: RateOut | None


class TaxOnOut(Document):
    """The tax at one rate."""

    rate: Annotated[RateOut, Field(description="per cent")]
    on: Annotated[MoneyOut, Field(description="the sum that is taxed at this rate")]
    tax: Annotated[MoneyOut, Field(description="the tax on it")]


class PaymentOut(Document):
    """A payment and its day."""

    on: Annotated[DayOut, Field(description="the day it is due")]
    what: Annotated[str, Field(description="what the payment is")]
    amount: Annotated[MoneyOut, Field(description="what is due that day")]


class SumsOut(Document):
    items: Annotated[list[QuotedItemOut], Field(description="what is charged for")]
    net: MoneyOut
    taxes: Annotated[list[TaxOnOut], Field(description="the tax at each rate")]
    tax: Annotated[MoneyOut, Field(description="the tax at all rates")]
    deposits: MoneyOut
    total: Annotated[MoneyOut, Field(description="what the owner pays in all")]
    payments: Annotated[list[PaymentOut], Field(description="when what is due")]
    sentence: Annotated[str, Field(description="the sum and its payments in words")]


class _QuotedOut(Document):
    complete: Annotated[bool, Field(description="false: lines are not bought, and the sum is without them")]
    not_bought: Annotated[int, Field(description="lines that are not bought")]
    lines_needed: Annotated[int, Field(description="numbers to buy, those not bought included")]
    date: DayOut
    currency: str
    market: str
    catalogue_revision: int
    vehicles: list[OrderVehicleOut]
    labour_minutes: Annotated[int, Field(description="minutes that are charged")]
    labour_rate: Annotated[MoneyOut, Field(description="an hour, without tax")]


class QuotationOut(_QuotedOut, SumsOut):
    """What a set costs its owner, and in which payments; they add up to the total."""

    not_in_it: Annotated[
        list[str], Field(description="parts without a known price, lines that are not bought")
    ]
    cautions: list[str]
    defers: str
