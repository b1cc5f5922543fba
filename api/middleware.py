"""One pure ASGI layer round every request: an id, the size limit, and the headers that keep it safe."""

import logging
import re
import secrets
from typing import Any

from fastapi import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import Problem, TooLarge
from api.wire.responses import problem_answer

SAFE_HEADERS: list[tuple[bytes, bytes]] = [
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (
        b"content-security-policy",
        b"default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    ),
    (b"cross-origin-resource-policy", b"same-origin"),
]
_GIVEN_ID = re.compile(rb"^[A-Za-z0-9._-]{8,64}$")


_LOG = logging.getLogger("graftbook")


class BodyTooLarge(HTTPException):
    """The body grew past the limit while it was read.

    Of the framework's own kind, since the framework turns every other error in a body into 400.
    """

    def __init__(self, limit: int) -> None:
        super().__init__(TooLarge.status)
        self.problem = _too_large(limit)


def _too_large(limit: int) -> TooLarge:
    return TooLarge(f"The body may have at most {limit} bytes here", limit_bytes=limit)


class Guard:
    """Gives each request an id, refuses bodies above the limit, adds the safe headers, and turns
    what nobody foresaw into a problem document that tells nothing but the id.

    `limits` maps path prefixes to the most bytes a body may have; the longest prefix decides.
    """

    def __init__(self, app: ASGIApp, limits: dict[str, int]) -> None:
        self.app = app
        self.limits = sorted(limits.items(), key=lambda item: -len(item[0]))

    def _limit(self, path: str) -> int:
        return next(limit for prefix, limit in self.limits if path.startswith(prefix))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers: dict[bytes, bytes] = dict(scope["headers"])
        given = headers.get(b"x-request-id", b"")
        request_id = given if _GIVEN_ID.match(given) else secrets.token_hex(8).encode()
        scope.setdefault("state", {})["request_id"] = request_id.decode()
        limit = self._limit(scope["path"])
        started = False

        async def send_safely(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                present = {name for name, _ in message["headers"]}
                extra = [pair for pair in SAFE_HEADERS if pair[0] not in present]
                message["headers"] = [*message["headers"], *extra, (b"x-request-id", request_id)]
            await send(message)

        async def answer(problem: Problem) -> None:
            await problem_answer(problem, request_id.decode())(scope, receive, send_safely)

        announced = headers.get(b"content-length", b"")
        if announced.isdigit() and int(announced[:20]) > limit:
            await answer(_too_large(limit))
            return
        try:
            await self.app(scope, _measured(receive, limit), send_safely)
        except Exception:
            _LOG.exception("request %s failed", request_id.decode())
            if started:
                raise
            await answer(Problem("The log holds what happened, under this request's id"))


def _measured(receive: Receive, limit: int) -> Receive:
    taken = 0

    async def receive_measured() -> Any:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise BodyTooLarge(limit)
        return message

    return receive_measured
