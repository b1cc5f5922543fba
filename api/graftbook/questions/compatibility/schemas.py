"""What compatibility answers look like."""

from typing import Annotated, Any, Literal, NotRequired

from pydantic import Field, JsonValue

from graftbook.document import DayOut, Document
from graftbook.http.errors import ProblemMembers
from graftbook.http.values import GradeWord
from graftbook.questions.closures.schemas import BecauseOut, CauseWord, VehicleOut


class EvidenceOut(Document):
    """Why something is believed."""

    name: Annotated[str, Field(description="its name in the catalogue")]
    grade: GradeWord
    reference: Annotated[str, Field(description="where it is written: book, page, drawing")]
    on: Annotated[
        DayOut | None, Field(description="the day it was measured, fitted or written; null: not recorded")
    ]
    who: Annotated[str, Field(description="whose word it is")]
    fitted: Annotated[int, Field(description="times that it was fitted and went together")]
    not_fitted: Annotated[int, Field(description="times that it was tried and did not go together")]
    disputed: Annotated[bool, Field(description="it failed to fit at least as often as it fitted")]


class NeedOut(Document):
    """A rule that fitting the component alone would break, and what mends it."""

    cause: CauseWord
    name: Annotated[str, Field(description="the rule by name")]
    sentence: Annotated[str, Field(description="the rule in words")]
    one_of: Annotated[list[str], Field(description="components of which one may mend that on this vehicle")]
    evidence: Annotated[GradeWord | None, Field(description="null: a pair needs none")]
    possible: Annotated[bool, Field(description="false: on this vehicle nothing can mend it")]


FitsWord = Literal["fits", "fits with companions", "fits after work", "does not fit", "not known"]


LookedWord = Literal["next step", "propagation"]
PROVED = (
    "a whole set with it is known, or it is certain that there is none; false: nothing was found that "
    "stands in the way, as far as was looked; ask for a closure to prove a whole set"
)
LOOKED_AT = (
    "how far: `next step`, the rules that fitting it alone breaks; `propagation`, all that must follow from "
    "it; null: no rule was asked, since it sits there today or no record says that it fits"
)


class PlaceOut(Document):
    """A position that the component may sit at, and how it goes there."""

    position: str
    component: Annotated[str, Field(description="today's number of the component")]
    verdict: FitsWord
    proved: Annotated[bool, Field(description=PROVED)]
    looked_at: Annotated[LookedWord | None, Field(description=LOOKED_AT)]
    against: Annotated[list[BecauseOut], Field(description="the rules because of which it does not fit")]
    sits_today: Annotated[bool, Field(description="it sits there already")]
    effort: str
    minutes: Annotated[int, Field(description="of labour")]
    quantity: Annotated[int, Field(description="pieces that it takes there")]
    claim: Annotated[
        str | None, Field(description="name of the fitment that says so; null: the factory fitted it")
    ]
    evidence: Annotated[GradeWord | None, Field(description="of the claim; null: no claim is needed")]
    evidence_records: list[EvidenceOut]
    companions: Annotated[list[NeedOut], Field(description="rules that fitting it alone would break")]


class SetPartOut(Document):
    """A part of the best whole set."""

    position: Annotated[str | None, Field(description="null: a loose part, ordered by quantity")]
    component: Annotated[str | None, Field(description="null: the position is left empty")]
    quantity: int


def _left_out(default: JsonValue = None, description: str | None = None) -> Any:
    """What is left out of a document means this."""
    return Field(description=description, json_schema_extra={"default": default})


class CompatibilityAnswerOut(Document):
    """Whether the component fits that vehicle, and with what."""

    verdict: FitsWord
    sentence: NotRequired[Annotated[str, _left_out("", "left out of a summary, except of a problem")]]
    number: NotRequired[Annotated[str | None, _left_out(description="today's number")]]
    can_be_bought: NotRequired[Annotated[bool | None, _left_out()]]
    proved: NotRequired[Annotated[bool, _left_out(False, description=f"at the best place: {PROVED}")]]
    looked_at: NotRequired[
        Annotated[LookedWord | None, _left_out(description=f"at the best place: {LOOKED_AT}")]
    ]
    effort: NotRequired[Annotated[str | None, _left_out()]]
    places: NotRequired[Annotated[list[PlaceOut], _left_out([])]]
    vehicle: NotRequired[Annotated[VehicleOut | None, _left_out()]]
    set: NotRequired[
        Annotated[
            list[SetPartOut],
            _left_out([], "where proof was asked for: what changes and is ordered in the best set with it"),
        ]
    ]
    problem: NotRequired[
        Annotated[ProblemMembers | None, _left_out(description="why a question could not be answered")]
    ]


class CompatibilityOut(CompatibilityAnswerOut):
    """Whether the component fits that vehicle, and with what."""

    catalogue_revision: Annotated[
        int | None,
        Field(
            description="revision of the catalogue that answers; null: the question could not be asked of one"
        ),
    ]
    cautions: list[str]


class CompatibilityListOut(Document):
    """Answers in the order of the questions."""

    catalogue_revision: Annotated[
        int | None,
        Field(description="revision of the catalogue that answers; null: no question could be asked of one"),
    ]
    answers: Annotated[
        list[CompatibilityAnswerOut], Field(description="one for each question, in their order")
    ]
    cautions: list[str]
