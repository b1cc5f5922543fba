"""The shop's own store: orders take from it first."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayOrder, MayRead, Orderer
from graftbook.catalogue.store.cursors import read_name
from graftbook.http.contract.headers import carries
from graftbook.http.errors import answers, documented, refused
from graftbook.http.fields import Word
from graftbook.http.parameters import Cursor, DryRun, Limit, page_of
from graftbook.http.preconditions import IfMatch, IfMatchOfWhatIsThere
from graftbook.http.responses import ASK_AGAIN, has_already, json_answer, media_type_of, not_modified
from graftbook.idempotency.header import ONCE, OnceKey, digest_of, json_told, once_of, response_of
from graftbook.idempotency.service import StoredAnswer
from graftbook.orders.forms import CSV, MEDIA, form_of
from graftbook.orders.lists.schemas import StockCountOut, StockIn, StockOut, StockPageOut
from graftbook.orders.stock import service as stock
from graftbook.process.state import Service, ServiceDep

router = APIRouter(prefix="/v1/stock", tags=["orders"])

Number = Annotated[Word, Path(description="component number", examples=["QB-9001"])]
_FORMS = {"json": MEDIA["json"], "csv": CSV}
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
        200: {
            "model": StockPageOut,
            "content": {"text/csv": {"schema": {"type": "string"}}},
            **carries("Content-Disposition"),
        },
        304: {"description": "You have this sheet"},
        **documented(problems.InvalidCursor, problems.InvalidRequest, problems.NotAcceptable),
    },
)
def list_stock(request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = "") -> Response:
    """In number order, a page as JSON. With `Accept: text/csv` all of it as a sheet, whose ETag a count may
    send as If-Match."""
    if form_of(request.headers.get("accept", ""), _FORMS) == "csv":
        return _whole(request, service)
    size = limit or service.settings.page_size
    search = {"list": "stock"}
    rows = stock.page_of_stock(service.engine, read_name(cursor, search), size + 1)
    answer = page_of(request, rows, size, search, by="number")
    answer.headers["Vary"] = "Accept"
    return answer


def _whole(request: Request, service: Service) -> Response:
    sheet, etag = stock.whole_sheet(service.engine)
    headers = {**ASK_AGAIN, "Vary": "Accept"}
    if has_already(request, etag):
        return not_modified(etag, headers)
    headers |= {"ETag": etag, "Content-Disposition": 'attachment; filename="store.csv"'}
    return Response(sheet, media_type=CSV, headers=headers)


_SHEET = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {
                "schema": {"type": "string", "description": "columns number, quantity, and place if wished"},
                "example": "number,quantity,place\nQB-9001,4,drawer 14\n",
            }
        },
    }
}


@router.post(
    "",
    operation_id="countStock",
    summary="The store was counted: say what lies there of many numbers at once",
    openapi_extra=_SHEET,
    responses=answers(
        StockCountOut,
        problems.Busy,
        problems.ImportRefused,
        problems.InvalidRequest,
        problems.PreconditionFailed,
        problems.PreconditionRequired,
        problems.TooLarge,
        problems.UnsupportedMedia,
        *ONCE,
    ),
)
async def count_stock(
    request: Request,
    service: ServiceDep,
    orderer: Orderer,
    whole: Annotated[bool, Query(description="numbers that the sheet does not name leave the store")] = False,
    dry_run: DryRun = False,
    if_match: IfMatchOfWhatIsThere = None,
    key: OnceKey = None,
) -> Response:
    """A sheet: each row says what lies there of a number now; all of it is stored, or nothing. If-Match with
    the whole store's ETag is optional: what was counted by hand holds whatever was written before."""
    if media_type_of(request) != "text/csv":
        raise problems.UnsupportedMedia("Send the sheet as text/csv")
    body = await request.body()
    once = once_of(request, key, digest_of(request, body)).told_by(_count_answer)
    try:
        sheet = body.decode("utf-8")
    except UnicodeDecodeError:
        raise problems.InvalidRequest("The sheet is not UTF-8 text") from None

    def counted() -> stock.CountReport:
        once.look(service.engine)
        with service.gates["imports"].turn():
            return stock.count(
                service.engine,
                sheet,
                whole=whole,
                dry_run=dry_run,
                if_match=if_match,
                once=once,
                file="request",
            )

    return response_of(_count_answer(await run_in_threadpool(counted)))


_as_json = json_told(200)


def _count_answer(report: stock.CountReport) -> StoredAnswer:
    if not report.ok:
        raise refused(report)
    return _as_json(report.document())


@router.get(
    "/{number}",
    operation_id="getStock",
    summary="What lies in the store of one number",
    dependencies=[MayRead],
    responses=answers(StockOut, problems.NotInStore, problems.InvalidRequest, unchanged="You have this"),
)
def get_stock(request: Request, number: Number, service: ServiceDep) -> Response:
    """Its ETag is what a change must send as If-Match."""
    facts = stock.holds(service.engine, number)
    etag = stock.stock_etag(facts)
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    return json_answer(facts, headers={"ETag": etag, **ASK_AGAIN})


@router.put(
    "/{number}",
    operation_id="putStock",
    summary="Say what lies in the store of one number",
    dependencies=[MayOrder],
    responses=answers(
        StockOut,
        *CHANGES,
        problems.MalformedRequest,
        problems.TooLarge,
        problems.UnknownComponent,
        problems.UnsupportedMedia,
        headers=("ETag",),
    ),
)
def put_stock(
    number: Number, body: StockIn, service: ServiceDep, if_match: IfMatchOfWhatIsThere = None
) -> Response:
    """Needs If-Match when something is said of it already."""
    facts = stock.put(service.engine, number, body.quantity, body.place, if_match)
    return json_answer(facts, headers={"ETag": stock.stock_etag(facts)})


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
    stock.empty(service.engine, number, if_match)
    return Response(status_code=204)
