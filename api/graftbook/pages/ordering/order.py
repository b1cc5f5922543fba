"""The order of an answer: what to buy and from whom, documents to take away, and a draft to keep.

The name suggested for it: the chassis, what was wished, the day.
"""

import re
from dataclasses import dataclass
from datetime import date
from http import HTTPStatus
from typing import Any, TypedDict
from urllib.parse import parse_qsl, urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from pydantic import TypeAdapter, ValidationError
from starlette.responses import Response

from graftbook.access.guard import MayRead, Orderer, form_of, session_of
from graftbook.builds.schemas import Remark, Slug
from graftbook.http.errors import problem_from_mistakes
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.http.values import money
from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.buying.side_by_side import SupplierAsks
from graftbook.orders.forms import DOCUMENTS, MEDIA, writer
from graftbook.orders.lists import keeping, overview
from graftbook.orders.lists import service as order_lists
from graftbook.orders.lists.schemas import BookingOut, OrderListOut
from graftbook.orders.schemas import OrderOut
from graftbook.orders.service import offers_side_by_side, order_facts_for
from graftbook.pages.asking.question import PageQuestion, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.ordering.delivery import (
    SupplierForm,
    delivery_of,
    forms_of,
    log_of,
    typed_beside,
    whole,
)
from graftbook.pages.ordering.ordered import ALSO, ANOTHER, BUY_FROM, TERMS, PageOrder, answer_to
from graftbook.pages.problems import pages_router
from graftbook.pages.words import told_of
from graftbook.problems import AlreadyExists, DeliveryDoubted, InvalidRequest, NoSet, Problem, Unknown
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.reading import present_revision

MOST_WISHES = 2
LONGEST = 70
"""Letters, so that a number still has room behind them."""
_WISHED = ("upgrade", "fit", "remedy", "clear", "specification")


def suggested(question: PageQuestion, order: OrderOut) -> str:
    """As `24PL-018412-front-discs-2026-11-29`; made of what a name may hold."""
    wished = [value.partition("@")[0] for name in _WISHED for value in question.values(name)]
    wished += [f"all-{severity}" for severity in question.values("remedy_all")]
    more = [f"and-{len(wished) - MOST_WISHES}-more"] if len(wished) > MOST_WISHES else []
    others = [f"and-{len(order['vehicles']) - 1}-vehicles"] if len(order["vehicles"]) > 1 else []
    words = [order["vehicles"][0]["label"], *wished[:MOST_WISHES], *more, *others]
    beginning = "-".join(filter(None, map(_clean, words))) or "order"
    day = order["date"]
    return f"{beginning[: LONGEST - len(day) - 1].rstrip('-._')}-{day}"


def _clean(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9._]+", "-", text).strip("-._")


router = pages_router()

LISTS_ON_A_PAGE = 200
MINE = "mine"
FILTERS = (("", "All"), (overview.OPEN, "Open"), (overview.LATE, "Late"), (MINE, "Mine"))
NO_NAME = (
    "A name has letters, digits, dots, dashes and underscores, no spaces, begins with a letter or a digit, "
    "and has at most 80 characters."
)
NO_NOTE = "A note is plain text of at most 2,000 characters."


@router.get("/order", dependencies=[MayRead, takes_question(*TERMS, ANOTHER, many=[ALSO, BUY_FROM])])
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
            wrong = told_of(problem)
    return _order_page(request, service, asked, TypedForm(another, wrong))


class OfferShown(TypedDict):
    """What a supplier asks for a line; `is_this`: the order takes it there."""

    asked: SupplierAsks
    total: str
    unit_price: str
    deposits: str
    is_this: bool
    address: str


class Offers(TypedDict):
    """What every supplier asks for a line; `chosen`: somebody said from whom, and may let that go."""

    chosen: bool
    let_go: str
    rows: list[OfferShown]


@dataclass(frozen=True, slots=True)
class TypedForm:
    """What was typed into a form of the page, and what is wrong with it."""

    another: str = ""
    wrong: str = ""
    """With the vehicle."""
    name: str = ""
    note: str = ""
    wrong_name: str = ""
    wrong_note: str = ""
    since: tuple[str, ...] = ()
    """What the catalogue of today makes of the order that was looked at."""


