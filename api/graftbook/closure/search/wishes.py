"""What each wish demands."""

from collections.abc import Iterator

from graftbook.closure.answer import Cause, MetAlready
from graftbook.closure.grounds import FlawAsked
from graftbook.closure.question import ClearPosition, FitComponent, RemedyFlaw, RemedyFlaws, Wish
from graftbook.closure.search.problem import Demand, LooseNeed
from graftbook.closure.search.supply import add_on_fits
from graftbook.rulebook.model import Flaw
from graftbook.rulebook.scope import Fit, Scope, loose_fit


def demands_of(scope: Scope, wish: Wish) -> list[Demand]:
    """The demands of one wish; a flaw that the vehicle does not have demands nothing."""
    match wish:
        case FitComponent():
            return [fit_demand(scope, wish)]
        case ClearPosition():
            empty = (Fit(wish.position, None),) if None in scope.options(wish.position) else ()
            return [Demand(Cause.wish, wish.name, wish, (), empty, part=wish.position)]
        case RemedyFlaw():
            return [
                demand
                for flaw, fit in flaws_asked(scope, wish)
                for demand in _remedy(scope, Cause.wish, wish.name, wish, flaw, fit)
            ]
        case RemedyFlaws():
            return [
                demand
                for flaw, fit in flaws_asked(scope, wish)
                for demand in _remedy(scope, Cause.flaw, flaw.name, FlawAsked(flaw, wish), flaw, fit)
            ]


def fit_demand(scope: Scope, wish: FitComponent) -> Demand:
    """The demand of "fit this": at its position or any that it fits, or ordered loose."""
    fits = scope.serving(wish.component, wish.position)
    loose: tuple[LooseNeed, ...] = ()
    if not wish.position and not fits and wish.component in scope.index.loose:
        loose = tuple(LooseNeed(n, wish.quantity) for n in scope.loose_servers(wish.component))
    return Demand(Cause.wish, wish.name, wish, (), fits, loose, part=wish.position)


def flaws_asked(scope: Scope, wish: RemedyFlaw | RemedyFlaws) -> Iterator[tuple[Flaw, Fit]]:
    """Each flaw that the wish names, with each place where the vehicle has it today."""
    if isinstance(wish, RemedyFlaw):
        named, section = [f for f in (scope.index.flaws.get(wish.flaw),) if f], ""
    else:
        named = [flaw for flaw in scope.index.flaws.values() if flaw.severity >= wish.at_least]
        section = wish.section
    for flaw in named:
        if scope.holds(flaw):
            for fit in scope.flawed_today(flaw):
                if section in ("", scope.book.positions[fit.position].section):
                    yield flaw, fit


def met_already(scope: Scope, wish: Wish) -> MetAlready | None:
    """Why a wish to remedy asks for nothing; None where it asks for something, and for every other wish."""
    if not isinstance(wish, RemedyFlaw | RemedyFlaws) or any(True for _ in flaws_asked(scope, wish)):
        return None
    known = isinstance(wish, RemedyFlaws) or wish.flaw in scope.index.flaws
    return MetAlready.not_here if known else MetAlready.not_of_variant


def _remedy(
    scope: Scope, cause: Cause, name: str, ground: RemedyFlaw | FlawAsked, flaw: Flaw, fit: Fit
) -> Iterator[Demand]:
    """The flawed component goes, and none with the same flaw comes, or an add-on is fitted."""
    add_ons, loose = add_on_fits(scope, flaw.add_ons)
    one_of = (*add_ons, *(loose_fit(number) for number in loose))
    carriers = (carrier for number in flaw.components for carrier in scope.places(number))
    for carrier in dict.fromkeys(carriers):
        if carrier.position == fit.position:
            yield Demand(cause, name, ground, (carrier,), one_of, grade=flaw.grade)
