"""What compatibility answers look like, for the OpenAPI document."""

from typing import Literal

from pydantic import Field

from graftbook.http.errors import ProblemOut
from graftbook.http.values import GradeWord
from graftbook.questions.closures.schemas import BecauseOut, CauseWord, Out, VehicleOut


class EvidenceOut(Out):
    name: str
    grade: GradeWord
    reference: str
    on: str | None
    who: str
    fitted: int
    not_fitted: int
    disputed: bool = Field(description="it failed to fit at least as often as it fitted")


class NeedOut(Out):
    cause: CauseWord
    name: str
    sentence: str
    one_of: list[str] = Field(description="components of which one may mend that on this vehicle")
    evidence: GradeWord | None = Field(description="null: a pair needs none")
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


class PlaceOut(Out):
    position: str
    component: str
    verdict: FitsWord
    proved: bool = Field(description=PROVED)
    looked_at: LookedWord | None = Field(description=LOOKED_AT)
    against: list[BecauseOut] = Field(description="the rules because of which it does not fit")
    sits_today: bool
    effort: str
    minutes: int
    quantity: int
    claim: str | None
    evidence: GradeWord | None = Field(description="of the claim; null: no claim is needed")
    evidence_records: list[EvidenceOut]
    companions: list[NeedOut] = Field(description="rules that fitting it alone would break")


class CompatibilityAnswerOut(Out):
    verdict: FitsWord
    sentence: str = Field("", description="left out at verdict detail, except of a problem")
    number: str | None = Field(None, description="today's number")
    can_be_bought: bool | None = None
    proved: bool = Field(False, description=f"at the best place: {PROVED}")
    looked_at: LookedWord | None = Field(None, description=f"at the best place: {LOOKED_AT}")
    effort: str | None = None
    places: list[PlaceOut] = Field([])
    vehicle: VehicleOut | None = None
    problem: ProblemOut | None = Field(None, description="why a question could not be answered")


class CompatibilityOut(CompatibilityAnswerOut):
    catalogue_revision: int | None


class CompatibilityListOut(Out):
    """Answers in the order of the questions."""

    catalogue_revision: int | None
    answers: list[CompatibilityAnswerOut]
