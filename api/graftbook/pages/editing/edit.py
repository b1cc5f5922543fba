"""Editing the catalogue: a record is found, changed in a form that shows the effect first, and kept."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, TypedDict
from urllib.parse import quote

from fastapi import Path, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import Editor, MayEdit, form_of
from graftbook.catalogue.format.fields import SAID_PATTERN, is_printable
from graftbook.catalogue.format.records import KIND_BY_WORD, KINDS, KindWord
from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.history.snapshots import names_with
from graftbook.catalogue.loading.load import LoadReport
from graftbook.catalogue.loading.removing import Removals, kind_words
from graftbook.catalogue.search import Search, find
from graftbook.catalogue.store.lookup import numbers_near
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.editing import history
from graftbook.editing.effect import Effect, EffectLook
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author, RecordState
from graftbook.editing.review import service as review
from graftbook.editing.review.schemas import LONGEST_WHY
from graftbook.editing.suggesting.service import names_to_pick, suggestions
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.changes import Differing, change_shown, differing, record_address
from graftbook.pages.editing.effects import looked_at
from graftbook.pages.editing.forms import (
    HEAD,
    Form,
    Row,
    as_meant,
    columns,
    fresh,
    like,
    name_in,
    read,
    record_form,
    row_columns,
    typed,
)
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import (
    ChangedAgain,
    InvalidRequest,
    PreconditionFailed,
    PreconditionRequired,
    UnknownRecord,
)
from graftbook.process.background import BackgroundJob
from graftbook.process.state import Service, ServiceDep

router = pages_router()

Kind = Annotated[KindWord, Path()]
Name = Annotated[str, Path(min_length=1, max_length=300, pattern=SAID_PATTERN)]
MOST_REVISIONS = 2_000_000_000
Revision = Annotated[int, Path(ge=1, le=MOST_REVISIONS)]

OFTEN = ("component", "fitment", "companion", "evidence")
MOST_FOUND = 40
LAST_EDITS = 12
MOST_NEW_PARTS = 5
MOST_CHANGES = 100
LIKE = "like"
"""The record that a new one is like, in the address of its form."""
_ROOMS = {"build": "/builds", "specification": "/specifications", "order_list": "/orders"}


class NamedBy(TypedDict):
    """What names a record, and its page."""

    name: str
    address: str


@dataclass(slots=True)
class RecordSheet:
    """A record's page at work: what was typed and what came of it. `name` is empty for a new record."""

    kind: str
    name: str
    form: Form
    etag: str = ""
    mistakes: Sequence[Mistake] = ()
    numbers: Sequence[int] = ()
    why_wrong: str = ""
    notice: str = ""
    effect: Effect | None = None
    job: BackgroundJob | None = None
    removes: bool = False
    checked: bool = False
    would_change: int = 0
    others: list[Differing] = field(default_factory=list)
    """Field by field, what somebody else stored meanwhile beside what was typed."""
    exists: str = ""
    """The name that a new record would take from another."""
    own: Removals = field(default_factory=dict)
    """What says nothing without the record, by kind."""

    @property
    def going_along(self) -> Removals:
        """What goes with the record when it is taken out."""
        return self.own if "with_own" in self.form else {}

    @property
    def named_by(self) -> dict[str, list[NamedBy]]:
        """What stands in the way of taking it out, by kind in words."""
        found: dict[str, list[NamedBy]] = {}
        for kind, name in dict.fromkeys(mistake.by for mistake in self.mistakes if mistake.by[0]):
            found.setdefault(kind_words(kind), []).append({"name": name, "address": _where(kind, name)})
        return found


def _where(kind: str, name: str) -> str:
    """The page of whatever names a record: another record, a build, a specification, an order list."""
    if kind == "store":
        return "/store"
    return record_address(kind, name) if kind in KIND_BY_WORD else f"{_ROOMS[kind]}/{quote(name)}"


