"""Events and webhooks as facts."""

import json
from datetime import datetime
from typing import TYPE_CHECKING

from graftbook.database import in_utc
from graftbook.events.cursors import cursor_of
from graftbook.events.outbox import KINDS, EventRow, Kind
from graftbook.events.tables import STATES, DeliveryRow, WebhookRow

if TYPE_CHECKING:
    from graftbook.events.schemas import DeliveryOut, EventOut, WebhookOut


def event_document(event: EventRow, epoch: str) -> "EventOut":
    """An event as the feed tells it and as it is sent to webhooks."""
    return {
        "type": next(kind for kind in KINDS if kind == event.kind),
        "timestamp": in_utc(event.at).isoformat(),
        "id": event.id,
        "cursor": cursor_of(epoch, event.number),
        "data": json.loads(event.data),
    }


def kinds_of(webhook: WebhookRow) -> list[Kind]:
    """The kinds that a webhook is sent; none of them: all."""
    wanted = set(webhook.kinds.split("; "))
    return [kind for kind in KINDS if kind in wanted]


def webhook_document(
    webhook: WebhookRow, epoch: str, waiting: int, forgotten: int, now: datetime
) -> "WebhookOut":
    """A webhook without its secrets. `waiting`: events still to be sent; `forgotten`: up to which none are
    kept."""
    restored = webhook.epoch != epoch
    state = "paused" if restored and webhook.state == "active" else webhook.state
    active = state == "active"
    return {
        "id": webhook.id,
        "url": webhook.url,
        "kinds": kinds_of(webhook),
        "note": webhook.note,
        "state": next(word for word in STATES if word == state),
        "why": RESTORED if restored and webhook.state == "active" else webhook.why,
        "made": webhook.made.isoformat(),
        "made_by": webhook.made_by,
        "version": webhook.version,
        "cursor": cursor_of(epoch, webhook.position),
        "waiting": waiting,
        "lost": max(0, forgotten - webhook.position),
        "attempts": webhook.attempts,
        "next_attempt": webhook.due.isoformat() if active and webhook.attempts else None,
        "old_secret_until": webhook.old_until.isoformat()
        if webhook.old_until and webhook.old_until > now
        else None,
    }


RESTORED = "The database was restored; look whether this is still the place to send from, then make it active"


def delivery_document(delivery: DeliveryRow, event: EventRow, epoch: str) -> "DeliveryOut":
    """What became of one event on its way."""
    data = json.loads(event.data)
    return {
        "event": event.id,
        "type": next(kind for kind in KINDS if kind == event.kind),
        "about": str(data.get("name") or f"revision {data.get('revision')}"),
        "cursor": cursor_of(epoch, delivery.number),
        "before": cursor_of(epoch, delivery.number - 1),
        "delivered": delivery.delivered,
        "attempts": delivery.attempts,
        "at": delivery.at.isoformat(),
        "answer": delivery.answer,
    }
