"""Builds: what the house has taken in, how each stands, what is recorded of it, its sheet."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import MayRead, Orderer, form_of
from graftbook.builds import service as builds
from graftbook.builds.life import carrying_out, recording, words
from graftbook.builds.life.documents import called, sheet_document, state_document
from graftbook.builds.life.paper import sheet_pdf
from graftbook.builds.life.schemas import CarriedOutIn, EventsIn
from graftbook.builds.life.standing import standing
from graftbook.builds.schemas import BuildCreateIn, BuildIn
from graftbook.builds.stored.documents import BuildOut, build_document
from graftbook.http.errors import validated
from graftbook.http.fields import Day
from graftbook.http.parameters import takes
from graftbook.http.preconditions import document_etag
from graftbook.http.responses import KEEP_NOTHING
from graftbook.orders.forms import PDF
from graftbook.orders.lists import overview
from graftbook.orders.lists.service import list_document
from graftbook.pages.answer.answer import check_groups
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.building.typed import Form, placed, said, wishes_in
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import told_of
from graftbook.pictures.service import pictures_of
from graftbook.problems import InvalidRequest, Problem
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.schemas import Body

router = pages_router()

ON_A_PAGE = 100
NOTHING: Form = {}
FIELDS: Mapping[str, tuple[str, ...]] = {
    "fitted": ("position", "component", "off", "kept", "reason"),
    "used": ("component", "quantity", "reason"),
    "kept": ("component", "position", "kept"),
    "work": ("done", "minutes"),
    "measured": ("position", "characteristic", "value"),
    "built to": ("specification",),
    "note": ("text",),
    "taken back": ("event", "reason"),
}
"""What can be recorded → the fields of its form."""
WHOLE = ("quantity", "minutes", "event")


@router.get("/builds", dependencies=[MayRead, takes("after")])
def all_builds(request: Request, service: ServiceDep) -> Response:
    """What was taken in, and the form to take one in."""
    return _list_page(request, service, NOTHING)


def _list_page(
    request: Request, service: Service, typed: Form, notice: str = "", status: int = 200
) -> Response:
    after = request.query_params.get("after", "")[:120]
    rows = builds.list_builds(service.engine, after, ON_A_PAGE + 1)
    following = (
        "/builds?" + urlencode({"after": rows[ON_A_PAGE - 1]["name"]}) if len(rows) > ON_A_PAGE else ""
    )
    headers = None if status == 200 else KEEP_NOTHING
    facts = {"rows": rows[:ON_A_PAGE], "following": following, "typed": typed, "notice": notice}
    return page(request, "builds.html", status=status, headers=headers, today=builds.today(), **facts)


@router.post("/builds")
async def take_in(request: Request, service: ServiceDep, orderer: Orderer) -> Response:
    """A vehicle taken in: as new, or with what the typed list says."""
    return await run_in_threadpool(_take_in, request, service, await form_of(request), orderer.who)


def _take_in(request: Request, service: Service, form: Form, who: str) -> Response:
    try:
        body = validated(
            BuildCreateIn,
            {**said(form, "name", "chassis", "taken_in", "note"), "options": _words(form.get("options", ""))},
        )
        settled = builds.settled(service, body)
        fitted, loose = placed(service, form.get("list", ""), _vehicle(settled))
        settled = settled.model_copy(update={"fitted": fitted})
        builds.create_build(service.engine, body.name, settled, who, on=body.taken_in)
        if loose:
            _record_used(
                service, body.name, loose, {"day": (body.taken_in or builds.today()).isoformat()}, who
            )
    except Problem as problem:
        return _list_page(request, service, form, told_of(problem), problem.answer_status)
    return gone_to(f"/builds/{body.name}")


def _record_used(
    service: Service, name: str, loose: Mapping[str, int], day: Mapping[str, str], who: str
) -> None:
    used = [{"what": "used", "component": number, "quantity": q, **day} for number, q in loose.items()]
    recording.record(service, name, validated(EventsIn, {"events": used}), who)


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]


def _vehicle(build: BuildIn | BuildOut) -> PageQuestion:
    """The vehicle of a build, for a list of what is fitted to it."""
    facts: Mapping[str, Any] = build.model_dump() if isinstance(build, BuildIn) else build
    options = [("option", word) for word in facts["options"]]
    return PageQuestion.of([("chassis", facts["chassis"]), *options])


@router.get("/builds/{name}", dependencies=[MayRead, takes("on")])
def one_build(request: Request, name: str, service: ServiceDep) -> Response:
    """How it stands, today or on a day."""
    return _build_page(request, service, name)


def _on(request: Request) -> date | None:
    """The day that the address asks about. Raises InvalidRequest."""
    text = request.query_params.get("on", "").strip()
    return validated(_Asked, {"on": text}).on if text else None


class _Asked(Body):
    on: Day


def _build_page(
    request: Request,
    service: Service,
    name: str,
    typed: Form = NOTHING,
    notice: str = "",
    status: int = 200,
) -> Response:
    on = _on(request)
    found = standing(service, name, on)
    state, events = state_document(found), recording.event_documents(found.events, called(found))
    return page(
        request,
        "build.html",
        status=status,
        headers=KEEP_NOTHING if notice else None,
        build=state,
        pictures=pictures_of(service.engine, "build", name),
        asked_on=on.isoformat() if on else "",
        today=builds.today().isoformat(),
        events=[event for event in reversed(events) if event["day"] <= state["on"]],
        lists=overview.lists_of(service.engine, state["vehicle"]["chassis"]),
        typed=typed,
        notice=notice,
        address_of_build=f"/builds/{quote(name)}",
        etag=document_etag("build", build_document(service.engine, name)),
        how_it_was=words.how_it_was,
        how_it_stands=words.how_it_stands,
        positions=[(p, found.scope.book.positions[p].title) for p in found.scope.book.positions],
        kinds=sorted({kind.title for kind in found.scope.book.kinds.values()}),
        specifications=builds.list_specifications(service.engine, "", ON_A_PAGE),
    )


@router.post("/builds/{name}")
async def record(request: Request, name: str, service: ServiceDep, orderer: Orderer) -> Response:
    """Something recorded of it."""
    return await run_in_threadpool(_record, request, service, name, await form_of(request), orderer.who)


def _record(request: Request, service: Service, name: str, form: Form, who: str) -> Response:
    ways: dict[str, Callable[[], object]] = {
        "list": lambda: _record_list(service, name, form, who),
        "as new": lambda: _as_new(service, name, who),
        "decided": lambda: _decide(service, name, form, who),
    }
    what = form.get("what", "")
    try:
        if what == "removed":
            return _remove(service, name, form)
        ways.get(what, lambda: _record_one(service, name, what, form, who))()
    except Problem as problem:
        return _build_page(request, service, name, form, told_of(problem), problem.answer_status)
    return gone_to(f"/builds/{quote(name)}#recorded")


def _remove(service: Service, name: str, form: Form) -> Response:
    """The build and all that was recorded of it, as it was when the page was read."""
    if form.get("sure") != "yes":
        raise InvalidRequest("Tick that nothing that is recorded of it is needed any more")
    builds.delete_build(service.engine, name, form.get("etag", ""))
    return gone_to("/builds")


def _record_one(service: Service, name: str, what: str, form: Form, who: str) -> None:
    event: dict[str, Any] = {"what": what, **said(form, "day", *FIELDS.get(what, ()))}
    for field in WHOLE:
        if str(event.get(field, "")).isdecimal():
            event[field] = int(event[field][:9])
    if what == "fitted":
        event.setdefault("component", None)
    recording.record(service, name, validated(EventsIn, {"events": [event]}), who)


def _record_list(service: Service, name: str, form: Form, who: str) -> None:
    """What a typed list says is fitted, from its day on."""
    build = build_document(service.engine, name)
    fitted, loose = placed(service, form.get("list", ""), _vehicle(build))
    day = said(form, "day", "reason")
    events: list[dict[str, Any]] = [
        {"what": "fitted", "position": place, "component": number, **day} for place, number in fitted.items()
    ]
    events += [{"what": "used", "component": number, "quantity": q, **day} for number, q in loose.items()]
    recording.record(service, name, validated(EventsIn, {"events": events}), who)


def _as_new(service: Service, name: str, who: str) -> None:
    """From today on everything is as the factory fitted it."""
    before = build_document(service.engine, name)
    kept = {key: before[key] for key in ("chassis", "options", "on_the_bench", "decided", "note")}
    body = validated(BuildIn, {**kept, "built": before["built"]})
    builds.replace_build(
        service.engine, name, document_etag("build", before), builds.settled(service, body), who
    )


def _decide(service: Service, name: str, form: Form, who: str) -> None:
    """What it shall get, instead of what was decided before or, from the bench, beside it."""
    before = build_document(service.engine, name)
    kept = [*before["decided"]] if form.get("beside") else []
    wishes = wishes_in(form.get("wishes", ""), before["chassis"])
    event = {"what": "decided", "wishes": kept + [wish for wish in wishes if wish not in kept]}
    events = validated(EventsIn, {"events": [event | said(form, "day", "reason")]})
    recording.record(service, name, events, who)


@router.get("/builds/{name}/order/{listed}", dependencies=[MayRead])
def order_steps(request: Request, name: str, listed: str, service: ServiceDep) -> Response:
    """What an order list does to it, to be ticked off."""
    return _steps_page(request, service, name, listed)


def _steps_page(
    request: Request, service: Service, name: str, listed: str, typed: Form = NOTHING, notice: str = ""
) -> Response:
    return page(
        request,
        "build_order.html",
        status=422 if notice else 200,
        headers=KEEP_NOTHING,
        name=name,
        facts=carrying_out.list_steps(service, name, listed),
        order=list_document(service.engine, listed),
        today=builds.today().isoformat(),
        typed=typed,
        notice=notice,
    )


@router.post("/builds/{name}/order/{listed}")
async def carry_out(
    request: Request, name: str, listed: str, service: ServiceDep, orderer: Orderer
) -> Response:
    """The steps that were ticked are carried out."""
    form = await form_of(request)
    return await run_in_threadpool(_carry_out, request, service, name, listed, form, orderer.who)


def _carry_out(request: Request, service: Service, name: str, listed: str, form: Form, who: str) -> Response:
    ticked = [field.removeprefix("step-") for field in form if field.startswith("step-")]
    kept = {f.removeprefix("kept-"): v for f, v in form.items() if f.startswith("kept-") and v.strip()}
    whole = form.get("do") == "whole"
    body = {"order_list": listed, "steps": ticked, "kept": kept, "whole": whole}
    try:
        if not (whole or ticked):
            raise InvalidRequest("Tick the steps that are done")
        if whole and form.get("away") != "yes":
            _require_here(service, name, listed)
        done = validated(CarriedOutIn, {**body, **said(form, "day")})
        carrying_out.carry_out(service, name, done, who)
    except Problem as problem:
        return _steps_page(request, service, name, listed, form, told_of(problem))
    return gone_to(f"/builds/{quote(name)}")


def _require_here(service: Service, name: str, listed: str) -> None:
    """One click fits no parts that nobody has seen: what may be driven is judged by what is fitted."""
    steps = carrying_out.list_steps(service, name, listed)["steps"]
    if away := sum(1 for step in steps if not (step["done"] or step["come"])):
        need = "steps need" if away > 1 else "steps needs"
        raise InvalidRequest(
            f"{away} of the open {need} parts that have not come by this order: "
            "tick that all is fitted all the same, or only the steps that are done"
        )


@router.get("/builds/{name}/sheet", dependencies=[MayRead, takes("on")])
def sheet(request: Request, name: str, service: ServiceDep) -> Response:
    """The sheet that goes with the vehicle."""
    facts = sheet_document(standing(service, name, _on(request)))
    on = request.query_params.get("on", "")
    return page(
        request,
        "build_sheet.html",
        sheet=facts,
        pictures=pictures_of(service.engine, "build", name),
        paper=f"/builds/{quote(name)}/sheet.pdf" + (f"?{urlencode({'on': on})}" if on else ""),
        figures=list(words.figures_that_changed(facts["checks"])),
        checks=check_groups(facts["checks"]),
        kept=words.sections_kept(facts),
        unfinished=words.unfinished(facts),
        how_it_was=words.how_it_was,
        how_it_stands=words.how_it_stands,
        grave=words.grave_flaws(facts),
        unconfirmed=words.unconfirmed(facts),
    )


@router.get("/builds/{name}/sheet.pdf", dependencies=[MayRead, takes("on")])
def sheet_paper(request: Request, name: str, service: ServiceDep) -> Response:
    """The same as a PDF."""
    content = sheet_pdf(sheet_document(standing(service, name, _on(request))), service.settings.house)
    headers = {"Content-Disposition": f'attachment; filename="sheet-{name}.pdf"', **KEEP_NOTHING}
    return Response(content, media_type=PDF, headers=headers)
