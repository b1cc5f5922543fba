"""A whole sheet at once: tried first, its mistakes beside its lines, then stored with a reason."""

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from graftbook.access.guard import Editor, MayEdit, upload_of
from graftbook.catalogue.format.reading import WORDS, ReadingWords, SheetReading, words_known
from graftbook.catalogue.format.records import Record
from graftbook.catalogue.format.sheets import Placed, write_table
from graftbook.catalogue.format.sources import SentSheet, records_in
from graftbook.catalogue.format.workbooks import is_workbook
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing.effect import Effect, EffectLook
from graftbook.editing.review import service as review
from graftbook.editing.review.schemas import ProposalOut
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.edit import what_is_wrong_with
from graftbook.pages.editing.effects import looked_at
from graftbook.pages.editing.sheet_form import (
    MOST_LINES_SHOWN,
    WrongCell,
    WrongLine,
    cells_with_mistakes,
    lines_with_mistakes,
    sheet_in,
)
from graftbook.pages.editing.sheet_form import field as field_of
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import NotAsShown
from graftbook.process.background import BackgroundJob
from graftbook.process.state import Service, ServiceDep

router = pages_router()

ELSEWHERE = "Send it to /v1/imports, or use graftbook load."
"""Where a sheet goes that is too long for this page."""


LARGEST_WORKBOOK_HERE = 5_000_000
"""Bytes of a workbook that is sent to a page."""


@dataclass(slots=True)
class Sending:
    """What was sent, how it is to be read, and what is wrong with it before it is read.

    `removes`: the digest of what the page showed that would go. `workbook`: in the place of a text.
    """

    text: str = ""
    why: str = ""
    saves: bool = False
    proposes: bool = False
    refused: str = ""
    name: str = "sheet"
    workbook: bytes = b""
    whole: bool = False
    removes: str = ""
    words: ReadingWords = field(default_factory=ReadingWords)

    def source(self) -> Any:
        """What to load."""
        return SentSheet(self.name, io.BytesIO(self.workbook)) if self.workbook else _Sheet(self.text)

    def reading(self, currency: str) -> SheetReading:
        """How to read it."""
        return SheetReading(**self.words, currency=currency)


@router.get("/edit/import", dependencies=[MayEdit])
def import_form(request: Request) -> Response:
    """The empty form."""
    return _page(request, Sending())


@router.post("/edit/import")
async def import_sent(request: Request, service: ServiceDep, editor: Editor) -> Response:
    """A sheet tried, or stored."""
    try:
        sent = await _sending_in(await upload_of(request))
    finally:
        await request.close()
    return await run_in_threadpool(_import_or_page, request, service, sent, editor.who)


async def _sending_in(form: FormData) -> Sending:
    upload = form.get("file")
    workbook = await _workbook_in(upload) if isinstance(upload, UploadFile) and upload.filename else b""
    text, refused = ("", "") if workbook else await sheet_in(form, ELSEWHERE)
    if len(workbook) > LARGEST_WORKBOOK_HERE:
        workbook, refused = b"", f"The workbook has more than {LARGEST_WORKBOOK_HERE:,} bytes. {ELSEWHERE}"
    return Sending(
        text=text,
        why=field_of(form, "why").strip(),
        saves=field_of(form, "do") == "save",
        proposes=field_of(form, "do") == "propose",
        refused=refused,
        name=upload.filename or "workbook" if workbook and isinstance(upload, UploadFile) else "sheet",
        workbook=workbook,
        whole=field_of(form, "whole") == "yes",
        removes=field_of(form, "removes"),
        words=words_known({name: field_of(form, name) for name in WORDS}),
    )


async def _workbook_in(upload: UploadFile) -> bytes:
    """A workbook's bytes, one more than may be at most; empty for any other file, which stays unread."""
    first = await upload.read(LARGEST_WORKBOOK_HERE + 1)
    await upload.seek(0)
    return first if is_workbook(io.BytesIO(first)) else b""


