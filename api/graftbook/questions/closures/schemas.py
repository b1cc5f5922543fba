"""What answers look like: in the OpenAPI document, and to whoever writes them, as plain dicts for speed."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field

from graftbook.document import Document
from graftbook.http.values import GradeWord

MoneyOut = str | None
OutcomeWord = Literal["proved", "impossible", "not proved in time", "too large to reason over"]
CauseWord = Literal["wish", "companion", "conflict", "joint", "budget", "flaw", "pair", "limit", "fact"]
HowWord = Literal[
    "asked", "needs", "still needs", "makes way", "left without", "together", "remedies", "makes sure",
]  # fmt: skip


class VehicleOut(Document):
    variant: str
    title: str
    range: str
    chassis: str
    built: str
    built_is_estimated: bool
    steering: str
    market: str
    options: list[str]


class BecauseOut(Document):
    cause: CauseWord
    name: Annotated[str, Field(description="the wish or rule by name")]
    sentence: str
    how: Annotated[
        HowWord | None, Field(description="how the reason brings the change; null in a contradiction")
    ]
    from_position: Annotated[
        str | None, Field(description="the change that brings the rule; null for a wish")
    ]
    from_loose_part: Annotated[
        str | None, Field(description="the loose part that brings the rule, where one does")
    ]
    wish: Annotated[str | None, Field(description="the wish that asks, by its name; null for a rule")]
    asking_position: Annotated[
        str | None,
        Field(
            description="with `still needs`: where what asks stays; with `left without`: where what asked was"
        ),
    ]
    evidence: Annotated[GradeWord | None, Field(description="null: a wish, limit, pair or fact needs none")]


class UnknownPricesOut(Document):
    added: Annotated[list[str], Field(description="numbers of unknown price of which the other set has more")]
    removed: Annotated[list[str], Field(description="and those of which it has fewer")]


class DifferenceOut(Document):
    irreversible: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    visible: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    changes: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    flaws: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    price: NotRequired[
        Annotated[
            MoneyOut,
            Field(
                description="null: cannot be told, because prices are not known",
                json_schema_extra={"default": "0.00"},
            ),
        ]
    ]
    labour: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    unconfirmed: NotRequired[Annotated[int, Field(json_schema_extra={"default": 0})]]
    known_price: NotRequired[
        Annotated[
            MoneyOut,
            Field(
                description="where `price` is null: the difference of the parts whose price is known",
                json_schema_extra={"default": None},
            ),
        ]
    ]
    unknown_prices: NotRequired[
        Annotated[
            UnknownPricesOut | None,
            Field(
                description="where `price` is null: whose prices are not known",
                json_schema_extra={"default": None},
            ),
        ]
    ]


class OtherWayOut(Document):
    component: Annotated[str | None, Field(description="null: nothing sits there")]
    name: str | None
    position: Annotated[str | None, Field(description="null: a loose part")]
    position_title: str | None


class OtherOut(Document):
    component: Annotated[
        str | None, Field(description="what sits at the change's position then; null: nothing")
    ]
    name: str | None
    kept: Annotated[bool, Field(description="it is what sits there today")]
    other_way: Annotated[
        OtherWayOut | None,
        Field(
            description="where nothing new sits there: what meets elsewhere what was demanded, or took the "
            "place of what demanded it"
        ),
    ]
    outcome: OutcomeWord
    difference: Annotated[
        DifferenceOut, Field(description="what the whole set would then cost more; 0 is left out")
    ]


class ChangeOut(Document):
    position: str
    position_title: str
    section: str
    section_title: str
    pair: Annotated[
        str | None, Field(description="the places that are changed together with it share this name")
    ]
    component: Annotated[str | None, Field(description="null: the position is emptied")]
    name: str | None
    replaces: str | None
    replaces_name: str | None
    asked_number: Annotated[str | None, Field(description="the old number that was asked for")]
    quantity: int
    effort: str
    can_be_put_back: bool
    minutes: int
    price: Annotated[MoneyOut, Field(description="of all pieces; null: unknown")]
    visible: bool
    why: Annotated[str, Field(description="the reason in words")]
    also: Annotated[str | None, Field(description="what else needs it, in words")]
    choice: Annotated[str | None, Field(description="what the next best would have cost, in words")]
    because: BecauseOut
    also_needed_by: list[BecauseOut]
    depth: Annotated[int, Field(description="how many rules lie between it and a wish")]
    forced: Annotated[bool, Field(description="nothing else was possible")]
    choices: int
    only_one: Annotated[bool, Field(description="proved: with any other the question cannot be fulfilled")]
    alternatives: Annotated[
        list[OtherOut],
        Field(
            description="what else could sit there, the next best first, with what the best set with it "
            "costs more or less; last, with the outcome `impossible`, what no set with these wishes has"
        ),
    ]
    claim: str | None
    evidence: Annotated[GradeWord | None, Field(description="of the claim; null: no claim is needed")]


class LooseOut(Document):
    component: str
    name: str | None
    section: Annotated[str | None, Field(description="what the part belongs to, whatever asks for it")]
    quantity: int
    price: MoneyOut
    effort: str
    can_be_put_back: bool
    minutes: Annotated[int, Field(description="of labour, for all pieces")]
    note: Annotated[str | None, Field(description="the part's own note")]
    why: str
    because: BecauseOut
    also_needed_by: list[BecauseOut]


class FlawNoteOut(Document):
    flaw: str
    component: str
    position: str
    severity: str
    symptom: str
    section: str | None
    sentence: str


class NoteOut(Document):
    cause: CauseWord
    name: str
    sentence: str
    positions: list[str]
    missing: list[str]


class UnconfirmedOut(Document):
    claim: str
    evidence: GradeWord
    position: str | None
    component: str | None
    what: Annotated[str, Field(description="what is claimed, in words")]
    sentence: str


class StayingOut(Document):
    position: str
    position_title: str
    section: str
    component: str
    name: str | None


class TotalsOut(Document):
    irreversible: Annotated[int, Field(description="changes, and loose parts, that are cut or welded")]
    visible: int
    changes: int
    flaws: int
    price: Annotated[str, Field(description="the known prices, the catalogue's own; an order takes offers")]
    labour_minutes: int
    unconfirmed: int
    unknown_prices: Annotated[
        list[str], Field(description="numbers whose price is not known and not in the sum")
    ]
    cut_or_welded: Annotated[
        list[str], Field(description="numbers, one for each change and each loose part that is cut or welded")
    ]
    machined: Annotated[
        list[str], Field(description="numbers, one for each change and each loose part machined")
    ]


class RemarksOut(Document):
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
    contradicted: Annotated[
        list[UnconfirmedOut], Field(description="claims that a workshop found otherwise, confirmed or not")
    ]
    confidence: Annotated[
        GradeWord | None,
        Field(
            description="the grade of the weakest claim; null: no claim is needed, since nothing changes "
            "or the "
            "factory fitted all of it"
        ),
    ]
    rests_on: Annotated[str, Field(description="what the claims under the set are worth, in words")]


class ContradictionOut(Document):
    parts: list[BecauseOut]
    facts: list[NoteOut]
    smallest: bool
    sentences: list[str]


class WayOutOut(Document):
    gives_up: list[BecauseOut]
    instead: str
    fit: Annotated[str | None, Field(description="the wish in place of the one given up, `number@position`")]
    totals: TotalsOut | None
    changes: int
    sentence: str


class AskedLimitOut(Document):
    name: str
    sentence: str


class WishOut(Document):
    name: str
    sentence: str
    met_already: Annotated[
        Literal["flaw not known of this variant", "flaw not on this vehicle"] | None,
        Field(description="why a wish to remedy asks for nothing; null: it asks for something"),
    ]


class FigureOut(Document):
    name: str
    before: float | None
    after: float | None
    unit: str


class LimitOut(Document):
    text: str
    source: str
    clause: str
    provenance: str
    value: float | None
    unit: str


VerdictWord = Literal["holds", "caution", "fails", "not determined"]
KindWord = Literal["worse", "newly not determined", "already so", "mended", "holds", "not determined"]


class FindingOut(Document):
    check: str
    subject: str
    kind: Annotated[
        KindWord,
        Field(
            description="whose it is: `worse` and `newly not determined` are the set's doing, `already "
            "so` is "
            "as bad today, `mended` is better with the set, `holds` is as it should be, `not determined` "
            "is so "
            "today as well"
        ),
    ]
    verdict: Annotated[VerdictWord, Field(description="with the set fitted")]
    verdict_today: Annotated[
        VerdictWord, Field(description="of the vehicle as it stands, by the limit that applies to it")
    ]
    applies_today: Annotated[
        bool,
        Field(
            description="false where there is nothing to check on the vehicle as it stands; "
            "`verdict_today` is "
            "`not determined` then"
        ),
    ]
    changed: Annotated[bool, Field(description="the set changes its verdict or a figure")]
    better: Annotated[
        bool,
        Field(description="of what was `already so`: the set brings it nearer to its limit, not within it"),
    ]
    sentence: str
    figures: list[FigureOut]
    limit: LimitOut | None
    components: list[str]
    missing: Annotated[list[str], Field(description="characteristics that are not recorded")]
    impossible: Annotated[list[str], Field(description="characteristics recorded as what they cannot be")]
    mend: str | None
    caution: str | None


class ChecksOut(Document):
    verdict: Annotated[
        VerdictWord,
        Field(
            description="the worst of what the set makes worse or leaves undetermined; `holds` when there is "
            "nothing of that, whatever was so already"
        ),
    ]
    sentence: Annotated[str, Field(description="what the set makes worse, in words")]
    counts: Annotated[dict[KindWord, int], Field(description="how many findings there are of each kind")]
    findings: Annotated[
        list[FindingOut],
        Field(
            description="every one, also what is unchanged or not determined; to ask for the whole answer is "
            "to ask for them, a summary counts those"
        ),
    ]


class QuestionOut(Document):
    vehicle: VehicleOut
    wishes: list[WishOut]
    limits: list[AskedLimitOut]


class OutcomeOut(Document):
    outcome: OutcomeWord
    proved: bool
    sentences: Annotated[list[str], Field(description="the answer in words")]
    catalogue_revision: int


class LegendOut(Document):
    currency: str
    section_titles: dict[str, str]


class SetsOut(Document):
    set: SetOut | None
    other_sets: list[SetOut]
    fewer_other_sets: Annotated[
        str | None, Field(description="why fewer other sets came than were asked for; null when as many came")
    ]
    contradictions: list[ContradictionOut]
    ways_out: list[WayOutOut]
    more_ways_out: bool
    cut_short: Annotated[
        bool,
        Field(
            description="the deadline came before everything was explained: next bests, further sets and "
            "ways out may be missing"
        ),
    ]
    gap: float | None
    positions_reached: int
    engine: str


class UnderstoodOut(QuestionOut, LegendOut):
    """How a question was understood: a part of what is answered."""


class AnsweredOut(OutcomeOut, SetsOut):
    """What came of it: the other part."""


class LeastEvidenceOut(Document):
    """What the limit on evidence costs: this answer beside the one without it."""

    wanted: GradeWord
    outcome_without: OutcomeWord
    difference: Annotated[DifferenceOut, Field(description="what this set has more than the one without")]
    instead_of: Annotated[list[str], Field(description="`number@position` that only the set without has")]
    sentence: str


class ClosureOut(QuestionOut, OutcomeOut, LegendOut, SetsOut):
    """The complete set that follows, or why there is none."""

    checks: ChecksOut | None
    cautions: list[str]
    least_evidence: Annotated[
        LeastEvidenceOut | None, Field(description="null: no grade was asked for, or nothing to compare with")
    ]
