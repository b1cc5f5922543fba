"""The trail of changes: every request that was let in to change something leaves a row."""

import logging

from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.access.guard import caller_of, door_of, what_of
from graftbook.access.service import moment
from graftbook.database import writing

_LOG = logging.getLogger("graftbook")


class Trail:
    """Writes the row before the answer leaves. A trail that cannot be written does not undo what was done:
    the log says so, and the history of the catalogue has its own record in the same transaction."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_recorded(message: Message) -> None:
            if message["type"] == "http.response.start":
                await self._record(scope, "done" if message["status"] < 400 else "failed")
            await send(message)

        try:
            await self.app(scope, receive, send_recorded)
        except Exception:
            await self._record(scope, "failed")
            raise

    async def _record(self, scope: Scope, outcome: str) -> None:
        state = scope.get("state", {})
        if state.get("to_record") and not state.get("recorded"):
            state["recorded"] = True
            await run_in_threadpool(_write, Request(scope), outcome)


def _write(request: Request, outcome: str) -> None:
    row = caller_of(request).event(moment(), what_of(request), outcome)
    try:
        with writing(door_of(request).engine) as session:
            session.add(row)
    except SQLAlchemyError as error:
        _LOG.error("request %s is not in the trail: %s", row.request, type(error).__name__)