def _import_or_page(request: Request, service: Service, sent: Sending, who: str) -> Response:
    if sent.refused:
        return _page(request, sent, status=422)
    if sent.saves:
        review.require_no_review(service)
    if (sent.saves or sent.proposes) and (wrong := what_is_wrong_with(sent.why)):
        return _page(request, sent, status=422, why_wrong=wrong)
    look = None if sent.saves else EffectLook(service)
    last = look.take if look else _as_shown(sent) if sent.whole else None
    try:
        report = _load_sheet(service, sent, who, last)
    except NotAsShown:
        return _import_or_page(request, service, replace(sent, saves=False), who)
    if not report.ok:
        cells = cells_with_mistakes(report.mistakes) if sent.workbook else []
        lines = [] if sent.workbook else lines_with_mistakes(sent.text, report.mistakes)
        return _page(request, sent, report, status=422, lines=lines, cells=cells)
    if sent.proposes and report.changed:
        made = _propose(request, service, sent)
        return gone_to(f"/review/{made['number']}?done=proposed")
    sent.removes = _digest(report)
    if sent.workbook:
        sent.text = _as_text(sent.source(), sent.reading(service.settings.currency))
    if look is not None:
        effect, job = looked_at(request, look, "a sheet")
        return _page(request, sent, report, effect=effect, job=job)
    if not report.changed:
        return _page(request, sent, report, effect=Effect())
    return gone_to(f"/edit/revision/{report.revision}?stored=1")


def _load_sheet(
    service: Service, sent: Sending, who: str, last: Callable[[Any, LoadReport], None] | None
) -> LoadReport:
    with service.gates["imports"].turn():
        return load(
            service.engine,
            sent.source(),
            dry_run=not sent.saves,
            reading=sent.reading(service.settings.currency),
            who=who,
            why=sent.why,
            whole=sent.whole,
            last=last,
        )


def _propose(request: Request, service: Service, sent: Sending) -> ProposalOut:
    by, reading = request.state.principal, sent.reading(service.settings.currency)
    return review.propose_of(
        service, sent.source(), {}, "import", sent.why, by, reading=reading, whole=sent.whole
    )


def _as_shown(sent: Sending) -> Callable[[Any, LoadReport], None]:
    """Looks, before anything is kept, whether that goes which the page showed."""

    def look(_connection: Any, report: LoadReport) -> None:
        if _digest(report) != sent.removes:
            raise NotAsShown("Other records would go than were shown")

    return look


def _digest(report: LoadReport) -> str:
    """What goes, in few letters; empty when nothing does."""
    names = sorted((kind, name) for kind, some in report.removed.items() for name in some)
    return sha256(repr(names).encode()).hexdigest()[:32] if names else ""


def _as_text(source: SentSheet, reading: SheetReading) -> str:
    """A workbook's records as one sheet of text, which the page sends back when it is stored."""
    by_kind: dict[type[Record], list[Record]] = {}
    for item in records_in(source, reading):
        if isinstance(item, Placed):
            by_kind.setdefault(type(item.record), []).append(item.record)
    written = io.StringIO()
    for kind, records in by_kind.items():
        write_table(written, kind, records)
    return written.getvalue()


class _Sheet(io.StringIO):
    """Pasted text as an open sheet; the places of its mistakes carry this name."""

    name = "sheet"

    def __init__(self, text: str) -> None:
        super().__init__(text, newline="")


def _page(
    request: Request,
    sent: Sending,
    report: LoadReport | None = None,
    *,
    status: int = 200,
    lines: Sequence[WrongLine] = (),
    cells: Sequence[WrongCell] = (),
    effect: Effect | None = None,
    job: BackgroundJob | None = None,
    why_wrong: str = "",
) -> Response:
    return page(
        request,
        "import.html",
        status=status,
        headers=KEEP_NOTHING,
        sent=sent,
        report=report,
        mistakes=report.mistake_count if report else "",
        lines=lines[:MOST_LINES_SHOWN],
        more_lines=max(len(lines), len(cells)) - MOST_LINES_SHOWN,
        cells=cells[:MOST_LINES_SHOWN],
        words=WORDS,
        effect=effect,
        job=job,
        why_wrong=why_wrong,
        reviewed=request.app.state.service.settings.review == review.ON,
    )
