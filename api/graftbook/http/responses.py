"""Answers and problem documents as bytes, which any HTTP cache may keep: strong ETags, 304 when the asker has
them, If-Match when he changes something (RFC 9110, 13.1).

`ResponseCache` answers before the framework: nothing is looked up, no thread is changed. What was answered
to an address (and body) is answered again as long as the catalogue stands as it did. That is only
for answers from the catalogue alone, and only for who may read without being looked up: anybody while reading
is open, and whose key or session was let in since the last commit. The first asking has gone the whole way,
and this one differs in nothing that the answer depends on.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Annotated, Any

import orjson
from fastapi import Depends, Header, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.http.compression import READY, chosen, every_tag, held, untagged
from graftbook.http.values import json_bytes
from graftbook.problems import PreconditionFailed, PreconditionRequired, Problem
from graftbook.process.commits import CatalogueState, CommitMark, CommitWatch
from graftbook.process.service import AnswerCache, Make, Service
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


RawHeader = tuple[bytes, bytes]
OnHit = Callable[[], None]
"""Called when an answer is given from the cache."""

State = Mapping[str, Any]
KnownReader = Callable[[Scope, CommitMark | None], State | None]
"""What a request's state then holds of who may read, by what this process knows at the mark; None when he
has to be looked up, or may not."""

ON_HIT = "on_hit"
"""Under this a request's state holds an `OnHit`, if its answer may be stored."""

ASKED_BY_GET = ("/v1/closures", "/v1/components/", "/v1/vehicles/", "/v1/compatibility")
ASKED_BY_POST = ("/v1/closures", "/v1/checks")
MOST = 4_096
LONGEST_BODY = 20_000


@dataclass(frozen=True, slots=True)
class StoredResponse:
    """An answer that was given: when, under which head, where its bytes are kept."""

    catalogue: CatalogueState
    kept_as: str
    etag: bytes
    tags: tuple[bytes, ...]
    headers: list[RawHeader]
    not_modified: list[RawHeader]
    route: Any
    on_hit: OnHit


class StoredResponses:
    """The answers given last, by a digest of what was asked. Safe for threads."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[bytes, StoredResponse] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: bytes) -> StoredResponse | None:
        with self._lock:
            if (found := self._kept.get(key)) is not None:
                self._kept.move_to_end(key)
            return found

    def put(self, key: bytes, stored: StoredResponse) -> None:
        with self._lock:
            self._kept[key] = stored
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


class ResponseCache:
    """Answers again what stands; everything else goes on. What it keeps is in its coding."""

    def __init__(
        self, app: ASGIApp, commits: CommitWatch, answers: AnswerCache, known_reader: KnownReader
    ) -> None:
        self.app = app
        self.commits, self.answers, self.known_reader = commits, answers, known_reader
        self.stored = StoredResponses()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if not _may_be_stored(scope):
            await self.app(scope, receive, send)
            return
        body = b""
        if scope["method"] == "POST":
            message = await receive()
            receive = _first(message, receive)
            body = message.get("body", b"")
            if message["type"] != "http.request" or message.get("more_body") or len(body) > LONGEST_BODY:
                await self.app(scope, receive, send)
                return
        accept, if_none_match = _asked(scope)
        key = _key(scope, chosen(accept), body)
        now = self.commits.mark()
        catalogue = self.commits.known_at(now) or await self._read()
        stored = self.stored.get(key)
        stands = stored is not None and stored.catalogue == catalogue
        who = self.known_reader(scope, now) if stands else None
        if stored and who is not None and await self._answer(scope, send, stored, who, if_none_match):
            return
        await self._ask_and_store(scope, receive, send, key, catalogue)

    async def _read(self) -> CatalogueState | None:
        try:
            return await run_in_threadpool(self.commits.read)
        except SQLAlchemyError:
            return None  # the question itself will say what is wrong

    async def _answer(
        self, scope: Scope, send: Send, stored: StoredResponse, who: State, if_none_match: bytes
    ) -> bool:
        """Whether the answer could be given once more."""
        if if_none_match and scope["method"] == "GET" and (tag := _held(stored, if_none_match)):
            self._note(scope, stored, who)
            headers = [*stored.not_modified, (b"etag", tag)]
            await send({"type": "http.response.start", "status": 304, "headers": headers})
            await send({"type": "http.response.body", "body": b""})
            return True
        if (body := self.answers.peek(stored.kept_as)) is None:
            return False
        self._note(scope, stored, who)
        await send({"type": "http.response.start", "status": 200, "headers": stored.headers})
        await send({"type": "http.response.body", "body": body})
        return True

    def _note(self, scope: Scope, stored: StoredResponse, who: State) -> None:
        scope.setdefault("state", {}).update(who)
        scope["route"] = stored.route
        stored.on_hit()

    async def _ask_and_store(
        self, scope: Scope, receive: Receive, send: Send, key: bytes, catalogue: CatalogueState | None
    ) -> None:
        """`catalogue` was read before the question was looked up: an edit since then makes the answer newer
        than what is written beside it, never older."""

        async def noted(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == 200:
                on_hit = scope.get("state", {}).get(ON_HIT)
                if on_hit is not None and catalogue is not None:
                    self.stored.put(key, _stored(scope, message["headers"], catalogue, on_hit))
            await send(message)

        await self.app(scope, receive, noted)


def _may_be_stored(scope: Scope) -> bool:
    if scope["type"] != "http":
        return False
    asked_by = {"GET": ASKED_BY_GET, "POST": ASKED_BY_POST}.get(scope["method"])
    return asked_by is not None and scope["path"].startswith(asked_by)


def _first(message: Message, receive: Receive) -> Receive:
    """The body's first piece once more, then whatever else comes."""
    waiting = [message]

    async def receive_first() -> Message:
        return waiting.pop() if waiting else await receive()

    return receive_first


