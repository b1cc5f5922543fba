"""Specifications: what the house builds to, over all its variants, and what a newer version changes."""

from collections.abc import Iterable
from typing import Any, Literal
from urllib.parse import quote, urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import Editor, MayRead, form_of
from graftbook.builds import service as specifications
from graftbook.builds.schemas import SpecificationCreateIn, SpecificationIn
from graftbook.builds.standards import service as standards
from graftbook.builds.standards import words
from graftbook.builds.stored.documents import KeptWishOut, SpecificationOut, specification_document
from graftbook.catalogue.format import records as r
from graftbook.catalogue.store.lists import list_variants
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.http.errors import validated
from graftbook.http.parameters import takes
from graftbook.http.preconditions import document_etag
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.building.typed import Form, question_in, said
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import told_of
from graftbook.problems import InvalidRequest, PreconditionFailed, Problem, UnknownComponent
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.schemas import WishIn

router = pages_router()

ON_A_PAGE = 100
NOTHING: Form = {}
STAND_IN = "-"
"""For a chassis number: a specification is for many."""


@router.get("/specifications", dependencies=[MayRead, takes("after")])
def all_specifications(request: Request, service: ServiceDep) -> Response:
    """The house's specifications, and the form to make one."""
    return _list_page(request, service, NOTHING)


def _list_page(
    request: Request, service: Service, typed: Form, notice: str = "", status: int = 200
) -> Response:
    after = request.query_params.get("after", "")[:120]
    rows = specifications.list_specifications(service.engine, after, ON_A_PAGE + 1)
    last = rows[ON_A_PAGE - 1]["name"] if len(rows) > ON_A_PAGE else ""
    return page(
        request,
        "specifications.html",
        status=status,
        headers=None if status == 200 else KEEP_NOTHING,
        rows=rows[:ON_A_PAGE],
        following="/specifications?" + urlencode({"after": last}) if last else "",
        variants=_variants(service),
        typed=typed,
        notice=notice,
    )


def _variants(service: Service) -> list[tuple[str, str]]:
    with reading(service.engine) as session:
        known, _ = list_variants(session, 1_000, "")
    return [(one["name"], one["title"]) for one in known]


@router.post("/specifications")
async def create(request: Request, service: ServiceDep, editor: Editor) -> Response:
    """Version 1 of a new one."""
    return await run_in_threadpool(_create, request, service, await form_of(request))


def _create(request: Request, service: Service, form: Form) -> Response:
    try:
        body = validated(
            SpecificationCreateIn, {"name": form.get("name", "").strip(), **_body(service, form)}
        )
        specifications.create_specification(service.engine, body.name, body)
    except Problem as problem:
        return _list_page(request, service, form, told_of(problem), problem.answer_status)
    return gone_to(f"/specifications/{quote(body.name)}")


def _body(service: Service, form: Form) -> dict[str, Any]:
    """What the form says of a version. Raises InvalidRequest."""
    text = form.get("wishes", "").strip()
    if not text:
        raise InvalidRequest("Say what it wishes: numbers, or the address of an answer", pointer="/wishes")
    question = question_in(text, STAND_IN)
    _require_known(service, {wish.fit: None for wish in question.wishes if wish.fit})
    asked = question.model_dump(mode="json", exclude_unset=True)
    kept: dict[str, Any] = {name: asked[name] for name in ("wishes", "limits", "preference") if name in asked}
    variants = [name.removeprefix("variant-") for name in form if name.startswith("variant-")]
    return {**kept, "variants": variants, **said(form, "title", "note")}


def _require_known(service: Service, numbers: Iterable[str]) -> None:
    """That the catalogue has each number, typed in whatever way. Raises InvalidRequest."""
    wrong: list[str] = []
    with reading(service.engine) as session:
        for number in numbers:
            try:
                find_components(session, number)
            except UnknownComponent as problem:
                wrong.append(problem.detail if problem.detail.endswith("?") else f"{problem.detail}.")
    if wrong:
        raise InvalidRequest(" ".join(wrong), pointer="/wishes")


@router.get("/specifications/{name}", dependencies=[MayRead, takes("version")])
def one_specification(request: Request, name: str, service: ServiceDep) -> Response:
    """One version: what it wishes, since when, why."""
    return _one_page(request, service, name, NOTHING)


