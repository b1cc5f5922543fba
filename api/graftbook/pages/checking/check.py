"""Is a list of numbers complete for a vehicle: what is missing, what clashes, what is too much."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.asking.question import PageQuestion, takes_question
from graftbook.pages.checking.amending import amended
from graftbook.pages.checking.checked import LONGEST_ADDRESS, ListMistake, checked_facts
from graftbook.pages.checking.typed_list import MOST_ENTRIES, ListEntry, Unread, read_list
from graftbook.pages.frame import gone_to, page
from graftbook.pages.in_hand import chassis_in_hand
from graftbook.pages.problems import pages_router
from graftbook.problems import InvalidRequest, Problem, Unknown
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.reading import present_revision
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import name_vehicle

router = pages_router()

LIST, FILE, CHANGE = "list", "file", "change"
LONGEST_LIST = 200_000
"""Bytes of a list, pasted or uploaded."""
MOST_FIELDS = 300


@dataclass(frozen=True, slots=True)
class CheckSent:
    """A form or address as it came: the question, the list as typed, and what is wrong with the file."""

    question: PageQuestion
    text: str
    refused: str = ""

    def address(self) -> str:
        """The address that asks this again."""
        return "/check?" + urlencode([*self.question.pairs, (LIST, self.text)])


@router.get("/check", dependencies=[MayRead, takes_question(LIST)])
def check_page(request: Request, service: ServiceDep) -> Response:
    """The form; below an answer when the address says a list. Its address names the revision."""
    given = request.query_params
    sent = CheckSent(PageQuestion.of(given.multi_items()), given.get(LIST, "")[:LONGEST_LIST])
    sent = replace(sent, question=_of_one_vehicle(service, sent.question))
    if not sent.text.strip() and not sent.question.value("chassis"):
        sent = replace(sent, question=sent.question.adding("chassis", chassis_in_hand(request)))
    if sent.text.strip() and sent.question.value("chassis") and not sent.question.value("as_of"):
        now = CheckSent(sent.question.adding("as_of", present_revision(service)), sent.text)
        return gone_to(now.address())
    return _check_page(request, service, sent)


@router.post("/check", dependencies=[MayRead])
async def check_sent(request: Request, service: ServiceDep) -> Response:
    """The form sent. It changes nothing; a list that is short enough goes to its address."""
    sent = await _form_of(request)
    return await run_in_threadpool(_answered_or_sent_on, request, service, sent)


def _of_one_vehicle(service: Service, question: PageQuestion) -> PageQuestion:
    """With a build its number stands in the field; for another one that is typed there the build is let go.

    Raises UnknownBuild.
    """
    build, typed = question.value("build"), question.value("chassis")
    if not build:
        return question
    its = name_vehicle(service, VehicleIn(build=build)).chassis
    if not typed:
        return question.adding("chassis", its)
    with suppress(Unknown):
        if name_vehicle(service, VehicleIn(chassis=typed)).chassis == its:
            return question
    return question.without("build").without("on")


def _answered_or_sent_on(request: Request, service: Service, sent: CheckSent) -> Response:
    sent = replace(sent, question=_of_one_vehicle(service, sent.question))
    dated = CheckSent(sent.question.adding("as_of", present_revision(service)), sent.text, sent.refused)
    ready = sent.text.strip() and sent.question.value("chassis") and not sent.refused
    if ready and len(dated.address()) <= LONGEST_ADDRESS:
        return gone_to(dated.address())
    return _check_page(request, service, dated if ready else sent, sent_by_form=True)


async def _form_of(request: Request) -> CheckSent:
    """What the form holds. Raises what reading a form raises when it is too large or broken."""
    async with request.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=LONGEST_LIST) as form:
        words = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
        text = next((value for name, value in words if name == LIST), "")
        upload = form.get(FILE)
        refused = ""
        if isinstance(upload, UploadFile) and upload.filename:
            content = await upload.read(LONGEST_LIST + 1)
            added, refused = _text_of(content)
            text = "\n".join(filter(None, (text.strip(), added)))
    for change in (value for name, value in words if name == CHANGE):
        text = amended(text.replace("\r\n", "\n"), change)
    question = PageQuestion.of(words).without("as_of")
    return CheckSent(question, text.replace("\r\n", "\n"), refused)


def _text_of(content: bytes) -> tuple[str, str]:
    """A file's text, or why it is none. What is not UTF-8 is read as Windows-1252, as old sheets are."""
    if len(content) > LONGEST_LIST:
        return "", f"The file has more than {LONGEST_LIST:,} bytes; a list of numbers is shorter."
    if b"\0" in content or content.startswith(b"PK"):
        return "", "The file is no text. Save the sheet as CSV, or paste its numbers."
    try:
        return content.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace"), ""


def _check_page(
    request: Request, service: Service, sent: CheckSent, *, sent_by_form: bool = False
) -> Response:
    question, facts = sent.question, dict[str, Any]()
    entries, unread = read_list(sent.text)
    mistakes = [ListMistake(one.line, one.text, one.why) for one in unread]
    wrong: Problem | None = None
    empty = _what_is_empty(sent, entries, unread, sent_by_form=sent_by_form)
    if entries and question.value("chassis"):
        try:
            facts, more = checked_facts(service, question, entries)
            mistakes += more
        except (InvalidRequest, Unknown) as problem:
            wrong = problem
    status = wrong.answer_status if wrong else 422 if any(empty.values()) or sent.refused else 200
    return page(
        request,
        "check.html",
        status=status,
        headers=KEEP_NOTHING if sent_by_form else None,
        question=question,
        typed=sent.text,
        refused=sent.refused,
        empty=empty,
        wrong=wrong,
        mistakes=sorted(mistakes, key=lambda mistake: mistake.line),
        shared=None if sent_by_form else sent.address(),
        anew=CheckSent(question.without("as_of"), sent.text).address() if not sent_by_form else None,
        present=present_revision(service),
        most_entries=MOST_ENTRIES,
        **({"document": None, "near_cut": ""} | facts),
    )


def _what_is_empty(
    sent: CheckSent, entries: Sequence[ListEntry], unread: Sequence[Unread], *, sent_by_form: bool
) -> dict[str, str]:
    """Field → what to type there, or nothing; once the form was sent or the address has a list."""
    found = {"chassis": "", LIST: ""}
    if (sent_by_form or entries) and not sent.question.value("chassis"):
        found["chassis"] = "Type the chassis number that the list is for."
    if sent_by_form and not (entries or unread or sent.refused):
        found[LIST] = "Paste at least one number."
    return found
