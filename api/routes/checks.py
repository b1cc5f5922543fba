"""Whether a proposed set is complete and works together."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.access.guard import MayRead
from api.asking.checks import check
from api.routes.closures import PROBLEMS
from api.routes.ready import answered
from api.service import ServiceDep
from api.wire.compared_out import CheckOut
from api.wire.questions import CheckIn

router = APIRouter(prefix="/v1/checks", tags=["checks"], dependencies=[MayRead])


@router.post(
    "",
    operation_id="checkSet",
    summary="What is missing, what clashes, what is surplus, which flaws remain, and the arithmetic",
    responses={200: {"model": CheckOut}, **PROBLEMS},
)
def check_set(body: CheckIn, request: Request, service: ServiceDep) -> Response:
    """`completed` is the closure that keeps what is proposed and adds what is missing."""
    etag, make = check(service, body)
    return answered(request, service, etag, make)
