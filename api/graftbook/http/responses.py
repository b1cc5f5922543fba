"""Ready bytes: answers and problem documents written with orjson, and the ETags they carry."""

import hashlib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
from starlette.responses import Response

from graftbook.http.values import json_bytes
from graftbook.problems import Problem
from graftbook.telemetry.requests import current

JSON = "application/json"
PROBLEM_JSON = "application/problem+json"
KEEP_NOTHING = {"Cache-Control": "no-store"}
ASK_AGAIN = {"Cache-Control": "private, no-cache"}
"""Keep it, but ask with If-None-Match before each use: an edit of the catalogue shows at once."""


def json_answer(document: Any, *, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """A document as a ready response."""
    return Response(json_bytes(document), status_code=status, media_type=JSON, headers=dict(headers or {}))


def problem_answer(problem: Problem, request_id: str = "") -> Response:
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
