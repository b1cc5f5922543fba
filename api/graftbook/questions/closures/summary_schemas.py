"""What the summaries of answers look like, for the OpenAPI document and the checker."""

from typing import Annotated, NotRequired

from pydantic import Field

from graftbook.document import DayOut, Document
from graftbook.http.values import GradeWord
from graftbook.questions.closures.check_schemas import KindWord, VerdictWord
from graftbook.questions.closures.compared_schemas import SurplusOut
from graftbook.questions.closures.schemas import (
    DifferenceOut,
    MoneyOut,
    OutcomeWord,
    TotalsOut,
)

Full = Annotated[str | None, Field(description="the address of the whole answer; null: ask without `view`")]


class VehicleBriefOut(Document):
    """The vehicle, in short."""

    variant: str
    title: str
    chassis: str
    built: DayOut
    options: list[str]


class LineOut(Document):
    """A line of the set."""

    number: Annotated[str | None, Field(description="null: the position is emptied")]
    name: str | None
    position: NotRequired[Annotated[str, Field(description="left out for a loose part")]]
    quantity: NotRequired[Annotated[int, Field(description="pieces; left out where it is one")]]
    price: Annotated[MoneyOut, Field(description="of all pieces; null: unknown")]
    why: Annotated[str, Field(description="what asks for it, in a phrase")]


class FlawCountsOut(Document):
    """Known flaws, counted by severity."""

    counts: Annotated[dict[str, int], Field(description="how many of each severity")]
    dangerous: Annotated[list[str], Field(description="the dangerous ones by name")]


class SetSummaryOut(Document):
    """The set, a line a change or loose part."""

    lines: list[LineOut]
    totals: TotalsOut
    flaws_left: FlawCountsOut
    flaws_brought: FlawCountsOut
    confidence: GradeWord | None
    advised: Annotated[int, Field(description="how many parts are advised and not in the set")]
    stays: Annotated[int, Field(description="how many positions stay as they are")]


class FindingBriefOut(Document):
    """What a check finds, in short."""

    check: str
    kind: KindWord
    verdict: VerdictWord
    sentence: str
    mend: Annotated[str | None, Field(description="what would mend it; null: nothing is known")]


class ChecksSummaryOut(Document):
    """The arithmetic of the set, in short."""

    verdict: VerdictWord
    sentence: str
    counts: Annotated[dict[KindWord, int], Field(description="findings of each kind that there are")]
    findings: Annotated[list[FindingBriefOut], Field(description="what the set makes worse or undetermined")]
    failing_already: Annotated[list[str], Field(description="checks that fail with the set as today")]
    cautions: Annotated[list[str], Field(description="of every finding, listed or counted")]


class BriefOut(Document):
    """What every summary says as the whole document says it."""

    vehicle: VehicleBriefOut
    currency: str
    catalogue_revision: int
    cautions: list[str]
    cut_short: bool


class ClosureSummaryOut(BriefOut):
    """The summary of a closure: the set line by line; what is unchanged is counted."""

    full: Full
    outcome: OutcomeWord
    proved: bool
    sentence: str
    wishes: list[str]
    set: Annotated[SetSummaryOut | None, Field(description="the best set; null: there is none")]
    contradictions: Annotated[
        list[list[str]], Field(description="what cannot hold together, each a list of sentences")
    ]
    ways_out: Annotated[list[str], Field(description="what could be given up, in words")]
    other_sets: Annotated[int, Field(description="how many further sets the whole answer has")]
    checks: Annotated[
        ChecksSummaryOut | None, Field(description="the arithmetic of the set; null: there is no set")
    ]


class CheckSummaryOut(BriefOut):
    """The summary of a check."""

    full: Full
    complete: Annotated[bool, Field(description="it lacks nothing, and nothing of it clashes")]
    wishes: list[str]
    missing: Annotated[list[str], Field(description="what the set lacks, in words")]
    clashing: Annotated[list[str], Field(description="what cannot be together, in words")]
    surplus: Annotated[
        list[SurplusOut], Field(description="what of the set nothing that was wished asks for")
    ]
    limits_broken: Annotated[list[str], Field(description="limits that the set breaks, in words")]
    flaws_left: FlawCountsOut
    flaws_brought: FlawCountsOut
    checks: Annotated[ChecksSummaryOut, Field(description="the arithmetic of the set")]
    completed: ClosureSummaryOut | None


LOOKED_UP = (
    "true: read off the prices that the closure has for every alternative, nothing was solved for it; false: "
    "the closure has no exact price of it, so the sets alone were compared"
)


class WhyNotAskedOut(BriefOut):
    """What was asked."""

    full: Full
    component: str
    name: Annotated[str | None, Field(description="null: the catalogue has no record of its name")]
    asked: Annotated[OutcomeWord, Field(description="of the question as asked")]


class WhyNotSummaryOut(WhyNotAskedOut):
    """Why not this component: what the best set with it costs more, or the first contradiction."""

    position: Annotated[str | None, Field(description="where it would sit; null: nowhere, or not known")]
    outcome: Annotated[OutcomeWord, Field(description="of the question with this component instead")]
    looked_up: Annotated[bool, Field(description=LOOKED_UP)]
    difference: Annotated[DifferenceOut, Field(description="what the set with it costs more; 0 is left out")]
    sentences: Annotated[list[str], Field(description="the same in words")]
    contradiction: Annotated[list[str], Field(description="where it is impossible: the first, smallest one")]
