"""What compatibility answers look like."""

from typing import Annotated, Any, Literal, NotRequired

from pydantic import Field, JsonValue

from graftbook.document import Document
from graftbook.http.errors import ProblemMembers
from graftbook.http.values import GradeWord
from graftbook.questions.closures.schemas import BecauseOut, CauseWord, VehicleOut


class EvidenceOut(Document):
    name: str
    grade: GradeWord
    reference: str
    on: str | None
    who: str
    fitted: int
    not_fitted: int
    disputed: Annotated[bool, Field(description="it failed to fit at least as often as it fitted")]


class NeedOut(Document):
    cause: CauseWord
    name: str
    sentence: str
    one_of: Annotated[list[str], Field(description="components of which one may mend that on this vehicle")]
    evidence: Annotated[GradeWord | None, Field(description="null: a pair needs none")]
    possible: bool


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
    position: str
    component: str
    verdict: FitsWord
    proved: Annotated[bool, Field(description=PROVED)]
    looked_at: Annotated[LookedWord | None, Field(description=LOOKED_AT)]
    against: Annotated[list[BecauseOut], Field(description="the rules because of which it does not fit")]
    sits_today: bool
    effort: str
    minutes: int
    quantity: int
    claim: str | None
    evidence: Annotated[GradeWord | None, Field(description="of the claim; null: no claim is needed")]
    evidence_records: list[EvidenceOut]
    companions: Annotated[list[NeedOut], Field(description="rules that fitting it alone would break")]


class SetPartOut(Document):
    position: Annotated[str | None, Field(description="null: a loose part, ordered by quantity")]
    component: Annotated[str | None, Field(description="null: the position is left empty")]
    quantity: int


def _left_out(default: JsonValue = None, description: str | None = None) -> Any:
    """What is left out of a document means this."""
    return Field(description=description, json_schema_extra={"default": default})


class CompatibilityAnswerOut(Document):
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
    catalogue_revision: int | None


class CompatibilityListOut(Document):
    """Answers in the order of the questions."""

    catalogue_revision: int | None
    answers: list[CompatibilityAnswerOut]
