"""What comparisons and checks of a proposed set look like, for the OpenAPI document."""

from typing import Annotated

from pydantic import Field

from graftbook.document import Document
from graftbook.questions.closures.check_schemas import ChecksOut
from graftbook.questions.closures.schemas import (
    ChangeOut,
    ClosureOut,
    DifferenceOut,
    NoteOut,
    RemarksOut,
    UnderstoodOut,
)


class ComparedOut(Document):
    """Two answers and what differs."""

    asked: Annotated[ClosureOut, Field(description="the answer as asked")]
    instead: Annotated[ClosureOut, Field(description="the other answer")]
    difference: Annotated[DifferenceOut, Field(description="what the other costs more; 0 is left out")]
    sentences: Annotated[list[str], Field(description="the difference in words")]
    only_asked: list[ChangeOut]
    only_instead: list[ChangeOut]


class WhyNotOut(ComparedOut):
    """The answer as asked, and the answer with that component."""

    component: str
    position: str | None


class WhatIfOut(ComparedOut):
    """The answer as asked, and the answer on the other vehicle."""


class SurplusOut(Document):
    """A part of the proposed set that nothing asks for."""

    position: str | None
    component: str | None
    quantity: int


class CheckOut(RemarksOut, UnderstoodOut):
    """Whether a proposed set is complete and works together."""

    catalogue_revision: int
    complete: Annotated[bool, Field(description="it lacks nothing, and nothing of it clashes")]
    missing: Annotated[
        list[NoteOut], Field(description="what the set lacks, each with the rule that asks for it")
    ]
    clashing: Annotated[list[NoteOut], Field(description="what of the set cannot be together")]
    surplus: Annotated[
        list[SurplusOut], Field(description="what of the set nothing that was wished asks for")
    ]
    limits_broken: Annotated[list[NoteOut], Field(description="limits that the set breaks")]
    cut_short: Annotated[bool, Field(description="the deadline came first: surplus positions are not named")]
    completed: Annotated[
        ClosureOut | None, Field(description="the closure that keeps the set and adds what is missing")
    ]
    checks: Annotated[ChecksOut, Field(description="the arithmetic of the set")]
    cut_or_welded: Annotated[
        list[str],
        Field(
            description="numbers of the set, loose parts too, that are cut or welded and cannot be put back"
        ),
    ]
    machined: Annotated[
        list[str], Field(description="numbers of the set, loose parts too, that are machined")
    ]
    cautions: list[str]
