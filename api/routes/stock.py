"""The shop's own store: orders take from it first."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from api import problems
from api.access.guard import MayOrder, MayRead
from api.catalogue.cursors import read_cursor, write_cursor
from api.orders import shelf
from api.routes.concurrency import IfMatch
from api.routes.paging import Cursor, Limit, page_answer
from api.routes.ready import has_already
from api.service import ServiceDep
from api.wire.errors import documented
from api.wire.given import Word
from api.wire.order_lists import StockIn, StockOut, StockPageOut
from api.wire.responses import ASK_AGAIN, json_answer, not_modified

router = APIRouter(prefix="/v1/stock", tags=["orders"])

Number = Annotated[Word, Path(description="component number", examples=["QB-9001"])]
CHANGES = (
    problems.InvalidRequest,
    problems.PreconditionFailed,
    problems.PreconditionRequired,
)


@router.get(
    "",
    operation_id="listStock",
    summary="What lies in the store",
    dependencies=[MayRead],
    responses={
        200: {"model": StockPageOut},
        **documented(problems.InvalidCursor, problems.InvalidRequest),
    },
)
def list_stock(request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = "") -> Response:
    """In number order."""
    size = limit or service.settings.page_size
    search = {"list": "stock"}
    after = read_cursor(cursor, search, 1)[0] if cursor else ""
    rows = shelf.page_of_stock(service.engine, after, size + 1)
    following = write_cursor(search, [rows[size - 1]["number"]]) if len(rows) > size else None
    return page_answer(request, rows[:size], following)


@router.get(
    "/{number}",
    operation_id="getStock",
    summary="What lies in the store of one number",
    dependencies=[MayRead],
    responses={
        200: {"model": StockOut},
        304: {"description": "You have this"},
        **documented(problems.NotInStore, problems.InvalidRequest),
    },
)
def get_stock(request: Request, number: Number, service: ServiceDep) -> Response:
    """Its ETag is what a change must send as If-Match."""
    facts = shelf.holds(service.engine, number)
    etag = shelf.stock_etag(facts)
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    return json_answer(facts, headers={"ETag": etag, **ASK_AGAIN})


@router.put(
    "/{number}",
    operation_id="putStock",
    summary="Say what lies in the store of one number",
    dependencies=[MayOrder],
    responses={
        200: {"model": StockOut},
        **documented(
            *CHANGES,
            problems.MalformedRequest,
            problems.TooLarge,
            problems.UnknownComponent,
            problems.UnsupportedMedia,
        ),
    },
)
def put_stock(number: Number, body: StockIn, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """Needs If-Match when something is said of it already."""
    facts = shelf.put(service.engine, number, body.quantity, body.place, if_match)
    return json_answer(facts, headers={"ETag": shelf.stock_etag(facts)})


@router.delete(
    "/{number}",
    operation_id="emptyStock",
    summary="The number has no place in the store any more",
    status_code=204,
    dependencies=[MayOrder],
    responses=documented(*CHANGES, problems.NotInStore),
)
def empty_stock(number: Number, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """Needs If-Match with the ETag that was read."""
    shelf.empty(service.engine, number, if_match)
    return Response(status_code=204)
