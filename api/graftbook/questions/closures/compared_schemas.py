"""What comparisons and checks of a proposed set look like, for the OpenAPI document."""

from pydantic import Field

from graftbook.questions.closures.schemas import (
    AskedLimitOut,
    ChangeOut,
    ChecksOut,
    ClosureOut,
    DifferenceOut,
    NoteOut,
    Out,
    RemarksOut,
    VehicleOut,
    WishOut,
)


class ComparedOut(Out):
    asked: ClosureOut
    instead: ClosureOut
    difference: DifferenceOut = Field(description="what the other costs more; 0 is left out")
    sentences: list[str] = Field(description="the difference in words")
    only_asked: list[ChangeOut]
    only_instead: list[ChangeOut]


class WhyNotOut(ComparedOut):
    """The answer as asked, and the answer with that component."""

    component: str
    position: str | None


class WhatIfOut(ComparedOut):
    """The answer as asked, and the answer on the other vehicle."""


class SurplusOut(Out):
    position: str | None
    component: str | None
    quantity: int


class CheckOut(RemarksOut):
    """Whether a proposed set is complete and works together."""

    vehicle: VehicleOut
    wishes: list[WishOut]
    limits: list[AskedLimitOut]
    currency: str
    section_titles: dict[str, str]
    catalogue_revision: int
    complete: bool
    missing: list[NoteOut]
    clashing: list[NoteOut]
    surplus: list[SurplusOut]
    limits_broken: list[NoteOut]
    cut_short: bool = Field(description="the deadline came first: surplus positions are not named")
    completed: ClosureOut | None = Field(
        description="the closure that keeps the set and adds what is missing"
    )
    checks: ChecksOut
    cut_or_welded: list[str] = Field(
        description="numbers of the set, loose parts too, that are cut or welded and cannot be put back"
    )
    machined: list[str] = Field(description="numbers of the set, loose parts too, that are machined")
    cautions: list[str]
