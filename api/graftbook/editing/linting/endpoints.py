"""What the lint finds, over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayEdit
from graftbook.editing.linting import service as linting
from graftbook.editing.linting.schemas import LintOut
from graftbook.http.errors import answers
from graftbook.http.parameters import page_answer
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1", tags=["records"], dependencies=[MayEdit])

Touched = Annotated[
    int | None, Query(ge=1, le=2_000_000_000, description="of records that this revision changed only")
]
Vehicles = Annotated[
    bool, Query(description="also what only shows when vehicles are looked at; takes a while")
]


@router.get(
    "/lint",
    operation_id="lint",
    summary="What can be loaded and still contradicts itself, the worst first",
    responses=answers(LintOut, problems.InvalidRequest, problems.Busy),
)
def lint(
    request: Request, service: ServiceDep, vehicles: Vehicles = False, touched_by: Touched = None
) -> Response:
    """Each finding with its severity, a sentence, what mends it, and the records to mend."""
    return page_answer(request, linting.findings(service, vehicles=vehicles, touched_by=touched_by), None)
