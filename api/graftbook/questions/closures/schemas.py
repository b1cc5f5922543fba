"""What answers look like: in the OpenAPI document, and to whoever writes them, as plain dicts for speed."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field

from graftbook.document import AmountOut, DayOut, Document
from graftbook.http.values import GradeWord
from graftbook.questions.closures.check_schemas import ChecksOut

MoneyOut = AmountOut | None
"""None: not known."""
OutcomeWord = Literal["proved", "impossible", "not proved in time", "too large to reason over"]
CauseWord = Literal["wish", "companion", "conflict", "joint", "budget", "flaw", "pair", "limit", "fact"]
HowWord = Literal[
    "asked", "needs", "still needs", "makes way", "left without", "together", "remedies", "makes sure",
]  # fmt: skip


class VehicleOut(Document):
    """The vehicle that the answer is about."""

    variant: str
    title: str
    range: str
    chassis: str
    built: DayOut
    built_is_estimated: bool
    steering: str
    market: str
    options: list[str]


class BecauseOut(Document):
    """A reason: a wish, a rule or a fact, and the sentence that says it."""

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
    """Whose prices are not known, so that a difference of prices cannot be told."""

    added: Annotated[list[str], Field(description="numbers of unknown price of which the other set has more")]
    removed: Annotated[list[str], Field(description="and those of which it has fewer")]


class DifferenceOut(Document):
    """What one set costs more than another, criterion by criterion; what is the same is left out."""

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
    """A component that does elsewhere what was demanded here."""

    component: Annotated[str | None, Field(description="null: nothing sits there")]
    name: str | None
    position: Annotated[str | None, Field(description="null: a loose part")]
    position_title: str | None


class OtherOut(Document):
    """What else could sit at a position, and what the best set with it costs more."""

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
    """A position that another component sits at with the set, and why."""

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
    quantity: Annotated[int, Field(description="pieces of it")]
    effort: str
    can_be_put_back: bool
    minutes: Annotated[int, Field(description="of labour")]
    price: Annotated[MoneyOut, Field(description="of all pieces; null: unknown")]
    visible: Annotated[bool, Field(description="one sees it")]
    why: Annotated[str, Field(description="the reason in words")]
    also: Annotated[str | None, Field(description="what else needs it, in words")]
    choice: Annotated[str | None, Field(description="what the next best would have cost, in words")]
    because: BecauseOut
    also_needed_by: list[BecauseOut]
    depth: Annotated[int, Field(description="how many rules lie between it and a wish")]
    forced: Annotated[bool, Field(description="nothing else was possible")]
    choices: Annotated[int, Field(description="how many components could sit there")]
    only_one: Annotated[bool, Field(description="proved: with any other the question cannot be fulfilled")]
    alternatives: Annotated[
        list[OtherOut],
        Field(
            description="what else could sit there, the next best first, with what the best set with it "
            "costs more or less; last, with the outcome `impossible`, what no set with these wishes has"
        ),
    ]
    claim: Annotated[
        str | None, Field(description="name of the fitment that says that it fits; null: none is needed")
    ]
    evidence: Annotated[GradeWord | None, Field(description="of the claim; null: no claim is needed")]


class LooseOut(Document):
    """Parts that the set needs and that sit at no position: gaskets, fluids, fasteners."""

    component: str
    name: str | None
    section: Annotated[str | None, Field(description="what the part belongs to, whatever asks for it")]
    quantity: Annotated[int, Field(description="pieces that are needed")]
    price: Annotated[MoneyOut, Field(description="of all pieces; null: unknown")]
    effort: str
    can_be_put_back: bool
    minutes: Annotated[int, Field(description="of labour, for all pieces")]
    note: Annotated[str | None, Field(description="the part's own note")]
    why: Annotated[str, Field(description="the reason in words")]
    because: BecauseOut
    also_needed_by: list[BecauseOut]


class FlawNoteOut(Document):
    """A known flaw at its position."""

    flaw: Annotated[str, Field(description="the flaw by name")]
    component: str
    position: str
    severity: str
    symptom: str
    section: str | None
    sentence: str


class NoteOut(Document):
    """Something that has to be said of a set, in words."""

    cause: CauseWord
    name: str
    sentence: str
    positions: Annotated[list[str], Field(description="positions that it is about")]
    missing: Annotated[list[str], Field(description="what is not recorded, so that it cannot be determined")]


class UnconfirmedOut(Document):
    """A claim under the set that nobody measured, fitted or drove."""

    claim: Annotated[str, Field(description="name of the record that claims it")]
    evidence: GradeWord
    position: str | None
    component: str | None
    what: Annotated[str, Field(description="what is claimed, in words")]
    sentence: str


class StayingOut(Document):
    """A position that stays as it is."""

    position: str
    position_title: str
    section: str
    component: str
    name: str | None


class TotalsOut(Document):
    """The sums of a set."""

    irreversible: Annotated[int, Field(description="changes, and loose parts, that are cut or welded")]
    visible: Annotated[int, Field(description="changes that one sees")]
    changes: Annotated[int, Field(description="positions at which something changes")]
    flaws: Annotated[int, Field(description="known flaws that are left")]
    price: Annotated[
        AmountOut, Field(description="the known prices, the catalogue's own; an order takes offers")
    ]
    labour_minutes: int
    unconfirmed: Annotated[
        int, Field(description="claims under the set that nobody measured, fitted or drove")
    ]
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
    """A complete set: what changes, what is needed beside it, what stays, and what it comes to."""

    changes: Annotated[list[ChangeOut], Field(description="the positions at which something else sits")]
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
    """Wishes, limits and rules that cannot hold together."""

    parts: Annotated[list[BecauseOut], Field(description="the wishes, limits and rules")]
    facts: Annotated[list[NoteOut], Field(description="what is so on this vehicle, and makes them clash")]
    smallest: Annotated[bool, Field(description="proved: without any one of them the rest can hold")]
    sentences: Annotated[list[str], Field(description="the contradiction in words")]


class WayOutOut(Document):
    """What could be given up so that the rest can be had."""

    gives_up: list[BecauseOut]
    instead: Annotated[str, Field(description="what is had instead, in words")]
    fit: Annotated[str | None, Field(description="the wish in place of the one given up, `number@position`")]
    totals: TotalsOut | None
    changes: Annotated[int, Field(description="positions at which something changes then")]
    sentence: str


class AskedLimitOut(Document):
    """A limit that was asked for."""

    name: str
    sentence: str


class WishOut(Document):
    """A wish that was asked for."""

    name: str
    sentence: str
    met_already: Annotated[
        Literal["flaw not known of this variant", "flaw not on this vehicle"] | None,
        Field(description="why a wish to remedy asks for nothing; null: it asks for something"),
    ]


class QuestionOut(Document):
    """How the question was understood."""

    vehicle: VehicleOut
    wishes: list[WishOut]
    limits: list[AskedLimitOut]


class OutcomeOut(Document):
    """What came of the question."""

    outcome: OutcomeWord
    proved: bool
    sentences: Annotated[list[str], Field(description="the answer in words")]
    catalogue_revision: int


class LegendOut(Document):
    """What the document's values are written in."""

    currency: str
    section_titles: dict[str, str]


