"""Answers and problem documents as bytes, which any HTTP cache may keep: strong ETags, and 304 when the asker
has them (RFC 9110, 8.8.3 and 15.4.5)."""

import hashlib
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
from fastapi import Request
from starlette.responses import Response

from graftbook.http.compression import READY
from graftbook.http.values import json_bytes
from graftbook.problems import Problem
from graftbook.process.service import Make, Service
from graftbook.telemetry.requests import current

JSON = "application/json"
PROBLEM_JSON = "application/problem+json"
KEEP_NOTHING = {"Cache-Control": "no-store"}
ASK_AGAIN = {"Cache-Control": "private, no-cache"}
"""Keep it, but ask with If-None-Match before each use: an edit of the catalogue shows at once."""


def json_answer(document: Any, *, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """A document as a ready response."""
    return Response(json_bytes(document), status_code=status, media_type=JSON, headers=dict(headers or {}))


def media_type_of(request: Request) -> str:
    """The media type of a request's content, without its parameters, in lower case (RFC 9110, 8.3.1)."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def problem_answer(problem: Problem, request_id: str) -> Response:
    """A problem document as RFC 9457 asks for."""
    document = problem.document()
    if (request := current()) is not None:
        request.problem = problem.type.rsplit("/", 1)[1]
    if request_id:
        document["request_id"] = request_id
    headers = {**KEEP_NOTHING, **problem.headers}
    return Response(
        json_bytes(document), status_code=problem.answer_status, media_type=PROBLEM_JSON, headers=headers
    )


@lru_cache
def _program() -> bytes:
    """A digest of the program's own text: another version may word the same facts otherwise."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).resolve().parents[1].rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.digest()


def etag_of(*parts: Any) -> str:
    """A strong ETag (RFC 9110, 8.8.3) of everything that an answer depends on, the program included."""
    digest = hashlib.sha256(_program())
    digest.update(orjson.dumps(parts, option=orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS))
    return f'"{digest.hexdigest()[:32]}"'


def not_modified(etag: str, headers: Mapping[str, str] | None = None) -> Response:
    """304 with the headers that a 200 would have carried (RFC 9110, 15.4.5)."""
    return Response(status_code=304, headers={"ETag": etag, **(headers or {})})


OnHit = Callable[[], None]
"""Called when an answer is given from the cache."""

ON_HIT = "on_hit"
"""Under this a request's state holds an `OnHit`, if its answer may be stored."""


def answered(
    request: Request,
    service: Service,
    etag: str,
    make: Make,
    media: str = JSON,
    *,
    at: str | None = None,
    on_hit: OnHit | None = None,
) -> Response:
    """The answer under this ETag: 304, the bytes kept from last time, or made anew.

    Only GET and HEAD answer 304 (RFC 9110, 13.1.2); a POST carries the ETag all the same. An answer
    that a time limit cut short has no ETag and is not kept.

    `at` is the address under which this very answer stands (8.7). `on_hit` says that the answer depends on
    the request and the catalogue alone, so that `ResponseCache` may give it; then `on_hit` is called.
    """
    headers = {**ASK_AGAIN, "ETag": etag, "Vary": "Accept"}
    if at:
        headers["Content-Location"] = at
    if request.method in ("GET", "HEAD") and has_already(request, etag):
        return not_modified(etag, {name: value for name, value in headers.items() if name != "ETag"})
    body, lasting = service.answers.get_or_make(etag, make)
    if not lasting:
        return Response(body, media_type=media, headers={**KEEP_NOTHING, "Vary": "Accept"})
    state = request.scope.setdefault("state", {})
    state[READY] = etag
    if on_hit is not None:
        state[ON_HIT] = on_hit
    return Response(body, media_type=media, headers=headers)


def read_answer(request: Request, document: Any, headers: Mapping[str, str] = ASK_AGAIN) -> Response:
    """A document that was looked up, under the ETag of its own bytes; 304 for who has them."""
    return bytes_answer(request, json_bytes(document), JSON, headers)


def bytes_answer(
    request: Request, body: bytes, media: str, headers: Mapping[str, str] = ASK_AGAIN
) -> Response:
    """The same of bytes of any kind."""
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    if has_already(request, etag):
        return not_modified(etag, headers)
    return Response(body, media_type=media, headers={**headers, "ETag": etag})


def has_already(request: Request, etag: str) -> bool:
    """Whether If-None-Match says that the asker has this (weak comparison, RFC 9110, 13.1.2)."""
    given = request.headers.get("if-none-match", "")
    return given.strip() == "*" or etag in [tag.strip().removeprefix("W/") for tag in given.split(",")]


def do_nothing() -> None:
    """The `on_hit` of an answer that nobody counts."""
