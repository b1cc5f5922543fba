"""The order list of a closure, as JSON or CSV."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api import problems
from api.access.guard import MayRead
from api.orders.answering import ordering
from api.routes.closures import PROBLEMS
from api.routes.ready import reasoned
from api.service import Service, ServiceDep
from api.wire.errors import documented
from api.wire.orders_out import OrderOut
from api.wire.query import ClosureQuery
from api.wire.questions import ClosureIn
from api.wire.responses import JSON

router = APIRouter(prefix="/v1/orders", tags=["orders"], dependencies=[MayRead])

CSV = "text/csv; charset=utf-8"
_ANSWER = {"model": OrderOut, "content": {"text/csv": {"schema": {"type": "string"}}}}
_ERRORS = PROBLEMS | documented(problems.NoSet, problems.NotAcceptable)


@router.post(
    "",
    operation_id="makeOrder",
    summary="What must be bought for the closure of the same body",
    responses={200: _ANSWER, **_ERRORS},
)
def make_order(body: ClosureIn, request: Request, service: ServiceDep) -> Response:
    """`Accept: text/csv` gives a sheet, otherwise JSON. Nothing in the sheet runs as a formula."""
    return _order(request, service, body)


@router.get(
    "",
    operation_id="getOrder",
    summary="The same by address",
    responses={200: _ANSWER, 304: {"description": "You have this answer"}, **_ERRORS},
)
def get_order(request: Request, service: ServiceDep, asked: Annotated[ClosureQuery, Query()]) -> Response:
    """Parameters as for `GET /v1/closures`."""
    return _order(request, service, asked.body())


def _order(request: Request, service: Service, body: ClosureIn) -> Response:
    form = form_of(request.headers.get("accept", ""))
    etag, make = ordering(service, body, form)
    return reasoned(request, service, etag, make, CSV if form == "csv" else JSON)


def form_of(accept: str) -> str:
    """`json` or `csv`, whichever the Accept header prefers (RFC 9110, 12.5.1). Raises NotAcceptable."""
    weights: dict[str, float] = {}
    for part in accept.split(",") if accept.strip() else ["*/*"]:
        media, *parameters = (piece.strip().lower() for piece in part.split(";"))
        weights[media] = next((_weight(p[2:]) for p in parameters if p.startswith("q=")), 1.0)
    scores = {form: _score(weights, media) for form, media in (("json", JSON), ("csv", "text/csv"))}
    best = max(scores, key=lambda form: scores[form])
    if scores[best] <= 0:
        raise problems.NotAcceptable("An order list comes as application/json or text/csv")
    return best


def _score(weights: dict[str, float], media: str) -> float:
    kind = media.split("/")[0] + "/*"
    return next((weights[m] for m in (media, kind, "*/*") if m in weights), 0.0)


def _weight(text: str) -> float:
    try:
        return min(1.0, max(0.0, float(text)))
    except ValueError:
        return 0.0
