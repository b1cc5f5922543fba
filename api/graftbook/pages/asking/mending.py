"""A question that cannot be asked as it stands: where to mend it, and what a name could have meant."""

from collections.abc import Iterator
from dataclasses import dataclass

from graftbook.catalogue.format import records as r
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.pages.asking.question import PageQuestion
from graftbook.problems import Problem, Unknown, UnknownBuild, UnknownChassis, UnknownComponent
from graftbook.process.state import Service
from graftbook.questions.finding.schemas import FoundOut
from graftbook.questions.finding.service import SearchFound, search, search_document
from graftbook.questions.schemas import VehicleIn

QUESTION_PAGES = frozenset(
    {"/answer", "/ask", "/order", "/fitting", "/quotation", "/picture", "/vehicle", "/compare"}
)
MOST_MEANT = 12
ASKED_BY = {"upgrade": "upgrade", "component": "fit", "flaw": "remedy"}
"""What is found → the field of a question that wishes it."""
_THE_VEHICLE = (UnknownBuild, UnknownChassis)


@dataclass(frozen=True, slots=True)
class NameMeant:
    """What a name that is not known could have meant, and the address that asks so."""

    name: str
    words: str
    address: str


def form_address(question: PageQuestion, problem: Problem) -> str:
    """The form filled with the question; empty where the vehicle itself is not known."""
    known = question.value("chassis") or question.value("build")
    if not known or isinstance(problem, _THE_VEHICLE):
        return ""
    return question.without("as_of").address("/ask")


def meant(service: Service, path: str, question: PageQuestion, problem: Problem) -> list[NameMeant]:
    """What an unknown name could have meant: like ones first, then what the search finds."""
    if not isinstance(problem, Unknown):
        return []
    called = dict.fromkeys(problem.near, "")
    found: list[FoundOut] = []
    if isinstance(problem, UnknownComponent):
        with reading(service.engine) as session:
            called |= titles(session, r.ComponentRecord, problem.near)
        answered = searched(service, problem.name, question.value("chassis"), MOST_MEANT)
        found = search_document(answered)["items"] if answered else []
    rows = [
        NameMeant(n, words, question.instead(problem.name, n).address(path)) for n, words in called.items()
    ]
    return [*rows, *_components_for(path, question, problem.name, found, set(called))][:MOST_MEANT]


def _components_for(
    path: str, question: PageQuestion, name: str, found: list[FoundOut], known: set[str]
) -> Iterator[NameMeant]:
    """Components in the place of the name; upgrades and flaws where it was wished."""
    rest = question.without_wish(name)
    for item in found:
        if item["kind"] == "component" and item["name"] not in known:
            yield NameMeant(item["name"], item["title"], question.instead(name, item["name"]).address(path))
        elif item["kind"] != "component" and rest != question and item["fits"] is not False:
            wished = rest.adding(ASKED_BY[item["kind"]], item["name"]).address(path)
            yield NameMeant(item["title"], item["kind"], wished)


def searched(
    service: Service, text: str, chassis: str, limit: int, *, begun: bool = False
) -> SearchFound | None:
    """What a text finds, with a vehicle in hand where its number is known; None of no text."""
    if not text:
        return None
    try:
        return search(
            service, text, VehicleIn(chassis=chassis) if chassis else None, limit=limit, begun=begun
        )
    except Problem:
        return search(service, text, limit=limit, begun=begun)
