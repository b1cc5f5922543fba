"""Closures: the complete set, why it is not another, what it would be on another vehicle."""

from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import Field
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.contract.headers import carries
from graftbook.http.errors import documented
from graftbook.http.responses import answered
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.closures import service as closures
from graftbook.questions.closures.compared_schemas import WhatIfOut, WhyNotOut
from graftbook.questions.closures.query import ClosureQuery, pointing_at_parameters
from graftbook.questions.closures.schemas import ClosureOut
from graftbook.questions.closures.service import VIEW, View, viewed
from graftbook.questions.closures.summary import closure_summary
from graftbook.questions.closures.summary_schemas import ClosureSummaryOut, WhyNotSummaryOut
from graftbook.questions.schemas import ClosureIn, ViewWord, WhatIfIn, WhyNotIn

router = APIRouter(prefix="/v1/closures", tags=["closures"], dependencies=[MayRead])

PROBLEMS = documented(
    problems.Busy,
    problems.MalformedRequest,
    problems.InvalidRequest,
    problems.TooEntangled,
    problems.TooLarge,
    problems.UnsupportedMedia,
    problems.UnknownBuild,
    problems.UnknownChassis,
    problems.UnknownComponent,
    problems.UnknownFlaw,
    problems.UnknownUpgrade,
    problems.UnknownOption,
    problems.UnknownPosition,
    problems.UnknownSection,
    problems.UnknownSpecification,
    problems.UnknownVariant,
    problems.VehicleMismatch,
)


ANSWER = {"model": ClosureOut | ClosureSummaryOut, **carries("ETag", "Content-Location")}


@router.post(
    "",
    operation_id="makeClosure",
    summary="The complete set that follows from a vehicle and some wishes",
    responses={200: ANSWER, **PROBLEMS},
)
def make_closure(body: ClosureIn, request: Request, service: ServiceDep, view: View = "full") -> Response:
    """Proved best, or proved impossible with a smallest contradiction and the ways out."""
    return _closure(request, service, body, view)


class _ClosureQuery(ClosureQuery):
    view: ViewWord = Field("full", description=VIEW)


@router.get(
    "",
    operation_id="getClosure",
    summary="The same by address, for questions that fit in one; kept by whoever asks, with its ETag",
    responses={200: ANSWER, 304: {"description": "You have this answer"}, **PROBLEMS},
)
def get_closure(request: Request, service: ServiceDep, asked: Annotated[_ClosureQuery, Query()]) -> Response:
    """Each parameter is a field of the body of `POST /v1/closures`; lists repeat the parameter."""
    with pointing_at_parameters(asked):
        return _closure(request, service, asked.body(), asked.view)


def _closure(request: Request, service: Service, body: ClosureIn, view: ViewWord) -> Response:
    (etag, make), full = closures.closure_at(service, body)
    etag, make = viewed(service, view, etag, make, partial(closure_summary, full=full))
    at = f"{full}&view={view}" if full and view != "full" else full
    return answered(request, service, etag, make, at=at, on_hit=closures.on_cache_hit(service, body))


WHY_NOT_VIEW = (
    "`summary`: what the best set with the component costs more, by criterion, or the first contradiction; "
    "read off the prices of the closure as asked where those have it, so that nothing is solved. Its "
    "cautions are those of the set as asked and of the component. `full`: both whole answers, with all that "
    "the other set changes and its cautions"
)
WhyNotView = Annotated[ViewWord, Query(description=WHY_NOT_VIEW)]


@router.post(
    "/why-not",
    operation_id="askWhyNot",
    summary="Why the answer does not hold this component instead",
    responses={200: {"model": WhyNotOut | WhyNotSummaryOut, **carries("ETag")}, **PROBLEMS},
)
def ask_why_not(body: WhyNotIn, request: Request, service: ServiceDep, view: WhyNotView = "full") -> Response:
    """Wishes the component as well and shows what that would cost more, or why it cannot be."""
    asked = closures.why_not_briefly if view == "summary" else closures.why_not
    etag, make = asked(service, body)
    return answered(request, service, etag, make, on_hit=closures.on_cache_hit(service, body))


@router.post(
    "/what-if",
    operation_id="askWhatIf",
    summary="What the same wishes would give on another vehicle",
    responses={200: {"model": WhatIfOut, **carries("ETag")}, **PROBLEMS},
)
def ask_what_if(body: WhatIfIn, request: Request, service: ServiceDep) -> Response:
    """Both answers, and what differs."""
    etag, make = closures.what_if(service, body)
    return answered(request, service, etag, make, on_hit=closures.on_cache_hit(service, body))
