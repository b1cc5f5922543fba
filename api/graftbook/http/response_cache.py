"""Answers given again before the framework: nothing is looked up, no thread is changed.

What was answered to an address (and body) is answered again as long as the catalogue stands as it did. That
is only for answers from the catalogue alone, and only for who may read without being looked up: anybody while
reading is open, and whose key or session was let in since the last commit. The first asking has gone the
whole way, and this one differs in nothing that the answer depends on.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.http.compression import chosen, every_tag, held, untagged
from graftbook.http.responses import ON_HIT, OnHit
from graftbook.process.commits import CatalogueState, CommitMark, CommitWatch
from graftbook.process.service import AnswerCache

RawHeader = tuple[bytes, bytes]
State = Mapping[str, Any]
KnownReader = Callable[[Scope, CommitMark | None], State | None]
"""What a request's state then holds of who may read, by what this process knows at the mark; None when he
has to be looked up, or may not."""

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
        accept, if_none_match = _accept_and_condition(scope)
        key = _key(scope, chosen(accept), body)
        now = self.commits.mark()
        catalogue = self.commits.known_at(now) or await self._read_state()
        stored = self.stored.get(key)
        stands = stored is not None and stored.catalogue == catalogue
        who = self.known_reader(scope, now) if stands else None
        if stored and who is not None and await self._answer(scope, send, stored, who, if_none_match):
            return
        await self._ask_and_store(scope, receive, send, key, catalogue)

    async def _read_state(self) -> CatalogueState | None:
        try:
            return await run_in_threadpool(self.commits.read)
        except SQLAlchemyError:
            return None  # the question itself will say what is wrong

    async def _answer(
        self, scope: Scope, send: Send, stored: StoredResponse, who: State, if_none_match: bytes
    ) -> bool:
        """Whether the answer could be given once more."""
        if if_none_match and scope["method"] == "GET" and (tag := _held_tag(stored, if_none_match)):
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
                    self.stored.put(key, _stored_response(scope, message["headers"], catalogue, on_hit))
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


def _accept_and_condition(scope: Scope) -> tuple[bytes, bytes]:
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


def _held_tag(stored: StoredResponse, if_none_match: bytes) -> bytes | None:
    """The ETag under which the asker has the answer: mostly the only one that he names."""
    return if_none_match if if_none_match in stored.tags else held(stored.etag, if_none_match)


def _stored_response(scope: Scope, sent: Any, catalogue: CatalogueState, on_hit: OnHit) -> StoredResponse:
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
