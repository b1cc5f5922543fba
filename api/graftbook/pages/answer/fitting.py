"""The fitting sequence of an answer, as a fitter works along it."""

from itertools import groupby

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.orders.fitting.service import fitting_facts
from graftbook.orders.question_schemas import FittingIn
from graftbook.pages.asking.question import question_of, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import NoSet
from graftbook.process.state import ServiceDep
from graftbook.questions.reading import present_revision

router = pages_router()
MOST_HANDS = 20


@router.get("/fitting", dependencies=[MayRead, takes_question("hands")])
def fitting(request: Request, service: ServiceDep) -> Response:
    """The jobs in order. An impossible question goes to its answer."""
    question = question_of(request.query_params)
    given = request.query_params.get("hands", "")
    whole = given.isascii() and given.isdigit() and len(given) < 4
    hands = min(MOST_HANDS, max(1, int(given))) if whole else 1
    if not question.value("as_of"):
        now = question.adding("as_of", present_revision(service))
        return gone_to(now.address("/fitting", {"hands": hands}))
    body = question.body().model_dump(mode="json", exclude_unset=True, exclude={"alternatives"})
    try:
        found = fitting_facts(service, FittingIn.model_validate({**body, "hands": hands}))
    except NoSet:
        return gone_to(question.address())
    runs = [list(run) for _, run in groupby(found["steps"], lambda step: step["section"])]
    return page(request, "fitting.html", question=question, found=found, hands=hands, runs=runs)
