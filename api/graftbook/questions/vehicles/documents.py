"""What a chassis number says: the vehicle, what it was built with, what is known to go wrong with it."""

from typing import TypedDict

from graftbook.catalogue.store.lookup import VehicleFound
from graftbook.http.values import SEVERITY_WORDS
from graftbook.questions.closures.documents import vehicle_document
from graftbook.questions.lookup.schemas import FittedOut, VehicleFlawOut, VehiclePageOut
from graftbook.rulebook.index import kept
from graftbook.rulebook.model import Flaw, RuleBook, Vehicle
from graftbook.rulebook.scope import Fit, Scope, scope_for


def vehicle_page(book: RuleBook, found: VehicleFound, vehicle: Vehicle) -> VehiclePageOut:
    """The vehicle's page as facts. `vehicle` is the one found, with the options that it has."""
    return {
        **vehicle_document(book, vehicle, found.chassis, found.estimated),
        "catalogue_revision": book.revision,
        **_as_it_came(scope_for(book, vehicle)),
    }


class _AsItCame(TypedDict):
    fitted: list[FittedOut]
    flaws: list[VehicleFlawOut]


@kept
def _as_it_came(scope: Scope) -> _AsItCame:
    """What was fitted and what is known to go wrong with it; nobody changes it."""
    return {
        "fitted": [_fitted_document(scope, name) for name in scope.book.positions],
        "flaws": _flaws(scope),
    }


def _fitted_document(scope: Scope, position: str) -> FittedOut:
    place, part = scope.book.positions[position], scope.component(scope.today.get(position))
    return {
        "position": position,
        "position_title": place.title,
        "section": place.section,
        "component": scope.today.get(position),
        "name": part.name if part else None,
    }


def _flaws(scope: Scope) -> list[VehicleFlawOut]:
    """The flaws of what sits there, the worst first."""
    found = [(flaw, p) for p, number in scope.today.items() if number for flaw in scope.flaws(Fit(p, number))]
    found.sort(key=lambda pair: (-pair[0].severity, pair[0].name, pair[1]))
    return [
        {
            "flaw": flaw.name,
            "component": _component_flawed(scope, flaw, position),
            "position": position,
            "severity": SEVERITY_WORDS[flaw.severity],
            "symptom": flaw.symptom,
            "remedies": len(remedies(scope, flaw, position)),
        }
        for flaw, position in found
    ]


def _component_flawed(scope: Scope, flaw: Flaw, position: str) -> str:
    """Which of the components that a flaw is recorded of is the one at a position."""
    names = scope.names(scope.today_fit(position))
    return next(number for number in flaw.components if number in names)


def remedies(scope: Scope, flaw: Flaw, position: str) -> set[str]:
    """The components that remedy a flaw at a position and that this vehicle can take."""
    substitutes = {
        s.component for s in scope.book.substitutes if s.name in flaw.substitutes and scope.holds(s)
    }
    found = {
        fit.component for number in substitutes for fit in scope.serving(number, position) if fit.component
    }
    for number in flaw.add_ons:
        found.update(fit.component for fit in scope.serving(number) if fit.component)
        if number in scope.index.loose:
            found.update(scope.loose_servers(number))
    return found
