"""A whole sheet at once: tried first, its mistakes beside its lines, then stored with a reason."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from api.access.guard import Editor, MayEdit, upload_of
from api.asking.effect import Effect, EffectLook
from api.catalogue.imports import load
from api.catalogue.loading import Report
from api.catalogue.sheets import Mistake
from api.pages.edit import what_is_wrong_with
from api.pages.frame import page
from api.pages.problems import pages_router
from api.problems import begun
from api.service import Service, ServiceDep
from api.wire.responses import KEEP_NOTHING

router = pages_router()

Facts = dict[str, Any]
LONGEST_SHEET = 600_000
"""Bytes of a sheet on this page, which sends it back and forth; the API and the command take any size."""
LONGEST_LINE_SHOWN = 300
MOST_LINES_SHOWN = 200
TOO_LONG = f"The sheet has more than {LONGEST_SHEET:,} bytes. Send it to /v1/imports, or use graftbook load."


@dataclass(slots=True)
class Sent:
    """A sheet as it was sent, and what is wrong with it before it is read."""

    text: str = ""
    why: str = ""
    saves: bool = False
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
    def text(name: str) -> str:
        value = form.get(name)
        return value if isinstance(value, str) else ""

    sent = Sent(text("sheet").replace("\r\n", "\n"), text("why").strip(), text("do") == "save")
    upload = form.get("file")
    if isinstance(upload, UploadFile) and upload.filename:
        content = await upload.read(LONGEST_SHEET + 1)
        try:
            sent.text = content[:LONGEST_SHEET].decode("utf-8-sig") if len(content) <= LONGEST_SHEET else ""
        except UnicodeDecodeError:
            sent.refused = "The file is not UTF-8 text. Save the sheet as CSV in UTF-8."
        if len(content) > LONGEST_SHEET:
            sent.refused = TOO_LONG
        sent.text = sent.text.replace("\r\n", "\n")
    if not sent.refused and len(sent.text.encode("utf-8", "replace")) > LONGEST_SHEET:
        sent.refused, sent.text = TOO_LONG, ""
    if not sent.refused and not sent.text.strip():
        sent.refused = "Choose a file, or paste the sheet."
    return sent


def _answered(request: Request, service: Service, sent: Sent, who: str) -> Response:
    if sent.refused:
        return _page(request, sent, status=422)
    if sent.saves and (wrong := what_is_wrong_with(sent.why)):
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
    if look is not None:
        return _page(request, sent, report, effect=look.compare())
    if not report.changed:
        return _page(request, sent, report, effect=Effect())
    return RedirectResponse(f"/edit/revision/{report.revision}?stored=1", 303, KEEP_NOTHING)


class _Sheet(io.StringIO):
    """Pasted text as an open sheet; the places of its mistakes carry this name."""

    name = "sheet"

    def __init__(self, text: str) -> None:
        super().__init__(text, newline="")


def lines_with_mistakes(text: str, mistakes: Sequence[Mistake]) -> list[Facts]:
    """The lines of a sheet that have mistakes, each with its text and what is wrong, in their order."""
    written = text.split("\n")
    found: dict[int, Facts] = {}
    for mistake in mistakes:
        number = mistake.place.line
        line = written[number - 1] if 0 < number <= len(written) else ""
        row = found.setdefault(number, {"line": number, "text": line[:LONGEST_LINE_SHOWN], "wrong": []})
        where = f"{mistake.field}: " if mistake.field else ""
        row["wrong"].append(begun(where + mistake.message))
    return [found[number] for number in sorted(found)]


def _page(
    request: Request,
    sent: Sent,
    report: Report | None = None,
    *,
    status: int = 200,
    lines: Sequence[Facts] = (),
    effect: Effect | None = None,
    why_wrong: str = "",
) -> Response:
    return page(
        request,
        "import.html",
        status=status,
        headers=KEEP_NOTHING,
        sent=sent,
        report=report,
        mistakes=len(report.mistakes) + report.more_mistakes if report else 0,
        lines=lines[:MOST_LINES_SHOWN],
        more_lines=len(lines) - MOST_LINES_SHOWN,
        effect=effect,
        why_wrong=why_wrong,
    )
