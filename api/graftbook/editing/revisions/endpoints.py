"""The catalogue's revisions: who changed what, when and why; compared; taken back."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayRead
from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing import history
from graftbook.editing.records.endpoints import edit_document
from graftbook.editing.records.service import Author, take_back
from graftbook.editing.review.problems import ReviewNeeded
from graftbook.editing.review.service import require_no_review
from graftbook.editing.schemas import (
    EditOut,
    RecordChangesOut,
    RecordDifferencesOut,
    RevisionOut,
    RevisionsOut,
)
from graftbook.http.errors import answers
from graftbook.http.parameters import Cursor, DryRun, Limit, Why, page_answer
from graftbook.http.responses import read_answer
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.idempotency.service import StoredAnswer
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1/revisions", tags=["records"])

_GREATEST = 2_000_000_000
Number = Annotated[int, Path(ge=1, le=_GREATEST, description="number of the revision", examples=[1])]
NOT_FOUND = (problems.UnknownRevision, problems.InvalidRequest)


@router.get(
    "",
    operation_id="listRevisions",
    summary="The edits of the catalogue, the newest first",
    dependencies=[MayRead],
    responses=answers(RevisionsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_revisions(
    request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """Who, when, why, and how many records each changed."""
    return page_answer(request, *history.revisions(service, cursor, limit or service.settings.page_size))


@router.get(
    "/compare",
    operation_id="compareRevisions",
    summary="The records that say something else as of two revisions",
    dependencies=[MayRead],
    responses=answers(RecordDifferencesOut, problems.InvalidCursor, problems.TooFarBack, *NOT_FOUND),
)
def compare_revisions(
    request: Request,
    service: ServiceDep,
    old: Annotated[int, Query(alias="from", ge=0, le=_GREATEST, description="a revision; 0: before all")],
    new: Annotated[
        int | None,
        Query(alias="to", ge=0, le=_GREATEST, description="another; else the present one"),
    ] = None,
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """`limit` bounds how many changed records are looked at; those that were changed back do not show."""
    size = limit or service.settings.page_size
    return page_answer(request, *history.between(service, old, new, cursor, size))


@router.get(
    "/{number}",
    operation_id="getRevision",
    summary="One edit",
    dependencies=[MayRead],
    responses=answers(RevisionOut, *NOT_FOUND),
)
def get_revision(request: Request, number: Number, service: ServiceDep) -> Response:
    """Who, when, why, and how many records it changed."""
    return read_answer(request, history.revision(service, number))


@router.get(
    "/{number}/changes",
    operation_id="listRevisionChanges",
    summary="What one edit changed: each record before and after",
    dependencies=[MayRead],
    responses=answers(RecordChangesOut, problems.InvalidCursor, *NOT_FOUND),
)
def revision_changes(
    request: Request, number: Number, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """By kind and name."""
    size = limit or service.settings.page_size
    return page_answer(request, *history.of_revision(service, number, cursor, size))


@router.post(
    "/{number}/take-back",
    operation_id="takeBackRevision",
    summary="Undo one edit by a new one",
    responses=answers(
        EditOut, *NOT_FOUND, problems.ChangedAgain, problems.ImportRefused, ReviewNeeded, *ONCE
    ),
)
def take_back_revision(
    number: Number,
    service: ServiceDep,
    editor: Editor,
    once: OnceAsked,
    why: Why = "",
    dry_run: DryRun = False,
) -> Response:
    """Refused when a later edit changed the same records, or when what would be removed is named still."""
    if not dry_run:
        require_no_review(service)
    once = once.told_by(_taken_back)
    once.look(service.engine)
    author = Author(editor.who, why)
    report = take_back(service.engine, number, author, dry_run=dry_run, begin=once.begin, last=once.keep)
    return response_of(_taken_back(report))


_as_json = json_told(200)


def _taken_back(report: LoadReport) -> StoredAnswer:
    return _as_json(edit_document(report))
