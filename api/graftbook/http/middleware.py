"""Pure ASGI layers round every request.

`Guard`: an id, the size limit, the headers that keep it safe, HEAD, and what is watched of it.

`Strict`: what is refused before a route sees it, packed bodies, endless headers, JSON that can be read in two
ways.

A packed body is never unpacked, so there is no bomb to go off. In JSON a member stands once in an object
(RFC 8259, section 4), and nesting ends somewhere.

`Cors`: programs in a browser, from the origins that the house names (Fetch standard, CORS protocol).

Only the API and its description answer them, and never with a cookie: a key goes in Authorization, which a
page elsewhere must have been given. The pages of the service stay their own.
"""

import asyncio
import json
import logging
import re
import secrets
from collections.abc import Callable, Sequence
from functools import lru_cache
from time import perf_counter
from typing import Any

from fastapi import FastAPI, HTTPException
from fastapi.routing import iter_route_contexts
from starlette.middleware.cors import CORSMiddleware
from starlette.requests import ClientDisconnect
from starlette.routing import compile_path
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.catalogue.format.names import SaidTwice, each_once
from graftbook.http.responses import problem_answer
from graftbook.problems import (
    AddressTooLong,
    BodyTooSlow,
    HeadersTooLarge,
    InvalidRequest,
    MalformedRequest,
    Problem,
    TooLarge,
    UnsupportedMedia,
)
from graftbook.telemetry import tracing
from graftbook.telemetry.requests import Asker, WatchedRequest, entered, left, route_of

Header = tuple[bytes, bytes]

NOTHING_LOADS = b"default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
"""The content security policy of whatever brings none of its own: a page that may load things must."""

SAFE_HEADERS: list[Header] = [
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"content-security-policy", NOTHING_LOADS),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
]
STAY_ENCRYPTED: Header = (b"strict-transport-security", b"max-age=31536000")
"""Only over https: said over http it is ignored (RFC 6797, 8.1)."""

SECONDS_FOR_A_BODY = 30.0
LEAST_BYTES_A_SECOND = 1_000
"""A body has so long, and longer by what has come of it at this rate: nobody holds a connection for ever."""

_GIVEN_ID = re.compile(rb"\A[A-Za-z0-9._-]{8,64}\Z")
_LOG = logging.getLogger("graftbook")


class BodyRefused(HTTPException):
    """The body is not read on: it grew past the limit, or did not come in time.

    Of the framework's own kind, since the framework turns every other error in a body into 400.
    """

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.status)
        self.problem = problem


def _too_large(limit: int) -> TooLarge:
    return TooLarge(f"The body may have at most {limit} bytes here", limit_bytes=limit)


class HeadAnswered(OSError):
    """HEAD has all it needs: what would stream on is stopped as if the asker had gone."""


class Guard:
    """Gives each request an id, refuses bodies above the limit, adds the safe headers, answers HEAD as
    GET without the body, and turns what nobody foresaw into a problem document that tells nothing but
    the id. Every request is counted and logged here.

    `limits` maps path prefixes to the most bytes a body may have; the longest prefix decides.
    `afterwards` is called when a request has been answered.
    """

    def __init__(self, app: ASGIApp, limits: dict[str, int], afterwards: Callable[[], None]) -> None:
        self.app = app
        self.afterwards = afterwards
        self.limits = sorted(limits.items(), key=lambda item: -len(item[0]))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given, announced = _given_id_and_length(scope)
        request_id = given.decode() if _GIVEN_ID.match(given) else secrets.token_hex(8)
        scope.setdefault("state", {})["request_id"] = request_id
        # A copy: the server must go on seeing HEAD, or it would wait for a body.
        inner = {**scope, "method": "GET"} if scope["method"] == "HEAD" else scope
        watched = WatchedRequest(request_id, scope["method"])
        watched.asker = Asker(receive)
        token = entered(watched)
        try:
            if tracing.on():
                await self._pass_on_in_span(inner, receive, _Answer(scope, send, watched), announced)
            else:
                await self._pass_on(inner, receive, _Answer(scope, send, watched), announced)
        finally:
            left(token)
            watched.asker.left()
            watched.ended(inner)
            self.afterwards()

    async def _pass_on_in_span(
        self, scope: Scope, receive: Receive, answer: "_Answer", announced: bytes
    ) -> None:
        watched = answer.watched
        with tracing.request_span(scope) as span:
            watched.trace = span.trace
            try:
                await self._pass_on(scope, receive, answer, announced)
            finally:
                route = route_of(scope)
                span.set("http.request.method", watched.method)
                span.set("http.route", route)
                span.set("http.response.status_code", watched.status)
                span.named(f"{watched.method} {route}", failed=watched.status >= 500)

    async def _pass_on(self, scope: Scope, receive: Receive, answer: "_Answer", announced: bytes) -> None:
        limit = next(limit for prefix, limit in self.limits if scope["path"].startswith(prefix))
        if announced.isdigit() and int(announced[:20]) > limit:
            await answer.problem(_too_large(limit), receive)
            return
        try:
            await self.app(scope, _bounded_receive(receive, limit, answer.watched), answer.send)
        except Exception as error:
            if answer.whole and isinstance(error, HeadAnswered | ClientDisconnect):
                return
            _LOG.exception("request failed")
            if answer.watched.status:
                raise
            await answer.problem(Problem("The log holds what happened, under this request's id"), receive)