def _order_page(
    request: Request, service: Service, asked: PageOrder, typed: TypedForm, status: int = 200
) -> Response:
    try:
        facts = order_facts_for(service, asked.body())
    except NoSet:
        if asked.also:
            raise
        return gone_to(asked.question.address())
    free = overview.free_name(service.engine, suggested(asked.question, facts))
    return page(
        request,
        "order.html",
        status=status,
        headers=KEEP_NOTHING if status != HTTPStatus.OK else None,
        asked=asked,
        vehicles=list(zip(facts["vehicles"], asked.answers(), strict=True)),
        typed=typed,
        documents={form: asked.address(f"/order.{form}") for form in reversed(DOCUMENTS)},
        suggested=free,
        ways=[asked.buying(way["by"], way["at_most_suppliers"]).address() for way in facts["instead"]],
        days=_days(asked, facts),
        offers=_offers(service, asked, facts),
        at_leisure=asked.buying(None, _most(asked)).address(),
        **shown(facts),
    )


def _most(asked: PageOrder) -> int | None:
    most = asked.terms.get("at_most_suppliers", "")
    return int(most) if most.isdecimal() else None


def _offers(service: Service, asked: PageOrder, facts: OrderOut) -> dict[str, Offers]:
    """By number what every supplier asks for the line, with the address of the order that takes it there."""
    bought = {(line["number"], line["supplier"]) for line in facts["lines"]}
    return {
        number: {
            "chosen": number in asked.chosen,
            "let_go": asked.taking_from(number, "").address(),
            "rows": [
                {
                    "asked": one,
                    "total": money(one.total),
                    "unit_price": money(one.unit_price),
                    "deposits": money(one.deposits),
                    "is_this": (number, one.supplier) in bought,
                    "address": asked.taking_from(number, one.supplier).address() + f"#line-{number}",
                }
                for one in some
            ],
        }
        for number, some in offers_side_by_side(service, facts).items()
    }


def _days(asked: PageOrder, facts: OrderOut) -> list[dict[str, Any]]:
    """What each day costs, with who supplies then and the address of the order by that day."""
    titles = {supplier["name"]: supplier["title"] for supplier in facts["suppliers"]}
    here = max((supplier["arrives"] for supplier in facts["suppliers"]), default="")
    return [
        {
            **day,
            "titles": [titles.get(name, name) for name in day["suppliers"]],
            "is_this": day["by"] == here,
            "address": asked.buying(day["by"], _most(asked)).address(),
        }
        for day in facts["price_of_days"]
    ]


@router.get("/order.{form}", dependencies=[MayRead, takes_question(*TERMS, "part", many=[ALSO, BUY_FROM])])
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
    first = {line["number"]: line["line"] for line in reversed(facts["lines"])}
    lines = [
        {**line, "anchor": f"line-{line['number']}" if first[line["number"]] == line["line"] else ""}
        for line in facts["lines"]
    ]
    suppliers = [
        {**supplier, "of": [line for line in lines if line["supplier"] == supplier["name"]]}
        for supplier in facts["suppliers"]
    ]
    return {
        "order": facts,
        "said": {line["number"]: said_of(line) for line in facts["not_supplied"]},
        "suppliers": suppliers,
        "without": [line for line in lines if not line["supplier"]],
    }


@router.post("/order", dependencies=[takes_question(*TERMS, many=[ALSO, BUY_FROM])])
async def keep(request: Request, service: ServiceDep, orderer: Orderer) -> Response:
    """Keep the order as a draft, and go there; a name or a note that cannot be is told beside its field.

    What is kept is what the form says; its address says the same, as the way back to it.
    """
    form = await form_of(request)
    asked = PageOrder.of(await _pairs(request))
    return await run_in_threadpool(_keep, request, service, asked, form, orderer.who)


