"""What kept order lists and the shop's store look like in JSON."""

from datetime import date
from typing import Annotated, Any, Literal, NotRequired

from pydantic import AfterValidator, ConfigDict, Field, Strict, StringConstraints
from pydantic.config import JsonDict

from graftbook.builds.schemas import Remark, Slug
from graftbook.document import DayOut, Document, MomentOut
from graftbook.http.fields import LONGEST_WORD, WHOLE, Day, Truth, Word
from graftbook.http.parameters import PageOut
from graftbook.orders.lists.deliveries import Delivery, DoubtWord
from graftbook.orders.question_schemas import OrderIn
from graftbook.orders.schemas import (
    AskedForOut,
    HeadlineOut,
    OrderLineOut,
    OrderTotalsOut,
    PlacedOut,
    StateWord,
)
from graftbook.orders.stock.sheet import one_line
from graftbook.questions.closures.schemas import MoneyOut
from graftbook.questions.schemas import Body

Pieces = Annotated[int, Strict(), Field(ge=0, le=1_000_000), WHOLE]


class OrderListIn(OrderIn):
    """An order to be kept under a name."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "red-van-brakes",
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


NoteNumber = Annotated[Remark, AfterValidator(one_line), StringConstraints(max_length=LONGEST_WORD)]
BOOKING: JsonDict = {"line": 1, "received": 1, "unit": "pieces"}


class SentIn(Body):
    """That the list goes out; a list with lines that are not bought needs the word for it."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"incomplete": True}]})

    incomplete: Truth = Field(False, description="send it although lines are not bought")


class CameIn(Body):
    """What came of a line, what is promised for later, what will not come: counts of pieces, or of packs."""

    line: Annotated[int, Strict(), Field(ge=1, le=100_000), WHOLE]
    unit: Literal["pieces", "packs"] = Field(
        "pieces",
        description="what the three counts of this row count: pieces, or whole packs of the line's `pack` "
        "pieces. What is kept and answered is always pieces: 2 packs of 4 are 8 pieces",
    )
    received: Pieces = Field(0, description="how many came, in `unit`; added to what came before")
    back_ordered: Pieces = Field(0, description="of what is still open: promised for later, in `unit`")
    promised: Day | None = Field(None, description="the day that is promised")
    given_up: Pieces = Field(0, description="will not come, in `unit`")

    def facts(self) -> dict[str, Any]:
        """As plain values."""
        promised = self.promised if isinstance(self.promised, date) else None
        return {**self.model_dump(), "promised": promised}


class ReceivedIn(Body):
    """A delivery, to be kept as one booking; each line of the list at most once."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"lines": [BOOKING], "delivery_note": "L-20417", "remark": "box wet, parts dry"}]
        }
    )

    lines: Annotated[list[CameIn], Field(min_length=1, max_length=2_000)]
    supplier: Word | None = Field(
        None,
        description="whose delivery it is, by the supplier's name; left out, it is the one that all its "
        "lines were ordered from",
    )
    delivery_note: NoteNumber = Field("", description="number of the supplier's delivery note")
    remark: Remark = ""
    accept: Annotated[list[DoubtWord], Field(max_length=20)] = Field(
        [],
        description="book it although: more came than was ordered (`too many`), pieces of it were given up "
        "(`given up`), it is no whole number of packs (`part of a pack`), a line was ordered from another "
        "supplier (`other supplier`), the delivery note was booked before, on this list or another "
        "(`booked before`)",
    )

    def delivery(self) -> Delivery:
        """As plain values."""
        return Delivery(
            [line.facts() for line in self.lines],
            self.supplier or "",
            self.delivery_note,
            self.remark,
            frozenset(self.accept),
        )


class TakenBackIn(Body):
    """Why a booking is taken back."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"why": "typed on the wrong line"}]})

    why: Annotated[Remark, StringConstraints(min_length=1)]
    reopen: Truth = Field(False, description="open a closed list again by it; else it is refused")


class ClosedIn(Body):
    """Why a list is closed before everything has come; may stay empty when it has."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"reason": "the rest is no longer wanted"}]})

    reason: Remark = ""


class ProgressOut(Document):
    received: Annotated[int, Field(description="pieces that came; more than `pieces` when too many came")]
    back_ordered: Annotated[int, Field(description="pieces of those open that were promised for later")]
    given_up: Annotated[int, Field(description="pieces that will not come")]
    open: Annotated[int, Field(description="pieces that neither came nor were given up")]
    too_many: Annotated[int, Field(description="pieces that came beyond `pieces`; 0 when none did")]


class KeptLineOut(OrderLineOut, ProgressOut):
    """How far a line has come, in pieces, by what was booked and not taken back."""


class OrderListOut(HeadlineOut, PlacedOut, AskedForOut):
    """A kept list: the order as it was made, and how far it has come."""

    name: str
    state: StateWord
    version: Annotated[int, Field(description="goes up with each change of the list")]
    note: Annotated[str, Field(description="what the house noted; may be empty")]
    made: Annotated[MomentOut, Field(description="when the list was made")]
    changed: Annotated[MomentOut, Field(description="when it was changed last")]
    newest_booking: Annotated[
        int | None, Field(description="number of the booking made last; null before the first")
    ]
    lines: Annotated[list[KeptLineOut], Field(description="the numbers to buy, and how far each has come")]


class OrderListShortOut(Document):
    """A kept list, without its lines."""

    name: str
    state: StateWord
    version: Annotated[int, Field(description="goes up with each change of the list")]
    note: Annotated[str, Field(description="what the house noted; may be empty")]
    made: Annotated[MomentOut, Field(description="when the list was made")]
    made_by: Annotated[str, Field(description="whose key made it; empty: not known")]
    complete: Annotated[bool, Field(description="false: lines are not bought, and the total is without them")]
    not_bought: Annotated[int, Field(description="lines that are not bought, and not in the total")]
    vehicles: Annotated[list[str], Field(description="labels of the vehicles it is for")]
    wishes: Annotated[list[str], Field(description="what was wished, in words, each once")]
    lines: Annotated[int, Field(description="how many numbers it has to buy")]
    due: Annotated[
        DayOut | None,
        Field(
            description="of a list that was sent: the first day on which something that has not come should "
            "be there; null: nothing is waited for"
        ),
    ]
    total: Annotated[
        MoneyOut,
        Field(description="of the lines that are bought, with carriage, tax and deposits; null: not known"),
    ]
    currency: str


class OrderListsOut(PageOut):
    """A page of kept lists."""

    items: list[OrderListShortOut]


class OrderEventOut(Document):
    """A step of a list: who did what, and when."""

    id: Annotated[int, Field(description="number of the step; later ones are greater")]
    at: Annotated[MomentOut, Field(description="when it was done")]
    who: Annotated[str, Field(description="who did it")]
    what: Annotated[str, Field(description="what was done, in a word or two")]
    detail: Annotated[
        dict[str, Any],
        Field(description="what else there is to say of the step; its members depend on `what`"),
    ]


class OrderEventsOut(PageOut):
    """A page of a list's steps, the oldest first."""

    items: list[OrderEventOut]


