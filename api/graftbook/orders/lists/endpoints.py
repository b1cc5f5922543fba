"""Order lists that are kept: draft, sent, received, closed."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead, Orderer
from graftbook.builds.schemas import Slug
from graftbook.catalogue.store.cursors import LARGEST_ID, read_name, read_number
from graftbook.http.contract.headers import carries
from graftbook.http.errors import answers, documented
from graftbook.http.fields import Word
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.preconditions import IfMatch, etag_wanted
from graftbook.http.responses import ASK_AGAIN, has_already, json_answer, not_modified, read_answer
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.orders.endpoints import ANSWER, Part
from graftbook.orders.forms import MEDIA, form_of, writer
from graftbook.orders.lists import keeping, overview, schemas
from graftbook.orders.lists import service as order_lists
from graftbook.orders.papers.parts import UnknownPart
from graftbook.orders.question_schemas import OrderIn
from graftbook.process.state import ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS

router = APIRouter(prefix="/v1/order-lists", tags=["orders"])

Name = Annotated[Slug, Path(description="name of the list", examples=["red-van-brakes"])]
Booking = Annotated[int, Path(ge=1, le=1_000_000_000, description="number of the booking on its list")]
WITHOUT_A_WORD = schemas.SentIn()
"""Sending needs no body: a list that is complete goes out without a word."""
_KEPT = {**ANSWER, "model": schemas.OrderListOut, **carries("ETag", "Content-Disposition")}
CHANGES = (
    problems.InvalidRequest,
    problems.MalformedRequest,
    problems.PreconditionFailed,
    problems.PreconditionRequired,
    problems.TooLarge,
    problems.UnknownOrderList,
    problems.UnsupportedMedia,
    problems.WrongState,
)
_CHANGED: dict[int | str, Any] = {200: {"model": schemas.OrderListOut, **carries("ETag", "Location")}}


def _headers(document: schemas.OrderListOut) -> dict[str, str]:
    return {
        "ETag": order_lists.list_etag(document),
        "Location": f"/v1/order-lists/{document['name']}",
    }


_made = json_told(201, _headers)
_changed = json_told(200, _headers)


@router.get(
    "",
    operation_id="listOrderLists",
    summary="The kept order lists",
    dependencies=[MayRead],
    responses=answers(schemas.OrderListsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_lists(
    request: Request,
    service: ServiceDep,
    show: Annotated[
        overview.ShownWord | None,
        Query(
            description="`open`: not everything has come; `late`: sent, and a promised day has passed",
            examples=["open"],
        ),
    ] = None,
    made_by: Annotated[
        Word | None,
        Query(description="only what this one made, as `made_by` says it", examples=["counter (1a2b3c4d)"]),
    ] = None,
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In name order, without their lines."""
    size = limit or service.settings.page_size
    search = {"list": "order-lists", "show": show or "", "made_by": made_by or ""}
    rows = overview.lists(service.engine, read_name(cursor, search), size + 1, show, made_by or "")
    return page_of(request, rows, size, search, by="name")


@router.post(
    "",
    operation_id="createOrderList",
    summary="Compute an order and keep it as a draft",
    status_code=201,
    responses={
        201: {"model": schemas.OrderListOut, **carries("ETag", "Location")},
        **PROBLEMS,
        **documented(problems.NoSet, problems.AlreadyExists, *ONCE),
    },
)
def create_list(
    body: schemas.OrderListIn, service: ServiceDep, orderer: Orderer, once: OnceAsked
) -> Response:
    """What it says stays as it is until it is computed again; `differences` tells what has changed."""
    order = OrderIn.model_validate(
        {name: getattr(body, name) for name in body.model_fields_set - {"name", "note"}}
    )
    once_told = once.told_by(_made)
    document = keeping.make(service, body.name, order, body.note, orderer.who, once_told)
    return response_of(_made(document))


