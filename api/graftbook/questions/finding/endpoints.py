"""`GET /v1/search`: what somebody says, found as he means it."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.errors import answers
from graftbook.http.responses import answered, do_nothing, etag_of
from graftbook.http.values import json_bytes
from graftbook.process.state import ServiceDep
from graftbook.questions.finding import schemas as out
from graftbook.questions.finding.service import search, search_document
from graftbook.questions.schemas import VehicleIn

router = APIRouter(prefix="/v1", tags=["catalogue"], dependencies=[MayRead])

MOST_FOUND = 100


@router.get(
    "/search",
    operation_id="search",
    summary="Upgrades, components and flaws by what people say",
    responses=answers(
        out.SearchOut, problems.InvalidRequest, problems.UnknownChassis, unchanged="You have this answer"
    ),
)
def search_all(
    request: Request,
    service: ServiceDep,
    text: Annotated[
        str, Query(min_length=1, max_length=200, description="a number, or words", examples=["front discs"])
    ],
    chassis: Annotated[
        str, Query(max_length=120, description="the vehicle in hand: what fits it first")
    ] = "",
    begun: Annotated[bool, Query(description="the last word is still being typed")] = False,
    limit: Annotated[int, Query(ge=1, le=MOST_FOUND, description="at most so many")] = 20,
) -> Response:
    """Plurals, both spellings of English, slips, and the catalogue's other words are understood."""
    vehicle = VehicleIn(chassis=chassis) if chassis else None
    document = search_document(search(service, text, vehicle, limit=limit, begun=begun))
    etag = etag_of("search", document)
    return answered(request, service, etag, lambda: (json_bytes(document), True), on_hit=do_nothing)
