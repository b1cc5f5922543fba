"""The service watched from outside: whether it lives, whether it is ready, what it counts."""

from functools import cache, partial
from importlib.metadata import version
from typing import Annotated, Literal

from fastapi import APIRouter, Request
from pydantic import Field
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.history.revisions import current_revision
from graftbook.database import UNREACHABLE
from graftbook.document import Document
from graftbook.http.errors import answers
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.problems import Unavailable
from graftbook.process.draining import draining
from graftbook.process.state import ServiceDep
from graftbook.process.warm import migration_level
from graftbook.telemetry import metrics

router = APIRouter(tags=["service"])
_version = cache(partial(version, "graftbook"))


class AliveOut(Document):
    """The process answers."""

    status: Annotated[Literal["alive"], Field(description="always `alive`: else nothing answers")]


class ReadyOut(Document):
    """Questions can be answered."""

    status: Annotated[Literal["ready"], Field(description="always `ready`: else 503 is answered")]
    version: Annotated[str, Field(description="of the program")]
    catalogue_revision: int
    migration: Annotated[str, Field(description="state of the database's tables")]


@router.get(
    "/livez", operation_id="isAlive", summary="Alive: touches nothing", responses={200: {"model": AliveOut}}
)
async def alive() -> Response:
    """The process answers. It does so while it is draining, too."""
    document: AliveOut = {"status": "alive"}
    return json_answer(document, headers=KEEP_NOTHING)


@router.get(
    "/readyz",
    operation_id="isReady",
    summary="Ready: the database answers and has the shape that the program needs",
    responses=answers(ReadyOut, Unavailable),
)
def ready(service: ServiceDep) -> Response:
    """503 while questions cannot be answered, and while the process is about to end: send them elsewhere."""
    if draining():
        raise Unavailable("This process is about to end; it still answers what it gets")
    try:
        right, present, needed = migration_level(service.engine)
        if not right:
            raise Unavailable(
                f"The database is at {present}, the program needs {needed}: run `graftbook migrate`"
            )
        with service.engine.connect() as connection:
            revision = current_revision(connection)
    except UNREACHABLE as error:
        raise Unavailable("The database does not answer") from error
    document: ReadyOut = {
        "status": "ready",
        "version": _version(),
        "catalogue_revision": revision,
        "migration": present,
    }
    return json_answer(document, headers=KEEP_NOTHING)


@router.get(
    "/metrics",
    operation_id="readMetrics",
    dependencies=[MayRead],
    summary="What the service counts, in the Prometheus text format",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
)
def read_metrics(request: Request) -> Response:
    """Requests, closures, caches, database connections; of all worker processes together."""
    request.app.state.readings.take()
    return Response(metrics.exposition(), media_type=metrics.MEDIA_TYPE, headers=KEEP_NOTHING)
