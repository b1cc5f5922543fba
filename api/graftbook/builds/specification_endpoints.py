"""Specifications: named, versioned sets of wishes that a house builds to."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayEdit, MayRead
from graftbook.builds import service as specifications
from graftbook.builds.schemas import (
    ComparisonOut,
    Slug,
    SpecificationCreateIn,
    SpecificationIn,
    SpecificationsOut,
)
from graftbook.builds.stored.documents import SpecificationOut, specification_document
from graftbook.catalogue.store.cursors import read_name
from graftbook.http.errors import answers
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.preconditions import IfMatch, document_etag, etag_wanted
from graftbook.http.responses import ASK_AGAIN, has_already, json_answer, not_modified, read_answer
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1/specifications", tags=["specifications"], dependencies=[MayRead])

Name = Annotated[Slug, Path(examples=["house-standard"])]
Version = Annotated[int, Query(ge=1, le=1_000_000)]
BODY = (
    problems.MalformedRequest,
    problems.InvalidRequest,
    problems.TooLarge,
    problems.UnsupportedMedia,
)


@router.get(
    "",
    operation_id="listSpecifications",
    summary="The specifications",
    responses=answers(SpecificationsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_specifications(
    request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """In name order."""
    size = limit or service.settings.page_size
    search = {"list": "specifications"}
    rows = specifications.list_specifications(service.engine, read_name(cursor, search), size + 1)
    return page_of(request, rows, size, search, by="name")


@router.post(
    "",
    operation_id="createSpecification",
    summary="Store version 1 of a new specification",
    status_code=201,
    dependencies=[MayEdit],
    responses=answers(
        SpecificationOut, *BODY, problems.AlreadyExists, *ONCE, status=201, headers=("ETag", "Location")
    ),
)
def create_specification(body: SpecificationCreateIn, service: ServiceDep, once: OnceAsked) -> Response:
    """Names are checked when a question uses it: one specification may serve several variants."""
    once = once.told_by(_created)
    document = specifications.create_specification(service.engine, body.name, body, once)
    return response_of(_created(document))


@router.get(
    "/{name}",
    operation_id="getSpecification",
    summary="One version of a specification, the latest unless said otherwise",
    responses=answers(
        SpecificationOut,
        problems.UnknownSpecification,
        problems.InvalidRequest,
        unchanged="You have this version",
    ),
)
def get_specification(
    request: Request, name: Name, service: ServiceDep, version: Version | None = None
) -> Response:
    """The ETag of the latest version is what a new version must send as If-Match."""
    document = specification_document(service.engine, name, version)
    etag = document_etag("specification", document)
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    return json_answer(document, headers={"ETag": etag, **ASK_AGAIN})


@router.put(
    "/{name}",
    operation_id="reviseSpecification",
    summary="Store the next version",
    dependencies=[MayEdit],
    responses=answers(
        SpecificationOut,
        *BODY,
        problems.UnknownSpecification,
        problems.PreconditionFailed,
        problems.PreconditionRequired,
        headers=("ETag", "Location"),
    ),
)
def revise_specification(
    name: Name, body: SpecificationIn, service: ServiceDep, if_match: IfMatch = None
) -> Response:
    """Older versions stay as they were. Needs If-Match with the latest version's ETag."""
    etag = etag_wanted(if_match)
    return response_of(_revised(specifications.new_version(service.engine, name, etag, body)))


@router.get(
    "/{name}/comparison",
    operation_id="compareSpecification",
    summary="What changed between two versions",
    responses=answers(ComparisonOut, problems.UnknownSpecification, problems.InvalidRequest),
)
def compare_specification(
    request: Request,
    name: Name,
    service: ServiceDep,
    from_version: Annotated[int, Query(ge=1, le=1_000_000, alias="from")],
    to_version: Annotated[int, Query(ge=1, le=1_000_000, alias="to")],
) -> Response:
    """Wishes added and removed, and every other field that changed."""
    one = specification_document(service.engine, name, from_version)
    other = specification_document(service.engine, name, to_version)
    return read_answer(request, specifications.compare_versions(one, other))


def _headers(document: SpecificationOut) -> dict[str, str]:
    etag = document_etag("specification", document)
    return {"ETag": etag, "Location": f"/v1/specifications/{document['name']}"}


_created = json_told(201, _headers)
_revised = json_told(200, _headers)