class _Answer:
    """One answer on its way out: the safe headers go in, what HEAD must not have stays behind."""

    def __init__(self, scope: Scope, send: Send, watched: WatchedRequest) -> None:
        self.watched = watched
        self.whole = False
        """Whether HEAD has got its answer."""
        self._scope, self._send = scope, send
        self._head = scope["method"] == "HEAD"

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.watched.status = message["status"]
            message["headers"] = self._with_safe(message["headers"])
        elif message["type"] == "http.response.body":
            if self._head:
                await self._send_no_body(message)
                return
            self.watched.sent += len(message.get("body", b""))
        await self._send(message)

    def _with_safe(self, given: Any) -> list[Header]:
        present = {name for name, _ in given}
        headers = [*given, *(pair for pair in SAFE_HEADERS if pair[0] not in present)]
        if self._scope.get("scheme") == "https" and STAY_ENCRYPTED[0] not in present:
            headers.append(STAY_ENCRYPTED)
        headers.append((b"x-request-id", self.watched.request_id.encode()))
        return headers

    async def _send_no_body(self, message: Message) -> None:
        if not self.whole:
            self.whole = True
            await self._send({"type": "http.response.body", "body": b""})
        if message.get("more_body"):
            raise HeadAnswered

    async def problem(self, problem: Problem, receive: Receive) -> None:
        """Answer with a problem document."""
        await problem_answer(problem, self.watched.request_id)(self._scope, receive, self.send)


def _given_id_and_length(scope: Scope) -> tuple[bytes, bytes]:
    """X-Request-ID and Content-Length as they came; empty without them."""
    given = announced = b""
    for name, value in scope["headers"]:
        if name == b"x-request-id":
            given = given or value
        elif name == b"content-length":
            announced = announced or value
    return given, announced


def _bounded_receive(receive: Receive, limit: int, watched: WatchedRequest) -> Receive:
    """The body as it comes, within its bytes and its time. After it only the asker's going is waited for."""
    taken, whole = 0, False
    began = asyncio.get_running_loop().time()

    async def receive_measured() -> Any:
        nonlocal taken, whole
        if whole:
            return await receive()
        try:
            async with asyncio.timeout_at(began + SECONDS_FOR_A_BODY + taken / LEAST_BYTES_A_SECOND):
                message = await receive()
        except TimeoutError:
            raise BodyRefused(BodyTooSlow(f"{taken} bytes of it came; send it anew")) from None
        whole = not message.get("more_body", False)
        if whole:
            watched.arrived = perf_counter()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise BodyRefused(_too_large(limit))
        return message

    return receive_measured


MOST_ADDRESS_BYTES = 65_000
MOST_HEADER_BYTES = 65_000
READ_BY_THEIR_ROUTE = ("/v1/imports",)
"""Paths whose bodies are not held in memory here."""