def _asked(scope: Scope) -> tuple[bytes, bytes]:
    """Accept-Encoding and If-None-Match."""
    accept = if_none_match = b""
    for name, value in scope["headers"]:
        if name == b"accept-encoding":
            accept = value
        elif name == b"if-none-match":
            if_none_match = value
    return accept, if_none_match


def _key(scope: Scope, coding: str, body: bytes) -> bytes:
    path: bytes = scope.get("raw_path") or scope["path"].encode()
    head = b"%b %b?%b %b\n" % (scope["method"].encode(), path, scope["query_string"], coding.encode())
    return blake2b(head + body, digest_size=32).digest()


def _held(stored: StoredResponse, if_none_match: bytes) -> bytes | None:
    """The ETag under which the asker has the answer: mostly the only one that he names."""
    return if_none_match if if_none_match in stored.tags else held(stored.etag, if_none_match)


def _stored(scope: Scope, sent: Any, catalogue: CatalogueState, on_hit: OnHit) -> StoredResponse:
    headers = list(sent)
    known = dict(headers)
    etag = untagged(known[b"etag"])
    coding = known.get(b"content-encoding", b"").decode()
    kept_as = f"{etag.decode()} {coding}".rstrip()
    of_304 = [pair for pair in headers if pair[0] in _OF_304]
    return StoredResponse(
        catalogue, kept_as, etag, every_tag(etag), headers, of_304, scope.get("route"), on_hit
    )


_OF_304 = {b"cache-control", b"content-location", b"vary"}
"""What a 304 says beside its ETag (RFC 9110, 15.4.5)."""


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


WANTED = "x-wanted"
"""In the OpenAPI document the header is required where it has this: without it the answer is 428."""


def _needed(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read", json_schema_extra={WANTED: True})
    ] = None,
) -> str | None:
    return _sent(if_match)


def _sent(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read, of what is there; left out for what is new")
    ] = None,
) -> str | None:
    return (if_match or "").strip() or None


IfMatch = Annotated[str | None, Depends(_needed)]
IfMatchOfWhatIsThere = Annotated[str | None, Depends(_sent)]
"""Where a request without it may be right, too."""


def etag_wanted(if_match: str | None) -> str:
    """The ETag that the asker read. Raises PreconditionRequired."""
    if not if_match:
        raise PreconditionRequired("Read it first, then send If-Match with its ETag")
    return if_match


def document_etag(kind: str, document: Mapping[str, object]) -> str:
    """The strong ETag of a document as it reads: its kind, its version, and a digest of all of it.

    The version alone would not do: after a restore the same number may stand for another change.
    """
    digest = hashlib.sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()
    return f'"{kind}-{document["version"]}-{digest[:24]}"'


def require_match(if_match: str, etag: str | None, what: str) -> None:
    """Raises PreconditionFailed unless an If-Match names the ETag of what is there now (None: nothing is),
    and PreconditionRequired for `*`."""
    if etag is None or not names_etag(if_match, etag):
        raise PreconditionFailed(f"Read {what} again and change what you then see")


def names_etag(if_match: str, etag: str) -> bool:
    """Whether an If-Match, one ETag or several, names this one in any coding (RFC 9110, 13.1.1).

    Raises PreconditionRequired for `*`, whatever stands there: it is no proof of having read it.
    """
    if if_match.strip() == "*":
        raise PreconditionRequired("`*` names no ETag; read it first, then send If-Match with its ETag")
    plain = untagged(if_match.encode()).decode()
    return etag in (tag.strip() for tag in plain.split(","))
