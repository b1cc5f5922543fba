"""Is a list of numbers complete for a vehicle: what is missing, what clashes, what is too much."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

import orjson
from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from api.access.guard import MayRead
from api.asking.checks import check
from api.asking.names import member
from api.asking.questions import present_revision
from api.catalogue.names import as_typed
from api.pages.answer import check_groups, flaw_groups
from api.pages.frame import page
from api.pages.problems import pages_router
from api.pages.question import PageQuestion
from api.pages.typed_list import Entry, Unread, read_list
from api.problems import InvalidRequest, Problem, Unknown, UnknownPosition
from api.service import Service, ServiceDep
from api.wire.given import LONGEST_WORD
from api.wire.questions import CheckIn
from api.wire.responses import KEEP_NOTHING

router = pages_router()

Facts = dict[str, Any]
LIST, FILE = "list", "file"
LONGEST_LIST = 200_000
"""Bytes of a list, pasted or uploaded."""
LONGEST_ADDRESS = 6_000
"""A list that makes a longer address is answered without one: mail and chat cut long addresses."""
MOST_MISTAKES = 20
"""So many entries may be left out before the list is refused; each costs one more look."""
MOST_FIELDS = 300


@dataclass(frozen=True, slots=True)
class Mistake:
    """An entry that is left out, why, and what could stand instead of the `wrong` part of its line."""

    line: int
    text: str
    why: str
    wrong: str = ""
    instead: tuple[str, ...] = ()


Sources = dict[str, tuple[Entry, int]]
"""JSON pointer → the entry behind it, and how many of its pieces have a place already."""


@dataclass(frozen=True, slots=True)
class Sent:
    """A form or address as it came: the question, the list as typed, and what is wrong with the file."""

    question: PageQuestion
    text: str
    refused: str = ""

    def address(self) -> str:
        """The address that asks this again."""
        return "/check?" + urlencode([*self.question.pairs, (LIST, self.text)])


@router.get("/check", dependencies=[MayRead])
def check_page(request: Request, service: ServiceDep) -> Response:
    """The form; below an answer when the address says a list. Its address names the revision."""
    given = request.query_params
    sent = Sent(PageQuestion.of(given.multi_items()), given.get(LIST, "")[:LONGEST_LIST])
    if sent.text.strip() and sent.question.value("chassis") and not sent.question.value("as_of"):
        now = Sent(sent.question.adding("as_of", present_revision(service)), sent.text)
        return RedirectResponse(now.address(), 303, KEEP_NOTHING)
    return _answered(request, service, sent)


@router.post("/check", dependencies=[MayRead])
async def check_sent(request: Request, service: ServiceDep) -> Response:
    """The form sent. It changes nothing; a list that is short enough goes to its address."""
    sent = await _sent(request)
    return await run_in_threadpool(_answered_or_sent_on, request, service, sent)


def _answered_or_sent_on(request: Request, service: Service, sent: Sent) -> Response:
    dated = Sent(sent.question.adding("as_of", present_revision(service)), sent.text, sent.refused)
    ready = sent.text.strip() and sent.question.value("chassis") and not sent.refused
    if ready and len(dated.address()) <= LONGEST_ADDRESS:
        return RedirectResponse(dated.address(), 303, KEEP_NOTHING)
    return _answered(request, service, dated if ready else sent, sent_by_form=True)


async def _sent(request: Request) -> Sent:
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
    question = PageQuestion.of(words).without("as_of")
    return Sent(question, text.replace("\r\n", "\n"), refused)


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


def _answered(request: Request, service: Service, sent: Sent, *, sent_by_form: bool = False) -> Response:
    question, facts = sent.question, dict[str, Any]()
    entries, unread = read_list(sent.text)
    mistakes = [Mistake(one.line, one.text, one.why) for one in unread]
    wrong: Problem | None = None
    empty = _what_is_empty(sent, entries, unread, sent_by_form=sent_by_form)
    if entries and question.value("chassis"):
        try:
            facts, more = _facts(service, question, entries)
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
        anew=Sent(question.without("as_of"), sent.text).address() if not sent_by_form else None,
        present=present_revision(service),
        **({"document": None} | facts),
    )


def _what_is_empty(
    sent: Sent, entries: Sequence[Entry], unread: Sequence[Unread], *, sent_by_form: bool
) -> dict[str, str]:
    """Field → what to type there, or nothing; once the form was sent or the address has a list."""
    found = {"chassis": "", LIST: ""}
    if (sent_by_form or entries) and not sent.question.value("chassis"):
        found["chassis"] = "Type the chassis number that the list is for."
    if sent_by_form and not (entries or unread or sent.refused):
        found[LIST] = "Paste at least one number."
    return found


def _facts(service: Service, question: PageQuestion, entries: Sequence[Entry]) -> tuple[Facts, list[Mistake]]:
    """What the page says of the list, and the entries that it had to leave out."""
    left, mistakes = list(entries), list[Mistake]()
    while True:
        body, sources = body_of(question, left)
        try:
            etag, make = check(service, body)
            break
        except (InvalidRequest, Unknown) as problem:
            entry, placed = sources.get(problem.pointer, (None, 0))
            if entry is None or len(mistakes) == MOST_MISTAKES:
                raise
            mistakes.append(_mistake(entry, placed, problem))
            at = left.index(entry)
            left[at : at + 1] = [replace(entry, count=placed)] if placed else []
    if not left:
        return {}, mistakes
    known = service.answers.get(etag)
    if known is None:
        with service.gates["questions"].turn():
            known, lasting = make()
        if lasting:
            service.answers.put(etag, known)
    return _shown(service, question, left, orjson.loads(known)), mistakes


def body_of(question: PageQuestion, entries: Iterable[Entry]) -> tuple[CheckIn, Sources]:
    """The body that checks these, and where each of its pointers comes from. Raises InvalidRequest."""
    asked = question.body()
    components: list[str] = []
    positions: dict[str, str | None] = {}
    sources: Sources = {}
    for entry in entries:
        if entry.position:
            positions[entry.position] = entry.number or None
            sources[f"/positions/{member(entry.position)}"] = (entry, 0)
            continue
        for placed in range(entry.count):
            sources[f"/components/{len(components)}"] = (entry, placed)
            components.append(entry.number)
    if len(components) > 1_000:
        raise InvalidRequest("A list has at most 1,000 pieces in all")
    common = {name: getattr(asked, name) for name in ("vehicle", "wishes", "limits", "preference", "as_of")}
    specification = {"specification": asked.specification}
    return CheckIn(components=components, positions=positions, **common, **specification), sources


def _mistake(entry: Entry, placed: int, problem: Problem) -> Mistake:
    if placed:
        return Mistake(entry.line, entry.text, f"only {placed} of {entry.count} {_has(placed)} a place here")
    if places := problem.fields.get("positions", ()):
        here = tuple(f"{entry.number} @ {name}" for name in places)
        why = f"{entry.number} fits several positions; say which"
        return Mistake(entry.line, entry.text, why, entry.number, here)
    wrong = entry.position if isinstance(problem, UnknownPosition) else entry.number
    why = problem.detail.partition("; did you mean")[0]
    return Mistake(entry.line, entry.text, why, wrong, problem.near)


def _has(number: int) -> str:
    return "has" if number == 1 else "have"


def _shown(service: Service, question: PageQuestion, entries: Sequence[Entry], document: Facts) -> Facts:
    """The document, with what the page says of it: titles, groups, what would complete the set."""
    book = service.books.book(document["vehicle"]["variant"])
    completed = (document["completed"] or {}).get("set")
    own = {as_typed(entry.number) for entry in entries}
    added = [
        change
        for change in (completed["changes"] + completed["loose_parts"] if completed else ())
        if not change["component"] or as_typed(change["component"]) not in own
    ]
    touched = completed["changes"] if completed else [*document["flaws_gone"], *document["flaws_brought"]]
    return {
        "document": document,
        "pieces_listed": sum(entry.count for entry in entries),
        "titles": {name: position.title for name, position in book.positions.items()},
        "flaws": flaw_groups({**document, "changes": touched}),
        "checks": check_groups(document["checks"]),
        "completed": completed,
        "added": added,
        "met_by": met_by(added),
        "complete_address": complete_address(question, entries),
    }


def met_by(added: Iterable[Facts]) -> dict[str, list[str]]:
    """Rule → the numbers that the whole set adds because of it."""
    found: dict[str, list[str]] = {}
    for change in added:
        for because in (change["because"], *change["also_needed_by"]):
            numbers = found.setdefault(because["name"], [])
            if change["component"] and change["component"] not in numbers:
                numbers.append(change["component"])
    return {name: numbers for name, numbers in found.items() if numbers}


def complete_address(question: PageQuestion, entries: Iterable[Entry]) -> str | None:
    """The address that asks for the whole set around the list; None when the list is too long for one."""
    asked = question.without("as_of")
    for entry in entries:
        if not entry.number:
            asked = asked.adding("clear", entry.position)
        else:
            place = f"@{entry.position}" if entry.position else ""
            asked = asked.adding("fit", entry.number + place)
    words = asked.values("fit") + asked.values("clear")
    address = asked.address()
    too_long = any(len(word) > LONGEST_WORD for word in words) or len(address) > LONGEST_ADDRESS
    return None if too_long else address