def _keep(request: Request, service: Service, asked: PageOrder, form: dict[str, str], who: str) -> Response:
    """A name that the page suggested gives way to the next that is free, as does that of a form which asks
    for none; one that was typed does not. What an edit changed meanwhile is told, and nothing is kept."""
    asks, name, note = "name" in form, form.get("name", "").strip(), form.get("note", "").strip()
    body = asked.at_present().body()
    wrong = {"wrong_name": _mistake(Slug, name) if asks else "", "wrong_note": _mistake(Remark, note)}
    present = asked.as_of(present_revision(service))
    if not any(wrong.values()):
        note = _field_checked(Remark, form, "note")
        if since := _changed_since(service, asked, present):
            typed = TypedForm(name=name, note=note, since=since)
            return _order_page(request, service, present, typed, HTTPStatus.CONFLICT)
        try:
            if asks and name != form.get("suggested", ""):
                made = keeping.make(service, name, body, note, who)
            else:
                made = keeping.make_next(
                    service, lambda facts: name or suggested(asked.question, facts), body, note, who
                )
        except AlreadyExists:
            free = overview.free_name(service.engine, name)
            wrong["wrong_name"] = f"There is a list {name} already. {free} is free."
            name = free
        else:
            return _kept_and_sent(service, made, who) if form.get("do") == "send" else _at(made["name"])
    typed = TypedForm(name=name, note=note, wrong_name=wrong["wrong_name"], wrong_note=wrong["wrong_note"])
    return _order_page(request, service, present, typed, HTTPStatus.UNPROCESSABLE_ENTITY)


def _changed_since(service: Service, asked: PageOrder, present: PageOrder) -> tuple[str, ...]:
    """In which lines and sums the order of today differs from that of the revision that was looked at."""
    seen = asked.question.value("as_of")
    if not seen or seen == present.question.value("as_of"):
        return ()
    try:
        now = order_facts_for(service, present.body())
    except NoSet as gone:
        return (gone.detail,)
    return tuple(keeping.differences_between(order_facts_for(service, asked.body()), now)["sentences"])


def _kept_and_sent(service: Service, made: OrderListOut, who: str) -> Response:
    """Send what was kept a moment ago; what stands against that is told on the list's own page."""
    try:
        order_lists.send(service.engine, made["name"], order_lists.list_etag(made), who)
    except Problem:
        return _at(made["name"])
    return _at(made["name"] + "#suppliers-head")


def _at(place: str) -> Response:
    return gone_to(f"/orders/{place}")


def _mistake(kind: Any, text: str) -> str:
    """What is wrong with the text of a field, in words; nothing when nothing is."""
    try:
        TypeAdapter(kind).validate_python(text)
    except ValidationError:
        return NO_NAME if kind is Slug else NO_NOTE
    return ""


def _field_checked(kind: Any, form: dict[str, str], field: str) -> str:
    """A field as the API would take it. Raises InvalidRequest."""
    try:
        return str(TypeAdapter(kind).validate_python(form.get(field, "").strip()))
    except ValidationError as error:
        raise problem_from_mistakes([{**e, "loc": ("body", field)} for e in error.errors()]) from error


async def _pairs(request: Request) -> list[tuple[str, str]]:
    return parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True)


@router.get("/orders", dependencies=[MayRead, takes("after", "show", "gone")])
def orders(request: Request, service: ServiceDep) -> Response:
    """The kept lists: all, or those that are open, late, or made by who is signed in."""
    after, show, gone = (request.query_params.get(name, "")[:120] for name in ("after", "show", "gone"))
    session = session_of(request)
    who = session.principal.who if session else ""
    state = next((word for word in (overview.OPEN, overview.LATE) if word == show), None)
    made_by = who if show == MINE else ""
    lists = overview.lists(service.engine, after, LISTS_ON_A_PAGE + 1, state, made_by)
    following = lists[LISTS_ON_A_PAGE - 1]["name"] if len(lists) > LISTS_ON_A_PAGE else ""
    return page(
        request,
        "orders.html",
        lists=lists[:LISTS_ON_A_PAGE],
        following="/orders?" + urlencode({"show": show, "after": following}) if following else "",
        show=show,
        filters=[(word, title) for word, title in FILTERS if word != MINE or who],
        gone=gone,
        today=date.today().isoformat(),
    )


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
    forms: list[SupplierForm] | None = None,
    status: int = HTTPStatus.OK,
    unbooked: str = "",
    reason: str = "",
) -> Response:
    """The page of a list; `forms` where something is typed for a delivery. `unbooked`: why it was not closed,
    with the `reason` that was typed for that."""
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
        status=status,
        list=facts,
        etag=order_lists.list_etag(facts),
        events=order_lists.events(service.engine, name, 0, order_lists.MOST_EVENTS),
        forms=forms or forms_of(facts, {}),
        booked=log_of(_newest(service, facts)),
        too_many=[line for line in facts["lines"] if line["too_many"]],
        changed=changed,
        unbooked=unbooked,
        reason=reason,
        documents={form: f"/orders/{name}/document/{form}" for form in reversed(DOCUMENTS)},
        answers=_answers(service, name, facts),
        today=date.today().isoformat(),
        **shown(facts),
    )


