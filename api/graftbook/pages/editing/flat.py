"""Flat parts lists: put in, mapped beside their first rows, worked through question by question, taken."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import islice
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import Path, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import ValidationError
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from graftbook.access.guard import Editor, MayEdit, form_of, upload_of
from graftbook.catalogue.format.fields import SLUG_PATTERN
from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing.effect import EffectLook
from graftbook.editing.flat import service as flat
from graftbook.editing.flat.documents import MOST_CHANGES
from graftbook.editing.flat.mapping import (
    FIELDS,
    FlatMapping,
    as_meant,
    guessed,
    head_line_of,
    missing,
    mistakes_in_words,
)
from graftbook.editing.flat.problems import WrongName
from graftbook.editing.flat.questions import KINDS, ListQuestion
from graftbook.editing.flat.rows import LARGEST, heads_of
from graftbook.editing.flat.service import FlatList
from graftbook.editing.flat.turning import Turned
from graftbook.editing.records.service import Author
from graftbook.editing.review.service import require_no_review
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.edit import what_is_wrong_with
from graftbook.pages.editing.effects import looked_at
from graftbook.pages.editing.sheet_form import field as text_in
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import InvalidRequest, PreconditionFailed, Problem, TooLarge
from graftbook.process.state import Service, ServiceDep

router = pages_router()

Name = Annotated[str, Path(pattern=SLUG_PATTERN)]
LISTS_ON_A_PAGE = 200
ROWS_SHOWN = 8
ON_A_PAGE = 40
"""Questions of one kind on a page."""
CHANGES_SHOWN = 200
TOLD_SHOWN = 200
NOTHING_SAID: Mapping[str, str] = {}
_SETTINGS = ("range", "supplier", "section", "origin", "from_new", "currency", "decimal", "days", "evidence")


@dataclass(slots=True)
class TypedIssue:
    """What the form of a new list or issue says, and what is wrong with it."""

    name: str = ""
    text: str = ""
    refused: str = ""
    wrong_name: str = ""


@dataclass(slots=True)
class Shown:
    """A list's page: what came of what was done last."""

    notice: str = ""
    bad: str = ""
    why: str = ""
    issue: TypedIssue = field(default_factory=TypedIssue)
    why_wrong: str = ""
    report: LoadReport | None = None
    effect: Any = None
    job: Any = None
    mistakes: list[str] = field(default_factory=list)


def list_address(name: str) -> str:
    """The page of a list."""
    return f"/edit/flat/{quote(name)}"


@router.get("/edit/flat", dependencies=[MayEdit, takes("after")])
def start(request: Request, service: ServiceDep) -> Response:
    """The lists that are kept, and the form for a new one."""
    return _start(request, service, TypedIssue())


def _start(request: Request, service: Service, typed: TypedIssue, status: int = 200) -> Response:
    after = request.query_params.get("after", "")[:120]
    lists = flat.flat_lists(service.engine, after, LISTS_ON_A_PAGE + 1)
    facts = {
        "lists": lists[:LISTS_ON_A_PAGE],
        "following": lists[LISTS_ON_A_PAGE - 1].name if len(lists) > LISTS_ON_A_PAGE else "",
        "typed": typed,
    }
    return page(request, "flat.html", status=status, headers=KEEP_NOTHING, **facts)


@router.post("/edit/flat")
async def begin(request: Request, service: ServiceDep, editor: Editor) -> Response:
    """A new list with its first issue."""
    try:
        typed, file, content = await _list_in_form(await upload_of(request))
    finally:
        await request.close()
    return await run_in_threadpool(_begin_list, request, service, typed, file, content)


async def _list_in_form(form: FormData) -> tuple[TypedIssue, str, bytes]:
    """What a form with a list says: the file, or what was pasted in its place."""
    typed = TypedIssue(text_in(form, "name").strip(), text_in(form, "sheet"))
    upload = form.get("file")
    if isinstance(upload, UploadFile) and upload.filename:
        return typed, upload.filename, await upload.read(LARGEST + 1)
    if not typed.text.strip():
        typed.refused = "Choose a file, or paste the list."
    return typed, "pasted", typed.text.encode("utf-8", "replace")


def _begin_list(request: Request, service: Service, typed: TypedIssue, file: str, content: bytes) -> Response:
    if not typed.refused:
        try:
            flat.begin(service.engine, typed.name, file, content)
        except WrongName as problem:
            typed.wrong_name = problem.detail
            if not typed.text.strip():
                typed.refused = f"Choose {file} again: a browser sends a file once only."
        except (InvalidRequest, TooLarge) as problem:
            typed.refused = problem.detail
    if typed.refused or typed.wrong_name:
        return _start(request, service, typed, 422)
    return gone_to(f"{list_address(typed.name)}/mapping")


# The mapping


