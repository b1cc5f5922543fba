"""The order of one or several closures: what to buy, from whom, as JSON, CSV, XLSX or PDF."""

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
from graftbook.orders.forms import DOCUMENTS, MEDIA, form_of, writer
from graftbook.orders.papers.parts import UnknownPart
from graftbook.orders.question_schemas import OrderIn, OrderQuery, order_address
from graftbook.orders.schemas import OrderOut
from graftbook.orders.service import ordering
from graftbook.orders.summary import order_summary
from graftbook.orders.summary_schemas import OrderSummaryOut
from graftbook.process.service import Make
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS
from graftbook.questions.closures.query import pointing_at_parameters
from graftbook.questions.closures.service import viewed
from graftbook.questions.schemas import ViewWord

router = APIRouter(prefix="/v1/orders", tags=["orders"], dependencies=[MayRead])

_TEXT = {"schema": {"type": "string"}}
_BYTES = {"schema": {"type": "string", "format": "binary"}}
_MEDIA = [MEDIA[form].split(";")[0] for form in DOCUMENTS]
ANSWER = {
    "model": OrderOut,
    "content": {media: _TEXT if media.startswith("text/") else _BYTES for media in _MEDIA},
}
_ERRORS = PROBLEMS | documented(problems.NoSet, problems.NotAcceptable, UnknownPart)
_VIEWED = {
    **ANSWER,
    "model": OrderOut | OrderSummaryOut,
    **carries("ETag", "Content-Location", "Content-Disposition"),
}
VIEW = (
    "of JSON. `summary`: each supplier with its sum and day, each line with its pieces, supplier and total, "
    "what is not bought and why, every caution, and `full`, the address of the whole order. What is printed "
    "or a sheet is always whole"
)
View = Annotated[ViewWord, Query(description=VIEW)]

Part = Annotated[
    str,
    Query(
        max_length=200,
        pattern="^$|^(supplier|vehicle):.+$",
        description="with CSV, XLSX and PDF: only `supplier:NAME` or `vehicle:LABEL`",
    ),
]


@router.post(
    "",
    operation_id="makeOrder",
    summary="What must be bought for these closures, and from whom",
    responses={200: _VIEWED, **_ERRORS},
)
def make_order(
    body: OrderIn, request: Request, service: ServiceDep, part: Part = "", view: View = "full"
) -> Response:
    """Accept chooses JSON, CSV, XLSX or PDF. Nothing in a sheet runs as a formula."""
    return _order(request, service, body, part, view)


class _OrderQuery(OrderQuery):
    part: Part = ""
    view: ViewWord = Field("full", description=VIEW)


@router.get(
    "",
    operation_id="getOrder",
    summary="The same for one vehicle by address",
    responses={200: _VIEWED, 304: {"description": "You have this answer"}, **_ERRORS},
)
def get_order(request: Request, service: ServiceDep, asked: Annotated[_OrderQuery, Query()]) -> Response:
    """Parameters as for `GET /v1/closures`, and how to buy."""
    with pointing_at_parameters(asked):
        return _order(request, service, asked.order(), asked.part, asked.view)


def _order(request: Request, service: Service, body: OrderIn, part: str, view: ViewWord) -> Response:
    form = form_of(request.headers.get("accept", ""))
    write = writer(form, service.settings.house, part)
    etag, make = ordering(service, body, f"{form} {part}", write)
    if form == "json":
        return _as_json(request, service, body, view, (etag, make))
    answer = answered(request, service, etag, make, MEDIA[form])
    if form != "csv":
        answer.headers["Content-Disposition"] = f'attachment; filename="order.{form}"'
    return answer


def _as_json(
    request: Request, service: Service, body: OrderIn, view: ViewWord, answering: tuple[str, Make]
) -> Response:
    full = order_address(body)
    etag, make = viewed(service, view, *answering, partial(order_summary, full=full))
    at = f"{full}&view={view}" if full and view != "full" else full
    return answered(request, service, etag, make, MEDIA["json"], at=at)
