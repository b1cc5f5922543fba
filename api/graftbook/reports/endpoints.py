"""What workshops report, and how the catalogue's claims stand for it."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead, Orderer
from graftbook.editing.review.problems import ReviewNeeded
from graftbook.http.errors import answers
from graftbook.http.parameters import Cursor, Limit, page_answer
from graftbook.http.responses import json_answer
from graftbook.process.state import ServiceDep
from graftbook.reports import service as reports
from graftbook.reports.schemas import GradesOut, ReportedOut, ReportIn, ReportsOut

router = APIRouter(prefix="/v1", tags=["reports"])

Component = Annotated[str, Query(max_length=120, description="of this component only")]
Position = Annotated[str, Query(max_length=120, description="at this position only")]
Claim = Annotated[str, Query(max_length=300, description="what bears on this claim, by its name")]
Workshop = Annotated[str, Query(max_length=120, description="of this workshop only")]
Build = Annotated[str, Query(max_length=120, description="of this build only")]
NAMES = (
    problems.AlreadyExists,
    problems.ImportRefused,
    problems.InvalidRequest,
    problems.MalformedRequest,
    problems.TooLarge,
    problems.UnknownBuild,
    ReviewNeeded,
    problems.UnknownChassis,
    problems.UnknownComponent,
    problems.UnknownOption,
    problems.UnknownPosition,
    problems.UnsupportedMedia,
    problems.VehicleMismatch,
)


@router.post(
    "/reports",
    operation_id="sendReport",
    summary="Report how it went: fitted, fitted after work, did not fit",
    status_code=201,
    responses=answers(ReportedOut, *NAMES, status=201),
)
def send_report(body: ReportIn, service: ServiceDep, workshop: Orderer) -> Response:
    """The grades of the claims that it bears on follow at once; the same sent again changes nothing."""
    document = reports.report(service, body, workshop.who)
    return json_answer(document, status=201)


@router.get(
    "/reports",
    operation_id="listReports",
    summary="What workshops reported",
    dependencies=[MayRead],
    responses=answers(ReportsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_reports(
    request: Request,
    service: ServiceDep,
    component: Component = "",
    position: Position = "",
    claim: Claim = "",
    workshop: Workshop = "",
    build: Build = "",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """The latest day first; everything that is given must hold, written as the catalogue writes it."""
    given = {
        "component": component, "position": position, "claim": claim, "workshop": workshop, "build": build
    }  # fmt: skip
    asked = {column: value for column, value in given.items() if value}
    rows, following = reports.list_reports(service, asked, cursor, limit or service.settings.page_size)
    return page_answer(request, rows, following)


@router.get(
    "/grades",
    operation_id="listGrades",
    summary="How claims stand: sources, reports, what contradicts them, a break that failures propose",
    dependencies=[MayRead],
    responses=answers(GradesOut, problems.InvalidRequest, problems.UnknownComponent, problems.UnknownRecord),
)
def list_grades(
    request: Request, service: ServiceDep, claim: Claim = "", component: Component = ""
) -> Response:
    """Of one claim by its name, of every claim about a component, or, with neither, those in doubt."""
    if claim and component:
        raise problems.InvalidRequest("Give a claim or a component, not both", pointer="claim")
    if claim or component:
        found = reports.grades_of(service, claim=claim, component=component)
    else:
        found = reports.in_doubt(service)
    return page_answer(request, found, None)
