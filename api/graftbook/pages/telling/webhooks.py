"""Webhooks on pages: made, looked at with their deliveries, changed, paused, tried again."""

from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import Administrator, MayAdminister, form_of
from graftbook.events import webhooks
from graftbook.events.cursors import number_of
from graftbook.events.outbox import KINDS, Kind
from graftbook.events.schemas import WebhookChangeIn, WebhookIn, WebhookOut
from graftbook.events.webhook_endpoints import own_networks
from graftbook.http.errors import validated
from graftbook.http.parameters import takes
from graftbook.http.preconditions import require_match
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import told_of
from graftbook.problems import InvalidRequest, PreconditionFailed, Problem
from graftbook.process.state import Service, ServiceDep

router = pages_router()

ON_A_PAGE = 50
KIND_WORDS: dict[Kind, str] = {
    "catalogue.revised": "The catalogue was edited",
    "order_list.created": "An order list was made",
    "order_list.changed": "A draft or a note was changed",
    "order_list.sent": "An order list was sent",
    "order_list.received": "A delivery was booked",
    "order_list.corrected": "A booking was taken back",
    "order_list.closed": "An order list was closed",
    "order_list.discarded": "A draft was thrown away",
    "build.created": "A build was stored",
    "build.changed": "A build was changed",
    "build.removed": "A build was removed",
}
Form = dict[str, str]
CHANGED = "Somebody changed it after you opened it; nothing was done. This is how it stands now."


@router.get("/webhooks", dependencies=[MayAdminister])
def every(request: Request, service: ServiceDep) -> Response:
    """All of them, and the form for another."""
    return _list_page(request, service)


@router.post("/webhooks")
async def make(request: Request, service: ServiceDep, administrator: Administrator) -> Response:
    """Another one; its page shows the secret this once."""
    return await run_in_threadpool(_make, request, service, await form_of(request), administrator.who)


def _make(request: Request, service: Service, form: Form, who: str) -> Response:
    try:
        body = validated(WebhookIn, _typed_fields(form))
        _require_another(service, body)
        made = webhooks.make_webhook(service.engine, body, who, own_networks(service))
    except InvalidRequest as problem:
        return _list_page(request, service, _typed_fields(form), told_of(problem))
    return _page(request, service, made["id"], secret=made["secret"])


def _require_another(service: Service, body: WebhookIn) -> None:
    """A page that shows a secret sends its form again when it is loaded again: that makes no second one."""
    for one in webhooks.list_webhooks(service.engine):
        if one["url"] == body.url and set(one["kinds"]) == set(body.kinds):
            raise InvalidRequest(
                "This address is called already with these events: open it in the list above"
            )


def _typed_fields(form: Form) -> dict[str, Any]:
    kinds = [kind for kind in KINDS if form.get(kind)]
    return {"url": form.get("url", "").strip(), "kinds": kinds, "note": form.get("note", "").strip()}


def _list_page(
    request: Request, service: Service, typed: dict[str, Any] | None = None, notice: str = ""
) -> Response:
    return page(
        request,
        "webhooks.html",
        status=422 if notice else 200,
        headers=KEEP_NOTHING,
        webhooks=webhooks.list_webhooks(service.engine),
        KIND_WORDS=KIND_WORDS,
        typed=typed or {"url": "", "kinds": [], "note": ""},
        notice=notice,
    )


@router.get("/webhooks/{name}", dependencies=[MayAdminister, takes("before")])
def one(request: Request, name: str, service: ServiceDep) -> Response:
    """How far it is, what became of each event, and what can be done."""
    return _page(request, service, name)


def _page(request: Request, service: Service, name: str, notice: str = "", **more: Any) -> Response:
    found = webhooks.get_webhook(service.engine, name)
    before = request.query_params.get("before", "")
    number = number_of(before) if before else None
    rows = webhooks.deliveries(service.engine, name, number, ON_A_PAGE + 1)
    return page(
        request,
        "webhook.html",
        status=more.pop("status", 200),
        headers=KEEP_NOTHING,
        webhook=found,
        etag=webhooks.webhook_etag(found),
        KIND_WORDS=KIND_WORDS,
        typed=more.pop("typed", found),
        deliveries=rows[:ON_A_PAGE],
        older=rows[ON_A_PAGE - 1]["cursor"] if len(rows) > ON_A_PAGE else "",
        secret=more.pop("secret", ""),
        notice=notice,
    )


@router.post("/webhooks/{name}")
async def change(request: Request, name: str, service: ServiceDep, administrator: Administrator) -> Response:
    """Whatever a button of its page asks for."""
    return await run_in_threadpool(_change, request, service, name, await form_of(request))


def _change(request: Request, service: Service, name: str, form: Form) -> Response:
    try:
        return _done(request, service, name, form)
    except PreconditionFailed:
        return _page(request, service, name, CHANGED, status=412)
    except InvalidRequest as problem:
        typed = _typed_fields(form) if form.get("do") == "change" else {}
        found = webhooks.get_webhook(service.engine, name)
        return _page(request, service, name, told_of(problem), status=422, typed={**found, **typed})
    except Problem as problem:
        if problem.status not in (400, 409, 410):
            raise
        return _page(request, service, name, told_of(problem), status=problem.answer_status)


def _done(request: Request, service: Service, name: str, form: Form) -> Response:
    do, engine = form.get("do", ""), service.engine
    if do == "secret":
        require_match(
            form.get("etag", ""), webhooks.webhook_etag(webhooks.get_webhook(engine, name)), "the webhook"
        )
        made = webhooks.new_secret_of(engine, name, end_old=form.get("end_old") == "yes")
        return _page(request, service, name, secret=made["secret"])
    if do == "remove":
        webhooks.remove_webhook(engine, name)
        return gone_to("/webhooks")
    if do in ("try", "again"):
        webhooks.send_again(engine, name, form.get("since", "") if do == "again" else "")
    elif do in ("change", "pause", "activate"):
        body = _body(webhooks.get_webhook(engine, name), form)
        webhooks.change_webhook(engine, name, form.get("etag", ""), body, own_networks(service))
    else:
        raise InvalidRequest("Say what is to be done")
    return gone_to(f"/webhooks/{name}")


def _body(found: WebhookOut, form: Form) -> WebhookChangeIn:
    state = {"pause": "paused", "activate": "active"}.get(form["do"])
    fields: Any = found if state else _typed_fields(form)
    kept = "active" if found["state"] == "active" else "paused"
    return validated(
        WebhookChangeIn,
        {"url": fields["url"], "kinds": fields["kinds"], "note": fields["note"], "state": state or kept},
    )