def _version_named(request: Request, service: Service, name: str) -> SpecificationOut:
    """The version that the address names, else the latest."""
    version = request.query_params.get("version", "")
    return standards.named(service.engine, f"{name}@{version}" if version else name)


def _one_page(
    request: Request, service: Service, name: str, typed: Form, notice: str = "", status: int = 200
) -> Response:
    found = _version_named(request, service, name)
    return page(
        request,
        "specification.html",
        status=status,
        headers=KEEP_NOTHING if notice else None,
        one=found,
        wishes=_told_all(service, found["wishes"]),
        limits={
            limit: value for limit, value in found["limits"].items() if value and value not in words.NO_LIMIT
        },
        versions=[
            specification_document(service.engine, name, number)
            for number in range(found["latest"], max(0, found["latest"] - ON_A_PAGE), -1)
        ],
        asked=_as_text(found),
        etag=document_etag("specification", specification_document(service.engine, name)),
        variants=_variants(service),
        typed=typed,
        notice=notice,
    )


def _told_all(service: Service, wishes: list[KeptWishOut]) -> list[str]:
    """Wishes in words; what the catalogue has a name for is called by it."""
    called = _called(service, wishes)
    return [words.wish_words(wish, called) for wish in wishes]


def _called(service: Service, wishes: list[KeptWishOut]) -> dict[str, str]:
    """What people call that which wishes name."""

    def named(*members: Literal["fit", "position", "clear", "upgrade"]) -> list[str]:
        return [wish[member] for wish in wishes for member in members if wish.get(member)]

    with reading(service.engine) as session:
        called = titles(session, r.ComponentRecord, named("fit"))
        called |= titles(session, r.PositionRecord, named("position", "clear"))
        return called | titles(session, r.UpgradeRecord, named("upgrade"))


def _as_text(found: SpecificationOut) -> str:
    """Its wishes as the field of the form takes them: numbers alone, else nothing to begin with."""
    wishes = [WishIn(**wish) for wish in found["wishes"]]
    if not all(wish.fit for wish in wishes):
        return ""
    return "\n".join(f"{w.fit}@{w.position}" if w.position else str(w.fit) for w in wishes)


@router.post("/specifications/{name}")
async def change(request: Request, name: str, service: ServiceDep, editor: Editor) -> Response:
    """The next version, or which version is the house's present one."""
    return await run_in_threadpool(_change, request, service, name, await form_of(request), editor.who)


def _change(request: Request, service: Service, name: str, form: Form, who: str) -> Response:
    try:
        if form.get("do") == "present":
            standards.make_present(service.engine, f"{name}@{form.get('version', '')}", who)
        else:
            body = validated(SpecificationIn, _body(service, form))
            specifications.new_version(service.engine, name, form.get("etag", ""), body)
    except PreconditionFailed:
        sentence = (
            "Somebody made a newer version after you opened this; nothing was stored. Look at it first."
        )
        return _one_page(request, service, name, form, sentence, 412)
    except Problem as problem:
        return _one_page(request, service, name, form, told_of(problem), problem.answer_status)
    return gone_to(f"/specifications/{quote(name)}")


@router.get("/specifications/{name}/variants", dependencies=[MayRead, takes("version")])
def over_variants(request: Request, name: str, service: ServiceDep) -> Response:
    """What a version makes of every variant it is for."""
    found = _version_named(request, service, name)
    return page(request, "specification_table.html", one=found, table=standards.table(service, found))


@router.get("/specifications/{name}/compare", dependencies=[MayRead, takes("from", "to")])
def compare(request: Request, name: str, service: ServiceDep) -> Response:
    """Two versions: on each variant, and on the vehicles built to the earlier one."""
    asked = [request.query_params.get(word, "").strip() for word in ("from", "to")]
    if not all(asked):
        raise InvalidRequest("Say which two versions are compared (from, to)")
    before, after = (standards.named(service.engine, f"{name}@{version}") for version in asked)
    compared = standards.compare(service, before, after)
    differs = specifications.compare_versions(before, after)
    wishes = [*differs["wishes_added"], *differs["wishes_removed"]]
    moved = {part for row in compared["variants"] for part in (*row["came"], *row["went"])}
    with reading(service.engine) as session:
        places = titles(session, r.PositionRecord, {part.partition("@")[2] for part in moved})
    return page(
        request,
        "specification_compare.html",
        before=before,
        after=after,
        compared=compared,
        places=places,
        otherwise=words.otherwise(differs, _called(service, wishes)),
    )