class BookedLineOut(Document):
    """Counts are pieces."""

    line: int
    number: str
    name: str
    received: Annotated[int, Field(description="pieces that came with this delivery")]
    back_ordered: Annotated[int, Field(description="pieces promised for later")]
    promised: Annotated[DayOut | None, Field(description="the day they are promised for; null: none")]
    given_up: Annotated[int, Field(description="pieces that will not come")]
    pack: Annotated[int, Field(description="pieces in a pack of this line")]


class TakenBackOut(Document):
    """Who took a booking back, and why."""

    at: Annotated[MomentOut, Field(description="when it was taken back")]
    who: Annotated[str, Field(description="who took it back")]
    why: Annotated[str, Field(description="the reason that was given")]


class ToldOut(Document):
    booking: Annotated[int, Field(description="its number on the list, from 1")]
    supplier: Annotated[
        str | None, Field(description="whose delivery it was; null: of several, or not known")
    ]
    delivery_note: str
    accepted: Annotated[list[DoubtWord], Field(description="what was doubted of it and booked all the same")]


class BookingOut(ToldOut):
    """A delivery as it was booked."""

    at: Annotated[MomentOut, Field(description="when it was booked")]
    who: Annotated[str, Field(description="who booked it")]
    supplier_title: str | None
    remark: Annotated[str, Field(description="what was remarked of the delivery; may be empty")]
    lines: Annotated[list[BookedLineOut], Field(description="what came of which line")]
    taken_back: Annotated[
        TakenBackOut | None, Field(description="null while it stands; else it counts no more")
    ]


class BookingsOut(PageOut):
    """A page of bookings, the oldest first."""

    items: list[BookingOut]


class ChangedValueOut(Document):
    """A field of a line as it is kept, and as it would be today."""

    before: Annotated[str | int | None, Field(description="as it is kept")]
    after: Annotated[str | int | None, Field(description="as it would be today")]


class LineDifferenceOut(Document):
    """A number that the list would have otherwise if it were made today."""

    number: str
    name: str
    what: Annotated[str, Field(description="`added`, `gone` or `changed`")]
    changed: Annotated[
        dict[str, ChangedValueOut],
        Field(description="fields that differ, each with both values; empty: the line came or went"),
    ]


class TotalsBothOut(Document):
    """The sums of the list as it is, and of one made today."""

    before: Annotated[OrderTotalsOut, Field(description="of the list as it is kept")]
    after: Annotated[OrderTotalsOut, Field(description="of a list made today")]


class DifferencesOut(Document):
    same: Annotated[bool, Field(description="nothing that matters differs")]
    complete: Annotated[bool, Field(description="whether everything could be bought today")]
    not_bought: Annotated[
        int | None, Field(description="lines that would not be bought; null: there is no set")
    ]
    sentences: Annotated[list[str], Field(description="what differs, in words")]
    lines: Annotated[list[LineDifferenceOut], Field(description="the numbers that differ")]
    totals: Annotated[TotalsBothOut | None, Field(description="both sums; null: there is no set today")]
    catalogue_revision: NotRequired[
        Annotated[dict[str, int] | None, Field(json_schema_extra={"default": None})]
    ]


class ListDifferencesOut(DifferencesOut):
    """What a list would say if it were made today."""

    name: str


class StockIn(Body):
    """What lies in the store of a number."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"quantity": 4, "place": "drawer 14"}]})

    quantity: Pieces
    place: Annotated[Remark, AfterValidator(one_line)] = ""


class StockOut(Document):
    """What lies in the shop's store of a number."""

    number: str
    quantity: int
    place: str
    version: Annotated[int, Field(description="goes up with each change of what lies there")]


class StockPageOut(PageOut):
    """A page of the shop's store."""

    items: list[StockOut]


class LiesOut(Document):
    """How many lie where."""

    quantity: int
    place: str


class StockDifferenceOut(Document):
    """A number that is otherwise after a count; null: it had, or has, no place in the store."""

    number: str
    was: LiesOut | None
    now: LiesOut | None


class StockCountOut(Document):
    """What a count changed; at most 1,000 differences are told."""

    dry_run: bool
    rows: Annotated[int, Field(description="rows of the sheet")]
    changed: Annotated[int, Field(description="numbers that lie otherwise than before")]
    differences: Annotated[
        list[StockDifferenceOut], Field(description="the numbers that lie otherwise, at most 1,000")
    ]
