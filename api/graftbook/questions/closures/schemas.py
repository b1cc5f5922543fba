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
HowWord = Literal[
    "asked", "needs", "still needs", "makes way", "left without", "together", "remedies", "makes sure",
]  # fmt: skip


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
    how: HowWord | None = Field(description="how the reason brings the change; null in a contradiction")
    from_position: str | None = Field(description="the change that brings the rule; null for a wish")
    from_loose_part: str | None = Field(description="the loose part that brings the rule, where one does")
    wish: str | None = Field(description="the wish that asks, by its name; null for a rule")
    asking_position: str | None = Field(
        description="with `still needs`: where what asks stays; with `left without`: where what asked was"
    )
    evidence: GradeWord | None = Field(description="null: a wish, limit, pair or fact needs none")


class UnknownPricesOut(Out):
    added: list[str] = Field(description="numbers of unknown price of which the other set has more")
    removed: list[str] = Field(description="and those of which it has fewer")


class DifferenceOut(Out):
    irreversible: int = 0
    visible: int = 0
    changes: int = 0
    flaws: int = 0
    price: MoneyOut = Field("0.00", description="null: cannot be told, because prices are not known")
    labour: int = 0
    unconfirmed: int = 0
    known_price: MoneyOut = Field(
        None, description="where `price` is null: the difference of the parts whose price is known"
    )
    unknown_prices: UnknownPricesOut | None = Field(
        None, description="where `price` is null: whose prices are not known"
    )


class OtherWayOut(Out):
    component: str | None = Field(description="null: nothing sits there")
    name: str | None
    position: str | None = Field(description="null: a loose part")
    position_title: str | None


class OtherOut(Out):
    component: str | None = Field(description="what sits at the change's position then; null: nothing")
    name: str | None
    kept: bool = Field(description="it is what sits there today")
    other_way: OtherWayOut | None = Field(
        description="where nothing new sits there: what meets elsewhere what was demanded, or took the "
        "place of what demanded it"
    )
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
    only_one: bool = Field(description="proved: with any other the question cannot be fulfilled")
    alternatives: list[OtherOut]
    claim: str | None
    evidence: GradeWord | None = Field(description="of the claim; null: no claim is needed")


class LooseOut(Out):
    component: str
    name: str | None
    section: str | None = Field(description="what the part belongs to, whatever asks for it")
    quantity: int
    price: MoneyOut
    effort: str
    can_be_put_back: bool
    minutes: int = Field(description="of labour, for all pieces")
    note: str | None = Field(description="the part's own note")
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
    what: str = Field(description="what is claimed, in words")
    sentence: str


class StayingOut(Out):
    position: str
    position_title: str
    section: str
    component: str
    name: str | None


class TotalsOut(Out):
    irreversible: int = Field(description="changes, and loose parts, that are cut or welded")
    visible: int
    changes: int
    flaws: int
    price: str = Field(description="the known prices, the catalogue's own; an order takes offers")
    labour_minutes: int
    unconfirmed: int
    unknown_prices: list[str] = Field(description="numbers whose price is not known and not in the sum")
    cut_or_welded: list[str] = Field(
        description="numbers, one for each change and each loose part that is cut or welded"
    )
    machined: list[str] = Field(description="numbers, one for each change and each loose part machined")


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


class AskedLimitOut(Out):
    name: str
    sentence: str


class WishOut(Out):
    name: str
    sentence: str
    met_already: Literal["flaw not known of this variant", "flaw not on this vehicle"] | None = Field(
        description="why a wish to remedy asks for nothing; null: it asks for something"
    )


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


VerdictWord = Literal["holds", "caution", "fails", "not determined"]
KindWord = Literal["worse", "newly not determined", "already so", "mended", "holds", "not determined"]


class FindingOut(Out):
    check: str
    subject: str
    kind: KindWord = Field(
        description="whose it is: `worse` and `newly not determined` are the set's doing, `already so` is "
        "as bad today, `mended` is better with the set, `holds` is as it should be, `not determined` is so "
        "today as well"
    )
    verdict: VerdictWord = Field(description="with the set fitted")
    verdict_today: VerdictWord = Field(
        description="of the vehicle as it stands, by the limit that applies to it"
    )
    applies_today: bool = Field(
        description="false where there is nothing to check on the vehicle as it stands; `verdict_today` is "
        "`not determined` then"
    )
    changed: bool = Field(description="the set changes its verdict or a figure")
    better: bool = Field(
        description="of what was `already so`: the set brings it nearer to its limit, not within it"
    )
    sentence: str
    figures: list[FigureOut]
    limit: LimitOut | None
    components: list[str]
    missing: list[str] = Field(description="characteristics that are not recorded")
    impossible: list[str] = Field(description="characteristics recorded as what they cannot be")
    mend: str | None
    caution: str | None


class ChecksOut(Out):
    verdict: VerdictWord = Field(
        description="the worst of what the set makes worse or leaves undetermined; `holds` when there is "
        "nothing of that, whatever was so already"
    )
    sentence: str = Field(description="what the set makes worse, in words")
    counts: dict[KindWord, int] = Field(description="how many findings there are of each kind")
    findings: list[FindingOut]


class ClosureOut(Out):
    """The complete set that follows, or why there is none."""

    vehicle: VehicleOut
    wishes: list[WishOut]
    limits: list[AskedLimitOut]
    outcome: OutcomeWord
    proved: bool
    sentences: list[str] = Field(description="the answer in words")
    catalogue_revision: int
    currency: str
    section_titles: dict[str, str]
    set: SetOut | None
    other_sets: list[SetOut]
    fewer_other_sets: str | None = Field(
        description="why fewer other sets came than were asked for; null when as many came"
    )
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
