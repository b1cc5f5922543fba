"""What answers look like, for the OpenAPI document. Answers are written from plain dicts for speed;
the tests hold every one of them against these classes."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

MoneyOut = str | None
OutcomeWord = Literal["proved", "impossible", "not proved in time", "too large to reason over"]
GradeWord = Literal[
    "no evidence", "hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven"
]
CauseWord = Literal["wish", "companion", "conflict", "joint", "budget", "flaw", "pair", "limit", "fact"]


class Out(BaseModel):
    """An answer's object holds these members and no others."""

    model_config = ConfigDict(extra="forbid")


class VehicleOut(Out):
    variant: str
    title: str
    range: str
    chassis: str
    built: str
    built_is_estimated: bool
    steering: str
    market: str
    options: list[str]


class BecauseOut(Out):
    cause: CauseWord
    name: str = Field(description="the wish or rule by name")
    sentence: str
    from_position: str | None = Field(description="the change that brings the rule; null for a wish")
    evidence: GradeWord | None = Field(description="null: a wish, limit, pair or fact needs none")


class DifferenceOut(Out):
    irreversible: int = 0
    visible: int = 0
    changes: int = 0
    flaws: int = 0
    price: str = "0.00"
    labour: int = 0
    unconfirmed: int = 0


class OtherOut(Out):
    component: str
    name: str | None
    outcome: OutcomeWord
    difference: DifferenceOut = Field(description="what the whole set would then cost more; 0 is left out")


class ChangeOut(Out):
    position: str
    position_title: str
    section: str
    section_title: str
    component: str | None = Field(description="null: the position is emptied")
    name: str | None
    replaces: str | None
    replaces_name: str | None
    asked_number: str | None = Field(description="the old number that was asked for")
    quantity: int
    effort: str
    can_be_put_back: bool
    minutes: int
    price: MoneyOut = Field(description="of all pieces; null: unknown")
    visible: bool
    why: str = Field(description="the reason in words")
    also: str | None = Field(description="what else needs it, in words")
    choice: str | None = Field(description="what the next best would have cost, in words")
    because: BecauseOut
    also_needed_by: list[BecauseOut]
    depth: int = Field(description="how many rules lie between it and a wish")
    forced: bool = Field(description="nothing else was possible")
    choices: int
    alternatives: list[OtherOut]
    claim: str | None
    evidence: GradeWord | None = Field(description="of the claim; null: no claim is needed")


class LooseOut(Out):
    component: str
    name: str | None
    quantity: int
    price: MoneyOut
    why: str
    because: BecauseOut
    also_needed_by: list[BecauseOut]


class FlawNoteOut(Out):
    flaw: str
    component: str
    position: str
    severity: str
    symptom: str
    section: str | None
    sentence: str


class NoteOut(Out):
    cause: CauseWord
    name: str
    sentence: str
    positions: list[str]
    missing: list[str]


class UnconfirmedOut(Out):
    claim: str
    evidence: GradeWord
    position: str | None
    component: str | None
    sentence: str


class StayingOut(Out):
    position: str
    position_title: str
    section: str
    component: str
    name: str | None


class TotalsOut(Out):
    irreversible: int
    visible: int
    changes: int
    flaws: int
    price: str
    labour_minutes: int
    unconfirmed: int
    unknown_prices: list[str]


class RemarksOut(Out):
    """What has to be said of a set, whether it was reasoned or proposed."""

    flaws_gone: list[FlawNoteOut]
    flaws_left: list[FlawNoteOut]
    flaws_brought: list[FlawNoteOut]
    already_so: list[NoteOut]
    advised: list[NoteOut]
    not_determined: list[NoteOut]
    unconfirmed: list[UnconfirmedOut]


class SetOut(RemarksOut):
    changes: list[ChangeOut]
    loose_parts: list[LooseOut]
    totals: TotalsOut
    stays: list[StayingOut]
    confidence: GradeWord | None = Field(
        description="the grade of the weakest claim; null: no claim is needed, since nothing changes or the "
        "factory fitted all of it"
    )
    rests_on: str = Field(description="what the claims under the set are worth, in words")


class ContradictionOut(Out):
    parts: list[BecauseOut]
    facts: list[NoteOut]
    smallest: bool
    sentences: list[str]


class WayOutOut(Out):
    gives_up: list[BecauseOut]
    instead: str
    fit: str | None = Field(description="the wish in place of the one given up, `number@position`")
    totals: TotalsOut | None
    changes: int
    sentence: str


class WishOut(Out):
    name: str
    sentence: str


class FigureOut(Out):
    name: str
    before: float | None
    after: float | None
    unit: str


class LimitOut(Out):
    text: str
    source: str
    clause: str
    provenance: str
    value: float | None
    unit: str


class FindingOut(Out):
    check: str
    subject: str
    verdict: Literal["holds", "caution", "fails", "not determined"]
    verdict_today: Literal["holds", "caution", "fails", "not determined"]
    changed: bool = Field(description="the set changes its verdict or a figure")
    sentence: str
    figures: list[FigureOut]
    limit: LimitOut | None
    components: list[str]
    missing: list[str]
    mend: str | None
    caution: str | None


class ChecksOut(Out):
    verdict: Literal["holds", "caution", "fails", "not determined"]
    findings: list[FindingOut]


class ClosureOut(Out):
    """The complete set that follows, or why there is none."""

    vehicle: VehicleOut
    wishes: list[WishOut]
    limits: list[WishOut]
    outcome: OutcomeWord
    proved: bool
    sentences: list[str] = Field(description="the answer in words")
    catalogue_revision: int
    currency: str
    section_titles: dict[str, str]
    set: SetOut | None
    other_sets: list[SetOut]
    contradictions: list[ContradictionOut]
    ways_out: list[WayOutOut]
    more_ways_out: bool
    cut_short: bool = Field(
        description="the deadline came before everything was explained: next bests, further sets and "
        "ways out may be missing"
    )
    gap: float | None
    positions_reached: int
    engine: str
    checks: ChecksOut | None
    cautions: list[str]
