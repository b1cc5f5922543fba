"""The feed read: each function is one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Engine

from graftbook.database import reading, writing
from graftbook.events import store
from graftbook.events.cursors import FeedState, cursor_of
from graftbook.events.documents import event_document

if TYPE_CHECKING:
    from graftbook.events.schemas import EventOut


@dataclass(frozen=True, slots=True)
class EventsPage:
    """Some events, the cursor behind all looked at, whether more are there, and how far the feed was."""

    items: "list[EventOut]"
    cursor: str
    more: bool
    state: FeedState


def state_of(engine: Engine) -> FeedState:
    """How far the feed is."""
    with reading(engine) as session:
        return store.feed_state(session.connection())


def events_since(engine: Engine, since: str, kinds: Sequence[str], limit: int) -> EventsPage:
    """Events behind a cursor. Raises InvalidCursor, OtherHistory, EventsForgotten."""
    with reading(engine) as session:
        state = store.feed_state(session.connection())
        rows = store.events_after(session, state.number(since), kinds, limit + 1)
        items = [event_document(row, state.epoch) for row in rows[:limit]]
        more = len(rows) > limit
        last = rows[limit - 1].number if more else state.last
        return EventsPage(items, cursor_of(state.epoch, last), more, state)


def forget_old(engine: Engine, days: int) -> int:
    """Take out events that are older than so many days. Returns how many."""
    before = datetime.now(UTC) - timedelta(days=days)
    with reading(engine) as session:
        if not store.any_before(session, before):
            return 0
    forgotten, some = 0, store.FORGOTTEN_AT_ONCE
    while some == store.FORGOTTEN_AT_ONCE:
        with writing(engine) as session:
            some = store.forget(session, before)
        forgotten += some
    return forgotten
