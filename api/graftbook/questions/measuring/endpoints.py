"""`POST /v1/measured-parts`: what an unknown part could be by its measures, and where it could serve."""

from fastapi import APIRouter
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.errors import answers
from graftbook.http.responses import ASK_AGAIN, json_answer
from graftbook.process.state import ServiceDep
from graftbook.questions.measuring.schemas import MeasuredOut, PartMeasuredIn
from graftbook.questions.measuring.service import measured_document

router = APIRouter(prefix="/v1", tags=["catalogue"], dependencies=[MayRead])


@router.post(
    "/measured-parts",
    operation_id="measurePart",
    summary="What an unknown part could be by its measures, where it could serve, what to measure next",
    responses=answers(
        MeasuredOut,
        problems.InvalidRequest,
        problems.MalformedRequest,
        problems.TooLarge,
        problems.UnsupportedMedia,
        problems.UnknownBuild,
        problems.UnknownCharacteristic,
        problems.UnknownChassis,
        problems.UnknownComponent,
        problems.UnknownOption,
        problems.UnknownPosition,
        problems.VehicleMismatch,
    ),
)
def measured(body: PartMeasuredIn, service: ServiceDep) -> Response:
    """With a position: what any part there must have. Records are compared; a fit is proved by a closure."""
    return json_answer(measured_document(service, body), headers=ASK_AGAIN)
