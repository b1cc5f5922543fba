"""Whether a proposed set is complete and works together."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.http.contract.headers import carries
from graftbook.http.responses import answered
from graftbook.process.state import ServiceDep
from graftbook.questions.checks.service import check
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.endpoints import PROBLEMS
from graftbook.questions.closures.service import View, on_cache_hit, viewed
from graftbook.questions.closures.summary import check_summary
from graftbook.questions.closures.summary_schemas import CheckSummaryOut
from graftbook.questions.schemas import CheckIn

router = APIRouter(prefix="/v1/checks", tags=["checks"], dependencies=[MayRead])


@router.post(
    "",
    operation_id="checkSet",
    summary="What is missing, what clashes, what is surplus, which flaws remain, and the arithmetic",
    responses={200: {"model": CheckOut | CheckSummaryOut, **carries("ETag")}, **PROBLEMS},
)
def check_set(body: CheckIn, request: Request, service: ServiceDep, view: View = "full") -> Response:
    """`completed` is the closure that keeps what is proposed and adds what is missing."""
    etag, make = check(service, body)
    etag, make = viewed(service, view, etag, make, check_summary)
    return answered(request, service, etag, make, on_hit=on_cache_hit(service, body))