@router.get("/edit", dependencies=[MayEdit])
def start(
    request: Request,
    service: ServiceDep,
    kind: Annotated[KindWord, Query()] = "component",
    text: Annotated[str, Query(max_length=300)] = "",
) -> Response:
    """Find a record or begin one; the last edits. A name that is whole opens its record."""
    wanted = text.strip()
    found = _names_like(service, kind, wanted) if wanted and is_printable(wanted) else {}
    if wanted in found:
        return gone_to(record_address(kind, wanted))
    edits, _ = history.revisions(service, "", LAST_EDITS)
    proposed = review.waiting(service)
    others = [one.kind_of_record for one in KINDS if one.kind_of_record not in OFTEN]
    return page(
        request,
        "edit.html",
        kind=kind,
        text=wanted,
        found=found,
        near=_numbers_near(service, wanted) if wanted and not found and kind == "component" else [],
        edits=edits,
        often=OFTEN,
        others=others,
        proposed=proposed,
    )


def _names_like(service: Service, kind: str, text: str) -> dict[str, str]:
    """Names that hold the text, with what they are called; of components also those whose number is typed
    otherwise or whose words it is."""
    with reading(service.engine) as session:
        names = dict.fromkeys(names_with(session.connection(), kind, text, MOST_FOUND))
        if kind == "component":
            for search in (Search(number=text), Search(words=text)):
                names |= dict.fromkeys(line.number for line in find(session, search, limit=MOST_FOUND).lines)
        found = list(names)[:MOST_FOUND]
        called = titles(session, KIND_BY_WORD[kind], found)
    return {name: called.get(name, "") for name in found}


def _numbers_near(service: Service, text: str) -> list[str]:
    with reading(service.engine) as session:
        return numbers_near(session, text)


@router.get("/edit/revision/{number}", dependencies=[MayEdit])
def revision(request: Request, number: Revision, service: ServiceDep, stored: int = 0) -> Response:
    """What one edit changed, and the button that takes it back."""
    return _revision_page(request, service, number, stored=bool(stored))


def _revision_page(
    request: Request,
    service: Service,
    number: int,
    *,
    stored: bool = False,
    mistakes: Sequence[Any] = (),
    status: int = 200,
) -> Response:
    changes, more = history.of_revision(service, number, "", MOST_CHANGES)
    new = [one["name"] for one in changes if one["kind"] == "component" and not one["before"]]
    return page(
        request,
        "edit_revision.html",
        status=status,
        edit=history.revision(service, number),
        changes=[change_shown(one) for one in changes],
        more=bool(more),
        stored=stored,
        new_parts=new[:MOST_NEW_PARTS] if stored else [],
        mistakes=mistakes,
    )


@router.post("/edit/revision/{number}")
async def take_back(request: Request, number: Revision, service: ServiceDep, editor: Editor) -> Response:
    """Undo an edit by a new one."""
    form = await form_of(request)
    author = Author(editor.who, form.get("why", "").strip()[:LONGEST_WHY])
    return await run_in_threadpool(_taken_back, request, service, number, author, "all" in form)


def _taken_back(request: Request, service: Service, number: int, author: Author, agreed: bool) -> Response:
    """`agreed`: also to what the page has no room to show."""
    review.require_no_review(service)
    if not agreed and history.revision(service, number)["changes"] > MOST_CHANGES:
        mistakes = ["tick that the records which are not shown here go back too"]
        return _revision_page(request, service, number, mistakes=mistakes, status=422)
    try:
        report = editing.take_back(service.engine, number, author)
    except (ChangedAgain, InvalidRequest) as problem:
        return _revision_page(request, service, number, mistakes=[problem.detail], status=409)
    if not report.ok:
        mistakes = [mistake.message for mistake in report.mistakes[:20]]
        return _revision_page(request, service, number, mistakes=mistakes, status=422)
    return gone_to(f"/edit/revision/{report.revision}?stored=1")


def _columns(path: Mapping[str, Any]) -> Iterable[str]:
    """What a new record's form may be filled with."""
    known = KIND_BY_WORD.get(str(path.get("kind")))
    return (LIKE, *known.model_fields) if known else ()


@router.get("/edit/{kind}", dependencies=[MayEdit, takes(of=_columns)])
def new(request: Request, kind: Kind, service: ServiceDep) -> Response:
    """The form of a new record; the address may fill fields, `?component=QB-3310`, or all but its name with
    what a like one says: `?like=QB-3310`."""
    given = dict(request.query_params)
    if other := given.pop(LIKE, ""):
        form = like(kind, editing.record_state(service.engine, kind, other).rows)
    else:
        form = fresh(kind, given)
    return _record_page(request, RecordSheet(kind, "", form))


