"""The catalogue's history to read: its revisions, what each of them changed, what became of one record."""

from typing import Annotated

from fastapi import Path, Query, Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.format.records import KindWord
from graftbook.catalogue.loading.removing import kind_words
from graftbook.editing import history
from graftbook.editing.records.service import record_state
from graftbook.http.parameters import takes
from graftbook.pages.editing.changes import change_shown
from graftbook.pages.editing.edit import MOST_REVISIONS, Name, Revision
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.process.state import ServiceDep

router = pages_router()

ON_A_PAGE = 50


@router.get("/history", dependencies=[MayRead, takes("cursor")])
def revisions(request: Request, service: ServiceDep) -> Response:
    """Who changed the catalogue, when and why, the newest first."""
    edits, following = history.revisions(service, request.query_params.get("cursor", ""), ON_A_PAGE)
    return page(request, "history.html", edits=edits, following=following)


@router.get("/history/compare", dependencies=[MayRead])
def compare(
    request: Request,
    service: ServiceDep,
    old: Annotated[int, Query(alias="from", ge=1, le=MOST_REVISIONS)],
    new: Annotated[int, Query(alias="to", ge=1, le=MOST_REVISIONS)],
    cursor: Annotated[str, Query(max_length=1000)] = "",
) -> Response:
    """What the catalogue says otherwise as of one revision than as of another, whatever stood between."""
    found, following = history.between(service, old, new, cursor, ON_A_PAGE)
    shown = [change_shown(one) for one in found]
    return page(
        request,
        "history_compare.html",
        old=history.revision(service, old),
        new=history.revision(service, new),
        changes=shown,
        following=following,
    )


@router.get("/history/{number}", dependencies=[MayRead, takes("cursor")])
def revision(request: Request, number: Revision, service: ServiceDep) -> Response:
    """What one edit changed: each record with the fields that stand otherwise."""
    edit = history.revision(service, number)
    cursor = request.query_params.get("cursor", "")
    changes, following = history.of_revision(service, number, cursor, ON_A_PAGE)
    shown = [change_shown(one) for one in changes]
    return page(request, "history_revision.html", edit=edit, changes=shown, following=following)


@router.get("/history/{kind}/{name:path}", dependencies=[MayRead, takes("cursor")])
def record(request: Request, kind: Annotated[KindWord, Path()], name: Name, service: ServiceDep) -> Response:
    """What was changed of one record, by whom and why, the newest first."""
    cursor = request.query_params.get("cursor", "")
    changes, following = history.of_record(service, kind, name, cursor, ON_A_PAGE)
    if not changes:
        record_state(service.engine, kind, name)  # told of where there is neither history nor record
    shown = [change_shown(one) for one in changes]
    return page(
        request, "history_record.html", kind=kind_words(kind), name=name, changes=shown, following=following
    )