class Strict:
    """Refuses what no route should see. Inside `Guard`, which bounds the body and adds the headers."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        problem = refused(scope)
        if problem is None and _is_json(scope) and not scope["path"].startswith(READ_BY_THEIR_ROUTE):
            try:
                body = await _whole(receive)
                problem = doubtful(body) if body is not None else None
                if problem is not None and not _takes_json(scope):
                    problem = None
                receive = _again(body, receive)
            except BodyRefused as error:
                problem = error.problem
        if problem is not None:
            await problem_answer(problem, scope.get("state", {}).get("request_id", ""))(scope, receive, send)
            return
        await self.app(scope, receive, send)


def refused(scope: Scope) -> Problem | None:
    """What is wrong with a request's address and headers; None when nothing is."""
    length = hosts = 0
    coding = b"identity"
    for name, value in scope["headers"]:
        length += len(name) + len(value)
        if name == b"host":
            hosts += 1
        elif name == b"content-encoding":
            coding = value
    if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MOST_ADDRESS_BYTES:
        return AddressTooLong(f"An address has at most {MOST_ADDRESS_BYTES} bytes; use POST with a body")
    if length > MOST_HEADER_BYTES:
        return HeadersTooLarge(f"All headers together have at most {MOST_HEADER_BYTES} bytes")
    if scope.get("http_version") == "1.1" and hosts != 1:
        return MalformedRequest("HTTP/1.1 asks with one Host header (RFC 9112, section 3.2)")
    if "\0" in scope["path"] or b"%00" in scope["query_string"]:
        return InvalidRequest("NUL cannot stand in an address; take %00 out")
    if coding.strip().lower() != b"identity":
        return UnsupportedMedia("Send the body as it is: nothing packed is unpacked here")
    return None


def doubtful(body: bytes) -> Problem | None:
    """What makes a JSON body doubtful; None when nothing does, and when it is no JSON at all."""
    try:
        json.loads(body.decode("utf-8"), object_pairs_hook=each_once)
    except UnicodeDecodeError:
        return MalformedRequest("The body is not UTF-8 text (RFC 8259, section 8.1)")
    except json.JSONDecodeError:
        return None  # told by the framework, with the place
    except SaidTwice as error:
        return InvalidRequest(str(error))
    except RecursionError:
        return MalformedRequest("The body is nested too deep")
    except ValueError:
        return MalformedRequest("A number in the body has more digits than can be read")
    return None


def _is_json(scope: Scope) -> bool:
    return any(name == b"content-type" and b"json" in value.lower() for name, value in scope["headers"])


@lru_cache(maxsize=4)
def known_routes(app: FastAPI) -> list[tuple[re.Pattern[str], frozenset[str], bool]]:
    """The address and methods of every route, and whether it takes JSON."""
    return [
        (
            compile_path(path)[0],
            frozenset(route.methods or ()),
            bool(getattr(route.route, "body_field", None)),
        )
        for route in iter_route_contexts(app.routes)
        if (path := getattr(route, "path", None)) and getattr(route, "methods", None)
    ]


def _takes_json(scope: Scope) -> bool:
    """Whether a route there takes JSON: one that takes a sheet, a picture or nothing has its own word."""
    return any(
        json and scope["method"] in methods and pattern.match(scope["path"])
        for pattern, methods, json in known_routes(scope["app"])
    )


async def _whole(receive: Receive) -> bytes | None:
    """The whole body; None when the asker went away."""
    parts = []
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        parts.append(message.get("body", b""))
        if not message.get("more_body"):
            return b"".join(parts)


def _again(body: bytes | None, receive: Receive) -> Receive:
    """The body once more, in one piece; then whatever else comes."""
    waiting: list[Message] = [
        {"type": "http.disconnect"} if body is None else {"type": "http.request", "body": body}
    ]

    async def receive_again() -> Message:
        return waiting.pop() if waiting else await receive()

    return receive_again


SHARED = ("/v1/", "/openapi.json")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
SENT = ("Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "X-Request-ID")
EXPOSED = (
    "Content-Disposition", "Content-Location", "ETag", "Idempotency-Replayed", "Link", "Location",
    "Retry-After", "X-Request-ID",
)  # fmt: skip
SECONDS_KEPT = 600


class Cors:
    """Outside everything else, so that refusals can be read too."""

    def __init__(self, app: ASGIApp, origins: Sequence[str]) -> None:
        self.app = app
        self.shared = CORSMiddleware(
            app,
            allow_origins=origins,
            allow_methods=METHODS,
            allow_headers=SENT,
            expose_headers=EXPOSED,
            allow_credentials=False,
            max_age=SECONDS_KEPT,
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        shared = scope["type"] == "http" and scope["path"].startswith(SHARED)
        await (self.shared if shared else self.app)(scope, receive, send)