@router.get("/edit/{kind}/{name:path}", dependencies=[MayEdit, takes("same")])
def existing(request: Request, kind: Kind, name: Name, service: ServiceDep) -> Response:
    """The form of a record as it stands."""
    state = editing.record_state(service.engine, kind, name)
    notice = "Nothing is different from what stood there, so nothing was stored." * (
        request.query_params.get("same") == "1"
    )
    return _record_page(request, RecordSheet(kind, name, typed(kind, state.rows), state.etag, notice=notice))


@router.post("/edit/{kind}")
async def send_new(request: Request, kind: Kind, service: ServiceDep, editor: Editor) -> Response:
    """A new record's form sent."""
    return await run_in_threadpool(
        _store_or_page, request, service, RecordSheet(kind, "", await form_of(request)), editor.who
    )


@router.post("/edit/{kind}/{name:path}")
async def send(request: Request, kind: Kind, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """A record's form sent: its effect is shown, or it is stored, or the record is taken out."""
    form = await form_of(request)
    sheet = RecordSheet(kind, name, form, form.get("etag", ""))
    return await run_in_threadpool(_store_or_page, request, service, sheet, editor.who)


def _store_or_page(request: Request, service: Service, sheet: RecordSheet, who: str) -> Response:
    sheet.form = as_meant(sheet.kind, _with_suggestion(sheet.form), service.settings.currency)
    do, why = sheet.form.get("do", "effect"), sheet.form.get("why", "").strip()
    sheet.checked = do == "check"
    sheet.removes = bool(sheet.name) and do in ("remove", "remove-effect", "remove-propose")
    keeps, proposes = do in ("save", "remove"), do in ("propose", "remove-propose")
    if sheet.removes:
        sheet.own = editing.own_records(service.engine, sheet.kind, sheet.name)
    if keeps:
        review.require_no_review(service)
    sheet.why_wrong = what_is_wrong_with(why) if keeps or proposes else ""
    rows, sheet.numbers = read(sheet.kind, sheet.form)
    name = sheet.name
    if not name:
        name, sheet.mistakes = name_in(sheet.kind, rows)
        if sheet.mistakes:
            sheet.mistakes = _all_mistakes(service, sheet, name, rows) or sheet.mistakes
            return _record_page(request, sheet, 422)
    look = None if keeps or sheet.checked or sheet.why_wrong else EffectLook(service)
    tries = not keeps or bool(sheet.why_wrong)
    try:
        report = _store(service, sheet, name, rows, Author(who, why), look, dry_run=tries)
    except (PreconditionFailed, PreconditionRequired, UnknownRecord):
        return _changed_meanwhile(request, service, sheet, name)
    except InvalidRequest as problem:
        sheet.notice = problem.detail
        return _record_page(request, sheet, 422)
    if not report.ok or sheet.why_wrong:
        sheet.mistakes = report.mistakes
        return _record_page(request, sheet, 422)
    if sheet.checked:
        return _record_page(request, sheet)
    if proposes and report.changed:
        return _propose(request, service, sheet, name, rows, why)
    if look is not None:
        sheet.effect, sheet.job = looked_at(request, look, f"{kind_words(sheet.kind)} {name}")
        sheet.would_change = report.changed
        return _record_page(request, sheet)
    if not report.changed:
        return gone_to(f"{record_address(sheet.kind, name)}?same=1")
    return gone_to(f"/edit/revision/{report.revision}?stored=1")


def _propose(
    request: Request, service: Service, sheet: RecordSheet, name: str, rows: list[Row], why: str
) -> Response:
    """What would be stored or taken out, kept for somebody else to decide."""
    objects = [] if sheet.removes else [{"record": sheet.kind, **row} for row in rows]
    removals = {**sheet.going_along, sheet.kind: [name]} if sheet.removes else {}
    by = request.state.principal
    made = review.propose_of(service, objects, removals, "person", why, by)
    return gone_to(f"/review/{made['number']}?done=proposed")


def _with_suggestion(form: Form) -> Form:
    """The form with a suggested value in the place of what was typed, to be checked."""
    column, _, value = form.get("use", "").partition("=")
    if not value:
        return form
    return {**form, f"{HEAD}.{column}": value, "do": "check"}


def what_is_wrong_with(why: str) -> str:
    """What is wrong with the reason of an edit; empty when nothing is."""
    if not why:
        return "Say in a sentence why; whoever reads the history will ask."
    if len(why) > LONGEST_WHY:
        return f"At most {LONGEST_WHY} characters."
    return "" if is_printable(why) and "\n" not in why else "One line of plain text."


def _store(
    service: Service,
    sheet: RecordSheet,
    name: str,
    rows: list[Row],
    author: Author,
    look: EffectLook | None,
    *,
    dry_run: bool,
) -> LoadReport:
    last = look.take if look else None
    etag = sheet.etag or None
    if sheet.removes:
        return editing.remove_record(
            service.engine,
            sheet.kind,
            name,
            etag,
            author,
            dry_run=dry_run,
            last=last,
            own=sheet.going_along,
        )
    return editing.put_record(
        service.engine, sheet.kind, name, rows, etag, author, dry_run=dry_run, last=last
    )


def _all_mistakes(service: Service, sheet: RecordSheet, name: str, rows: list[Row]) -> Sequence[Mistake]:
    """What the load finds as well where fields of a new record have mistakes: names that nobody has. Empty
    where it cannot be tried."""
    try:
        return _store(service, sheet, name or "unnamed", rows, Author("", ""), None, dry_run=True).mistakes
    except (PreconditionRequired, InvalidRequest):
        return ()


def _changed_meanwhile(request: Request, service: Service, sheet: RecordSheet, name: str) -> Response:
    """Somebody else was faster: both versions side by side, and a form that now knows theirs."""
    state = _state(service, sheet.kind, name)
    if not sheet.name:
        sheet.exists = name
        sheet.others = differing(typed(sheet.kind, state.rows), _fields_of(sheet)) if state else []
        return _record_page(request, sheet, 409)
    if state is None:
        sheet.notice = "Somebody took this record out meanwhile. To put it back, enter it as a new one."
        return _record_page(request, sheet, 412)
    sheet.others = differing(typed(sheet.kind, state.rows), _fields_of(sheet))
    sheet.etag = state.etag
    sheet.notice = "Somebody changed this record after you opened it. Nothing was stored."
    return _record_page(request, sheet, 412)


def _fields_of(sheet: RecordSheet) -> dict[str, str]:
    """The fields of the record in what was sent."""
    known = {column.name for column in columns(sheet.kind)}
    own = known - set(row_columns(sheet.kind))
    return {
        key: text.strip()
        for key, text in sheet.form.items()
        for row, _, name in (key.partition("."),)
        if name in (own if row == HEAD else known) and (row == HEAD or row.isdecimal()) and text.strip()
    }


def _state(service: Service, kind: str, name: str) -> RecordState | None:
    try:
        return editing.record_state(service.engine, kind, name)
    except UnknownRecord:
        return None


def _record_page(request: Request, sheet: RecordSheet, status: int = 200) -> Response:
    of_fields = [mistake for mistake in sheet.mistakes if not mistake.by[0]]
    shown = record_form(sheet.kind, sheet.form, of_fields, sheet.numbers, known=bool(sheet.name))
    service: Service = request.app.state.service
    if sheet.name and not sheet.removes:
        sheet.own = editing.own_records(service.engine, sheet.kind, sheet.name)
    typed_in = {column.name: _typed_in(sheet.form, column.name) for column in columns(sheet.kind)}
    return page(
        request,
        "edit_record.html",
        status=status,
        headers=KEEP_NOTHING,
        sheet=sheet,
        shown=shown,
        suggested=suggestions(service.engine, sheet.kind, typed_in),
        picks=names_to_pick(service.engine, sorted({column.pick for column in columns(sheet.kind)} - {""})),
        words=kind_words(sheet.kind),
        why=sheet.form.get("why", ""),
        action=record_address(sheet.kind, sheet.name) if sheet.name else f"/edit/{sheet.kind}",
        reviewed=request.app.state.service.settings.review == review.ON,
    )


def _typed_in(form: Form, column: str) -> str:
    """What stands in a column: the record's own, or of its first row."""
    return form.get(f"{HEAD}.{column}", "") or form.get(f"0.{column}", "")
