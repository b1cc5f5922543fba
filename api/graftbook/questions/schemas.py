"""What a question looks like in JSON. Names are checked in `graftbook.questions.reading`."""

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, model_validator
from pydantic.config import JsonDict

from graftbook.closure.criteria import TOLD, Criterion, CriterionWord
from graftbook.http.fields import WHOLE, Day, Price, Sits, Truth, Unsaid, Word
from graftbook.http.values import GradeWord
from graftbook.rulebook.model import EffortWord, SeverityWord

RulesWord = Literal["in service", "type approval"]
EvidenceWord = GradeWord

MOST_ALTERNATIVES = 10
LONGEST_DEADLINE = 30.0
MOST_QUESTIONS = 1_000


class Body(BaseModel):
    """A body that somebody sends: unknown fields are mistakes, and no number is NaN or infinite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


def _in_all_cases(bound: JsonDict) -> JsonDict:
    """A bound on which members stand together. Standing by itself, generators of clients would take its
    alternatives for those of the object, and make nothing of its members."""
    return {"if": {}, "then": bound}


class VehicleIn(Body):
    """The vehicle: a stored build by its name, or a chassis number."""

    model_config = ConfigDict(
        json_schema_extra={
            **_in_all_cases({"anyOf": [{"required": ["build"]}, {"required": ["chassis"]}]}),
            "examples": [{"chassis": "24PL-018412", "options": ["heater"]}],
        },
    )

    build: Unsaid[Word] = Field(None, description="name of a stored build; the other fields then add to it")
    chassis: Unsaid[Word] = Field(None, description="chassis number; gives the variant and the day built")
    variant: Word | None = Field(None, description="variant; may be left out with a chassis number")
    built: Day | None = Field(
        None, description="the day it was built; empty: estimated from the chassis number"
    )
    options: Annotated[list[Word], Field(max_length=100)] = Field([], description="options it has")
    fitted: Sits = Field(
        {}, description="position → component fitted today instead of the original; null: empty"
    )
    on_the_bench: Annotated[list[Word], Field(max_length=1_000)] = Field(
        [], description="components at hand; they need not be bought"
    )
    on: Day | None = Field(None, description="with `build`: as it stood on this day; empty: as it is")

    @model_validator(mode="after")
    def _names_a_vehicle(self) -> Self:
        if not (self.build or self.chassis):
            raise ValueError("give a chassis number, or the name of a stored build")
        if self.on and not self.build:
            raise ValueError("`on` goes with `build`: the day as of which the build is asked about")
        return self


class WishIn(Body):
    """One wish; exactly one of `upgrade`, `fit`, `remedy`, `remedy_all` and `clear`."""

    model_config = ConfigDict(
        json_schema_extra={
            **_in_all_cases(
                {
                    "oneOf": [
                        {"required": ["upgrade"]},
                        {"required": ["fit"]},
                        {"required": ["remedy"]},
                        {"required": ["remedy_all"]},
                        {"required": ["clear"]},
                    ]
                }
            ),
            "dependentRequired": {"position": ["fit"], "section": ["remedy_all"]},
            "examples": [
                {"fit": "QB-3310"},
                {"upgrade": "front-discs"},
                {"remedy_all": "severe", "section": "brakes"},
            ],
        }
    )

    upgrade: Unsaid[Word] = Field(None, description="everything that this named upgrade wishes")
    fit: Unsaid[Word] = Field(None, description="fit this component (`position` and `quantity` may be given)")
    position: Unsaid[Word] = Field(None, description="with `fit`: at this position")
    quantity: Annotated[int, Strict(), Field(ge=1, le=1_000), WHOLE] = Field(
        1, description="with `fit` of a loose part; of several wishes for one the greatest counts"
    )
    remedy: Unsaid[Word] = Field(None, description="remedy this known flaw")
    remedy_all: Unsaid[SeverityWord] = Field(
        None, description="remedy every known flaw from this severity up"
    )
    section: Unsaid[Word] = Field(None, description="with `remedy_all`: in this section only")
    clear: Unsaid[Word] = Field(None, description="leave this position empty")

    @model_validator(mode="after")
    def _is_one_wish(self) -> Self:
        kinds = ("upgrade", "fit", "remedy", "remedy_all", "clear")
        given = [word for word in kinds if getattr(self, word) is not None]
        if len(given) != 1:
            raise ValueError("a wish is exactly one of upgrade, fit, remedy, remedy_all and clear")
        if self.position is not None and given != ["fit"]:
            raise ValueError("a position goes with fit only")
        if self.section is not None and given != ["remedy_all"]:
            raise ValueError("a section goes with remedy_all only")
        return self


EVIDENCE = "no part whose fitting is worth less; the answer says what that costs"


class LimitsIn(Body):
    """What the answer may not do."""

    keep: Annotated[list[Word], Field(max_length=1_000)] = Field(
        [], description="positions that stay as today"
    )
    keep_sections: Annotated[list[Word], Field(max_length=100)] = Field(
        [], description="sections that stay as today"
    )
    refuse: Annotated[list[Word], Field(max_length=1_000)] = Field(
        [], description="components not to be fitted"
    )
    effort_at_most: EffortWord = Field("cutting", description="`machining`: nothing that cannot be put back")
    price_at_most: Price | None = Field(None, description="ceiling on the parts, in the catalogue's currency")
    nothing_visible: Truth = Field(False, description="nothing that shows may change")
    evidence_at_least: EvidenceWord = Field("no evidence", description=EVIDENCE)


EVERY_CRITERION: list[CriterionWord] = [criterion.value for criterion in Criterion]
PREFERRED = {criterion.value: told.preferred for criterion, told in TOLD.items()}
DIFFERENCES = {criterion.value: (told.column, told.unit) for criterion, told in TOLD.items()}
"""Each criterion as what an asker wants most; over the figures of what is more, and their unit."""


def _each_once(preference: list[CriterionWord]) -> list[CriterionWord]:
    if len(set(preference)) != len(preference):
        raise ValueError("a criterion stands twice in the preference")
    return preference


Criteria = Annotated[
    list[CriterionWord],
    Field(max_length=len(EVERY_CRITERION), json_schema_extra={"uniqueItems": True}),
    AfterValidator(_each_once),
]
"""Criteria, each once."""

Preference = Annotated[Criteria, Field(min_length=1)]
"""What sets are compared by, first to last, each criterion once."""


Revision = Annotated[int, Strict(), Field(ge=1, le=2_000_000_000), WHOLE]
RULES = (
    "which rules bind: those for a vehicle in service, or those of type approval too, which are there to "
    "compare with otherwise; empty: as the house has set it"
)
ViewWord = Literal["full", "summary"]
SUMMARY_OF_VERDICTS = (
    "`summary`: only verdict, number and whether it is proved, as the full answer says them, without names "
    "like an unknown one; what was proved by `proof` with its `set`"
)
DETAIL = (
    "`verdict`: what `view=summary` answers; `full`: the sentence, every place, its companions and evidence, "
    "the vehicle too"
)
PROOF = (
    "true: of each best place that is still open a closure proves the best whole set with it, told as `set`, "
    "or that there is none; as many as the deadline of the service allows, the others stay `proved: false`"
)
AS_OF = "the revision whose catalogue answers; empty: the present one"


class AskIn(Body):
    """What every question about a set has in common."""

    vehicle: VehicleIn
    wishes: Annotated[list[WishIn], Field(max_length=200)] = Field([], description="what is wanted")
    specification: Word | None = Field(None, description="a stored specification, `name` or `name@version`")
    limits: LimitsIn = LimitsIn()
    preference: Preference = Field(EVERY_CRITERION, description="what sets are compared by, first to last")
    market: Word | None = Field(
        None, description="whose law the arithmetic follows; empty: the variant's market"
    )
    rules: RulesWord | None = Field(None, description=RULES)
    as_of: Revision | None = Field(None, description=AS_OF)
    deadline_seconds: Annotated[float, Strict(), Field(gt=0, le=LONGEST_DEADLINE)] = Field(
        10.0, description="when the proof is given up"
    )


_DISCS: dict[str, Any] = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}


class ClosureIn(AskIn):
    """A vehicle and wishes: which complete set follows?"""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                _DISCS,
                {
                    "vehicle": {"chassis": "24PL-018412"},
                    "wishes": [{"remedy_all": "severe"}],
                    "limits": {"effort_at_most": "machining", "keep_sections": ["wheels"]},
                },
            ]
        }
    )

    alternatives: Annotated[int, Strict(), Field(ge=0, le=MOST_ALTERNATIVES), WHOLE] = Field(
        0,
        description="further best sets that do not dominate each other on price, visible changes and labour",
    )


class WhyNotIn(AskIn):
    """Why does the answer not hold this component instead?"""

    model_config = ConfigDict(json_schema_extra={"examples": [_DISCS | {"component": "QB-7050"}]})

    component: Word
    position: Word | None = None


class WhatIfIn(AskIn):
    """What would the same wishes give on that vehicle?"""

    model_config = ConfigDict(
        json_schema_extra={"examples": [_DISCS | {"other_vehicle": {"chassis": "24PR-009401"}}]}
    )

    other_vehicle: VehicleIn


class CheckIn(AskIn):
    """A vehicle and the set that is proposed for it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "vehicle": {"chassis": "24PL-018412"},
                    "components": ["QB-3310"],
                    "wishes": [{"fit": "QB-3310"}],
                }
            ]
        }
    )

    components: Annotated[list[Word], Field(max_length=1_000)] = Field(
        [], description="numbers of the set; each goes where it fits"
    )
    positions: Sits = Field(
        {}, description="position → component of the set, where a number alone does not say it; null: empty"
    )