class SetsOut(Document):
    """The best set and the others, or why there is none."""

    set: Annotated[SetOut | None, Field(description="the best set; null: there is none")]
    other_sets: Annotated[list[SetOut], Field(description="further sets that are better in some way")]
    fewer_other_sets: Annotated[
        str | None, Field(description="why fewer other sets came than were asked for; null when as many came")
    ]
    contradictions: Annotated[
        list[ContradictionOut], Field(description="where there is no set: what cannot hold together")
    ]
    ways_out: Annotated[list[WayOutOut], Field(description="where there is no set: what could be given up")]
    more_ways_out: Annotated[bool, Field(description="there are more than are told")]
    cut_short: Annotated[
        bool,
        Field(
            description="the deadline came before everything was explained: next bests, further sets and "
            "ways out may be missing"
        ),
    ]
    gap: Annotated[
        float | None,
        Field(
            description="how far the set may be from the best, as part of its cost; null: proved or unknown"
        ),
    ]
    positions_reached: Annotated[int, Field(description="positions that the wishes reach through rules")]
    engine: Annotated[
        str,
        Field(description="which method found it: `propagation`, `elimination`, `concession` or `solver`"),
    ]


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

    checks: Annotated[ChecksOut | None, Field(description="the arithmetic of the set; null: there is no set")]
    cautions: list[str]
    least_evidence: Annotated[
        LeastEvidenceOut | None, Field(description="null: no grade was asked for, or nothing to compare with")
    ]
