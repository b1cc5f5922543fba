"""Webhooks over the API, for whoever may administer: what happens is sent to them."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Administrator, MayAdminister
from graftbook.catalogue.store.cursors import read_name
from graftbook.events import webhooks
from graftbook.events.cursors import number_of
from graftbook.events.problems import EventsForgotten, OtherHistory, SecretStillSigns, UnknownWebhook
from graftbook.events.schemas import (
    DeliveriesOut,
    SendAgainIn,
    WebhookChangeIn,
    WebhookIn,
    WebhookMadeOut,
    WebhookOut,
    WebhooksOut,
)
from graftbook.events.sending import Network, networks_in
from graftbook.http.errors import answers, documented
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.preconditions import IfMatch, etag_wanted
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.process.state import Service, ServiceDep

router = APIRouter(prefix="/v1/webhooks", tags=["events"], dependencies=[MayAdminister])

Id = Annotated[str, Path(max_length=24, description="as the list shows it", examples=["wh_0f3c9a5be2d17846"])]
EndOld = Annotated[bool, Query(description="end a secret of before that still signs, at once")]
BODY = (problems.InvalidRequest, problems.MalformedRequest, problems.TooLarge, problems.UnsupportedMedia)


def own_networks(service: Service) -> tuple[Network, ...]:
    """The house's own networks that webhooks may go to."""
    return networks_in(service.settings.webhook_networks)


def _answer(webhook: WebhookOut, status: int = 200) -> Response:
    headers = {"ETag": webhooks.webhook_etag(webhook), "Location": f"/v1/webhooks/{webhook['id']}"}
    return json_answer(webhook, status=status, headers={**KEEP_NOTHING, **headers})


@router.get(
    "",
    operation_id="listWebhooks",
    summary="The webhooks, without their secrets",
    responses={200: {"model": WebhooksOut}},
)
def list_webhooks(service: ServiceDep) -> Response:
    """In the order in which they were made; how far each is, and why one is not active."""
    return json_answer({"items": webhooks.list_webhooks(service.engine)}, headers=KEEP_NOTHING)


@router.post(
    "",
    operation_id="createWebhook",
    summary="Have events sent to an address; the answer shows the secret this once",
    status_code=201,
    responses=answers(WebhookMadeOut, *BODY, status=201),
)
def create_webhook(body: WebhookIn, service: ServiceDep, administrator: Administrator) -> Response:
    """Each event from now on is sent as POST with the body that the feed tells, signed after the Standard
    Webhooks specification, in order, until it is answered 2xx; 410 disables the webhook."""
    made = webhooks.make_webhook(service.engine, body, administrator.who, own_networks(service))
    return _answer(made, 201)


@router.get(
    "/{id}",
    operation_id="getWebhook",
    summary="One webhook: how far it is, and why it is not active",
    responses=answers(WebhookOut, UnknownWebhook, problems.InvalidRequest),
)
def get_webhook(id: Id, service: ServiceDep) -> Response:
    """Its ETag is what a change must send as If-Match."""
    return _answer(webhooks.get_webhook(service.engine, id))


@router.put(
    "/{id}",
    operation_id="changeWebhook",
    summary="Change its address or kinds, pause it, make it active again",
    responses=answers(
        WebhookOut, *BODY, UnknownWebhook, problems.PreconditionFailed, problems.PreconditionRequired
    ),
)
def change_webhook(id: Id, body: WebhookChangeIn, service: ServiceDep, if_match: IfMatch = None) -> Response:
    """Needs If-Match. Made active it is sent at once what it has not had."""
    etag = etag_wanted(if_match)
    changed = webhooks.change_webhook(service.engine, id, etag, body, own_networks(service))
    return _answer(changed)


@router.post(
    "/{id}/secret",
    operation_id="changeWebhookSecret",
    summary="Another secret, shown this once; for a day the old one signs too",
    responses=answers(WebhookMadeOut, UnknownWebhook, SecretStillSigns, problems.InvalidRequest),
)
def change_secret(id: Id, service: ServiceDep, end_old: EndOld = False) -> Response:
    """Two signatures stand in `webhook-signature` meanwhile, so that no event is refused. While they do, a
    further secret is refused without `end_old`."""
    return _answer(webhooks.new_secret_of(service.engine, id, end_old=end_old))


@router.post(
    "/{id}/send-again",
    operation_id="sendWebhookAgain",
    summary="Try the next event now, or send all behind a cursor again",
    responses=answers(
        WebhookOut, *BODY, UnknownWebhook, problems.InvalidCursor, OtherHistory, EventsForgotten
    ),
)
def send_again(id: Id, body: SendAgainIn, service: ServiceDep) -> Response:
    """What is sent again has the same `webhook-id`. A webhook that is not active stays so."""
    return _answer(webhooks.send_again(service.engine, id, body.since))


@router.delete(
    "/{id}",
    operation_id="removeWebhook",
    summary="Send it nothing more, and forget it",
    status_code=204,
    responses=documented(UnknownWebhook, problems.InvalidRequest),
)
def remove_webhook(id: Id, service: ServiceDep) -> Response:
    """Takes no If-Match, so that it never fails for being late."""
    webhooks.remove_webhook(service.engine, id)
    return Response(status_code=204)


@router.get(
    "/{id}/deliveries",
    operation_id="listWebhookDeliveries",
    summary="What became of the events sent to it, the newest first",
    responses=answers(DeliveriesOut, UnknownWebhook, problems.InvalidCursor, problems.InvalidRequest),
)
def list_deliveries(
    request: Request, id: Id, service: ServiceDep, limit: Limit = None, cursor: Cursor = ""
) -> Response:
    """One line an event, with the last answer in words."""
    size, search = limit or service.settings.page_size, {"deliveries": id}
    behind = read_name(cursor, search)
    before = number_of(behind) if behind else None
    rows = webhooks.deliveries(service.engine, id, before, size + 1)
    return page_of(request, rows, size, search, by="cursor")
