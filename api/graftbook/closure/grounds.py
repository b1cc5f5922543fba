"""What demands, reasons and notes rest on, as values: a wish, a limit, a rule, a flaw or a fact.

They travel from the question to the answer; `words.sentences` tells them when the document is written.
"""

from dataclasses import dataclass

from graftbook.closure.question import FitComponent, Limit, PriceAtMost, RemedyFlaws, Wish
from graftbook.rulebook.model import Budget, Companion, Conflict, Flaw, Joint, Wanted
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
