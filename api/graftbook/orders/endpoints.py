"""The order of one or several closures: what to buy, from whom, as JSON, CSV, XLSX or PDF."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.conditional import answered
from graftbook.http.errors import documented
from graftbook.orders.forms import DOCUMENTS, MEDIA, form_of, writer
from graftbook.orders.papers.parts import UnknownPart
from graftbook.orders.question_schemas import OrderIn, OrderQuery
from graftbook.orders.schemas import OrderOut
from graftbook.orders.service import ordering
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS

router = APIRouter(prefix="/v1/orders", tags=["orders"], dependencies=[MayRead])

_TEXT = {"schema": {"type": "string"}}
_BYTES = {"schema": {"type": "string", "format": "binary"}}
_MEDIA = [MEDIA[form].split(";")[0] for form in DOCUMENTS]
ANSWER = {
    "model": OrderOut,
    "content": {media: _TEXT if media.startswith("text/") else _BYTES for media in _MEDIA},
}
_ERRORS = PROBLEMS | documented(problems.NoSet, problems.NotAcceptable, UnknownPart)

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
    responses={200: ANSWER, **_ERRORS},
)
def make_order(body: OrderIn, request: Request, service: ServiceDep, part: Part = "") -> Response:
    """Accept chooses JSON, CSV, XLSX or PDF. Nothing in a sheet runs as a formula."""
    return _order(request, service, body, part)


class _OrderQuery(OrderQuery):
    part: Part = ""


@router.get(
    "",
    operation_id="getOrder",
    summary="The same for one vehicle by address",
    responses={200: ANSWER, 304: {"description": "You have this answer"}, **_ERRORS},
)
def get_order(request: Request, service: ServiceDep, asked: Annotated[_OrderQuery, Query()]) -> Response:
    """Parameters as for `GET /v1/closures`, and how to buy."""
    return _order(request, service, asked.order(), asked.part)


def _order(request: Request, service: Service, body: OrderIn, part: str) -> Response:
    form = form_of(request.headers.get("accept", ""))
    write = writer(form, service.settings.house, part)
    etag, make = ordering(service, body, f"{form} {part}", write)
    answer = answered(request, service, etag, make, MEDIA[form])
    if form not in ("json", "csv"):
        answer.headers["Content-Disposition"] = f'attachment; filename="order.{form}"'
    return answer
