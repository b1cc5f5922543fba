"""The service itself: what it is, whether it lives, whether it is ready."""

from typing import Literal

from fastapi import APIRouter
from pydantic import BaseModel
from sqlalchemy.exc import DBAPIError
from starlette.responses import HTMLResponse, Response

from api.catalogue.revisions import current_revision
from api.problems import Unavailable
from api.service import ServiceDep
from api.warm import migration_level
from api.wire.errors import documented
from api.wire.responses import KEEP_NOTHING, json_answer

router = APIRouter(tags=["service"])

_HOME = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Graftbook</title>
<h1>Graftbook</h1>
<p>Which parts fit this chassis number, what each choice brings, what clashes, and why.
This address answers programs; it holds the catalogue at revision {revision}.</p>
<ul>
<li><a href="/openapi.json">The API's document</a> (OpenAPI 3.1): every address, its fields, its errors.</li>
<li><a href="/v1/variants">The variants</a> that the catalogue knows.</li>
<li><a href="/v1/imports/schema">The text format</a> of the catalogue as a JSON Schema.</li>
<li><a href="/readyz">Whether the service is ready.</a></li>
</ul>
<p>Ask with <code>POST /v1/closures</code>, or with an address such as
<code>/v1/closures?chassis=…&amp;fit=…</code>.</p>
<p>Brakes, steering, fuel, lifting, high current, structure and welding can hurt people: local codes and
the judgement of a licensed person come before anything that is answered here.</p>
</html>
"""


class AliveOut(BaseModel):
    status: Literal["alive"]


class ReadyOut(BaseModel):
    status: Literal["ready"]
    catalogue_revision: int
    migration: str


@router.get("/", operation_id="home", summary="What this is", response_class=HTMLResponse)
def home(service: ServiceDep) -> Response:
    """A plain page for a person who comes by."""
    with service.engine.connect() as connection:
        revision = current_revision(connection)
    return HTMLResponse(_HOME.format(revision=revision))


@router.get(
    "/livez", operation_id="isAlive", summary="Alive: touches nothing", responses={200: {"model": AliveOut}}
)
async def alive() -> Response:
    """The process answers."""
    return json_answer({"status": "alive"}, headers=KEEP_NOTHING)


@router.get(
    "/readyz",
    operation_id="isReady",
    summary="Ready: the database answers and has the shape that the program needs",
    responses={200: {"model": ReadyOut}, **documented(Unavailable)},
)
def ready(service: ServiceDep) -> Response:
    """Raises Unavailable while questions cannot be answered."""
    try:
        right, present, needed = migration_level(service.engine)
        if not right:
            raise Unavailable(
                f"The database is at {present}, the program needs {needed}: run `graftbook migrate`"
            )
        with service.engine.connect() as connection:
            revision = current_revision(connection)
    except DBAPIError as error:
        raise Unavailable("The database does not answer") from error
    return json_answer(
        {"status": "ready", "catalogue_revision": revision, "migration": present}, headers=KEEP_NOTHING
    )
