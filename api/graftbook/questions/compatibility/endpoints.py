"""Does this number fit that chassis? Many at once."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.errors import answers
from graftbook.http.responses import answered, do_nothing, etag_of, json_answer
from graftbook.http.values import json_bytes
from graftbook.process.state import ServiceDep
from graftbook.questions.compatibility.schemas import CompatibilityListOut, CompatibilityOut
from graftbook.questions.compatibility.service import answer_batch
from graftbook.questions.schemas import SUMMARY_OF_VERDICTS, CompatibilityIn, CompatibilityQuery, ViewWord

View = Annotated[ViewWord, Query(description=SUMMARY_OF_VERDICTS)]

router = APIRouter(prefix="/v1/compatibility", tags=["compatibility"], dependencies=[MayRead])


@router.post(
    "",
    operation_id="askCompatibility",
    summary="Up to a thousand questions, each answered for itself",
    responses=answers(
        CompatibilityListOut,
        problems.Busy,
        problems.InvalidRequest,
        problems.MalformedRequest,
        problems.TooFarBack,
        problems.TooLarge,
        problems.UnknownRevision,
        problems.UnsupportedMedia,
        headers=("ETag",),
    ),
)
def ask_compatibility(body: CompatibilityIn, service: ServiceDep, view: View = "full") -> Response:
    """A question with a mistake is answered "not known" with its problem; the others stand."""
    return json_answer(answer_batch(service, body.in_view(view)))


@router.get(
    "",
    operation_id="getCompatibility",
    summary="One question by address; any HTTP cache may keep the answer",
    responses=answers(
        CompatibilityOut,
        problems.InvalidRequest,
        problems.TooFarBack,
        problems.UnknownRevision,
        problems.Busy,
        unchanged="You have this answer",
    ),
)
def get_compatibility(
    request: Request, service: ServiceDep, asked: Annotated[CompatibilityQuery, Query()]
) -> Response:
    """`fits`, `fits with companions`, `fits after work`, `does not fit` or `not known`."""
    found = answer_batch(service, asked.body())
    document: CompatibilityOut = {
        **found["answers"][0],
        "catalogue_revision": found["catalogue_revision"],
        "cautions": found["cautions"],
    }
    body = json_bytes(document)
    etag = etag_of("compatibility", body.hex())
    open_still = asked.proof and bool(document.get("places", True)) and not document.get("proved", True)
    return answered(request, service, etag, lambda: (body, not open_still), on_hit=do_nothing)
