"""Asking: from a chassis number to the form in which one says what one wishes."""

from collections import defaultdict
from typing import Any, TypedDict

from fastapi import Request
from starlette.responses import RedirectResponse, Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.store.lookup import VehicleFound
from graftbook.pages.asking.question import PageQuestion, question_of, takes_question
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.lookup.schemas import FittedOut, VehicleFlawOut, VehiclePageOut
from graftbook.questions.vehicles.documents import vehicle_page
from graftbook.questions.vehicles.service import ask_vehicle
from graftbook.rulebook.model import RuleBook

router = pages_router()

BLANK_ROWS = 2
"""Empty rows under those that are filled, for whoever has no script."""


@router.get("/ask", dependencies=[MayRead, takes_question()])
def ask(request: Request, service: ServiceDep) -> Response:
    """The vehicle, and the form of wishes, limits and what is fitted; filled with what the address says."""
    question = question_of(request.query_params)
    if not (question.value("chassis") or question.value("build")):
        return RedirectResponse("/", 303)
    vehicle = vehicle_of(service, question)
    return page(
        request,
        "ask.html",
        question=question,
        **vehicle,
        **form_facts(question, vehicle["sections"]),
    )


def form_facts(
    question: PageQuestion, sections: list["_Section"], blanks: int = BLANK_ROWS
) -> dict[str, Any]:
    """What the form of a question shows beside the vehicle."""
    return {"flaws_elsewhere": _flaws_elsewhere(question, sections), "rows": rows_of(question, blanks)}


def vehicle_of(service: Service, question: PageQuestion) -> dict[str, Any]:
    """The vehicle of a question, with what the form offers for it. The rest may have mistakes: the form is
    where they are mended. Raises UnknownChassis."""
    asked = ask_vehicle(service, question.about_vehicle().body().vehicle)
    book = asked.names.book()
    found = VehicleFound(asked.vehicle, asked.chassis, asked.estimated)
    facts = vehicle_page(book, found, asked.vehicle)
    return {
        "vehicle": facts,
        "sections": _sections(book, facts),
        "options": sorted(book.variant.options),
        "upgrades": [upgrade for upgrade in book.upgrades if upgrade.when.holds(asked.vehicle)],
        "positions": [(p.name, p.title) for p in book.positions.values()],
    }


class _Flaw(VehicleFlawOut):
    places: list[str]


class _Section(TypedDict):
    name: str
    title: str
    fitted: list[FittedOut]
    flaws: list[_Flaw]


def _sections(book: RuleBook, vehicle: VehiclePageOut) -> list[_Section]:
    """The sections in the book's order, each with what is fitted and what is known to go wrong."""
    fitted: dict[str, list[FittedOut]] = defaultdict(list)
    flaws: dict[str, dict[str, _Flaw]] = defaultdict(dict)
    for place in vehicle["fitted"]:
        fitted[place["section"]].append(place)
    for flaw in vehicle["flaws"]:
        section = book.positions[flaw["position"]].section
        known = flaws[section].setdefault(flaw["flaw"], {**flaw, "places": []})
        known["places"].append(book.positions[flaw["position"]].title)
    return [
        {
            "name": section.name,
            "title": section.title,
            "fitted": fitted[section.name],
            "flaws": list(flaws[section.name].values()),
        }
        for section in book.sections.values()
        if fitted[section.name]
    ]


def _flaws_elsewhere(question: PageQuestion, sections: list[_Section]) -> list[str]:
    """Flaws wished remedied that this vehicle does not have: the form keeps them."""
    here = {flaw["flaw"] for section in sections for flaw in section["flaws"]}
    return [name for name in question.values("remedy") if name not in here]


def rows_of(question: PageQuestion, blanks: int) -> dict[str, list[str]]:
    """The form's rows of numbers: those filled, and some empty ones."""
    blank = [""] * blanks
    return {name: question.values(name) + blank for name in ("fit", "refuse", "on_the_bench", "fitted")}
