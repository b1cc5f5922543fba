"""What an answer is made of: facts as data. Sentences are made from them in `wording`."""

from dataclasses import dataclass, field
from enum import StrEnum

from api.closure.question import Criterion, FitComponent
from api.rulebook.model import Effort, Grade, Severity


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


@dataclass(frozen=True, slots=True)
class Because:
    """Why something is here: the wish or rule by name, and the change (position) it comes from.

    `parent` is the position whose change brought the rule, empty for a wish. `sentence` is the
    record's own reason.
    """

    cause: Cause
    name: str
    sentence: str
    parent: str = ""
    grade: Grade = Grade.none


@dataclass(frozen=True, slots=True)
class Other:
    """What else could sit there, and what the whole set would then cost more or less."""

    component: str
    difference: dict[Criterion, int] = field(default_factory=dict)
    outcome: Outcome = Outcome.proved


@dataclass(frozen=True, slots=True)
class Change:
    """A position whose component differs from today's. `component` None: removed.

    `forced`: propagation alone gives it; otherwise it was chosen out of `choices` and `others`
    says what the next best would cost more. `price` is for all `quantity` pieces, minor units.
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
    claim: str = ""
    grade: Grade = Grade.none
    asked_number: str = ""
    """The number that the wish or rule named, when it was superseded by `component`."""


@dataclass(frozen=True, slots=True)
class Loose:
    """A component without a position, with the quantity that all rules together need."""

    component: str
    quantity: int
    price: int | None
    because: Because
    also_needed_by: tuple[Because, ...] = ()


@dataclass(frozen=True, slots=True)
class FlawNote:
    """A known flaw met in the answer."""

    flaw: str
    component: str
    position: str
    severity: Severity
    symptom: str


@dataclass(frozen=True, slots=True)
class Note:
    """Something about a rule that the answer must say: already so, advised, not determined."""

    cause: Cause
    name: str
    sentence: str
    positions: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    """For not determined: "characteristic of component at position" that is not recorded."""


@dataclass(frozen=True, slots=True)
class Unconfirmed:
    """A claim that the answer rests on and that nobody has measured, fitted or driven."""

    claim: str
    grade: Grade
    position: str
    component: str


@dataclass(frozen=True, slots=True)
class Totals:
    """What a set costs, by criterion. `price` covers known prices; `unknown_prices` lists the rest."""

    irreversible: int
    visible: int
    changes: int
    flaws: int
    price: int
    labour: int
    unconfirmed: int
    unknown_prices: tuple[str, ...] = ()


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

    `fit`: the wish that takes the place of the one given up, where one does.
    """

    gives_up: tuple[Because, ...]
    instead: str
    totals: Totals | None
    changes: int
    fit: FitComponent | None = None


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
