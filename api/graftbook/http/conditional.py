"""Answers that any HTTP cache may keep: bytes with a strong ETag, and 304 when the asker has them."""

import hashlib
from collections.abc import Callable, Mapping
from typing import Any

from fastapi import Request
from starlette.responses import Response

from graftbook.http.compression import READY
from graftbook.http.json_bytes import json_bytes
from graftbook.http.ready import READY_AGAIN
from graftbook.http.responses import ASK_AGAIN, JSON, KEEP_NOTHING, not_modified
from graftbook.process.state import Make, Service


def answered(
    request: Request,
    service: Service,
    etag: str,
    make: Make,
    media: str = JSON,
    *,
    at: str | None = None,
    again: Callable[[], None] | None = None,
) -> Response:
    """The answer under this ETag: 304, the bytes kept from last time, or made anew.

    Only GET and HEAD answer 304 (RFC 9110, 13.1.2); a POST carries the ETag all the same. An answer
    that a time limit cut short has no ETag and is not kept.

    `at` is the address under which this very answer stands (8.7). `again` says that the answer depends on the
    request and the catalogue alone, so that it may be given again unlooked-up; then `again` is called.
    """
    headers = {**ASK_AGAIN, "ETag": etag, "Vary": "Accept"}
    if at:
        headers["Content-Location"] = at
    if request.method in ("GET", "HEAD") and has_already(request, etag):
        return not_modified(etag, {name: value for name, value in headers.items() if name != "ETag"})
    body, lasting = service.answers.kept_or_made(etag, make)
    if not lasting:
        return Response(body, media_type=media, headers={**KEEP_NOTHING, "Vary": "Accept"})
    state = request.scope.setdefault("state", {})
    state[READY] = etag
    if again is not None:
        state[READY_AGAIN] = again
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


def nothing_more() -> None:
    """The `again` of an answer that nobody counts."""