@router.get(
    "/{name}",
    operation_id="getOrderList",
    summary="One list, as JSON, CSV, XLSX or PDF",
    dependencies=[MayRead],
    responses={
        200: _KEPT,
        304: {"description": "You have this version"},
        **documented(problems.UnknownOrderList, problems.InvalidRequest, problems.NotAcceptable, UnknownPart),
    },
)
def get_list(request: Request, name: Name, service: ServiceDep, part: Part = "") -> Response:
    """Its ETag is what a change must send as If-Match."""
    form = form_of(request.headers.get("accept", ""))
    document = order_lists.list_document(service.engine, name)
    etag = order_lists.list_etag(document)
    if form != "json":
        etag = f'{etag[:-1]}-{form}"'
    headers = {"ETag": etag, "Vary": "Accept", **ASK_AGAIN}
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    if form == "json":
        return json_answer(document, headers=headers)
    if form != "csv":
        headers["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    content = writer(form, service.settings.house, part)(document)
    return Response(content, media_type=MEDIA[form], headers={"Vary": "Accept", **headers})


@router.put(
    "/{name}/note",
    operation_id="noteOrderList",
    summary="Change a list's note",
    responses={**_CHANGED, **documented(*CHANGES)},
)
def put_note(
    name: Name, body: schemas.NoteIn, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None
) -> Response:
    """Needs If-Match with the ETag that was read."""
    etag = etag_wanted(if_match)
    return response_of(_changed(order_lists.renote(service.engine, name, etag, body.note, orderer.who)))


@router.post(
    "/{name}/recompute",
    operation_id="recomputeOrderList",
    summary="Compute a draft again with what is known today",
    responses={**_CHANGED, **PROBLEMS, **documented(*CHANGES, problems.NoSet)},
)
def recompute_list(name: Name, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None) -> Response:
    """Needs If-Match. What differs is recorded with the step."""
    etag = etag_wanted(if_match)
    return response_of(_changed(keeping.recompute(service, name, etag, orderer.who)))


@router.get(
    "/{name}/differences",
    operation_id="compareOrderList",
    summary="What the list would say if it were made today",
    dependencies=[MayRead],
    responses={
        200: {"model": schemas.ListDifferencesOut},
        **PROBLEMS,
        **documented(problems.UnknownOrderList, problems.InvalidRequest),
    },
)
def list_differences(request: Request, name: Name, service: ServiceDep) -> Response:
    """Prices, suppliers, supersessions, the set itself: before and after."""
    return read_answer(request, keeping.differences(service, name))


@router.post(
    "/{name}/substitute",
    operation_id="substituteInOrderList",
    summary="Another number for a line of a draft, if the closure accepts it",
    responses={
        **_CHANGED,
        **PROBLEMS,
        **documented(*CHANGES, problems.SubstituteRefused, problems.UnknownComponent),
    },
)
def substitute_in_list(
    name: Name, body: schemas.SubstituteIn, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None
) -> Response:
    """Needs If-Match. Refused, with what would change, when more than this line changes."""
    etag = etag_wanted(if_match)
    return response_of(_changed(keeping.substitute(service, name, etag, body.line, body.number, orderer.who)))


@router.post(
    "/{name}/send",
    operation_id="sendOrderList",
    summary="The list goes out; what it takes from the store leaves the shelf",
    responses={**_CHANGED, **documented(*CHANGES, problems.Incomplete, problems.StoreChanged, *ONCE)},
)
def send_list(
    name: Name,
    service: ServiceDep,
    orderer: Orderer,
    once: OnceAsked,
    body: schemas.SentIn = WITHOUT_A_WORD,
    if_match: IfMatch = None,
) -> Response:
    """Needs If-Match. A list is sent once, however often this is asked; one with lines that are not bought
    needs `incomplete`, else 409 tells them."""
    etag = etag_wanted(if_match)
    once_told = once.told_by(_changed)
    sent = order_lists.send(service.engine, name, etag, orderer.who, once_told, incomplete=body.incomplete)
    return response_of(_changed(sent))


@router.post(
    "/{name}/receive",
    operation_id="receiveOrderList",
    summary="Book a delivery: pieces came, are promised for later, or will not come",
    responses={**_CHANGED, **documented(*CHANGES, problems.DeliveryDoubted, *ONCE)},
)
def receive_list(
    name: Name,
    body: schemas.ReceivedIn,
    service: ServiceDep,
    orderer: Orderer,
    once: OnceAsked,
    if_match: IfMatch = None,
) -> Response:
    """Needs If-Match. The list's state follows from its bookings; counts are pieces unless a row says packs.

    More than is open, pieces given up, part of a pack, another supplier's line and a delivery note booked
    before are answered 409 `delivery-doubted` and not booked: `doubts` says why, `accept` the words that
    book it all the same when the request is sent again with them. Every booking can be taken back. The
    shop's store is not changed.
    """
    etag = etag_wanted(if_match)
    once_told = once.told_by(_changed)
    document = order_lists.receive(service.engine, name, etag, body.delivery(), orderer.who, once_told)
    return response_of(_changed(document))


@router.get(
    "/{name}/bookings",
    operation_id="listOrderListBookings",
    summary="The deliveries that were booked, the oldest first",
    dependencies=[MayRead],
    responses=answers(
        schemas.BookingsOut, problems.UnknownOrderList, problems.InvalidCursor, problems.InvalidRequest
    ),
)
def list_bookings(
    request: Request, name: Name, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """Who booked what, when, of which delivery note; also what was taken back, by whom and why."""
    size = limit or service.settings.page_size
    search = {"bookings": name}
    rows = order_lists.bookings(service.engine, name, read_number(cursor, search) or 0, size + 1)
    return page_of(request, rows, size, search, by="booking")


@router.post(
    "/{name}/bookings/{booking}/take-back",
    operation_id="takeBackOrderListBooking",
    summary="A booking was wrong: it counts no more",
    responses={
        **_CHANGED,
        **documented(*CHANGES, problems.BookingTakenBack, problems.UnknownBooking, *ONCE),
    },
)
def take_back_booking(
    name: Name,
    booking: Booking,
    body: schemas.TakenBackIn,
    service: ServiceDep,
    orderer: Orderer,
    once: OnceAsked,
    if_match: IfMatch = None,
) -> Response:
    """Needs If-Match. The list's state goes back to what the other bookings say; the booking stays on record.

    A closed list is opened again only if `reopen` says so. The shop's store is not changed, since a booking
    puts nothing there.
    """
    etag = etag_wanted(if_match)
    once_told = once.told_by(_changed)
    document = order_lists.take_back(
        service.engine, name, booking, etag, body.why, orderer.who, reopen=body.reopen, once=once_told
    )
    return response_of(_changed(document))


@router.post(
    "/{name}/close",
    operation_id="closeOrderList",
    summary="The list is done",
    responses={**_CHANGED, **documented(*CHANGES)},
)
def close_list(
    name: Name, body: schemas.ClosedIn, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None
) -> Response:
    """Needs If-Match, and a reason when not everything has come."""
    etag = etag_wanted(if_match)
    return response_of(_changed(order_lists.close(service.engine, name, etag, body.reason, orderer.who)))


@router.delete(
    "/{name}",
    operation_id="discardOrderList",
    summary="Throw a draft away",
    status_code=204,
    responses=documented(*CHANGES),
)
def discard_list(name: Name, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None) -> Response:
    """Needs If-Match. A list that was sent stays."""
    order_lists.discard(service.engine, name, etag_wanted(if_match), orderer.who)
    return Response(status_code=204)


@router.get(
    "/{name}/events",
    operation_id="listOrderListEvents",
    summary="The steps of a list, the oldest first",
    dependencies=[MayRead],
    responses=answers(
        schemas.OrderEventsOut, problems.UnknownOrderList, problems.InvalidCursor, problems.InvalidRequest
    ),
)
def list_events(
    request: Request, name: Name, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """Who did what, and when."""
    size = limit or service.settings.page_size
    search = {"events": name}
    rows = order_lists.events(service.engine, name, read_number(cursor, search, LARGEST_ID) or 0, size + 1)
    return page_of(request, rows, size, search, by="id")
