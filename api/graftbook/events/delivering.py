"""Events on their way to webhooks, behind the answers, by a task of each serving process.

The event table is the outbox: an event is there with its effect or not at all. A webhook has a position in
it, and is sent what lies behind, one event after the other; the position moves on when the receiver has
answered 2xx. So nothing is lost and everything comes in order, at least once: whoever is killed between the
answer and the note of it sends again, under the same id. An event that fails is tried again by the
specification's schedule, and what comes behind it waits; after the last attempt the webhook is disabled where
it stands. Which worker sends to which webhook is settled by leases in the database.
"""

import asyncio
import logging
import random
import secrets
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from graftbook.database import reading, writing
from graftbook.events import sending, store
from graftbook.events.cursors import FeedState
from graftbook.events.documents import event_document, kinds_of
from graftbook.events.sending import Answered, NotSent
from graftbook.events.service import forget_old
from graftbook.events.signing import signed
from graftbook.events.tables import WebhookRow
from graftbook.events.waiting import Waiting
from graftbook.events.webhooks import LONG_AGO
from graftbook.http.values import json_bytes
from graftbook.process.service import Service
from graftbook.settings import Settings

_LOG = logging.getLogger("graftbook")

SCHEDULE = tuple(
    timedelta(seconds=seconds) for seconds in (5, 300, 1_800, 7_200, 18_000, 36_000, 50_400, 72_000, 86_400)
)
"""How long after each attempt the next comes, up to ten percent more (the specification's own example)."""
JITTER = 0.1
LONGEST_WAIT = SCHEDULE[-1]
LEASE = timedelta(seconds=sending.SECONDS + 5)
"""Taken anew for each event: after so long without a word the worker is gone."""
AT_ONCE = 10
"""Webhooks that a process sends to at once."""
LOOK_EVERY = 2.0
"""Seconds: so soon a webhook that was made or changed, here or in another process, is seen."""
WITHOUT_DATABASE = 30.0
FORGET_EVERY = 3_600.0
SECONDS_TO_FINISH = 2.0
GONE = 410


@dataclass(frozen=True, slots=True)
class Parcel:
    """One event for one webhook, signed when it is sent."""

    url: str
    secrets: tuple[str, ...]
    number: int
    event: str
    body: bytes

    async def sent(self, own: Sequence[sending.Network]) -> Answered:
        """What its receiver answered. Raises NotSent."""
        now = int(datetime.now(UTC).timestamp())
        headers = signed(self.secrets, self.event, now, self.body)
        return await sending.post(self.url, self.body, headers, own)


class Delivering:
    """One process's share of the deliveries of one database."""

    def __init__(self, engine: Engine, waiting: Waiting, settings: Settings) -> None:
        self._engine, self._waiting, self._settings = engine, waiting, settings
        self._own = sending.networks_in(settings.webhook_networks)
        self._at_work: set[asyncio.Task[None]] = set()
        self._forgot = 0.0

    async def run(self) -> None:
        """Send what there is to send, until cancelled."""
        try:
            while True:
                try:
                    await self._round()
                except SQLAlchemyError as error:
                    _LOG.debug("webhooks wait for the database: %s", type(error).__name__)
                    await asyncio.sleep(WITHOUT_DATABASE)
                except Exception:
                    _LOG.exception("no webhook was sent to")
                    await asyncio.sleep(WITHOUT_DATABASE)
        finally:
            await self._finish()

    async def _round(self) -> None:
        await self._forget_now_and_then()
        mine = secrets.token_hex(8)
        state, taken, wait = await run_in_threadpool(take, self._engine, mine, AT_ONCE - len(self._at_work))
        for webhook in taken:
            task = asyncio.create_task(self._send_all(webhook, mine))
            self._at_work.add(task)
            task.add_done_callback(self._at_work.discard)
        if self._at_work:
            await asyncio.wait(self._at_work, timeout=1.0, return_when=asyncio.FIRST_COMPLETED)
        elif wait is None:
            await asyncio.sleep(LOOK_EVERY)
        else:
            await self._waiting.beyond(state, wait)

    async def _finish(self) -> None:
        """What is on its way gets a moment to be answered and noted."""
        if self._at_work:
            _, late = await asyncio.wait(self._at_work, timeout=SECONDS_TO_FINISH)
            for task in late:
                task.cancel()

    async def _forget_now_and_then(self) -> None:
        now = asyncio.get_running_loop().time()
        if now - self._forgot >= FORGET_EVERY or not self._forgot:
            self._forgot = now
            if gone := await run_in_threadpool(forget_old, self._engine, self._settings.events_kept_days):
                _LOG.info("%d events older than %d days forgotten", gone, self._settings.events_kept_days)

    async def _send_all(self, webhook: str, mine: str) -> None:
        try:
            while (parcel := await run_in_threadpool(next_parcel, self._engine, webhook, mine)) is not None:
                try:
                    answer: Answered | NotSent = await parcel.sent(self._own)
                except NotSent as error:
                    answer = error
                if not await run_in_threadpool(note, self._engine, webhook, mine, parcel.number, answer):
                    return
        except SQLAlchemyError as error:
            _LOG.warning("webhook %s waits for the database: %s", webhook, type(error).__name__)
        except Exception:
            _LOG.exception("webhook %s was not sent to", webhook)


