"""What a closure means in the workshop and for its owner: the fitting sequence, the quotation."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.document import Document
from graftbook.http.contract.headers import carries
from graftbook.http.errors import documented
from graftbook.http.responses import JSON, KEEP_NOTHING, json_answer
from graftbook.orders.fitting.service import fitting_facts
from graftbook.orders.forms import PDF, form_of
from graftbook.orders.papers.quotation import quotation_pdf
from graftbook.orders.papers.sequence import sequence_pdf
from graftbook.orders.question_schemas import FittingIn, QuotationIn
from graftbook.orders.quotation.service import quotation_facts
from graftbook.orders.schemas import FittingOut, QuotationOut
from graftbook.orders.summary import fitting_summary
from graftbook.orders.summary_schemas import FittingSummaryOut
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS
from graftbook.questions.schemas import ViewWord

router = APIRouter(prefix="/v1", tags=["orders"], dependencies=[MayRead])

FORMS = {"json": JSON, "pdf": PDF}
_HEADERS = carries("ETag", "Content-Disposition")
_AS_PDF: dict[str, Any] = {"content": {PDF: {"schema": {"type": "string", "format": "binary"}}}}
_ERRORS = documented(problems.NoSet, problems.NotAcceptable)
VIEW = (
    "of JSON. `summary`: each step in a line, the times, tools and every caution; how each is done is in the "
    "whole sequence"
)
View = Annotated[ViewWord, Query(description=VIEW)]


@router.post(
    "/fitting-sequences",
    operation_id="makeFittingSequence",
    summary="The jobs of the closure of the same body, in order",
    responses={200: {"model": FittingOut | FittingSummaryOut, **_AS_PDF, **_HEADERS}, **PROBLEMS, **_ERRORS},
)
def make_fitting_sequence(
    body: FittingIn, request: Request, service: ServiceDep, view: View = "full"
) -> Response:
    """Minutes a section, special tools, tightening values, cautions; the earliest finish, proved or not."""
    brief = fitting_summary if view == "summary" else None
    return _in_form_asked(request, service, sequence_pdf, lambda: fitting_facts(service, body), brief)


@router.post(
    "/quotations",
    operation_id="makeQuotation",
    summary="What the closures of the same body cost the owner",
    responses={200: {"model": QuotationOut, **_AS_PDF, **_HEADERS}, **PROBLEMS, **_ERRORS},
)
def make_quotation(body: QuotationIn, request: Request, service: ServiceDep) -> Response:
    """Parts, carriage, labour, an allowance, taxes by rate, deposits, and payments to the penny."""
    return _in_form_asked(request, service, quotation_pdf, lambda: quotation_facts(service, body))


def _in_form_asked(
    request: Request,
    service: Service,
    pdf: Callable[..., bytes],
    facts: Callable[[], Any],
    brief: Callable[[Any], Document] | None = None,
) -> Response:
    """JSON or PDF, whichever Accept prefers. `brief`: the summary that is asked for. Raises NotAcceptable."""
    form = form_of(request.headers.get("accept", ""), FORMS)
    found = facts()
    if form == "json":
        return json_answer(brief(found) if brief else found, headers=KEEP_NOTHING)
    return Response(pdf(found, house=service.settings.house), media_type=PDF, headers=KEEP_NOTHING)
