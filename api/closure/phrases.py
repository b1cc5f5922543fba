"""Short phrases for wishes, limits and things, which `wording` builds its sentences from."""

from api.closure.question import ClearPosition, FitComponent, RemedyFlaw, RemedyFlaws, Wish
from api.rulebook.model import Flaw, Wanted
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


def money(minor: int) -> str:
    """1234567 minor units: "12,345.67"."""
    sign = "-" if minor < 0 else ""
    return f"{sign}{abs(minor) // 100:,}.{abs(minor) % 100:02d}"


def of_ceiling(price_at_most: int) -> str:
    """The price ceiling."""
    return f"You pay at most {money(price_at_most)} for the parts."


def essential(scope: Scope, name: str) -> str:
    """A position that is never left empty."""
    return f"{position(scope, name)} cannot be left empty."


def one_only(scope: Scope, name: str) -> str:
    """Two wishes for one position."""
    return f"Only one component can sit at {position(scope, name)}, and you wish more than one there."


def no_other(scope: Scope, name: str) -> str:
    """A position for which nothing else is known."""
    return f"No other component that can be bought fits {position(scope, name)} on this vehicle."


def none_will_do(scope: Scope, name: str, candidates: list[str]) -> str:
    """Siblings told in one sentence."""
    if len(candidates) == 1:
        return f"The only other component for {position(scope, name)}, {component(scope, candidates[0])}, will not do."
    some = ", ".join(candidates[:3]) + (", …" if len(candidates) > 3 else "")
    return f"None of the other {len(candidates)} components for {position(scope, name)} will do ({some})."


def wanted(scope: Scope, want: Wanted) -> str:
    """A wanted characteristic value."""
    known = scope.book.kinds.get(want.kind)
    return f"{known.title if known else want.kind} {want.comparator.value} {want.value.written}"


def none_has(scope: Scope, name: str, what: str) -> str:
    """No candidate has the wanted values."""
    return f"No component that fits {position(scope, name)} on this vehicle is recorded with {what}."


def not_known(number: str) -> str:
    """A number that the rule book does not hold."""
    return f"{number} is not known for this vehicle."


def no_fitment(scope: Scope, number: str, name: str) -> str:
    """Nothing says that it fits."""
    where = f" {position(scope, name)} on" if name else ""
    return f"No record says that {component(scope, number)} fits{where} this vehicle."


def not_this_vehicle(scope: Scope, number: str, name: str) -> str:
    """It fits others of the variant: another chassis number, date or option."""
    where = f" at {position(scope, name)}" if name else ""
    return f"{component(scope, number)} fits{where} only with another chassis number, date or option."


ACCEPT_CUTTING = "accept cutting or welding"
ACCEPT_MACHINING = "accept more work on the parts"
ACCEPT_VISIBLE = "accept visible changes"
GIVE_UP_WISH = "give up this wish"


def raise_ceiling(price: int, unknown: tuple[str, ...]) -> str:
    """What the parts cost at least."""
    more = f", and accept that the price of {', '.join(unknown)} is not known" if unknown else ""
    return f"raise the ceiling to {money(price)}{more}"


def section(scope: Scope, name: str) -> str:
    """A section's title."""
    known = scope.book.sections.get(name)
    return known.title if known else name


def let_go(title: str) -> str:
    """A position or section that was to be kept."""
    return f"let {title} be changed"


def accept(title: str) -> str:
    """A component that was refused."""
    return f"accept {title}"


def fit_instead(scope: Scope, number: str, name: str, wished: str) -> str:
    """Another component for a wished one."""
    return f"fit {component(scope, number)} at {position(scope, name)} instead of {wished}"