@router.get("/edit/flat/{name}/mapping", dependencies=[MayEdit])
def mapping(request: Request, name: Name, service: ServiceDep) -> Response:
    """Which column is what, beside the first rows."""
    kept = flat.flat_list(service.engine, name)
    proposed = kept.mapping
    if not proposed.columns:
        line = head_line_of(kept.rows)
        columns = guessed(heads_of(kept.rows, line))
        proposed = proposed.model_copy(update={"columns": columns, "head_line": line})
    return _mapping_page(request, service, kept, proposed)


@router.post("/edit/flat/{name}/mapping")
async def map_columns(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """A mapping looked at, or kept."""
    return await run_in_threadpool(_keep_mapping, request, service, name, await form_of(request))


def _keep_mapping(request: Request, service: Service, name: str, form: dict[str, str]) -> Response:
    kept = flat.flat_list(service.engine, name)
    try:
        typed = _mapping_in(form)
        if form.get("do") == "keep":
            flat.put_mapping(service.engine, name, typed, form.get("etag") or None)
            return gone_to(list_address(name))
    except ValidationError as error:
        wrong = {".".join(map(str, e["loc"])).replace("columns.", "column.") for e in error.errors()}
        typed = _mapping_in({name: text for name, text in form.items() if name not in wrong})
        notice = mistakes_in_words(error.errors())
        wrong_values = {name: form[name] for name in wrong.intersection(form)}
        return _mapping_page(request, service, kept, typed, notice, 422, wrong_values)
    except PreconditionFailed:
        notice = "Somebody else changed the list meanwhile. Look at it again, then keep it."
        return _mapping_page(request, service, kept, typed, notice, 412)
    except InvalidRequest as problem:
        return _mapping_page(request, service, kept, typed, problem.detail, 422)
    return _mapping_page(request, service, kept, typed)


def _mapping_in(form: dict[str, str]) -> FlatMapping:
    columns = {name: head for name in FIELDS if (head := form.get(f"column.{name}", ""))}
    settings = {name: text.strip() for name in _SETTINGS if (text := form.get(name)) is not None}
    return FlatMapping.model_validate(
        {"columns": columns, "head_line": form.get("head_line") or 1, **as_meant(settings)}
    )


def _mapping_page(
    request: Request,
    service: Service,
    kept: FlatList,
    typed: FlatMapping,
    wrong: str = "",
    status: int = 200,
    said: Mapping[str, str] = NOTHING_SAID,
) -> Response:
    """`said`: settings as somebody typed them where the mapping cannot hold that."""
    trial = flat.with_mapping(kept, typed)
    becomes: list[tuple[int, list[str]]] = []
    asked: list[ListQuestion] = []
    if not wrong and typed.columns.get("number") and not missing(typed, trial.heads):
        try:
            becomes, asked = flat.becomes(service.engine, trial, ROWS_SHOWN)
        except InvalidRequest as problem:
            wrong = problem.detail
    at = typed.head_line
    return page(
        request,
        "flat_mapping.html",
        status=status,
        headers=KEEP_NOTHING,
        kept=kept,
        typed=typed.model_copy(update=said),
        heads=trial.heads,
        fields=FIELDS,
        first=list(enumerate(kept.rows[at : at + ROWS_SHOWN], start=at + 1)),
        becomes=becomes,
        asked=asked,
        wrong=wrong,
        known=flat.choices(service.engine),
    )


# The list, its questions, taking it


@router.get(
    "/edit/flat/{name}", dependencies=[MayEdit, takes("kind", "stored", "questions", "changes", "told")]
)
def one(request: Request, name: Name, service: ServiceDep) -> Response:
    """Where a list stands: what is asked, what changed, what was assumed."""
    notice = "Taken." * (request.query_params.get("stored") == "1")
    return _list_page(request, service, name, Shown(notice=notice))


def _list_page(request: Request, service: Service, name: str, shown: Shown, status: int = 200) -> Response:
    kept = flat.flat_list(service.engine, name)
    found: Turned | None = None
    wrong = ""
    if kept.rows:
        try:
            kept, found = flat.look(service.engine, name)
        except InvalidRequest as problem:
            wrong = problem.detail
    kinds = Counter(question.kind for question in found.questions) if found else Counter[str]()
    kind = request.query_params.get("kind", "")
    kind = kind if kind in kinds else next((k for k in KINDS if k in kinds), "")
    asked = [q for q in found.questions if q.kind == kind] if found else []
    first_asked = _begins(request, "questions", len(asked))
    first_change = _begins(request, "changes", len(found.changes) if found else 0)
    first_told = _begins(request, "told", len(found.told) if found else 0)
    return page(
        request,
        "flat_list.html",
        status=status,
        headers=KEEP_NOTHING,
        kept=kept,
        found=found,
        wrong=wrong,
        shown=shown,
        kinds=[(k, KINDS[k], kinds[k]) for k in KINDS if k in kinds],
        kind=kind,
        kind_title=KINDS.get(kind, ""),
        asked=[(q, _rows_shown(kept, q)) for q in asked[first_asked : first_asked + ON_A_PAGE]],
        alike=sum(question.for_all for question in asked),
        asked_before=first_asked,
        more_asked=len(asked) - first_asked - ON_A_PAGE,
        moved=Counter(change["what"] for change in found.changes) if found else {},
        changes=found.changes[first_change : first_change + CHANGES_SHOWN] if found else [],
        changes_before=first_change,
        more_changes=len(found.changes) - first_change - CHANGES_SHOWN if found else 0,
        told=found.told[first_told : first_told + TOLD_SHOWN] if found else [],
        told_before=first_told,
        more_told=len(found.told) - first_told - TOLD_SHOWN if found else 0,
        untold=found.untold if found else 0,
        decided=[(key, *key.split(":", 1), answer) for key, answer in sorted(kept.decisions.items())],
        titles=KINDS,
        known=flat.choices(service.engine),
        most_changes=MOST_CHANGES,
    )


def _begins(request: Request, name: str, there_are: int) -> int:
    """How many of them the address passes by; none when that would be all."""
    typed = request.query_params.get(name, "")
    count = int(typed[:9]) if typed.isascii() and typed.isdigit() else 0
    return count if count < there_are else 0


def _rows_shown(kept: FlatList, question: ListQuestion) -> list[tuple[int, str]]:
    """The first rows that a question stands in, as they are written."""
    lines = (line for line in question.lines if 0 < line <= len(kept.rows))
    return [(line, " · ".join(filter(None, kept.rows[line - 1]))[:300]) for line in islice(lines, 3)]


@router.post("/edit/flat/{name}/decide")
async def decide(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """An answer, given by a button or typed; for one question or for all of its kind."""
    return await run_in_threadpool(_settle_answers, request, service, name, await form_of(request))


def _settle_answers(request: Request, service: Service, name: str, form: dict[str, str]) -> Response:
    key, kind = form.get("key", ""), form.get("key", "").partition(":")[0]
    answer = form.get("answer", "") or form.get("typed", "").strip()
    if form.get("do") == "again":
        flat.decide(service.engine, name, {key: None})
        return gone_to(f"{list_address(name)}#decided")
    if not answer:
        shown = Shown(bad="Choose one of the answers, or type one.")
        return _list_page(request, service, name, shown, 422)
    try:
        flat.decide(service.engine, name, {flat.for_all(kind) if form.get("all") else key: answer})
    except InvalidRequest as problem:
        return _list_page(request, service, name, Shown(bad=problem.detail), 422)
    return gone_to(f"{list_address(name)}?kind={quote(kind)}#questions")


@router.post("/edit/flat/{name}/issue")
async def issue(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """The next issue of a list."""
    try:
        typed, file, content = await _list_in_form(await upload_of(request))
    finally:
        await request.close()
    return await run_in_threadpool(_put_issue, request, service, name, typed, file, content)


def _put_issue(
    request: Request, service: Service, name: str, typed: TypedIssue, file: str, content: bytes
) -> Response:
    try:
        if typed.refused:
            raise InvalidRequest(typed.refused)
        flat.put_issue(service.engine, name, file, content)
    except (InvalidRequest, TooLarge) as problem:
        typed.refused = problem.detail
        return _list_page(request, service, name, Shown(issue=typed), 422)
    return gone_to(list_address(name))


@router.post("/edit/flat/{name}/take")
async def take(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """What is decided tried with its effect, or taken."""
    return await run_in_threadpool(_take_in, request, service, name, await form_of(request), editor.who)


def _take_in(request: Request, service: Service, name: str, form: dict[str, str], who: str) -> Response:
    shown = Shown(why=form.get("why", "").strip())
    keeps = form.get("do") == "take"
    if keeps:
        require_no_review(service)
    if keeps and (wrong := what_is_wrong_with(shown.why)):
        shown.why_wrong = wrong
        return _list_page(request, service, name, shown, 422)
    look = None if keeps else EffectLook(service)
    try:
        with service.gates["imports"].turn():
            report, _ = flat.take(
                service.engine,
                name,
                form.get("etag") or None,
                Author(who, shown.why),
                dry_run=not keeps,
                last=look.take if look else None,
            )
    except (PreconditionFailed, InvalidRequest) as problem:
        shown.bad = _in_words(problem)
        return _list_page(request, service, name, shown, problem.answer_status)
    if not report.ok:
        shown.mistakes = [f"{m.name}: {m.message}" if m.name else m.message for m in report.mistakes[:50]]
        return _list_page(request, service, name, shown, 422)
    if look is not None:
        shown.report = report
        shown.effect, shown.job = looked_at(request, look, f"flat list {name}")
        return _list_page(request, service, name, shown)
    return gone_to(f"{list_address(name)}?stored=1")


def _in_words(problem: Problem) -> str:
    return problem.detail or problem.title


@router.post("/edit/flat/{name}/forget")
async def forget(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """The list and its decisions taken away; the catalogue stays as it is."""
    form = await form_of(request)
    try:
        await run_in_threadpool(flat.forget, service.engine, name, form.get("etag") or None)
    except PreconditionFailed as problem:
        shown = Shown(bad=_in_words(problem))
        return await run_in_threadpool(_list_page, request, service, name, shown, 412)
    return gone_to("/edit/flat")