class CompatibilityQuestionIn(Body):
    """Does this component go at this position (or any) on that vehicle?"""

    component: Word = Field(description="part number as typed; old numbers are followed")
    chassis: Word = Field(description="chassis number")
    variant: Word | None = Field(None, description="the variant it should be; checked when given")
    built: Day | None = None
    options: Annotated[list[Word], Field(max_length=100)] = Field(
        default_factory=list, description="options it has", json_schema_extra={"default": []}
    )
    position: Word | None = Field(None, description="empty: any position")


class CompatibilityQuery(CompatibilityQuestionIn):
    """One question as an address's parameters."""

    proof: bool = Field(False, description=PROOF)
    view: ViewWord = Field("full", description=SUMMARY_OF_VERDICTS)
    as_of: Annotated[int, Field(ge=1, le=2_000_000_000)] | None = Field(None, description=AS_OF)

    def body(self) -> "CompatibilityIn":
        """The body of the same question."""
        question = CompatibilityQuestionIn(**self.model_dump(exclude={"as_of", "proof", "view"}))
        asked = CompatibilityIn(questions=[question], proof=self.proof, as_of=self.as_of)
        return asked.in_view(self.view)


def _each_is_one(schema: dict[str, Any]) -> None:
    """Anything is taken, so that one wrong question spoils no other; it is no form to be asked in."""
    schema["items"] = schema["items"]["anyOf"][0]


class CompatibilityIn(Body):
    """Up to a thousand questions, each answered for itself."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"questions": [{"component": "qb 3310", "chassis": "24PL-018412"}]}]}
    )

    questions: Annotated[
        list[CompatibilityQuestionIn | Any],
        Field(min_length=1, max_length=MOST_QUESTIONS, json_schema_extra=_each_is_one),
    ]
    detail: Literal["verdict", "full"] = Field("full", description=DETAIL)
    proof: Truth = Field(False, description=PROOF)
    as_of: Revision | None = Field(None, description=AS_OF)

    def in_view(self, view: ViewWord) -> "CompatibilityIn":
        """The same questions, answered by verdicts alone where the view is a summary."""
        return self if view == "full" else self.model_copy(update={"detail": "verdict"})
