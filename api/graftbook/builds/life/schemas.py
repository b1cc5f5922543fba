"""The life of a build in JSON: what is recorded of it, how it stands, and the sheet that goes with it."""

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, Strict, StringConstraints

from graftbook.builds.schemas import Remark
from graftbook.builds.stored.events import EventWord
from graftbook.document import AmountOut, DayOut, Document, MomentOut
from graftbook.http.fields import WHOLE, Day, Truth, Unsaid, Word, tell_names
from graftbook.http.parameters import PageOut
from graftbook.http.values import GradeWord
from graftbook.questions.closures.check_schemas import ChecksOut
from graftbook.questions.closures.schemas import (
    FlawNoteOut,
    MoneyOut,
    NoteOut,
    OutcomeWord,
    StayingOut,
    UnconfirmedOut,
    VehicleOut,
    WishOut,
)
from graftbook.questions.schemas import Body, WishIn

DriveWord = Literal["do not drive", "with caution", "not determined", "nothing known against it"]
Said = Annotated[Remark, StringConstraints(min_length=1)]
MOST_EVENTS = 500


class _EventIn(Body):
    day: Unsaid[Day] = Field(None, description="when it was so; empty: today")


class FittedIn(_EventIn):
    """A component was fitted at a position, or the position was emptied."""

    what: Literal["fitted"]
    position: Word
    component: Word | None = Field(description="null: nothing sits there from then on")
    off: Unsaid[Word] = Field(None, description="what came off; empty: what was recorded there")
    kept: Remark = Field("", description="where what came off is kept")
    reason: Remark = ""


class UsedIn(_EventIn):
    """Loose parts were used: bolts, seals, fluid."""

    what: Literal["used"]
    component: Word
    quantity: Annotated[int, Strict(), Field(ge=1, le=1_000), WHOLE] = 1
    reason: Remark = ""


class KeptIn(_EventIn):
    """A component that came off lies somewhere else now, or is gone."""

    what: Literal["kept"]
    component: Word
    position: Unsaid[Word] = Field(None, description="where it came off; empty: wherever it did")
    kept: Said = Field(description="where it is kept, or what became of it")


class WorkIn(_EventIn):
    """Work that was done."""

    what: Literal["work"]
    done: Said
    minutes: Annotated[int, Strict(), Field(ge=0, le=100_000), WHOLE] = 0


class BuildMeasuredIn(_EventIn):
    """A value measured on the vehicle."""

    what: Literal["measured"]
    position: Word
    characteristic: Word = Field(description="a kind of characteristic")
    value: Word = Field(description="number and unit, as the catalogue writes it", examples=["0.12 mm"])


class DecidedIn(_EventIn):
    """What was decided for it, in place of what was decided before, and why."""

    what: Literal["decided"]
    wishes: Annotated[list[WishIn], Field(max_length=200)]
    reason: Remark = ""


class BuiltToIn(_EventIn):
    """It is built to this version of a specification."""

    what: Literal["built to"]
    specification: Word = Field(description="`name@version`; without a version the latest")


class NotedIn(_EventIn):
    """Anything else worth keeping."""

    what: Literal["note"]
    text: Said


class EventTakenBackIn(_EventIn):
    """An event that was recorded by mistake counts no more; it stays to be read."""

    what: Literal["taken back"]
    event: Annotated[int, Strict(), Field(ge=1), WHOLE]
    reason: Said


EventIn = Annotated[
    FittedIn
    | UsedIn
    | KeptIn
    | WorkIn
    | BuildMeasuredIn
    | DecidedIn
    | BuiltToIn
    | NotedIn
    | EventTakenBackIn,
    Field(discriminator="what"),
]


class EventsIn(Body):
    """What was so of a build: all of it is recorded, or nothing."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "events": [
                        {"what": "fitted", "position": "brake.servo", "component": "QB-2066"},
                        {"what": "work", "done": "servo fitted under the floor", "minutes": 95},
                    ]
                }
            ]
        }
    )

    events: Annotated[list[EventIn], Field(min_length=1, max_length=MOST_EVENTS)]


class CarriedOutIn(Body):
    """What of an order list was fitted to the vehicle: whole, or some of its steps."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"order_list": "red-van-brakes", "whole": True}]}
    )

    order_list: Word
    day: Unsaid[Day] = Field(None, description="when it was done; empty: today")
    steps: Annotated[list[Word], Field(max_length=1_000)] = Field(
        [], description="positions, and numbers of loose parts, as the list's steps name them"
    )
    whole: Truth = Field(False, description="every step that is still open")
    kept: Annotated[dict[Word, Remark], Field(max_length=1_000, json_schema_extra=tell_names)] = Field(
        {}, description="position → where what came off there is kept"
    )


class BuildEventOut(Document):
    """One thing that is recorded of a build."""

    id: Annotated[int, Field(description="number of the record")]
    day: Annotated[DayOut, Field(description="the day on which it was so")]
    at: MomentOut
    who: str
    what: EventWord
    sentence: str
    detail: Annotated[dict[str, Any], Field(description="what was recorded; its members depend on `what`")]
    taken_back: Annotated[str | None, Field(description="why it counts no more; null: it counts")]


