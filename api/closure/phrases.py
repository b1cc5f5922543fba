"""Short phrases for wishes, limits and things, which `wording` builds its sentences from."""

from api.closure.question import ClearPosition, FitComponent, RemedyFlaw, RemedyFlaws, Wish
from api.rulebook.model import Flaw
from api.rulebook.scope import Fit, Scope


def component(scope: Scope, number: str | None) -> str:
    """ "QF-3310 (caliper, four-piston)", or "nothing"."""
    if number is None:
        return "nothing"
    known = scope.component(number)
    return f"{number} ({known.name})" if known else number


def position(scope: Scope, name: str) -> str:
    """The position's title as it stands in a sentence."""
    known = scope.book.positions.get(name)
    return known.title if known else name


def of_wish(wish: Wish, scope: Scope) -> str:
    """What the asker wishes, as a sentence."""
    match wish:
        case FitComponent():
            where = f" at {position(scope, wish.position)}" if wish.position else ""
            return f"You wish {component(scope, wish.component)}{where}."
        case ClearPosition():
            return f"You wish nothing at {position(scope, wish.position)}."
        case RemedyFlaw():
            flaw = scope.index.flaws.get(wish.flaw)
            return f"You wish this flaw remedied: {flaw.symptom if flaw else wish.flaw}"
        case RemedyFlaws():
            where = f" in {wish.section}" if wish.section else ""
            return f"You wish every flaw remedied that is {wish.at_least.name} or worse{where}."


def of_flaw(flaw: Flaw, wish: RemedyFlaws) -> str:
    """A flaw that a severity wish asks to be remedied."""
    return f"You wish every flaw remedied that is {wish.at_least.name} or worse; {flaw.component}: {flaw.symptom}"


def of_limit(name: str) -> str:
    """A limit by its name, as a sentence: "limit: keep wheels" becomes "You keep wheels."."""
    words = name.removeprefix("limit: ")
    verb, _, rest = words.partition(" ")
    if verb in ("keep", "refuse"):
        return f"You {verb} {rest}."
    return f"You set a limit: {words}."


def changed_together(one: str, other: str) -> str:
    """Two positions of a pair."""
    return f"{one} and {other} are changed together."


def cannot_sit(scope: Scope, fit: Fit) -> str:
    """A component that nothing says fits the position."""
    if fit.component is None:
        return f"{position(scope, fit.position)} cannot be left empty."
    return f"No record says that {component(scope, fit.component)} fits {position(scope, fit.position)}."


def not_supplied(scope: Scope, number: str) -> str:
    """A number that cannot be bought."""
    return f"{component(scope, number)} is no longer supplied."


def missing(scope: Scope, kind: str, fit: Fit) -> str:
    """A characteristic that is not recorded."""
    known = scope.book.kinds.get(kind)
    title = known.title if known else kind
    return f"{title} of {component(scope, fit.component)} at {position(scope, fit.position)}"
