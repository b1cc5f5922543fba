"""A question that cannot be asked as it stands: where to mend it, and what a name could have meant."""

from dataclasses import dataclass, replace

from graftbook.catalogue.format import records as r
from graftbook.catalogue.search import Line, Search, find
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.pages.asking.question import PageQuestion
from graftbook.problems import Problem, Unknown, UnknownBuild, UnknownChassis, UnknownComponent
from graftbook.process.state import Service

QUESTION_PAGES = frozenset(
    {"/answer", "/ask", "/order", "/fitting", "/quotation", "/picture", "/vehicle", "/compare"}
)
MOST_MEANT = 12
_THE_VEHICLE = (UnknownBuild, UnknownChassis)


@dataclass(frozen=True, slots=True)
class Meant:
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


def meant(service: Service, path: str, question: PageQuestion, problem: Problem) -> list[Meant]:
    """The names that an unknown one could have meant: like ones first, then components of these words."""
    if not isinstance(problem, Unknown):
        return []
    called = dict.fromkeys(problem.near, "")
    if isinstance(problem, UnknownComponent):
        called |= _components(service, problem, question.value("chassis"))
    return [
        Meant(name, words, question.instead(problem.name, name).address(path))
        for name, words in list(called.items())[:MOST_MEANT]
    ]


def _components(service: Service, problem: UnknownComponent, chassis: str) -> dict[str, str]:
    """Those like it, then those that its words name, on this vehicle first."""
    with reading(service.engine) as session:
        called = titles(session, r.ComponentRecord, problem.near)
    words = Search(words=problem.name)
    for search in [replace(words, chassis=chassis), words] if chassis else [words]:
        called |= {line.number: line.name for line in lines_of(service, search)}
    return called


def lines_of(service: Service, search: Search) -> tuple[Line, ...]:
    """A chassis number that is not known yet suggests nothing."""
    try:
        with reading(service.engine) as session:
            return tuple(find(session, search, limit=MOST_MEANT).lines)
    except Problem:
        return ()
