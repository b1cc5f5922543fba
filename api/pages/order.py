"""The order of an answer: what to buy and from whom, documents to take away, and a draft to keep."""

from typing import Any
from urllib.parse import parse_qsl

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from pydantic import TypeAdapter, ValidationError
from starlette.responses import Response

from api.access.guard import MayRead, Orderer, form_of
from api.asking.questions import present_revision
from api.builds.schemas import Remark, Slug
from api.orders import keeping, life
from api.orders.answering import ordering
from api.orders.forms import MEDIA, writer
from api.pages.answer import document_under
from api.pages.frame import gone_to, page
from api.pages.ordered import ALSO, ANOTHER, TERMS, PageOrder
from api.pages.problems import pages_router
from api.pages.question import takes_question
from api.parameters import takes
from api.problems import InvalidRequest, NoSet, Problem, Unknown, printable
from api.service import Service, ServiceDep
from api.wire.errors import problem_from_mistakes
from api.wire.orders_in import OrderIn
from api.wire.responses import KEEP_NOTHING, json_bytes

router = pages_router()

Facts = dict[str, Any]
LISTS_ON_A_PAGE = 200


@router.get("/order", dependencies=[MayRead, takes_question(*TERMS, ANOTHER, many=[ALSO])])
def order(request: Request, service: ServiceDep) -> Response:
    """The order of the address's question. An impossible question goes to its answer."""
    asked = PageOrder.of(request.query_params.multi_items())
    another, wrong = request.query_params.get(ANOTHER, "").strip(), ""
    if not asked.question.value("as_of"):
        asked = asked.as_of(present_revision(service))
        if not another:
            return gone_to(asked.address())
    if another:
        try:
            more = asked.adding(another)
            facts_for(service, more.body())
            return gone_to(more.address())
        except (InvalidRequest, NoSet, Unknown) as problem:
            wrong = problem.detail
    try:
        facts = facts_for(service, asked.body())
    except NoSet:
        if asked.also:
            raise
        return gone_to(asked.question.address())
    return page(
        request,
        "order.html",
        asked=asked,
        vehicles=list(zip(facts["vehicles"], asked.answers(), strict=True)),
        another=another,
        wrong=wrong,
        documents={form: asked.address(f"/order.{form}") for form in ("pdf", "xlsx", "csv")},
        suggested=_name_for(facts),
        **shown(facts),
    )


@router.get("/order.{form}", dependencies=[MayRead, takes_question(*TERMS, "part", many=[ALSO])])
def document(request: Request, form: str, service: ServiceDep) -> Response:
    """The same as a document; `part` gives the part of one supplier or vehicle."""
    if form not in MEDIA:
        return gone_to("/order")
    facts = facts_for(service, PageOrder.of(request.query_params.multi_items()).body())
    return _download(service, facts, form, request.query_params.get("part", ""), _name_for(facts))


def facts_for(service: Service, body: OrderIn) -> Facts:
    """The order as the API answers it, kept or made anew. Raises what `ordering` raises."""
    return document_under(service, ordering(service, body, "json ", json_bytes))


def _download(service: Service, facts: Facts, form: str, part: str, name: str) -> Response:
    content = writer(form, service.settings.house, part)(facts)
    headers = {"Content-Disposition": f'attachment; filename="{name}.{form}"', **KEEP_NOTHING}
    return Response(content, media_type=MEDIA[form], headers=headers)


def _name_for(facts: Facts) -> str:
    return "order-" + "".join(c for c in facts["vehicles"][0]["label"] if c.isalnum() or c == "-")[:60]


def shown(facts: Facts) -> Facts:
    """What a page of an order speaks of: lines by supplier, the rest as it is."""
    suppliers = [
        {**supplier, "of": [line for line in facts["lines"] if line["supplier"] == supplier["name"]]}
        for supplier in facts["suppliers"]
    ]
    return {
        "order": facts,
        "suppliers": suppliers,
        "without": [line for line in facts["lines"] if not line["supplier"]],
    }


@router.post("/order")
async def keep(request: Request, service: ServiceDep, orderer: Orderer) -> Response:
    """Keep the order as a draft, and go there."""
    form = await form_of(request)
    body = PageOrder.of(await _pairs(request)).at_present().body()
    name, note = _checked(Slug, form, "name"), _checked(Remark, form, "note")
    await run_in_threadpool(keeping.make, service, name, body, note, orderer.who)
    return gone_to(f"/orders/{name}")


