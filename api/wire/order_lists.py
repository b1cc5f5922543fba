"""What kept order lists and the shop's store look like in JSON."""

from datetime import date
from typing import Annotated, Any

from pydantic import AfterValidator, ConfigDict, Field, Strict

from api.builds.schemas import Remark, Slug
from api.orders.stock_sheet import one_line
from api.wire.documents import MoneyOut, Out
from api.wire.given import WHOLE, Day, Truth, Word
from api.wire.lists_out import PageOut
from api.wire.orders_in import OrderIn
from api.wire.orders_out import OrderLineOut, OrderOut, OrderTotalsOut, StateWord
from api.wire.questions import Body

Pieces = Annotated[int, Strict(), Field(ge=0, le=1_000_000), WHOLE]


class OrderListIn(OrderIn):
    """An order to be kept under a name."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "red-pickup-brakes",
                    "vehicle": {"chassis": "24PL-018412"},
                    "wishes": [{"fit": "QB-3310"}],
                    "note": "wanted before Easter",
                }
            ]
        }
    )

    name: Slug
    note: Remark = ""


class NoteIn(Body):
    """The note of a list."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"note": "the customer calls on Friday"}]})

    note: Remark


class SubstituteIn(Body):
    """Another number for a line."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"line": 2, "number": "QB-7090"}]})

    line: Annotated[int, Strict(), Field(ge=1, le=100_000), WHOLE]
    number: Word = Field(description="the component instead")


class SentIn(Body):
    """That the list goes out; a list with lines that are not bought needs the word for it."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"incomplete": True}]})

    incomplete: Truth = Field(False, description="send it although lines are not bought")


class CameIn(Body):
    """What came of a line, what is promised for later, what will not come."""

    line: Annotated[int, Strict(), Field(ge=1, le=100_000), WHOLE]
    received: Pieces = 0
    back_ordered: Pieces = Field(0, description="of what is still open: promised for later")
    promised: Day | None = Field(None, description="the day that is promised")
    given_up: Pieces = Field(0, description="will not come")

    def facts(self) -> dict[str, Any]:
        """As plain values."""
        promised = self.promised if isinstance(self.promised, date) else None
        return {**self.model_dump(), "promised": promised}


class ReceivedIn(Body):
    """A delivery."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"lines": [{"line": 1, "received": 2}]}]})

    lines: Annotated[list[CameIn], Field(min_length=1, max_length=2_000)]


class ClosedIn(Body):
    """Why a list is closed before everything has come; may stay empty when it has."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"reason": "the rest is no longer wanted"}]})

    reason: Remark = ""


class KeptLineOut(OrderLineOut):
    received: int
    back_ordered: int
    given_up: int


class OrderListOut(OrderOut):
    """A kept list: the order as it was made, and how far it has come."""

    name: str
    state: StateWord
    version: int
    note: str
    made: str
    changed: str
    lines: list[KeptLineOut]


class OrderListShortOut(Out):
    name: str
    state: StateWord
    version: int
    note: str
    made: str
    complete: bool
    not_bought: int = Field(description="lines that are not bought, and not in the total")
    vehicles: list[str]
    lines: int
    total: MoneyOut
    currency: str


class OrderListsOut(PageOut):
    items: list[OrderListShortOut]


class OrderEventOut(Out):
    id: int
    at: str
    who: str
    what: str
    detail: dict[str, Any]


class OrderEventsOut(PageOut):
    items: list[OrderEventOut]


class LineDifferenceOut(Out):
    number: str
    name: str
    what: str
    changed: dict[str, Any]


class TotalsBothOut(Out):
    before: OrderTotalsOut
    after: OrderTotalsOut


class DifferencesOut(Out):
    """What a list would say if it were made today."""

    name: str
    same: bool
    complete: bool = Field(description="whether everything could be bought today")
    not_bought: int | None = Field(description="lines that would not be bought; null: there is no set")
    sentences: list[str]
    lines: list[LineDifferenceOut]
    totals: TotalsBothOut | None
    catalogue_revision: dict[str, int] | None = None


class StockIn(Body):
    """What lies in the store of a number."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"quantity": 4, "place": "drawer 14"}]})

    quantity: Pieces
    place: Annotated[Remark, AfterValidator(one_line)] = ""


class StockOut(Out):
    number: str
    quantity: int
    place: str
    version: int


class StockPageOut(PageOut):
    items: list[StockOut]


class LiesOut(Out):
    quantity: int
    place: str


class StockDifferenceOut(Out):
    """A number that is otherwise after a count; null: it had, or has, no place in the store."""

    number: str
    was: LiesOut | None
    now: LiesOut | None


class StockCountOut(Out):
    """What a count changed; at most 1,000 differences are told."""

    dry_run: bool
    rows: int
    changed: int
    differences: list[StockDifferenceOut]
