"""A plain page for a person who comes by with a browser."""

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from api.catalogue.revisions import current_revision
from api.service import ServiceDep

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


@router.get("/", operation_id="home", summary="What this is", response_class=HTMLResponse)
def home(service: ServiceDep) -> Response:
    """What this is, at which revision, and where to begin."""
    with service.engine.connect() as connection:
        revision = current_revision(connection)
    return HTMLResponse(_HOME.format(revision=revision))
