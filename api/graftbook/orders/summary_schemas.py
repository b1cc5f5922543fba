"""What the summaries of an order and of a fitting sequence look like, for OpenAPI and the checker."""

from typing import Annotated, NotRequired

from pydantic import Field

from graftbook.document import DayOut, Document
from graftbook.orders.schemas import (
    FittingAskedOut,
    HeadlineOut,
    OrderTotalsOut,
    ReasonWord,
    SectionTimeOut,
)
from graftbook.questions.closures.schemas import MoneyOut, OutcomeWord
from graftbook.questions.closures.summary_schemas import Full

BOUGHT_FROM = "name of the supplier; null: the catalogue knows no suppliers"


class OrderedForOut(Document):
    """A vehicle that is ordered for, in short."""

    label: str
    variant: str
    chassis: str
    wishes: list[str]
    outcome: OutcomeWord


class SupplierBriefOut(Document):
    """What one supplier sends, in short."""

    name: Annotated[str, Field(description="name of the supplier")]
    title: Annotated[str, Field(description="the supplier in words")]
    lines: Annotated[int, Field(description="how many numbers it sends")]
    total: Annotated[MoneyOut, Field(description="parts, carriage, deposits and tax")]
    arrives: Annotated[DayOut, Field(description="the day all of it is there")]


class OrderLineBriefOut(Document):
    """A number to buy, in short."""

    number: str
    name: str
    pieces: int
    supplier: Annotated[str | None, Field(description=BOUGHT_FROM)]
    total: Annotated[MoneyOut, Field(description="without tax and deposits; null: unknown")]


class NotBoughtBriefOut(Document):
    """What is not bought, in short."""

    number: str
    name: str
    quantity: int
    reason: ReasonWord
    why: Annotated[str, Field(description="in a phrase")]
    earliest: NotRequired[
        Annotated[
            DayOut, Field(description="the first day on which all pieces could be there, where there is one")
        ]
    ]
    substitute: NotRequired[
        Annotated[str, Field(description="number of what somebody supplies and the closure accepts")]
    ]


class StoredBriefOut(Document):
    """What need not be bought, in short."""

    number: str
    name: str
    quantity: int


class OrderSummaryOut(HeadlineOut):
    """The summary of an order: suppliers, lines and sums; reasons and what comes off are in the whole one."""

    full: Full
    date: DayOut
    currency: str
    market: str
    catalogue_revision: int
    vehicles: list[OrderedForOut]
    suppliers: list[SupplierBriefOut]
    lines: list[OrderLineBriefOut]
    without: Annotated[list[NotBoughtBriefOut], Field(description="what is not bought, and why")]
    from_stock: list[StoredBriefOut]
    at_hand: list[StoredBriefOut]
    taken_off: Annotated[int, Field(description="how many places something comes off")]
    totals: OrderTotalsOut
    unknown_prices: list[str]
    proved: Annotated[bool, Field(description="no split over suppliers costs less")]
    sentence: Annotated[str, Field(description="what is proved of the split, in words")]
    cautions: list[str]
    defers: str


class StepBriefOut(Document):
    """A step of the work, in short."""

    step: int
    what: Annotated[str, Field(description="what is done, in words")]
    minutes: NotRequired[Annotated[int, Field(description="left out where none is recorded of it")]]


class FittingSummaryOut(FittingAskedOut):
    """The summary of a fitting sequence: its steps in a line each, times, tools, every caution."""

    full: Full
    steps: Annotated[list[StepBriefOut], Field(description="in the order of the work")]
    sections: list[SectionTimeOut]
    minutes: int
    tools: list[str]
    circles: Annotated[int, Field(description="how many records wait for each other")]
    hands: int
    finish_minutes: int
    proved: bool
    proved_of: str
    steps_without_time: Annotated[int, Field(description="above 0: the times are at least so many")]
    sentence: str
    cautions: list[str]
    defers: str