@asynccontextmanager
async def delivered(service: Service, waiting: Waiting) -> AsyncIterator[None]:
    """While the block runs, what happens is sent to webhooks."""
    task = asyncio.create_task(Delivering(service.engine, waiting, service.settings).run())
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


def take(engine: Engine, mine: str, most: int) -> tuple[FeedState, list[str], float | None]:
    """How far the feed is, the webhooks that are due and now this worker's, and how many seconds there are to
    the next; None where there are no webhooks. Nothing is written where nothing is due."""
    now = datetime.now(UTC)
    with reading(engine) as session:
        state = store.feed_state(session.connection())
        if not store.any_active(session, state.epoch):
            return state, [], None
        times = store.due(session, state)
    taken: list[str] = []
    if most > 0 and any(at <= now for at in times):
        with writing(engine) as session:
            taken = store.lease(session, state, now, mine, now + LEASE, most)
    wait = min(((at - now).total_seconds() for at in times if at > now), default=LOOK_EVERY)
    return state, taken, min(max(wait, 0.05), LOOK_EVERY)


def next_parcel(engine: Engine, webhook: str, mine: str) -> Parcel | None:
    """The next event that a webhook wants; None, and the lease given back, where there is none or where it is
    not to be sent to any more."""
    now = datetime.now(UTC)
    with writing(engine) as session:
        row = store.webhook(session, webhook, alone=True)
        if row is None or row.lease != mine:
            return None
        state = store.feed_state(session.connection())
        sends = row.state == "active" and row.epoch == state.epoch
        event = (
            next(iter(store.events_after(session, row.position, kinds_of(row), 1)), None) if sends else None
        )
        if event is None:
            row.position = state.last if sends else row.position
            _give_back(row)
            return None
        row.lease_until = now + LEASE
        old = (row.old_secret,) if row.old_until and row.old_until > now else ()
        body = json_bytes(event_document(event, state.epoch))
        return Parcel(row.url, (row.secret, *old), event.number, event.id, body)


def _give_back(row: WebhookRow) -> None:
    row.lease, row.lease_until = "", LONG_AGO


def note(engine: Engine, webhook: str, mine: str, number: int, answer: Answered | NotSent) -> bool:
    """Note what came of an attempt. Whether this worker goes on with the webhook."""
    now = datetime.now(UTC)
    with writing(engine) as session:
        row = store.webhook(session, webhook, alone=True)
        if row is None or row.lease != mine:
            return False
        delivered = isinstance(answer, Answered) and 200 <= answer.status < 300
        if delivered:
            row.position, row.attempts, row.due = number, 0, now
        else:
            _put_off(row, answer, now)
        store.note_delivery(session, row, number, now, _outcome_words(answer))
        if not delivered:
            _give_back(row)
        return delivered


def _outcome_words(answer: Answered | NotSent) -> str:
    """What came of an attempt, in words."""
    if not isinstance(answer, Answered):
        return str(answer)
    led_on = ": it leads elsewhere, and that is not followed" if 300 <= answer.status < 400 else ""
    return f"answered {answer.status}{led_on}"


def _put_off(row: WebhookRow, answer: Answered | NotSent, now: datetime) -> None:
    """When the event is tried again, or why it is not."""
    row.attempts += 1
    if isinstance(answer, Answered) and answer.status == GONE:
        _disable(row, "Its receiver answered 410: it wants no more")
    elif row.attempts > len(SCHEDULE):
        _disable(row, f"{row.attempts} attempts over three days failed; the last: {_outcome_words(answer)}")
    else:
        wait = SCHEDULE[row.attempts - 1] * (1 + JITTER * random.random())
        asked = timedelta(seconds=answer.retry_after) if isinstance(answer, Answered) else timedelta()
        row.due = now + max(wait, min(asked, LONGEST_WAIT))


def _disable(row: WebhookRow, why: str) -> None:
    row.state, row.why = "disabled", why
    row.version += 1
    _LOG.warning("webhook %s is disabled: %s", row.id, why)
