"""Builds: real vehicles, what is fitted to them today, what is decided for them."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayOrder, MayRead, Orderer
from graftbook.builds import service as builds
from graftbook.builds.schemas import BuildChangeIn, BuildCreateIn, BuildsOut, Slug
from graftbook.builds.stored.documents import BuildOut, build_document
from graftbook.catalogue.store.cursors import read_name
from graftbook.http.errors import answers, documented
from graftbook.http.fields import Day
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.preconditions import IfMatch, document_etag, etag_wanted
from graftbook.http.responses import ASK_AGAIN, has_already, json_answer, not_modified
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1/builds", tags=["builds"], dependencies=[MayRead])

Name = Annotated[Slug, Path(examples=["red-van"])]
On = Annotated[Day | None, Query(description="as it stood on this day; empty: as it is")]
NAMES = (
    problems.MalformedRequest,
    problems.InvalidRequest,
    problems.TooLarge,
    problems.UnsupportedMedia,
    problems.UnknownChassis,
    problems.UnknownComponent,
    problems.UnknownFlaw,
    problems.UnknownUpgrade,
    problems.UnknownOption,
    problems.UnknownPosition,
    problems.UnknownSection,
    problems.VehicleMismatch,
)
CHANGES = (problems.PreconditionFailed, problems.PreconditionRequired)


@router.get(
    "",
    operation_id="listBuilds",
    summary="The builds",
    responses=answers(BuildsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_builds(request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = "") -> Response:
    """In name order, without their parts."""
    size = limit or service.settings.page_size
    search = {"list": "builds"}
    rows = builds.list_builds(service.engine, read_name(cursor, search), size + 1)
    return page_of(request, rows, size, search, by="name")


@router.post(
    "",
    operation_id="createBuild",
    summary="Store a new build",
    status_code=201,
    responses=answers(
        BuildOut, *NAMES, problems.AlreadyExists, *ONCE, status=201, headers=("ETag", "Location")
    ),
)
def create_build(body: BuildCreateIn, service: ServiceDep, orderer: Orderer, once: OnceAsked) -> Response:
    """Names are checked against the catalogue and stored as it writes them."""
    once, settled = once.told_by(_created), builds.settled(service, body)
    document = builds.create_build(service.engine, body.name, settled, orderer.who, once, body.taken_in)
    return response_of(_created(document))


@router.get(
    "/{name}",
    operation_id="getBuild",
    summary="One build",
    responses=answers(
        BuildOut, problems.UnknownBuild, problems.InvalidRequest, unchanged="You have this version"
    ),
)
def get_build(request: Request, name: Name, service: ServiceDep, on: On = None) -> Response:
    """Its ETag is what a change must send as If-Match; of a day in the past it is only to be read."""
    document = build_document(service.engine, name, on)
    etag = document_etag("build", document)
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    return json_answer(document, headers={"ETag": etag, **ASK_AGAIN})


@router.put(
    "/{name}",
    operation_id="replaceBuild",
    summary="Replace a build",
    responses=answers(BuildOut, *NAMES, *CHANGES, problems.UnknownBuild, headers=("ETag", "Location")),
)
def replace_build(
    name: Name, body: BuildChangeIn, service: ServiceDep, orderer: Orderer, if_match: IfMatch = None
) -> Response:
    """Needs If-Match with the ETag that was read. From today on it is as said; what it was before stays on
    record."""
    etag, settled, by_records = etag_wanted(if_match), builds.settled(service, body), body.told_by_records()
    return response_of(
        _replaced(builds.replace_build(service.engine, name, etag, settled, orderer.who, by_records))
    )


@router.delete(
    "/{name}",
    operation_id="deleteBuild",
    summary="Delete a build",
    status_code=204,
    dependencies=[MayOrder],
    responses=documented(problems.UnknownBuild, problems.InvalidRequest, *CHANGES),
)
def delete_build(name: Name, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """Needs If-Match with the ETag that was read."""
    builds.delete_build(service.engine, name, etag_wanted(if_match))
    return Response(status_code=204)


def _headers(document: BuildOut) -> dict[str, str]:
    return {"ETag": document_etag("build", document), "Location": f"/v1/builds/{document['name']}"}


_created = json_told(201, _headers)
_replaced = json_told(200, _headers)
