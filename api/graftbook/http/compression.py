"""Compression of whatever is sent, in one place: which documents, `Vary`, and ETags in and out.

Inside, an answer has one ETag, that of its state. Outside each content coding of it has its own, since a
strong ETag names bytes (RFC 9110, 8.8.3.3). So what an asker has in If-None-Match is brought back to the
state on its way in; for If-Match, and for a form that names an ETag, `conditional.names` does the same.

A page may carry a form's token beside what was asked; the cookie that makes it carry one is sent by our own
pages only, so nobody else can measure its length.

First the codings themselves: which one an asker takes, bytes in it, and the ETag of an answer in it.
"""

import gzip
import re
import sys
import zlib
from collections.abc import Callable
from functools import lru_cache, partial
from typing import Any, Protocol

from fastapi.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graftbook.process.service import AnswerCache

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    import backports.zstd as zstd

IDENTITY = ""
GZIP = "gzip"
ZSTD = "zstd"
PREFERRED = (ZSTD, GZIP)
"""Of an answer of 227 kB the first makes 31 kB in 0.7 ms, the second 35 kB in 3.8 ms."""
LEAST_BYTES = 1_000
"""Less than this is sent as it is: it fits into one packet with its headers."""
GZIP_LEVEL = 5

_TAG = re.compile(rb'-(?:zstd|gzip)"')


class Compressor(Protocol):
    """Takes a body piece by piece; `finish` gives what is left."""

    def add(self, piece: bytes) -> bytes: ...
    def finish(self) -> bytes: ...


class _Gzip:
    def __init__(self, at_once: bool) -> None:
        self._inner = zlib.compressobj(GZIP_LEVEL, wbits=31)
        self._ends = zlib.Z_SYNC_FLUSH if at_once else zlib.Z_NO_FLUSH

    def add(self, piece: bytes) -> bytes:
        return self._inner.compress(piece) + self._inner.flush(self._ends)

    def finish(self) -> bytes:
        return self._inner.flush()


class _Zstd:
    def __init__(self, at_once: bool) -> None:
        self._inner = zstd.ZstdCompressor()
        self._at_once = at_once

    def add(self, piece: bytes) -> bytes:
        inner = self._inner
        return inner.compress(piece, inner.FLUSH_BLOCK if self._at_once else inner.CONTINUE)

    def finish(self) -> bytes:
        return self._inner.flush()


_WHOLE: dict[str, Callable[[bytes], bytes]] = {
    ZSTD: zstd.compress,
    # Without a time in it, so that the same document gives the same bytes.
    GZIP: lambda body: gzip.compress(body, GZIP_LEVEL, mtime=0),
}


def packed(body: bytes, coding: str) -> bytes:
    """The bytes in a coding."""
    return _WHOLE[coding](body)


def compressor(coding: str, at_once: bool = False) -> Compressor:
    """For a body that comes in pieces. `at_once`: whoever has got one can read all of it."""
    return _Zstd(at_once) if coding == ZSTD else _Gzip(at_once)


@lru_cache(maxsize=256)
def chosen(accept: bytes) -> str:
    """The coding for whoever sends this Accept-Encoding: the heaviest weight, of equals the shortest answer.

    IDENTITY where none of ours is taken (12.5.3), and where the bytes as they are weigh more.
    """
    weights: dict[str, float] = {}
    for part in accept.decode("latin-1").lower().split(","):
        name, _, parameters = part.partition(";")
        weights[name.strip()] = _weight(parameters)
    plain = weights.get("identity", 0.0)
    every = weights.get("*", 0.0)
    best = max(PREFERRED, key=lambda coding: weights.get(coding, every))
    weight = weights.get(best, every)
    return best if weight > 0 and weight >= plain else IDENTITY


def _weight(parameters: str) -> float:
    given = parameters.replace(" ", "").partition("q=")[2]
    try:
        return min(float(given), 1.0) if given else 1.0
    except ValueError:
        return 0.0


def tagged(etag: bytes, coding: str) -> bytes:
    """The ETag of the same answer in a coding: a strong one is of the very bytes (8.8.3.3)."""
    if not coding or etag.startswith(b"W/") or not etag.endswith(b'"'):
        return etag
    return etag[:-1] + b"-" + coding.encode() + b'"'


def untagged(etags: bytes) -> bytes:
    """A list of ETags as they are of the answers in no coding."""
    return _TAG.sub(b'"', etags)


def held(etag: bytes, if_none_match: bytes) -> bytes | None:
    """The ETag, of those that the asker holds, under which he has this answer, in whatever coding; None
    when he has it not. Whichever coding it came in, what he holds is not changed."""
    if if_none_match.strip() == b"*":
        return etag
    names = [name.strip().removeprefix(b"W/") for name in if_none_match.split(b",")]
    return next((one for one in every_tag(etag) if one in names), None)


def every_tag(etag: bytes) -> tuple[bytes, ...]:
    """The ETags of an answer in every coding."""
    return tuple(tagged(etag, coding) for coding in (*PREFERRED, IDENTITY))


Header = tuple[bytes, bytes]

