"""The SQL of events and webhooks; each function works inside its caller's transaction."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, func, update
from sqlalchemy import select as select_rows
from sqlmodel import Session, col, select

from graftbook.catalogue.history.revisions import EpochRow
from graftbook.database import in_utc
from graftbook.events.cursors import FeedState
from graftbook.events.outbox import EVENT, FEED, EventRow
from graftbook.events.tables import DeliveryRow, WebhookRow

FORGOTTEN_AT_ONCE = 1_000


def feed_state(connection: Connection) -> FeedState:
    """How far the feed is."""
    counted = select_rows(FEED.c.last, FEED.c.forgotten, col(EpochRow.name))
    row = connection.execute(counted.where(FEED.c.one == col(EpochRow.number))).one()
    return FeedState(row.name, row.last, row.forgotten)


def _of_kinds(kinds: Sequence[str]) -> Any:
    return col(EventRow.kind).in_(kinds) if kinds else True


def events_after(session: Session, number: int, kinds: Sequence[str], limit: int) -> list[EventRow]:
    """Events behind a number, in their order: of these kinds, or all."""
    query = select(EventRow).where(col(EventRow.number) > number, _of_kinds(kinds))
    return list(session.exec(query.order_by(col(EventRow.number)).limit(limit)))


def count_after(session: Session, number: int, kinds: Sequence[str], most: int) -> int:
    """How many they are, counted no further than `most`."""
    some = select_rows(EVENT.c.number).where(EVENT.c.number > number, _of_kinds(kinds)).limit(most).subquery()
    return session.exec(select(func.count()).select_from(some)).one()


def any_before(session: Session, before: datetime) -> bool:
    """Whether the oldest event is older than a moment."""
    oldest = session.exec(select(EventRow.at).order_by(col(EventRow.number)).limit(1)).first()
    return oldest is not None and in_utc(oldest) < before


def forget(session: Session, before: datetime) -> int:
    """Take out a bounded number of the events older than a moment, the oldest first, and what became of them
    on their way. What an active webhook still has to be sent stays. Returns how many."""
    connection = session.connection()
    state = feed_state(connection)
    waiting = select(func.min(WebhookRow.position)).where(
        col(WebhookRow.state) == "active", col(WebhookRow.epoch) == state.epoch
    )
    bound = session.exec(waiting).one_or_none()
    old = select_rows(EVENT.c.number).where(EVENT.c.at < before, EVENT.c.number > state.forgotten)
    if bound is not None:
        old = old.where(EVENT.c.number <= bound)
    numbers = connection.execute(old.order_by(EVENT.c.number).limit(FORGOTTEN_AT_ONCE)).scalars().all()
    if numbers:
        connection.execute(update(FEED).values(forgotten=numbers[-1]))
        connection.execute(delete(EVENT).where(EVENT.c.number <= numbers[-1]))
        connection.execute(delete(DeliveryRow).where(col(DeliveryRow.number) <= numbers[-1]))
    return len(numbers)


def webhook(session: Session, name: str, *, alone: bool = False) -> WebhookRow | None:
    """A webhook; None if there is none. `alone`: from here to its end no other transaction changes it."""
    return session.get(WebhookRow, name, with_for_update=alone or None, populate_existing=True)


def webhooks(session: Session) -> list[WebhookRow]:
    """All of them, in the order in which they were made."""
    return list(session.exec(select(WebhookRow).order_by(col(WebhookRow.made), col(WebhookRow.id))))


def remove_webhook(session: Session, name: str) -> bool:
    """Take out a webhook and what is noted of its deliveries; False if there is none."""
    gone = session.connection().execute(delete(WebhookRow).where(col(WebhookRow.id) == name))
    return gone.rowcount == 1


def _behind(state: FeedState) -> Any:
    """Active webhooks that have not come to the end of the feed."""
    row = WebhookRow
    return select(row).where(
        col(row.state) == "active", col(row.epoch) == state.epoch, col(row.position) < state.last
    )


def any_active(session: Session, epoch: str) -> bool:
    """Whether anybody is sent anything."""
    query = select(WebhookRow.id).where(col(WebhookRow.state) == "active", col(WebhookRow.epoch) == epoch)
    return session.exec(query.limit(1)).first() is not None


def due(session: Session, state: FeedState) -> list[datetime]:
    """When each of those behind may be looked at: it is due, and nobody else sends to it."""
    return [max(row.due, row.lease_until) for row in session.exec(_behind(state))]


def lease(
    session: Session, state: FeedState, now: datetime, mine: str, until: datetime, most: int
) -> list[str]:
    """Take webhooks that are due, so that no other worker sends to them. Those that another worker takes at
    the same time are left to it."""
    row = WebhookRow
    query = _behind(state).where(col(row.due) <= now, col(row.lease_until) <= now)
    query = query.order_by(col(row.due), col(row.id)).limit(most).with_for_update(skip_locked=True)
    taken = list(session.exec(query))
    for one in taken:
        one.lease, one.lease_until = mine, until
    return [one.id for one in taken]


def note_delivery(session: Session, webhook: WebhookRow, number: int, at: datetime, answer: str) -> None:
    """Note an attempt at an event; `webhook.attempts` is 0 once it is delivered."""
    row = session.get(DeliveryRow, (webhook.id, number))
    if row is None:
        row = DeliveryRow(webhook=webhook.id, number=number, attempts=0, at=at, delivered=False)
        session.add(row)
    row.attempts += 1
    row.at, row.answer, row.delivered = at, answer, not webhook.attempts


def deliveries_before(
    session: Session, webhook: str, number: int | None, limit: int
) -> list[tuple[DeliveryRow, EventRow]]:
    """What became of events older than a number, the newest first."""
    query = select(DeliveryRow, EventRow).join(EventRow, col(EventRow.number) == col(DeliveryRow.number))
    query = query.where(col(DeliveryRow.webhook) == webhook)
    if number is not None:
        query = query.where(col(DeliveryRow.number) < number)
    return list(session.exec(query.order_by(col(DeliveryRow.number).desc()).limit(limit)))
