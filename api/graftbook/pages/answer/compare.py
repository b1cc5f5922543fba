"""Two answers on one page: this one beside another set, vehicle, revision or an answer kept for it."""

from dataclasses import dataclass
from typing import Any, TypedDict
from urllib.parse import parse_qsl

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.editing.history import revisions
from graftbook.editing.schemas import RevisionOut
from graftbook.pages.answer.answer import other_sets
from graftbook.pages.answer.gives_up import VEHICLE
from graftbook.pages.answer.side_by_side import State, compared
from graftbook.pages.asking.question import BESIDE, PageQuestion, question_of, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import InvalidRequest, Problem, Unknown
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.closures.schemas import ClosureOut
from graftbook.questions.closures.service import closure_document
from graftbook.questions.reading import present_revision

router = pages_router()

OTHER, THEN = "other", "then"
"""What was typed of another vehicle, and the revision that was picked."""
MOST_REVISIONS = 40
SETS = "3"
"""So many other good sets are asked for where none were yet."""


class ComparedSide(TypedDict):
    """One of the two answers: what it is called, what was asked, what came of it, where it stands."""

    label: str
    document: ClosureOut
    question: PageQuestion
    address: str


@dataclass(frozen=True, slots=True)
class Near:
    """A name that the other question could have meant, and the address that compares with it."""

    name: str
    address: str


@router.get("/compare", dependencies=[MayRead, takes_question(BESIDE, OTHER, THEN)])
def compare(request: Request, service: ServiceDep) -> Response:
    """The answer of the address beside another. What was typed or picked becomes a question in the address;
    an address without one offers what to compare with."""
    question = question_of(request.query_params)
    if not question.value("chassis") and not question.value("build"):
        return gone_to("/")
    given = {name: request.query_params.get(name, "").strip() for name in (BESIDE, OTHER, THEN)}
    if not question.value("as_of"):
        typed = {name: value for name, value in given.items() if value}
        return gone_to(question.adding("as_of", present_revision(service)).address("/compare", typed))
    wrong: Problem | None = None
    try:
        beside = other_question(question, given)
        if beside and not given[BESIDE]:
            closure_document(service, beside.body())
            return gone_to(question.beside(beside))
        there = closure_document(service, beside.body())[1] if beside else None
    except Problem as problem:
        if problem.answer_status >= 500:
            raise
        wrong, beside, there = problem, None, None
    facts = _facts(service, question, beside, there)
    near = _near(question, given, wrong)
    return page(request, "compare.html", given=given, wrong=wrong, near=near, **facts)


def other_question(question: PageQuestion, given: dict[str, str]) -> PageQuestion | None:
    """What to compare with: the question in the address, the same as of another revision, or the same wishes
    on another vehicle; None where nothing was said. Raises InvalidRequest."""
    if given[BESIDE]:
        return _of_address(question, given[BESIDE])
    if given[THEN]:
        return _alone(question).adding("as_of", given[THEN])
    if not given[OTHER]:
        return None
    if any(sign in given[OTHER] for sign in "?=/"):
        return _of_address(question, given[OTHER].partition("#")[0].rpartition("?")[2])
    return on_vehicle(question, given[OTHER])


def on_vehicle(question: PageQuestion, chassis: str) -> PageQuestion:
    """The same wishes, limits and revision on another vehicle; what is fitted to this one stays with it."""
    wishes = tuple(pair for pair in _alone(question).pairs if pair[0] not in VEHICLE)
    return PageQuestion.of((("chassis", chassis), *wishes))


def _of_address(question: PageQuestion, query: str) -> PageQuestion:
    beside = _alone(PageQuestion.of(parse_qsl(query)))
    if not (beside.value("chassis") or beside.value("build")):
        raise InvalidRequest("That address names no vehicle: open the other answer and copy its address")
    return beside if beside.value("as_of") else beside.adding("as_of", question.value("as_of"))


def _alone(question: PageQuestion) -> PageQuestion:
    return question.without("alternatives")


def _near(question: PageQuestion, given: dict[str, str], wrong: Problem | None) -> list[Near]:
    """What a name that the catalogue does not have could have meant."""
    if not isinstance(wrong, Unknown):
        return []
    beside = other_question(question, given)
    return [Near(name, question.beside(beside.instead(wrong.name, name))) for name in wrong.near if beside]


def _facts(
    service: Service, question: PageQuestion, beside: PageQuestion | None, there: ClosureOut | None
) -> dict[str, Any]:
    """What the page speaks of: both answers, what differs, and what else to compare with."""
    _, here = closure_document(service, question.body())
    found = here["set"]
    others = other_sets(here["other_sets"], found, question) if found else []
    facts: dict[str, Any] = {
        "question": question,
        "this": _one_side("This answer", question, here),
        "there": None,
        "sets": [{"totals": one["totals"], "address": one["beside"]} for one in others],
        "more_sets": question.adding("alternatives", SETS).address("/compare") if not others else "",
        "fewer_others": here["fewer_other_sets"],
        "revisions": _revisions(service, question),
    }
    if beside is None or there is None:
        return facts
    one, other = labels(question, here, beside, there)
    return facts | {
        "this": _one_side(one, question, here),
        "there": _one_side(other, beside, there),
        "compared": compared(here, there),
        "titles": titles(one, other),
        "swapped": beside.beside(_alone(question)),
    }


def _one_side(label: str, question: PageQuestion, document: ClosureOut) -> ComparedSide:
    return {"label": label, "document": document, "question": question, "address": question.address()}


def labels(
    question: PageQuestion, here: ClosureOut, beside: PageQuestion, there: ClosureOut
) -> tuple[str, str]:
    """What the two answers are called on the page: by what tells them apart."""
    vehicles = here["vehicle"]["chassis"], there["vehicle"]["chassis"]
    if vehicles[0] != vehicles[1]:
        return vehicles
    revisions = question.value("as_of"), beside.value("as_of")
    if revisions[0] != revisions[1]:
        return f"Revision {revisions[0]}", f"Revision {revisions[1]}"
    return "This answer", "The other"


def titles(one: str, other: str) -> dict[State, str]:
    """The heads under which the lines stand."""
    return {
        "other part": "Another part at the same place",
        "only here": f"Changes only in: {one}",
        "only there": f"Changes only in: {other}",
        "other figures": "The same part, with another price, number or work",
        "same": "The same in both",
    }


def _revisions(service: Service, question: PageQuestion) -> list[RevisionOut]:
    """The revisions to compare with, the newest first, without the one of the answer itself."""
    found, _ = revisions(service, "", MOST_REVISIONS)
    return [edit for edit in found if str(edit["revision"]) != question.value("as_of")]
