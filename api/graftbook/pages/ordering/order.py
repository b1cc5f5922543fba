"""The order of an answer: what to buy and from whom, documents to take away, and a draft to keep."""

from typing import Any
from urllib.parse import parse_qsl

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from pydantic import TypeAdapter, ValidationError
from starlette.responses import Response

from graftbook.access.guard import MayRead, Orderer, form_of
from graftbook.builds.schemas import Remark, Slug
from graftbook.http.errors import problem_from_mistakes
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.forms import DOCUMENTS, MEDIA, writer
from graftbook.orders.lists import keeping
from graftbook.orders.lists import service as order_lists
from graftbook.orders.lists.schemas import BookingOut, OrderListOut
from graftbook.orders.schemas import OrderOut
from graftbook.orders.service import order_facts_for
from graftbook.pages.asking.question import takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.ordering.delivery import delivery_of, forms_of, log_of, whole
from graftbook.pages.ordering.ordered import ALSO, ANOTHER, TERMS, PageOrder
from graftbook.pages.problems import pages_router
from graftbook.problems import DeliveryDoubted, InvalidRequest, NoSet, Problem, Unknown
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.reading import present_revision

router = pages_router()

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
            order_facts_for(service, more.body())
            return gone_to(more.address())
        except (InvalidRequest, NoSet, Unknown) as problem:
            wrong = problem.detail
    try:
        facts = order_facts_for(service, asked.body())
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
        documents={form: asked.address(f"/order.{form}") for form in reversed(DOCUMENTS)},
        suggested=_name_for(facts),
        ways=[asked.buying(way["by"], way["at_most_suppliers"]).address() for way in facts["instead"]],
        **shown(facts),
    )


@router.get("/order.{form}", dependencies=[MayRead, takes_question(*TERMS, "part", many=[ALSO])])
def document(request: Request, form: str, service: ServiceDep) -> Response:
    """The same as a document; `part` gives the part of one supplier or vehicle."""
    if form not in MEDIA:
        return gone_to("/order")
    facts = order_facts_for(service, PageOrder.of(request.query_params.multi_items()).body())
    return _download(service, facts, form, request.query_params.get("part", ""), _name_for(facts))


def _download(service: Service, facts: OrderOut | OrderListOut, form: str, part: str, name: str) -> Response:
    content = writer(form, service.settings.house, part)(facts)
    headers = {"Content-Disposition": f'attachment; filename="{name}.{form}"', **KEEP_NOTHING}
    return Response(content, media_type=MEDIA[form], headers=headers)


def _name_for(facts: OrderOut) -> str:
    return "order-" + "".join(c for c in facts["vehicles"][0]["label"] if c.isalnum() or c == "-")[:60]


