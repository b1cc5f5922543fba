"""Answers that any HTTP cache may keep: bytes with a strong ETag, and 304 when the asker has them."""

from fastapi import Request
from starlette.responses import Response

from graftbook.http.responses import ASK_AGAIN, JSON, KEEP_NOTHING, not_modified
from graftbook.process.state import Make, Service


def answered(request: Request, service: Service, etag: str, make: Make, media: str = JSON) -> Response:
    """The answer under this ETag: 304, the bytes kept from last time, or made anew.

    Only GET and HEAD answer 304 (RFC 9110, 13.1.2); a POST carries the ETag all the same. An answer
    that a time limit cut short has no ETag and is not kept.
    """
    headers = {**ASK_AGAIN, "ETag": etag, "Vary": "Accept"}
    if request.method in ("GET", "HEAD") and has_already(request, etag):
        return not_modified(etag, {"Cache-Control": headers["Cache-Control"], "Vary": "Accept"})
    body, lasting = service.answers.kept_or_made(etag, make)
    return Response(
        body, media_type=media, headers=headers if lasting else {**KEEP_NOTHING, "Vary": "Accept"}
    )


def has_already(request: Request, etag: str) -> bool:
    """Whether If-None-Match says that the asker has this (weak comparison, RFC 9110, 13.1.2)."""
    given = request.headers.get("if-none-match", "")
    return given.strip() == "*" or etag in [tag.strip().removeprefix("W/") for tag in given.split(",")]