def _answers(service: Service, name: str, facts: OrderListOut) -> list[str | None]:
    """For each vehicle the address of the answer that the list was made from; None where none says it."""
    asked = order_lists.asked_of(service.engine, name)
    return [
        answer_to(one, facts["catalogue_revision"])
        for one, _ in zip([asked, *asked.get("also", [])], facts["vehicles"], strict=True)
    ]


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
        "close": lambda: _close(request, service, name, form, who),
        "receive": lambda: _receive(request, service, name, form, who),
        "take-back": lambda: _take_back(request, service, name, form, who),
        "substitute": lambda: keeping.substitute(
            service, name, etag, whole(form, "line"), form.get("number", "").strip(), who
        ),
        "discard": lambda: order_lists.discard(service.engine, name, etag, who),
    }
    done = await run_in_threadpool(steps[step]) if step in steps else None
    if isinstance(done, Response):
        return done
    after = {"discard": "/orders?" + urlencode({"gone": name}), "send": f"/orders/{name}#suppliers-head"}
    return gone_to(after.get(step, f"/orders/{name}"))


def _receive(request: Request, service: Service, name: str, form: dict[str, str], who: str) -> Response:
    """Book a delivery and go to where the next is booked, or show its fields again with what is doubted.

    What is typed for other suppliers is shown again as well: no address holds it, so this answers itself.
    """
    facts = order_lists.list_document(service.engine, name)
    delivery = delivery_of(facts, form)
    beside = typed_beside(facts, form, delivery.supplier)
    try:
        order_lists.receive(service.engine, name, form.get("etag", ""), delivery, who)
    except DeliveryDoubted as doubted:
        forms = forms_of(facts, beside, delivery, doubted)
        return _kept_page(request, service, facts, forms, doubted.answer_status)
    return _with_what_is_typed(request, service, f"{name}#came-head", beside)


def _with_what_is_typed(request: Request, service: Service, place: str, typed: dict[str, str]) -> Response:
    """Go to a list; where something is typed for a delivery, its page with that."""
    name = place.partition("#")[0]
    if not typed:
        return _at(place)
    facts = order_lists.list_document(service.engine, name)
    answer = _kept_page(request, service, facts, forms_of(facts, typed))
    answer.headers["Content-Location"] = f"/orders/{name}"
    return answer


def _close(request: Request, service: Service, name: str, form: dict[str, str], who: str) -> Response | None:
    """Close a list; not while counts are typed that nobody booked: they would be gone."""
    facts = order_lists.list_document(service.engine, name)
    if typed := typed_beside(facts, form):
        forms = forms_of(facts, typed)
        theirs = ", ".join(one["title"] for one in forms if one["typed"])
        why = f"Something is typed for {theirs} that is not booked: book it, or empty its fields."
        reason = form.get("reason", "")
        return _kept_page(request, service, facts, forms, HTTPStatus.CONFLICT, unbooked=why, reason=reason)
    order_lists.close(service.engine, name, form.get("etag", ""), _field_checked(Remark, form, "reason"), who)
    return None


def _take_back(request: Request, service: Service, name: str, form: dict[str, str], who: str) -> Response:
    booking, etag = whole(form, "booking"), form.get("etag", "")
    why, reopen = _field_checked(Remark, form, f"why-{booking}"), form.get("reopen") == "true"
    if not why:
        raise InvalidRequest("Say in a few words why the booking is taken back; it still stands")
    beside = typed_beside(order_lists.list_document(service.engine, name), form)
    order_lists.take_back(service.engine, name, booking, etag, why, who, reopen=reopen)
    return _with_what_is_typed(request, service, f"{name}#booking-{booking}", beside)
