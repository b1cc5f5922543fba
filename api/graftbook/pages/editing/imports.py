"""A whole sheet at once: tried first, its mistakes beside its lines, then stored with a reason."""

import io
from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import Response

from graftbook.access.guard import Editor, MayEdit, upload_of
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import Report
from graftbook.editing.effect import Effect, EffectLook
from graftbook.editing.review import service as review
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.edit import what_is_wrong_with
from graftbook.pages.editing.effects import looked_at
from graftbook.pages.editing.sheet_form import (
    MOST_LINES_SHOWN,
    WrongLine,
    field,
    lines_with_mistakes,
    sheet_in,
)
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.process.background import Job
from graftbook.process.state import Service, ServiceDep

router = pages_router()

ELSEWHERE = "Send it to /v1/imports, or use graftbook load."
"""Where a sheet goes that is too long for this page."""


@dataclass(slots=True)
class Sent:
    """A sheet as it was sent, and what is wrong with it before it is read."""

    text: str = ""
    why: str = ""
    saves: bool = False
    proposes: bool = False
    refused: str = ""


@router.get("/edit/import", dependencies=[MayEdit])
def import_form(request: Request) -> Response:
    """The empty form."""
    return _page(request, Sent())


@router.post("/edit/import")
async def import_sent(request: Request, service: ServiceDep, editor: Editor) -> Response:
    """A sheet tried, or stored."""
    try:
        sent = await _read(await upload_of(request))
    finally:
        await request.close()
    return await run_in_threadpool(_answered, request, service, sent, editor.who)


async def _read(form: FormData) -> Sent:
    text, refused = await sheet_in(form, ELSEWHERE)
    do = field(form, "do")
    return Sent(text, field(form, "why").strip(), do == "save", do == "propose", refused)


def _answered(request: Request, service: Service, sent: Sent, who: str) -> Response:
    if sent.refused:
        return _page(request, sent, status=422)
    if sent.saves:
        review.require_no_review(service)
    if (sent.saves or sent.proposes) and (wrong := what_is_wrong_with(sent.why)):
        return _page(request, sent, status=422, why_wrong=wrong)
    look = None if sent.saves else EffectLook(service)
    with service.gates["imports"].turn():
        report = load(
            service.engine,
            _Sheet(sent.text),
            dry_run=not sent.saves,
            who=who,
            why=sent.why,
            last=look.take if look else None,
        )
    if not report.ok:
        return _page(request, sent, report, status=422, lines=lines_with_mistakes(sent.text, report.mistakes))
    if sent.proposes and report.changed:
        by = request.state.principal
        made = review.propose_of(service, _Sheet(sent.text), {}, "import", sent.why, by)
        return gone_to(f"/review/{made['number']}?done=proposed")
    if look is not None:
        effect, job = looked_at(request, look, "a sheet")
        return _page(request, sent, report, effect=effect, job=job)
    if not report.changed:
        return _page(request, sent, report, effect=Effect())
    return gone_to(f"/edit/revision/{report.revision}?stored=1")


class _Sheet(io.StringIO):
    """Pasted text as an open sheet; the places of its mistakes carry this name."""

    name = "sheet"

    def __init__(self, text: str) -> None:
        super().__init__(text, newline="")


def _page(
    request: Request,
    sent: Sent,
    report: Report | None = None,
    *,
    status: int = 200,
    lines: Sequence[WrongLine] = (),
    effect: Effect | None = None,
    job: Job | None = None,
    why_wrong: str = "",
) -> Response:
    return page(
        request,
        "import.html",
        status=status,
        headers=KEEP_NOTHING,
        sent=sent,
        report=report,
        mistakes=report.told if report else "",
        lines=lines[:MOST_LINES_SHOWN],
        more_lines=len(lines) - MOST_LINES_SHOWN,
        effect=effect,
        job=job,
        why_wrong=why_wrong,
        reviewed=request.app.state.service.settings.review == review.ON,
    )