READY = "ready_etag"
"""Under this a request's state holds the ETag of a ready answer: it is compressed once, and kept so."""

_MEDIA = (
    b"text/",
    b"application/json",
    b"application/problem+json",
    b"application/schema+json",
    b"image/svg+xml",
)
_STREAMS = b"text/event-stream"
_PAGES = b"text/html"
"""A page shows what it has got, so each piece of it is sent on at once."""
AT_ONCE = 100_000
"""More than this is compressed in another thread: it would hold up everybody else."""


class Compress:
    """Sends documents above a kilobyte in the coding that the asker takes.

    What comes in one piece is compressed whole; what is streamed, piece by piece; what a server sends as
    events is left alone. `answers` keeps the compressed bytes of ready answers.
    """

    def __init__(self, app: ASGIApp, answers: AnswerCache) -> None:
        self.app = app
        self.answers = answers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = {name: value for name, value in scope["headers"] if name in _READ}
        inner = {**scope, "headers": _of_states(scope["headers"])} if _NAMING in asked else scope
        answer = _Sent(self.answers, scope.setdefault("state", {}), asked, send)
        try:
            await self.app(inner, receive, answer.send)
        finally:
            if inner is not scope and "route" in inner:
                scope["route"] = inner["route"]


_NAMING = b"if-none-match"
_READ = {b"accept-encoding", _NAMING}


def _of_states(headers: list[Header]) -> list[Header]:
    return [(name, untagged(value) if name == _NAMING else value) for name, value in headers]


class _Sent:
    """One answer on its way out."""

    def __init__(self, answers: AnswerCache, state: dict[str, Any], asked: dict[bytes, bytes], send: Send):
        self._answers, self._state, self._asked, self._send = answers, state, asked, send
        self._coding = chosen(asked.get(b"accept-encoding", b""))
        self._start: Message | None = None
        self._by_pieces: Compressor | None = None

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = dict(message["headers"])
            if message["status"] == 304:
                message["headers"] = self._not_modified(message["headers"])
            elif _may_be_packed(headers):
                message["headers"] = varied(message["headers"])
                if self._coding:
                    self._start = message  # how long it is, its body tells
                    return
        elif message["type"] == "http.response.body":
            if self._start is not None:
                message = await self._first_piece(self._start, message)
                self._start = None
            elif self._by_pieces is not None:
                message = _piece(self._by_pieces, message)
        await self._send(message)

    def _not_modified(self, given: list[Header]) -> list[Header]:
        asked = self._asked.get(_NAMING, b"")
        headers = [(n, held(v, asked) or v) if n == b"etag" else (n, v) for n, v in given]
        return varied(headers)

    async def _first_piece(self, start: Message, first: Message) -> Message:
        """The first piece in the coding, its head sent before it."""
        body, more = first.get("body", b""), first.get("more_body", False)
        if not more and len(body) < LEAST_BYTES:
            await self._send(start)
            return first
        if more:
            self._by_pieces = compressor(self._coding, at_once=_is_page(start))
            first, length = _piece(self._by_pieces, first), None
        else:
            first = {**first, "body": await self._whole(body)}
            length = len(first["body"])
        start["headers"] = in_coding(start["headers"], self._coding, length)
        await self._send(start)
        return first

    async def _whole(self, body: bytes) -> bytes:
        etag, coding = self._state.get(READY), self._coding
        if etag is None:
            make: Callable[[], bytes] = partial(packed, body, coding)
        else:
            make = partial(self._answers.in_coding, etag, coding, partial(packed, body, coding))
        return await run_in_threadpool(make) if len(body) > AT_ONCE else make()


def _is_page(start: Message) -> bool:
    return bool(dict(start["headers"]).get(b"content-type", b"").startswith(_PAGES))


def _piece(by_pieces: Compressor, message: Message) -> Message:
    body = by_pieces.add(message.get("body", b""))
    if not message.get("more_body", False):
        body += by_pieces.finish()
    return {**message, "body": body}


def _may_be_packed(headers: dict[bytes, bytes]) -> bool:
    media = headers.get(b"content-type", b"")
    return media.startswith(_MEDIA) and not media.startswith(_STREAMS) and b"content-encoding" not in headers


def varied(headers: list[Header]) -> list[Header]:
    """With Accept-Encoding in Vary, once."""
    vary = [value for name, value in headers if name == b"vary"]
    if any(b"accept-encoding" in value.lower() for value in vary):
        return headers
    others = [pair for pair in headers if pair[0] != b"vary"]
    return [*others, (b"vary", b", ".join([*vary, b"Accept-Encoding"]))]


def in_coding(headers: list[Header], coding: str, length: int | None) -> list[Header]:
    """The head of an answer whose body is in a coding. `length` is None where it is not known yet."""
    if coding == IDENTITY:
        return headers
    kept = [
        (name, tagged(value, coding) if name == b"etag" else value)
        for name, value in headers
        if name != b"content-length"
    ]
    if length is not None:
        kept.append((b"content-length", str(length).encode()))
    return [*kept, (b"content-encoding", coding.encode())]
