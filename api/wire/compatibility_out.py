"""What compatibility answers look like, for the OpenAPI document."""

from typing import Literal

from pydantic import Field

from api.wire.documents import CauseWord, GradeWord, Out, VehicleOut
from api.wire.errors import ProblemOut


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
    one_of: list[str] = Field(description="components that satisfy it on this vehicle")
    evidence: GradeWord
    possible: bool


FitsWord = Literal["fits", "fits with companions", "fits after work", "does not fit", "not known"]


class PlaceOut(Out):
    position: str
    component: str
    verdict: FitsWord
    sits_today: bool
    effort: str
    minutes: int
    quantity: int
    claim: str | None
    evidence: GradeWord
    evidence_records: list[EvidenceOut]
    companions: list[NeedOut] = Field(description="rules that fitting it alone would break")


class CompatibilityAnswerOut(Out):
    verdict: FitsWord
    sentence: str
    number: str | None = Field(None, description="today's number")
    can_be_bought: bool | None = None
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
