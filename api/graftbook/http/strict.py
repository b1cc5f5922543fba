"""What is refused before a route sees it: packed bodies, endless headers, JSON that can be read in two ways.

A packed body is never unpacked, so there is no bomb to go off. In JSON a member stands once in an object
(RFC 8259, section 4), and nesting ends somewhere.
"""

import json
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.http.middleware import BodyRefused
from graftbook.http.responses import problem_answer
from graftbook.problems import (
    AddressTooLong,
    HeadersTooLarge,
    InvalidRequest,
    MalformedRequest,
    Problem,
    UnsupportedMedia,
    printable,
)

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


class _Twice(ValueError):
    """A member stands twice in an object, so that the JSON can be read in two ways."""


def doubtful(body: bytes) -> Problem | None:
    """What makes a JSON body doubtful; None when nothing does, and when it is no JSON at all."""
    try:
        json.loads(body.decode("utf-8"), object_pairs_hook=_each_once)
    except UnicodeDecodeError:
        return MalformedRequest("The body is not UTF-8 text (RFC 8259, section 8.1)")
    except json.JSONDecodeError:
        return None  # told by the framework, with the place
    except _Twice as error:
        return InvalidRequest(f"'{printable(error)}' stands twice in one object; take one out")
    except RecursionError:
        return MalformedRequest("The body is nested too deep")
    except ValueError:
        return MalformedRequest("A number in the body has more digits than can be read")
    return None


def _each_once(pairs: list[tuple[str, Any]]) -> None:
    seen: set[str] = set()
    for name, _ in pairs:
        if name in seen:
            raise _Twice(name)
        seen.add(name)


def _is_json(scope: Scope) -> bool:
    return any(name == b"content-type" and b"json" in value.lower() for name, value in scope["headers"])


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
