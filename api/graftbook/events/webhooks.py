"""Webhooks: made, changed, given a new secret, looked at, sent again. Each function is one transaction."""

import secrets
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.database import reading, writing
from graftbook.events import store
from graftbook.events.cursors import FeedState
from graftbook.events.documents import delivery_document, kinds_of, webhook_document
from graftbook.events.problems import SecretStillSigns, UnknownWebhook
from graftbook.events.sending import Network, require_address
from graftbook.events.signing import new_secret
from graftbook.events.tables import WebhookRow
from graftbook.http.preconditions import require_match
from graftbook.problems import InvalidRequest

if TYPE_CHECKING:
    from graftbook.events.schemas import DeliveryOut, WebhookChangeIn, WebhookIn, WebhookMadeOut, WebhookOut

OLD_SECRET_SERVES = timedelta(hours=24)
MOST_COUNTED = 1_000
MOST_WEBHOOKS = 100
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def webhook_etag(webhook: "WebhookOut") -> str:
    """The strong ETag of what can be changed of a webhook; how far it is with sending is no part of it."""
    history = webhook["cursor"].partition("-")[0]
    return f'"{webhook["id"]}-{webhook["version"]}-{history}"'


def _document(session: Session, row: WebhookRow, state: FeedState) -> "WebhookOut":
    waiting = store.count_after(session, row.position, kinds_of(row), MOST_COUNTED)
    return webhook_document(row, state.epoch, waiting, state.forgotten, datetime.now(UTC))


def _row(session: Session, name: str, if_match: str | None = None) -> tuple[WebhookRow, FeedState]:
    """A webhook to be changed. Raises UnknownWebhook, and PreconditionFailed unless it has this ETag."""
    row = store.webhook(session, name, alone=True)
    if row is None:
        raise UnknownWebhook(name)
    state = store.feed_state(session.connection())
    if if_match is not None:
        require_match(if_match, webhook_etag(_document(session, row, state)), "the webhook")
    return row, state


def list_webhooks(engine: Engine) -> "list[WebhookOut]":
    """All of them, in the order in which they were made."""
    with reading(engine) as session:
        state = store.feed_state(session.connection())
        return [_document(session, row, state) for row in store.webhooks(session)]


def get_webhook(engine: Engine, name: str) -> "WebhookOut":
    """One of them. Raises UnknownWebhook."""
    with reading(engine) as session:
        row = store.webhook(session, name)
        if row is None:
            raise UnknownWebhook(name)
        return _document(session, row, store.feed_state(session.connection()))


def make_webhook(engine: Engine, body: "WebhookIn", who: str, own: Sequence[Network]) -> "WebhookMadeOut":
    """From now on its receiver is sent what happens. Raises InvalidRequest for an address that cannot be."""
    require_address(body.url, own)
    now = datetime.now(UTC)
    with writing(engine) as session:
        if len(store.webhooks(session)) >= MOST_WEBHOOKS:
            raise InvalidRequest(f"There are {MOST_WEBHOOKS} webhooks already; remove one first")
        state = store.feed_state(session.connection())
        row = WebhookRow(
            id=f"wh_{secrets.token_hex(8)}",
            url=body.url,
            kinds="; ".join(body.kinds),
            note=body.note,
            secret=new_secret(),
            made=now,
            made_by=who,
            epoch=state.epoch,
            position=state.last,
            due=now,
            lease_until=LONG_AGO,
        )
        session.add(row)
        session.flush()
        return {**_document(session, row, state), "secret": row.secret}


def change_webhook(
    engine: Engine, name: str, if_match: str, body: "WebhookChangeIn", own: Sequence[Network]
) -> "WebhookOut":
    """Made active it is sent what it has not had.

    Raises UnknownWebhook, PreconditionFailed, InvalidRequest.
    """
    require_address(body.url, own)
    with writing(engine) as session:
        row, state = _row(session, name, if_match)
        row.url, row.kinds, row.note = body.url, "; ".join(body.kinds), body.note
        row.state, row.why = body.state, "Somebody paused it" if body.state == "paused" else ""
        row.version += 1
        if body.state == "active":
            _begin_again(row, state)
        session.flush()
        return _document(session, row, state)


def _begin_again(row: WebhookRow, state: FeedState) -> None:
    row.epoch, row.attempts, row.due = state.epoch, 0, datetime.now(UTC)
    row.position = max(row.position, state.forgotten)


def new_secret_of(engine: Engine, name: str, *, end_old: bool = False) -> "WebhookMadeOut":
    """Another secret; the one before is signed with too for a day. One that signs so still is ended by that
    only when it is said (`end_old`). Raises UnknownWebhook, SecretStillSigns."""
    with writing(engine) as session:
        row, state = _row(session, name)
        now = datetime.now(UTC)
        if row.old_until and row.old_until > now and not end_old:
            until = f"{row.old_until:%Y-%m-%d} at {row.old_until:%H:%M} UTC"
            message = f"The secret before this one signs until {until}; another one ends it at once"
            raise SecretStillSigns(message, old_secret_until=row.old_until.isoformat())
        row.old_secret, row.old_until = row.secret, now + OLD_SECRET_SERVES
        row.secret = new_secret()
        row.version += 1
        session.flush()
        return {**_document(session, row, state), "secret": row.secret}


def send_again(engine: Engine, name: str, since: str) -> "WebhookOut":
    """Send all behind a cursor again, in order; without one the next event is tried now.

    Raises UnknownWebhook, InvalidCursor, OtherHistory, EventsForgotten.
    """
    with writing(engine) as session:
        row, state = _row(session, name)
        if since:
            row.position = state.number(since)
            row.lease = ""  # whoever sends now must not put it on again
        row.attempts, row.due = 0, datetime.now(UTC)
        session.flush()
        return _document(session, row, state)


def remove_webhook(engine: Engine, name: str) -> None:
    """Nothing more is sent. Raises UnknownWebhook."""
    with writing(engine) as session:
        if not store.remove_webhook(session, name):
            raise UnknownWebhook(name)


def deliveries(engine: Engine, name: str, before: int | None, limit: int) -> "list[DeliveryOut]":
    """What became of the events sent, the newest first. Raises UnknownWebhook."""
    with reading(engine) as session:
        if store.webhook(session, name) is None:
            raise UnknownWebhook(name)
        epoch = store.feed_state(session.connection()).epoch
        rows = store.deliveries_before(session, name, before, limit)
        return [delivery_document(delivery, event, epoch) for delivery, event in rows]
