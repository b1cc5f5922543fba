"""What an answer is made of: facts as data. Sentences are made from them in `words`.

What demands, reasons and notes rest on are values too: a wish, a limit, a rule, a flaw or a fact. They travel
from the question to the answer; `words.sentences` tells them when the document is written.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from graftbook.closure.criteria import Difference, Totals
from graftbook.closure.question import FitComponent, Limit, PriceAtMost, RemedyFlaws, Wish
from graftbook.rulebook.model import (
    Budget,
    Claim,
    Companion,
    Conflict,
    Effort,
    Flaw,
    Grade,
    Joint,
    Severity,
    Wanted,
)
from graftbook.rulebook.scope import Fit


@dataclass(frozen=True, slots=True)
class FlawAsked:
    """A flaw, and the wish for every flaw of a severity that asks to be rid of it."""

    flaw: Flaw
    wish: RemedyFlaws


@dataclass(frozen=True, slots=True)
class ChangedTogether:
    """Two positions of a pair."""

    position: str
    other: str


@dataclass(frozen=True, slots=True)
class PriceUnknown:
    """Below a ceiling nothing can be chosen whose price is not known."""

    ceiling: PriceAtMost
    component: str | None


# Facts ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NeverEmpty:
    """An essential position."""

    position: str


@dataclass(frozen=True, slots=True)
class CannotSit:
    """No record says that it fits there."""

    fit: Fit


@dataclass(frozen=True, slots=True)
class NotSupplied:
    """A number that cannot be bought."""

    component: str


@dataclass(frozen=True, slots=True)
class NotKnown:
    """A number that the rule book does not hold."""

    component: str


@dataclass(frozen=True, slots=True)
class NoFitment:
    """No record says that it fits the vehicle; `position`: there, where one was asked for."""

    component: str
    position: str = ""


@dataclass(frozen=True, slots=True)
class NotThisVehicle:
    """It fits others of the variant: another chassis number, date or option."""

    component: str
    position: str = ""


@dataclass(frozen=True, slots=True)
class NoneHas:
    """No component that fits the position is recorded with the wanted values."""

    position: str
    having: tuple[Wanted, ...]


@dataclass(frozen=True, slots=True)
class OneOnly:
    """More than one component is wished for one position."""

    position: str


@dataclass(frozen=True, slots=True)
class NoOther:
    """Nothing else that can be bought fits the position."""

    position: str


@dataclass(frozen=True, slots=True)
class NoneWillDo:
    """What else fits the position meets none of what is asked of it."""

    position: str
    candidates: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cheapest:
    """What the least dear set costs that fulfils the rest: known prices in minor units, and the others."""

    price: int
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PriceMissing:
    """A ceiling that no set is known to keep, because these prices are not known."""

    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FurtherParts:
    """Of a very large contradiction so many parts are not told."""

    count: int


@dataclass(frozen=True, slots=True)
class TooFew:
    """Fewer pieces of a loose part than its rules need."""

    component: str
    needed: int
    there: int


Rule = Companion | Conflict | Joint | Budget
Fact = (
    NeverEmpty
    | CannotSit
    | NotSupplied
    | NotKnown
    | NoFitment
    | NotThisVehicle
    | NoneHas
    | OneOnly
    | NoOther
    | NoneWillDo
    | Cheapest
    | PriceMissing
    | FurtherParts
    | TooFew
)
Ground = Wish | FlawAsked | Limit | PriceUnknown | Rule | Flaw | ChangedTogether | Fact


def wish_of(ground: Ground) -> Wish | None:
    """The wish that asks; None of a limit, a rule and a fact."""
    if isinstance(ground, FlawAsked):
        return ground.wish
    return ground if isinstance(ground, Wish) else None


def number_asked(ground: Ground) -> str:
    """The number that a wish names; empty of any other."""
    return ground.component if isinstance(ground, FitComponent) else ""


class Outcome(StrEnum):
    """`proved` and `impossible` are proofs; the other two say what stopped the proof."""

    proved = "proved"
    impossible = "impossible"
    not_proved = "not proved in time"
    too_large = "too large to reason over"


class Cause(StrEnum):
    """The kind of thing that demands a change or stands in a contradiction."""

    wish = "wish"
    companion = "companion"
    conflict = "conflict"
    joint = "joint"
    budget = "budget"
    flaw = "flaw"
    pair = "pair"
    limit = "limit"
    fact = "fact"


class MetAlready(StrEnum):
    """Why a wish to remedy asks for nothing."""

    not_of_variant = "flaw not known of this variant"
    not_here = "flaw not on this vehicle"


class How(StrEnum):
    """How a reason brings a change; what is told of it in words follows from this."""

    asked = "asked"
    """The asker wishes it."""
    needs = "needs"
    """What is new at `parent` needs it; of a budget: takes what this gives."""
    still_needs = "still needs"
    """What stays at `asking` needs it, now that what it had at `parent` is gone."""
    makes_way = "makes way"
    """What was there cannot be beside what is new at `parent`."""
    left_without = "left without"
    """What was there needed what is gone from `parent`, and nothing else asks for the change."""
    together = "together"
    """It is changed together with `parent`."""
    remedies = "remedies"
    """It remedies a flaw of what is new at `parent`."""
    makes_sure = "makes sure"
    """Beside what was there a rule of what is new at `parent` could not be determined."""


@dataclass(frozen=True, slots=True)
class Because:
    """Why something is here: the wish or rule by name and as a value, and the change it comes from.

    `parent` is the position whose change brought the rule, or `~` and the number of a loose part; empty
    for a wish. `asking` is the position of what asks, which is another one than `parent` only where it
    stays as today. `how` is None of a part of a contradiction.
    """

    cause: Cause
    name: str
    ground: Ground
    parent: str = ""
    grade: Grade = Grade.none
    how: How | None = None
    asking: str = ""

    @property
    def wish(self) -> Wish | None:
        """The wish that asks, also where that is one for every flaw; None of a part of a contradiction."""
        return wish_of(self.ground) if self.how else None


@dataclass(frozen=True, slots=True)
class OtherWay:
    """What another set has at a place (a position, or `~` and the number of a loose part)."""

    place: str
    component: str | None


@dataclass(frozen=True, slots=True)
class Other:
    """What else could sit there, and what the whole set would then cost more or less.

    `component` None: nothing; `kept`: it is today's. Where nothing new sits there, `way` says what does
    instead what was demanded, or took the place of what demanded it; None where nobody demands it.
    """

    component: str | None
    difference: Difference = field(default_factory=Difference)
    outcome: Outcome = Outcome.proved
    kept: bool = False
    way: OtherWay | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """A position whose component differs from today's. `component` None: removed.

    `forced`: its reason leaves nothing else; otherwise it was chosen out of `choices` (of a budget: all
    that gives more, there or elsewhere) and `others` says what the next best would cost more; `only_one`:
    with any other the question cannot be fulfilled, which is proved. `price` is for all `quantity` pieces,
    minor units.
    """

    position: str
    section: str
    component: str | None
    replaces: str | None
    quantity: int
    effort: Effort
    minutes: int
    price: int | None
    visible: bool
    because: Because
    depth: int
    also_needed_by: tuple[Because, ...] = ()
    forced: bool = True
    choices: int = 1
    others: tuple[Other, ...] = ()
    only_one: bool = False
    claim: str = ""
    grade: Grade = Grade.none
    asked_number: str = ""
    """The number that the wish or rule named, when it was superseded by `component`."""


@dataclass(frozen=True, slots=True)
class Loose:
    """A component without a position, with the quantity that all rules together need.

    `minutes` of labour and `price` (minor units) are for all pieces.
    """

    component: str
    quantity: int
    price: int | None
    because: Because
    also_needed_by: tuple[Because, ...] = ()
    effort: Effort = Effort.direct
    minutes: int = 0


@dataclass(frozen=True, slots=True)
class FlawNote:
    """A known flaw met in the answer; `symptom` as it is recorded."""

    flaw: str
    component: str
    position: str
    severity: Severity
    symptom: str


@dataclass(frozen=True, slots=True)
class Missing:
    """What is not recorded of a component in its place: one of these kinds of characteristic."""

    kinds: tuple[str, ...]
    fit: Fit


@dataclass(frozen=True, slots=True)
class Note:
    """Something about a rule that the answer must say: already so, advised, not determined."""

    cause: Cause
    name: str
    ground: Ground
    positions: tuple[str, ...] = ()
    missing: tuple[Missing, ...] = ()
    """For not determined."""


@dataclass(frozen=True, slots=True)
class Unconfirmed:
    """A claim that the answer rests on and that nobody has measured, fitted or driven."""

    claim: Claim
    position: str
    component: str


@dataclass(frozen=True, slots=True)
class Solution:
    """One set that fulfils the question, whole."""

    changes: tuple[Change, ...]
    loose: tuple[Loose, ...]
    totals: Totals
    today: dict[str, str | None]
    after: dict[str, str | None]
    flaws_gone: tuple[FlawNote, ...] = ()
    flaws_left: tuple[FlawNote, ...] = ()
    flaws_brought: tuple[FlawNote, ...] = ()
    already_so: tuple[Note, ...] = ()
    advised: tuple[Note, ...] = ()
    not_determined: tuple[Note, ...] = ()
    unconfirmed: tuple[Unconfirmed, ...] = ()
    contradicted: tuple[Unconfirmed, ...] = ()
    """What a workshop found otherwise, whatever the claim is still worth."""
    confidence: Grade | None = None


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A smallest group of facts that cannot all hold; `smallest` says that was proved.

    Of a very large group not every rule is among the parts; a fact then says how many more there are.
    """

    parts: tuple[Because, ...]
    facts: tuple[Note, ...] = ()
    smallest: bool = True


@dataclass(frozen=True, slots=True)
class WayOut:
    """What to give up, and what one then gets; `gives_up` names wishes and limits.

    `fit`: the wish that takes the place of the one given up, `replaced`, where one does.
    """

    gives_up: tuple[Because, ...]
    totals: Totals
    fit: FitComponent | None = None
    replaced: FitComponent | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """The whole answer to a question."""

    outcome: Outcome
    solution: Solution | None = None
    others: tuple[Solution, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    ways_out: tuple[WayOut, ...] = ()
    more_ways_out: bool = False
    gap: float | None = None
    reached: int = 0
    """How many positions the wishes could reach."""
    engine: str = ""
    """`propagation` when no choice was left, `solver` otherwise."""
    cut_short: bool = False
    """The deadline came first: next bests, further sets or ways out may be missing."""
    nothing_wished: bool = False
    others_asked: int = 0
    """How many further sets were asked for."""
    others_complete: bool = True
    """False: not every further set was looked at, so there may be more."""
