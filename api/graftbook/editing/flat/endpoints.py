"""Flat parts lists over the API: mappings, issues, questions and answers, taking what is decided."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayEdit
from graftbook.builds.schemas import Slug
from graftbook.catalogue.store.cursors import read_name
from graftbook.editing.flat import documents, schemas
from graftbook.editing.flat import service as flat
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.problems import UnknownFlatList
from graftbook.editing.flat.rows import LARGEST
from graftbook.editing.records.service import Author
from graftbook.editing.review.problems import ReviewNeeded
from graftbook.editing.review.service import require_no_review
from graftbook.http.errors import answers, documented, refused
from graftbook.http.fields import Word
from graftbook.http.parameters import Cursor, DryRun, Limit, Why, page_of
from graftbook.http.preconditions import IfMatch
from graftbook.http.responses import (
    ASK_AGAIN,
    KEEP_NOTHING,
    has_already,
    json_answer,
    media_type_of,
    not_modified,
)
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1/flat-lists", tags=["exchange"])

Name = Annotated[Slug, Path(description="name of the list", examples=["works-spares"])]
File = Annotated[Word, Query(description="name of the file", examples=["march.csv"])]
CHANGES = (
    problems.InvalidRequest,
    problems.MalformedRequest,
    problems.PreconditionFailed,
    problems.PreconditionRequired,
    problems.TooLarge,
)
_SHEET = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {
                "schema": {"type": "string", "description": "with any common separator"},
                "example": "Part No;Description;Model;Price;Formerly\nFL-1;oil filter;24 van;4.50;\n",
            },
            "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
        },
    }
}


def _list_answer(kept: flat.FlatList, status: int = 200) -> Response:
    headers = {"ETag": kept.etag, **ASK_AGAIN}
    return json_answer(documents.list_document(kept), status=status, headers=headers)


@router.get(
    "",
    operation_id="listFlatLists",
    summary="The flat lists that are kept",
    dependencies=[MayEdit],
    responses=answers(schemas.FlatListsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_flat_lists(
    request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """In name order."""
    size = limit or service.settings.page_size
    search = {"list": "flat-lists"}
    found = flat.flat_lists(service.engine, read_name(cursor, search), size + 1)
    rows = [documents.line_document(one) for one in found]
    return page_of(request, rows, size, search, by="name")


@router.get(
    "/{name}",
    operation_id="getFlatList",
    summary="A flat list: its mapping, its decisions, where it stands",
    dependencies=[MayEdit],
    responses=answers(
        schemas.FlatListOut, UnknownFlatList, problems.InvalidRequest, unchanged="You have this"
    ),
)
def get_flat_list(request: Request, name: Name, service: ServiceDep) -> Response:
    """Its ETag is what a new mapping and taking must send as If-Match."""
    kept = flat.flat_list(service.engine, name)
    return not_modified(kept.etag, ASK_AGAIN) if has_already(request, kept.etag) else _list_answer(kept)


@router.put(
    "/{name}",
    operation_id="putFlatList",
    summary="Keep a mapping under a name: which column is what",
    dependencies=[MayEdit],
    responses={
        200: {"model": schemas.FlatListOut},
        201: {"model": schemas.FlatListOut},
        **documented(*CHANGES, problems.UnsupportedMedia),
    },
)
def put_flat_list(name: Name, body: FlatMapping, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """To replace one needs If-Match. Columns are named by their heads, so they may move."""
    kept = flat.put_mapping(service.engine, name, body, if_match)
    return _list_answer(kept, 201 if if_match is None else 200)


@router.delete(
    "/{name}",
    operation_id="removeFlatList",
    summary="Forget a flat list and its decisions; what was taken stays in the catalogue",
    status_code=204,
    dependencies=[MayEdit],
    responses=documented(
        problems.InvalidRequest,
        problems.PreconditionFailed,
        problems.PreconditionRequired,
        UnknownFlatList,
    ),
)
def remove_flat_list(name: Name, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """Needs If-Match with the ETag that was read."""
    flat.forget(service.engine, name, if_match)
    return Response(status_code=204)


@router.put(
    "/{name}/issue",
    operation_id="putFlatIssue",
    summary="Put an issue of a list in; nothing of it is in the catalogue yet",
    openapi_extra=_SHEET,
    dependencies=[MayEdit],
    responses=answers(
        schemas.FlatListOut,
        problems.InvalidRequest,
        problems.TooLarge,
        UnknownFlatList,
        problems.UnsupportedMedia,
    ),
)
async def put_flat_issue(
    request: Request, name: Name, service: ServiceDep, file: File = "list.csv"
) -> Response:
    """At most 16 MB, 20,000 rows, 200 columns. It takes the place of an issue that was not taken."""
    media = media_type_of(request)
    if media not in ("text/csv", "application/octet-stream"):
        raise problems.UnsupportedMedia("Send the list as text/csv")
    length = request.headers.get("content-length", "")
    if length.isdecimal() and int(length[:20]) > LARGEST:
        raise problems.TooLarge(f"A flat list has at most {LARGEST:,} bytes")
    content = await request.body()
    return _list_answer(await run_in_threadpool(flat.put_issue, service.engine, name, file, content))


@router.get(
    "/{name}/issue",
    operation_id="getFlatIssue",
    summary="What the issue becomes: what is asked, what changed, what was assumed",
    dependencies=[MayEdit],
    responses=answers(schemas.FlatIssueOut, UnknownFlatList, problems.InvalidRequest),
)
def get_flat_issue(name: Name, service: ServiceDep) -> Response:
    """Worked out anew from the rows, the mapping, the decisions and the catalogue as they are."""
    kept, found = flat.look(service.engine, name)
    return json_answer(documents.issue_document(kept, found), headers={"ETag": kept.etag, **KEEP_NOTHING})


@router.patch(
    "/{name}/decisions",
    operation_id="decideFlatList",
    summary="Answer questions of a list",
    dependencies=[MayEdit],
    responses=answers(
        schemas.FlatListOut,
        problems.InvalidRequest,
        problems.MalformedRequest,
        problems.TooLarge,
        UnknownFlatList,
        problems.UnsupportedMedia,
    ),
)
def decide_flat_list(name: Name, body: schemas.FlatDecisionsIn, service: ServiceDep) -> Response:
    """They are kept with the mapping, so that the next issue does not ask again."""
    return _list_answer(flat.decide(service.engine, name, body.answers))


@router.post(
    "/{name}/take",
    operation_id="takeFlatIssue",
    summary="Load whatever of the issue is decided",
    responses=answers(
        schemas.FlatTakeOut,
        problems.Busy,
        problems.ImportRefused,
        problems.InvalidRequest,
        problems.PreconditionFailed,
        problems.PreconditionRequired,
        ReviewNeeded,
        UnknownFlatList,
    ),
)
def take_flat_issue(
    name: Name,
    service: ServiceDep,
    editor: Editor,
    if_match: IfMatch = None,
    dry_run: DryRun = False,
    why: Why = "",
) -> Response:
    """Needs If-Match. One edit, all or nothing, taken back like any other. What waits for an answer is left
    out and can be taken later; once nothing waits the next issue is compared with this one."""
    if not dry_run:
        require_no_review(service)
    author = Author(editor.who, why)
    with service.gates["imports"].turn():
        report, found = flat.take(service.engine, name, if_match, author, dry_run=dry_run)
    if not report.ok:
        raise refused(report)
    return json_answer(documents.taken_document(report, found))