def shown(facts: OrderOut | OrderListOut) -> dict[str, Any]:
    """What a page of an order speaks of: lines by supplier, the rest as it is."""
    suppliers = [
        {**supplier, "of": [line for line in facts["lines"] if line["supplier"] == supplier["name"]]}
        for supplier in facts["suppliers"]
    ]
    return {
        "order": facts,
        "said": {line["number"]: said_of(line) for line in facts["not_supplied"]},
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
    lists = order_lists.lists(service.engine, after, LISTS_ON_A_PAGE + 1)
    following = lists[LISTS_ON_A_PAGE - 1]["name"] if len(lists) > LISTS_ON_A_PAGE else ""
    return page(request, "orders.html", lists=lists[:LISTS_ON_A_PAGE], following=following)


@router.get("/orders/{name}/document/{form}", dependencies=[MayRead, takes("part")])
def kept_document(request: Request, name: str, form: str, service: ServiceDep) -> Response:
    """A kept list as a document."""
    facts = order_lists.list_document(service.engine, name)
    part = request.query_params.get("part", "")
    return _download(service, facts, form if form in MEDIA else "pdf", part, name)


@router.get("/orders/{name}", dependencies=[MayRead])
def kept(request: Request, name: str, service: ServiceDep) -> Response:
    """One kept list: how far it has come, what has changed since, and what can be done."""
    return _kept_page(request, service, order_lists.list_document(service.engine, name))


def _kept_page(
    request: Request,
    service: Service,
    facts: OrderListOut,
    form: dict[str, str] | None = None,
    doubted: DeliveryDoubted | None = None,
) -> Response:
    """The page of a list; with a delivery that is doubted its form holds what was typed."""
    name = facts["name"]
    changed: dict[str, Any] | None = None
    if facts["state"] == order_lists.DRAFT:
        try:
            changed = {**keeping.differences(service, name)}
        except Problem as problem:
            changed = {"same": False, "complete": False, "sentences": [problem.detail]}
    return page(
        request,
        "order_list.html",
        status=doubted.answer_status if doubted else 200,
        list=facts,
        etag=order_lists.list_etag(facts),
        events=order_lists.events(service.engine, name, 0, order_lists.MOST_EVENTS),
        forms=forms_of(facts, delivery_of(facts, form) if form else None, doubted),
        booked=log_of(_newest(service, facts)),
        too_many=[line for line in facts["lines"] if line["too_many"]],
        changed=changed,
        documents={form: f"/orders/{name}/document/{form}" for form in reversed(DOCUMENTS)},
        **shown(facts),
    )


def _newest(service: Service, facts: OrderListOut) -> list[BookingOut]:
    """The bookings made last, the oldest of them first."""
    newest = facts["newest_booking"] or 0
    after = max(0, newest - order_lists.MOST_EVENTS)
    if not newest:
        return []
    return order_lists.bookings(service.engine, facts["name"], after, order_lists.MOST_EVENTS)


@router.post("/orders/{name}/{step}")
async def step(request: Request, name: str, step: str, service: ServiceDep, orderer: Orderer) -> Response:
    """One step of a list, as the page's forms send it."""
    form = await form_of(request)
    etag, who = form.get("etag", ""), orderer.who
    steps = {
        "send": lambda: order_lists.send(service.engine, name, etag, who, incomplete="incomplete" in form),
        "recompute": lambda: keeping.recompute(service, name, etag, who),
        "close": lambda: order_lists.close(service.engine, name, etag, _checked(Remark, form, "reason"), who),
        "receive": lambda: _receive(request, service, name, form, who),
        "take-back": lambda: _take_back(service, name, form, who),
        "substitute": lambda: keeping.substitute(
            service, name, etag, whole(form, "line"), form.get("number", "").strip(), who
        ),
        "discard": lambda: order_lists.discard(service.engine, name, etag, who),
    }
    done = await run_in_threadpool(steps[step]) if step in steps else None
    if isinstance(done, Response):
        return done
    return gone_to("/orders" if step == "discard" else f"/orders/{name}")


def _receive(request: Request, service: Service, name: str, form: dict[str, str], who: str) -> Response:
    """Book a delivery and go to where it stands, or show its form again with what is doubted."""
    facts = order_lists.list_document(service.engine, name)
    try:
        delivery = delivery_of(facts, form)
        booked = order_lists.receive(service.engine, name, form.get("etag", ""), delivery, who)
    except DeliveryDoubted as doubted:
        return _kept_page(request, service, facts, form, doubted)
    return gone_to(f"/orders/{name}#booking-{booked['newest_booking']}")


def _take_back(service: Service, name: str, form: dict[str, str], who: str) -> Response:
    booking, etag = whole(form, "booking"), form.get("etag", "")
    why, reopen = _checked(Remark, form, "why"), form.get("reopen") == "true"
    if not why:
        raise InvalidRequest("Say in a few words why the booking is taken back; it still stands")
    order_lists.take_back(service.engine, name, booking, etag, why, who, reopen=reopen)
    return gone_to(f"/orders/{name}#booking-{booking}")
