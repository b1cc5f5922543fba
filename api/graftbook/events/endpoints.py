"""What changed: one feed of the catalogue's revisions, of order lists and builds, read on from a cursor."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from starlette.responses import Response, StreamingResponse

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.events import service as feed
from graftbook.events.outbox import Kind
from graftbook.events.problems import EventsForgotten, OtherHistory
from graftbook.events.schemas import EventOut, EventsOut
from graftbook.events.service import EventsPage
from graftbook.events.waiting import Waiting
from graftbook.http.errors import documented
from graftbook.http.parameters import Limit
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.http.values import json_bytes
from graftbook.process.draining import draining
from graftbook.process.state import ServiceDep
from graftbook.telemetry.requests import somebody_waits

router = APIRouter(prefix="/v1/events", tags=["events"])

STREAM = "text/event-stream"
LONGEST_WAIT = 60
HEARTBEAT = 15.0
"""Seconds without an event after which a stream says that it is alive."""
LONGEST_STREAM = 600.0
"""Seconds; its reader then comes again by itself, so that a revoked key reads on no longer than this."""
RETRY_MS = 3_000
SECONDS_TO_SEE_HIM_GO = 1.0

SHOWN = (
    "retry: 3000\n\nid: 4f1c09ab77d2-118\nevent: build.removed\n"
    'data: {"type":"build.removed","timestamp":"2026-11-25T12:00:00+00:00",'
    '"id":"evt_5d0be3a1c1f24a4e9a7c8b1f60d2e394","cursor":"4f1c09ab77d2-118",'
    '"data":{"name":"red-van","variant":"P24-PL-68","chassis":"24PL-018412","version":2}}\n\n'
)

Since = Annotated[
    str,
    Query(
        max_length=100,
        description="the `cursor` of the answer or event before; without it from the oldest that is kept; "
        "`now`: from here on",
    ),
]
Kinds = Annotated[list[Kind], Query(description="of this kind only; may stand several times")]
Wait = Annotated[
    int,
    Query(ge=0, le=LONGEST_WAIT, description="seconds to wait for an event when there is none yet"),
]
LastEventId = Annotated[str, Header(max_length=100, description="as `since`, and before it, for a stream")]


@router.get(
    "",
    operation_id="listEvents",
    summary="What changed since a cursor: catalogue, order lists, builds",
    dependencies=[MayRead],
    responses={
        200: {
            "model": EventsOut,
            "content": {STREAM: {"schema": {"type": "string"}, "example": SHOWN}},
            "description": "Events in the order in which they happened",
        },
        **documented(
            problems.InvalidCursor, problems.InvalidRequest, OtherHistory, EventsForgotten, problems.Busy
        ),
    },
)
async def list_events(
    request: Request,
    service: ServiceDep,
    since: Since = "",
    kind: Kinds = [],
    limit: Limit = None,
    wait: Wait = 0,
    last_event_id: LastEventId = "",
) -> Response:
    """No event is missed, whichever transaction ended first. `wait` answers as soon as there is one; with
    `Accept: text/event-stream` events come as they happen, with a heartbeat every 15 seconds, for ten
    minutes, after which the reader comes again with Last-Event-ID. Events are kept for a time
    (`GRAFTBOOK_EVENTS_KEPT_DAYS`); 410 says that some are gone, or that the database was restored, and
    names the cursors `oldest` and `newest`."""
    size = limit or service.settings.page_size
    reader = _Reader(request.app.state.waiting, service.engine, kind, size)
    if STREAM in request.headers.get("accept", ""):
        request.app.state.waiting.require_room()
        first = await reader.page(last_event_id or since)
        return StreamingResponse(
            reader.stream(first), media_type=STREAM, headers={**KEEP_NOTHING, "X-Accel-Buffering": "no"}
        )
    page = await reader.page_in_time(since, wait)
    headers = dict(KEEP_NOTHING)
    following = request.url.include_query_params(since=page.cursor)
    headers["Link"] = f'<{following.path}?{following.query}>; rel="next"'
    return json_answer({"items": page.items, "cursor": page.cursor, "more": page.more}, headers=headers)


class _Reader:
    """One who reads on, and waits where there is nothing."""

    def __init__(self, waiting: Waiting, engine: Engine, kinds: list[Kind], size: int) -> None:
        self._waiting, self._engine, self._kinds, self._size = waiting, engine, kinds, size

    async def page(self, since: str) -> EventsPage:
        """What there is."""
        return await run_in_threadpool(feed.events_since, self._engine, since, self._kinds, self._size)

    async def page_in_time(self, since: str, seconds: float) -> EventsPage:
        """The first page with an event, or an empty one when the time is over or the asker has gone."""
        page = await self.page(since)
        if page.items or not seconds:
            return page
        with self._waiting.reader():
            there, until = somebody_waits(), _now() + seconds
            while not page.items and there() and not draining() and (left := until - _now()) > 0:
                if await self._waiting.beyond(page.state, min(left, SECONDS_TO_SEE_HIM_GO)):
                    page = await self.page(page.cursor)
        return page

    async def stream(self, page: EventsPage) -> AsyncIterator[bytes]:
        """Events as they happen, as lines of a stream (HTML standard, 9.2.6), until the asker has gone."""
        try:
            with self._waiting.reader():
                yield b"retry: %d\n\n" % RETRY_MS
                async for lines in self._lines(page):
                    yield lines
        except problems.Problem as problem:  # the head is sent; asked again, it is answered with its status
            yield b"event: problem\ndata: %b\n\n" % json_bytes(problem.document())
        except DBAPIError:
            return  # he comes again, and is told

    async def _lines(self, page: EventsPage) -> AsyncIterator[bytes]:
        there, until, silent_since = somebody_waits(), _now() + LONGEST_STREAM, _now()
        while there() and not draining() and _now() < until:
            if page.items:
                yield b"".join(map(_as_lines, page.items))
            elif _now() - silent_since >= HEARTBEAT:
                yield b": alive\nid: %b\n\n" % page.cursor.encode()
            if page.items or _now() - silent_since >= HEARTBEAT:
                silent_since = _now()
            if page.more or await self._waiting.beyond(page.state, SECONDS_TO_SEE_HIM_GO):
                page = await self.page(page.cursor)
            else:
                page = replace(page, items=[])


def _as_lines(event: EventOut) -> bytes:
    head = b"id: %b\nevent: %b\n" % (event["cursor"].encode(), event["type"].encode())
    return head + b"data: %b\n\n" % json_bytes(event)


def _now() -> float:
    return asyncio.get_running_loop().time()
