"""The fitting sequence of a closure: what comes off and goes on first, and how long it takes."""

from fastapi import APIRouter
from starlette.responses import Response

from api import problems
from api.access.guard import MayRead
from api.orders.fitting import fitting_facts
from api.routes.closures import PROBLEMS
from api.service import ServiceDep
from api.wire.errors import documented
from api.wire.orders_in import FittingIn
from api.wire.orders_out import FittingOut
from api.wire.responses import KEEP_NOTHING, json_answer

router = APIRouter(prefix="/v1/fitting-sequences", tags=["orders"], dependencies=[MayRead])


@router.post(
    "",
    operation_id="makeFittingSequence",
    summary="The jobs of the closure of the same body, in order",
    responses={200: {"model": FittingOut}, **PROBLEMS, **documented(problems.NoSet)},
)
def make_fitting_sequence(body: FittingIn, service: ServiceDep) -> Response:
    """Minutes a section, special tools, tightening values, cautions; the earliest finish, proved or not."""
    with service.gates["questions"].turn():
        return json_answer(fitting_facts(service, body), headers=KEEP_NOTHING)
