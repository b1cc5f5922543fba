"""What a closure means in the workshop and for its owner: the fitting sequence, the quotation."""

from fastapi import APIRouter
from starlette.responses import Response

from api import problems
from api.access.guard import MayRead
from api.orders.fitting import fitting_facts
from api.orders.quoting import quotation_facts
from api.routes.closures import PROBLEMS
from api.service import ServiceDep
from api.wire.errors import documented
from api.wire.orders_in import FittingIn, QuotationIn
from api.wire.orders_out import FittingOut, QuotationOut
from api.wire.responses import KEEP_NOTHING, json_answer

router = APIRouter(prefix="/v1", tags=["orders"], dependencies=[MayRead])


@router.post(
    "/fitting-sequences",
    operation_id="makeFittingSequence",
    summary="The jobs of the closure of the same body, in order",
    responses={200: {"model": FittingOut}, **PROBLEMS, **documented(problems.NoSet)},
)
def make_fitting_sequence(body: FittingIn, service: ServiceDep) -> Response:
    """Minutes a section, special tools, tightening values, cautions; the earliest finish, proved or not."""
    with service.gates["questions"].turn():
        return json_answer(fitting_facts(service, body), headers=KEEP_NOTHING)


@router.post(
    "/quotations",
    operation_id="makeQuotation",
    summary="What the closures of the same body cost the owner",
    responses={200: {"model": QuotationOut}, **PROBLEMS, **documented(problems.NoSet)},
)
def make_quotation(body: QuotationIn, service: ServiceDep) -> Response:
    """Parts, carriage, labour, an allowance, taxes by rate, deposits, and payments to the penny."""
    with service.gates["questions"].turn():
        return json_answer(quotation_facts(service, body), headers=KEEP_NOTHING)
