"""Single records of the catalogue: read, stored, changed, removed, and what they said before."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request
from pydantic import WithJsonSchema
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayRead
from graftbook.catalogue.format.fields import SAID_PATTERN
from graftbook.catalogue.format.records import KindWord
from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing import history
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author
from graftbook.editing.review.problems import ReviewNeeded
from graftbook.editing.review.service import require_no_review
from graftbook.editing.schemas import EditOut, RecordChangesOut, RecordIn, RecordOut
from graftbook.http.contract.headers import carries
from graftbook.http.errors import answers, documented, refused
from graftbook.http.fields import CELL
from graftbook.http.parameters import Cursor, DryRun, Limit, Why, page_answer
from graftbook.http.preconditions import IfMatch, IfMatchOfWhatIsThere
from graftbook.http.responses import ASK_AGAIN, has_already, json_answer, not_modified
from graftbook.process.state import Service, ServiceDep

router = APIRouter(prefix="/v1/records", tags=["records"])

Kind = Annotated[KindWord, Path(description="kind of record", examples=["fitment"])]
Name = Annotated[
    str,
    Path(
        min_length=1,
        max_length=300,
        pattern=SAID_PATTERN,
        description="stable name; a component's number; a variant's name for its chassis spans",
        examples=["QB-3310@brake.front.left"],
    ),
]
WithOwn = Annotated[
    bool,
    Query(description="also what says nothing without it: a component's fitments, companions, offers"),
]
_STORED = {"model": EditOut, **carries("ETag")}
PROBLEMS = (
    problems.ImportRefused,
    problems.InvalidRequest,
    problems.MalformedRequest,
    problems.PreconditionFailed,
    problems.PreconditionRequired,
    ReviewNeeded,
    problems.TooLarge,
)


@router.get(
    "/{kind}/{name:path}/history",
    operation_id="getRecordHistory",
    summary="Every change of one record, the newest first",
    dependencies=[MayRead],
    responses=answers(
        RecordChangesOut, problems.InvalidCursor, problems.InvalidRequest, problems.NothingHere
    ),
)
def record_history(
    request: Request, kind: Kind, name: Name, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """A record that was removed keeps its history; a name that never was has none."""
    size = limit or service.settings.page_size
    items, following = history.of_record(service, kind, name, cursor, size)
    return page_answer(request, items, following)


@router.get(
    "/{kind}/{name:path}",
    operation_id="getRecord",
    summary="One record of the catalogue, as the text format has it",
    dependencies=[MayRead],
    responses=answers(RecordOut, problems.UnknownRecord, problems.InvalidRequest, unchanged="You have this"),
)
def get_record(request: Request, kind: Kind, name: Name, service: ServiceDep) -> Response:
    """Its ETag is what a change must send as If-Match."""
    state = editing.record_state(service.engine, kind, name)
    if has_already(request, state.etag):
        return not_modified(state.etag, ASK_AGAIN)
    return json_answer(_document(state), headers={"ETag": state.etag, **ASK_AGAIN})


@router.put(
    "/{kind}/{name:path}",
    operation_id="putRecord",
    summary="Store a new record, or replace the one that you read",
    responses={200: _STORED, 201: _STORED, **documented(*PROBLEMS, problems.UnsupportedMedia)},
)
def put_record(
    kind: Kind,
    name: Name,
    body: RecordIn,
    service: ServiceDep,
    editor: Editor,
    if_match: IfMatchOfWhatIsThere = None,
    why: Why = "",
    dry_run: DryRun = False,
) -> Response:
    """To replace one needs If-Match with its ETag. Everything that an import checks is checked."""
    author = Author(editor.who, why)
    _direct(service, dry_run)
    report = editing.put_record(service.engine, kind, name, body.rows, if_match, author, dry_run=dry_run)
    new = if_match is None and report.changed > 0
    return _report_answer(report, 201 if new and not dry_run else 200)


@router.patch(
    "/{kind}/{name:path}",
    operation_id="patchRecord",
    summary="Change some fields of a record of one row (RFC 7396 merge patch)",
    responses={200: _STORED, **documented(*PROBLEMS, problems.UnknownRecord, problems.UnsupportedMedia)},
)
def patch_record(
    kind: Kind,
    name: Name,
    patch: Annotated[
        Annotated[dict[str, Any], WithJsonSchema({"type": "object", "additionalProperties": CELL})],
        Body(media_type="application/merge-patch+json", examples=[{"minutes": 95, "note": None}]),
    ],
    service: ServiceDep,
    editor: Editor,
    if_match: IfMatch = None,
    why: Why = "",
    dry_run: DryRun = False,
) -> Response:
    """Needs If-Match. A field that is null goes back to its default."""
    author = Author(editor.who, why)
    _direct(service, dry_run)
    report = editing.patch_record(service.engine, kind, name, patch, if_match, author, dry_run=dry_run)
    return _report_answer(report)


@router.delete(
    "/{kind}/{name:path}",
    operation_id="removeRecord",
    summary="Take a record out of the catalogue",
    responses=answers(EditOut, *PROBLEMS, problems.UnknownRecord),
)
def remove_record(
    kind: Kind,
    name: Name,
    service: ServiceDep,
    editor: Editor,
    if_match: IfMatch = None,
    why: Why = "",
    dry_run: DryRun = False,
    with_own: WithOwn = False,
) -> Response:
    """Needs If-Match. Refused while another record or a build names it; its history stays."""
    author = Author(editor.who, why)
    _direct(service, dry_run)
    own = editing.own_records(service.engine, kind, name) if with_own else {}
    report = editing.remove_record(service.engine, kind, name, if_match, author, dry_run=dry_run, own=own)
    return _report_answer(report)


def _direct(service: Service, dry_run: bool) -> None:
    if not dry_run:
        require_no_review(service)


def _document(state: editing.RecordState) -> RecordOut:
    return {"kind": state.kind, "name": state.name, "rows": state.rows, "revision": state.revision}


def edit_document(report: LoadReport) -> EditOut:
    """What an edit did."""
    if not report.ok:
        raise refused(report)
    return {
        "dry_run": report.dry_run,
        "changed": report.changed,
        "catalogue_revision": report.revision,
    }


def _report_answer(report: LoadReport, status: int = 200) -> Response:
    document = edit_document(report)
    headers = {"ETag": report.etag} if report.etag and not report.dry_run else {}
    return json_answer(document, status=status, headers=headers)
