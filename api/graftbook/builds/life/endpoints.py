"""The life of a build over HTTP: what was recorded, how it stands, orders carried out, its sheet."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead, Orderer
from graftbook.builds.endpoints import Name, On
from graftbook.builds.life import carrying_out, recording
from graftbook.builds.life import schemas as s
from graftbook.builds.life.documents import sheet_document, state_document
from graftbook.builds.life.paper import sheet_pdf
from graftbook.builds.life.standing import standing
from graftbook.builds.schemas import Slug
from graftbook.builds.stored.documents import BuildOut
from graftbook.catalogue.store.cursors import LARGEST_ID, read_number
from graftbook.http.errors import answers, documented
from graftbook.http.fields import Day
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.responses import ASK_AGAIN, JSON, bytes_answer, read_answer
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.orders.forms import PDF, form_of
from graftbook.process.state import ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS

router = APIRouter(prefix="/v1/builds/{name}", tags=["builds"], dependencies=[MayRead])

ListName = Annotated[Slug, Path(description="a kept order list", examples=["red-van-brakes"])]
MEDIA = {"json": JSON, "pdf": PDF}
READ = documented(problems.UnknownBuild, problems.InvalidRequest)
BODY = (
    problems.MalformedRequest,
    problems.InvalidRequest,
    problems.TooLarge,
    problems.UnsupportedMedia,
    problems.UnknownBuild,
)


@router.get(
    "/events",
    operation_id="listBuildEvents",
    summary="What was recorded of a build",
    responses={
        200: {"model": s.BuildEventsOut},
        **READ,
        **documented(problems.InvalidCursor),
    },
)
def list_events(
    request: Request,
    name: Name,
    service: ServiceDep,
    on: Annotated[Day | None, Query(description="only what was so by this day")] = None,
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In the order in which it was written down. Nothing is ever changed; what was wrong is taken back."""
    size = limit or service.settings.page_size
    search = {"list": "build-events", "build": name}
    after = read_number(cursor, search, LARGEST_ID) or 0
    events = recording.events_of(service.engine, name)
    documents = recording.event_documents(events, recording.called_in(service.engine, events))
    rows = [one for one in documents if one["id"] > after and not (on and one["day"] > on.isoformat())]
    return page_of(request, rows, size, search, by="id")


@router.post(
    "/events",
    operation_id="recordBuildEvents",
    summary="Record what was so of a build",
    status_code=201,
    responses=answers(
        BuildOut,
        *BODY,
        problems.UnknownComponent,
        problems.UnknownPosition,
        problems.UnknownFlaw,
        problems.UnknownUpgrade,
        problems.UnknownSection,
        problems.UnknownSpecification,
        problems.UnknownCharacteristic,
        *ONCE,
        status=201,
    ),
)
def record_events(
    name: Name, body: s.EventsIn, service: ServiceDep, orderer: Orderer, once: OnceAsked
) -> Response:
    """All of it or nothing. What is recorded is never changed: an event takes it back."""
    document = recording.record(service, name, body, orderer.who, once.told_by(_recorded))
    return response_of(_recorded(document))


@router.get(
    "/state",
    operation_id="getBuildState",
    summary="How a build stands: what may be driven, what is still open",
    responses={200: {"model": s.BuildStateOut}, **PROBLEMS, **READ},
)
def get_state(request: Request, name: Name, service: ServiceDep, on: On = None) -> Response:
    """Of today or of any day since it was taken in; judged by the catalogue as it is."""
    return read_answer(request, state_document(standing(service, name, on)))


@router.get(
    "/sheet",
    operation_id="getBuildSheet",
    summary="The paper that goes with the vehicle, as JSON or PDF",
    responses={
        200: {"model": s.BuildSheetOut, "content": {PDF: {"schema": {"type": "string", "format": "binary"}}}},
        **PROBLEMS,
        **READ,
        **documented(problems.NotAcceptable),
    },
)
def get_sheet(request: Request, name: Name, service: ServiceDep, on: On = None) -> Response:
    """What it is, what was kept, each change with its reason and record, the arithmetic before and after."""
    form = form_of(request.headers.get("accept", ""), MEDIA)
    document = sheet_document(standing(service, name, on))
    if form == "json":
        return read_answer(request, document, {"Vary": "Accept", **ASK_AGAIN})
    headers = {"Content-Disposition": f'attachment; filename="sheet-{name}.pdf"', "Vary": "Accept"}
    return bytes_answer(request, sheet_pdf(document, service.settings.house), PDF, headers | ASK_AGAIN)


@router.get(
    "/order-lists/{list}",
    operation_id="getBuildOrderList",
    summary="What an order list does to a build, and what of it was carried out",
    responses={
        200: {"model": s.ListStepsOut},
        **READ,
        **documented(problems.UnknownOrderList, problems.VehicleMismatch),
    },
)
def get_order_list(
    request: Request, name: Name, listed: Annotated[ListName, Path(alias="list")], service: ServiceDep
) -> Response:
    """Step by step: where, what goes in, what comes off, and whether it has come."""
    return read_answer(request, carrying_out.list_steps(service, name, listed))


@router.post(
    "/carried-out",
    operation_id="carryOutOrderList",
    summary="Record that an order list was carried out, whole or step by step",
    status_code=201,
    responses=answers(
        BuildOut,
        *BODY,
        problems.UnknownOrderList,
        problems.VehicleMismatch,
        problems.WrongState,
        *ONCE,
        status=201,
    ),
)
def carry_out(
    name: Name, body: s.CarriedOutIn, service: ServiceDep, orderer: Orderer, once: OnceAsked
) -> Response:
    """From that day on it is fitted. A step is carried out once, unless its event is taken back."""
    document = carrying_out.carry_out(service, name, body, orderer.who, once.told_by(_recorded))
    return response_of(_recorded(document))


_recorded = json_told(201, lambda document: {"Location": f"/v1/builds/{document['name']}/events"})