class BuildEventsOut(PageOut):
    """A page of what is recorded of a build, the newest first."""

    items: list[BuildEventOut]


class ListStepOut(Document):
    """One thing that an order list does to a vehicle."""

    step: Annotated[str, Field(description="the position, or the number of a loose part")]
    position_title: str | None
    component: Annotated[str | None, Field(description="null: the position is emptied")]
    name: str | None
    quantity: int
    off: str | None
    fate: Annotated[str | None, Field(description="what the list says of the part that comes off")]
    reason: str
    come: Annotated[bool, Field(description="all pieces of its lines have come, or were in the house")]
    done: Annotated[DayOut | None, Field(description="the day on which it was carried out; null: open")]


class ListStepsOut(Document):
    """What an order list does to a vehicle, step by step."""

    order_list: str
    state: str
    steps: list[ListStepOut]
    open: int


class BuildChangedOut(Document):
    """A position that is not as the factory left it."""

    position: str
    position_title: str
    section: str
    section_title: str
    component: str | None
    name: str | None
    original: str | None
    original_name: str | None
    since: Annotated[DayOut, Field(description="the day on which it was fitted, or taken in like this")]
    event: Annotated[int | None, Field(description="the record; null: it was so when it was taken in")]
    reason: str
    order_list: str | None
    kept: Annotated[str | None, Field(description="where the original is kept; null: not recorded")]
    effort: Annotated[str | None, Field(description="null: no record says how it fits")]
    can_be_put_back: bool | None
    claim: str | None
    evidence: GradeWord | None
    flaws_gone: list[FlawNoteOut]


class OffOut(Document):
    """A part that came off the vehicle."""

    component: str
    name: str | None
    position: str
    position_title: str
    day: Annotated[DayOut, Field(description="the day on which it came off")]
    kept: Annotated[str, Field(description="where it is kept, or what became of it; may be empty")]
    original: Annotated[bool, Field(description="the factory fitted it there")]


class PartUsedOut(Document):
    """A loose part that was used."""

    component: str
    name: str | None
    quantity: int


class WorkDoneOut(Document):
    """Work that was done."""

    day: DayOut
    who: str
    done: str
    minutes: int


class MeasurementOut(Document):
    """A value that was measured on the vehicle."""

    day: DayOut
    who: str
    position: str
    position_title: str
    characteristic: str
    value: str


class OpenChangeOut(Document):
    """A change that is still to be made."""

    position: str | None
    position_title: str | None
    component: str | None
    name: str | None
    quantity: int
    replaces: str | None
    why: str
    minutes: int
    price: MoneyOut


class StillOpenOut(Document):
    """What of the decided set, and of what is fitted already, is still missing."""

    outcome: OutcomeWord
    sentences: Annotated[list[str], Field(description="why there is no such set, in words; none: there is")]
    changes: list[OpenChangeOut]
    price: Annotated[AmountOut, Field(description="of what has a known price")]
    unknown_prices: Annotated[int, Field(description="how many changes have no known price")]
    minutes: int
    address: Annotated[str, Field(description="the page that asks for these, from how it stands")]


class DriveOut(Document):
    """Whether anything that is known speaks against driving it as it stands."""

    verdict: DriveWord
    sentence: str
    reasons: Annotated[list[str], Field(description="what speaks against it, in words")]
    broken: Annotated[list[NoteOut], Field(description="rules broken by what is fitted")]
    not_recorded: Annotated[list[NoteOut], Field(description="loose parts that nobody recorded as used")]


class _BuildOut(Document):
    name: str
    on: Annotated[DayOut, Field(description="the day as of which this is so")]
    taken_in: DayOut
    built_to: Annotated[
        str | None, Field(description="the specification that it is built to, `name@version`; null: none")
    ]
    note: str
    vehicle: VehicleOut
    catalogue_revision: int
    decided: list[WishOut]
    decided_why: str
    drive: DriveOut
    still_open: StillOpenOut
    changed: list[BuildChangedOut]
    off: list[OffOut]
    used: list[PartUsedOut]
    work: Annotated[list[WorkDoneOut], Field(description="work that was done")]
    minutes: int
    measured: list[MeasurementOut]
    not_understood: Annotated[
        list[str], Field(description="what is recorded and the catalogue cannot place on this vehicle")
    ]
    cautions: list[str]
    defers: str


class BuildStateOut(_BuildOut):
    """How a build stands: what may be driven, what is still open."""


class BuildSheetOut(_BuildOut):
    """The paper that goes with the vehicle; every claim on it has its record."""

    currency: str
    section_titles: dict[str, str]
    kept_original: list[StayingOut]
    flaws_left: list[FlawNoteOut]
    flaws_brought: list[FlawNoteOut]
    checks: Annotated[ChecksOut, Field(description="the arithmetic: as built, and as it is")]
    unconfirmed: list[UnconfirmedOut]
    events: list[BuildEventOut]