def _checked(kind: Any, form: dict[str, str], field: str) -> str:
    """A field as the API would take it. Raises InvalidRequest."""
    try:
        return str(TypeAdapter(kind).validate_python(form.get(field, "").strip()))
    except ValidationError as error:
        raise problem_from_mistakes([{**e, "loc": ("body", field)} for e in error.errors()]) from error


async def _pairs(request: Request) -> list[tuple[str, str]]:
    return parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)


@router.get("/orders", dependencies=[MayRead, takes("after")])
def orders(request: Request, service: ServiceDep) -> Response:
    """The kept lists."""
    after = request.query_params.get("after", "")[:120]
    lists = life.lists(service.engine, after, LISTS_ON_A_PAGE + 1)
    following = lists[LISTS_ON_A_PAGE - 1]["name"] if len(lists) > LISTS_ON_A_PAGE else ""
    return page(request, "orders.html", lists=lists[:LISTS_ON_A_PAGE], following=following)


@router.get("/orders/{name}/document/{form}", dependencies=[MayRead, takes("part")])
def kept_document(request: Request, name: str, form: str, service: ServiceDep) -> Response:
    """A kept list as a document."""
    facts = life.list_document(service.engine, name)
    part = request.query_params.get("part", "")
    return _download(service, facts, form if form in MEDIA else "pdf", part, name)


@router.get("/orders/{name}", dependencies=[MayRead])
def kept(request: Request, name: str, service: ServiceDep) -> Response:
    """One kept list: how far it has come, what has changed since, and what can be done."""
    facts = life.list_document(service.engine, name)
    changed = None
    if facts["state"] == life.DRAFT:
        try:
            changed = keeping.differences(service, name)
        except Problem as problem:
            changed = {"same": False, "sentences": [problem.detail]}
    return page(
        request,
        "order_list.html",
        list=facts,
        etag=life.list_etag(facts),
        events=life.events(service.engine, name, 0, life.MOST_EVENTS),
        changed=changed,
        documents={form: f"/orders/{name}/document/{form}" for form in ("pdf", "xlsx", "csv")},
        **shown(facts),
    )


@router.post("/orders/{name}/{step}")
async def step(request: Request, name: str, step: str, service: ServiceDep, orderer: Orderer) -> Response:
    """One step of a list, as the page's forms send it."""
    form = await form_of(request)
    etag, who = form.get("etag", ""), orderer.who
    steps = {
        "send": lambda: life.send(service.engine, name, etag, who),
        "recompute": lambda: keeping.recompute(service, name, etag, who),
        "close": lambda: life.close(service.engine, name, etag, _checked(Remark, form, "reason"), who),
        "receive": lambda: life.receive(service.engine, name, etag, _delivered(service, name, form), who),
        "substitute": lambda: keeping.substitute(
            service, name, etag, _whole(form, "line"), form.get("number", "").strip(), who
        ),
        "discard": lambda: life.discard(service.engine, name, etag, who),
    }
    if step in steps:
        await run_in_threadpool(steps[step])
    return gone_to("/orders" if step == "discard" else f"/orders/{name}")


def _whole(form: dict[str, str], field: str) -> int:
    """A count as it was typed; empty is none. Raises InvalidRequest."""
    text = form.get(field, "").strip()
    if text and not (text.isascii() and text.isdigit() and len(text) < 8):
        raise InvalidRequest(f"A count is a whole number, not '{printable(text)}'; nothing was booked")
    return int(text or 0)


def _delivered(service: Service, name: str, form: dict[str, str]) -> list[Facts]:
    """What the receiving form books in: the counts typed, or by its other button all that is open."""
    if form.get("do") == "all":
        return all_open(life.list_document(service.engine, name))
    return came(form)


def _row(line: int, received: int, later: int = 0, never: int = 0) -> Facts:
    return {
        "line": line, "received": received, "back_ordered": later, "promised": None, "given_up": never,
    }  # fmt: skip


def all_open(facts: Facts) -> list[Facts]:
    """Everything that is still open, as received."""
    return [
        _row(line["line"], still)
        for line in facts["lines"]
        if (still := line["pieces"] - line["received"] - line["given_up"]) > 0
    ]


def came(form: dict[str, str]) -> list[Facts]:
    """The rows of the receiving form in which something stands."""
    typed = {name[5:] for name in form if name.startswith("came-") and len(name) < 12}
    lines = sorted(int(number) for number in typed if number.isascii() and number.isdigit())
    rows = [
        _row(line, *(_whole(form, f"{column}-{line}") for column in ("came", "later", "never")))
        for line in lines
    ]
    return [row for row in rows if row["received"] or row["back_ordered"] or row["given_up"]]
