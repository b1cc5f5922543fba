"""How a call is sent, waited for and sent again: steps, which a client takes in its own way.

Nothing here touches a connection. `attempts` yields `Send` and gets a response or what the transport said, or
yields `Wait`; both clients drive it. `Remembered` is what a client keeps of its answers: ETags and documents.
"""

import json
import random
import time
from collections import OrderedDict
from collections.abc import Generator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar
from urllib.parse import urlencode

import httpx

from graftbook.client.calls import Call
from graftbook.client.problems import ProblemAnswer, Unreachable

T = TypeVar("T")

BUSY = {429, 502, 503, 504}
"""Statuses after which it is sent again: nothing was done, or a proxy had no answer and it is repeatable."""
NOTHING_DONE = {429, 503}
STILL_AT_WORK = "/problems/still-at-work"
FIRST_WAIT, LONGEST_WAIT = 0.1, 8.0
"""Seconds between attempts when nobody says how long: doubled each time."""


@dataclass(frozen=True)
class Send:
    """Send this, and give back the response, or the transport's error."""

    method: str
    url: str
    params: Mapping[str, Any]
    content: bytes | None
    headers: Mapping[str, str]
    timeout: float


@dataclass(frozen=True)
class Wait:
    """Wait so many seconds."""

    seconds: float


Outcome = httpx.Response | httpx.TransportError | None


@dataclass(frozen=True)
class Patience:
    """How long a call may take in all, and one attempt of it, in seconds; how often it is sent at most."""

    seconds: float = 60.0
    attempt_seconds: float = 30.0
    attempts: int = 12


USUAL = Patience()

MOST_KEPT = 64
LARGEST_KEPT = 1_000_000
"""Bytes of an answer above which only its ETag is kept."""


@dataclass(frozen=True)
class Kept:
    """The ETag of what stands at an address; the answer itself where it came with it."""

    etag: str
    content: bytes | None


class Remembered:
    """The last answers by address, the least lately used forgotten first. One client's alone."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Kept] = OrderedDict()

    def at(self, address: str) -> Kept | None:
        """What is kept of an address."""
        if (kept := self._kept.get(address)) is not None:
            self._kept.move_to_end(address)
        return kept

    def keep(self, address: str, etag: str, content: bytes | None) -> None:
        """Keep an ETag, and the answer if it is not too large."""
        small = content if content is not None and len(content) <= LARGEST_KEPT else None
        self._kept[address] = Kept(etag, small)
        self._kept.move_to_end(address)
        if len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)

    def forget(self, address: str) -> None:
        """It is gone, or its ETag is not known any more."""
        self._kept.pop(address, None)


def attempts(call: Call[T], memory: Remembered, patience: Patience) -> Generator[Send | Wait, Outcome, T]:
    """The steps of a call. Returns its document; raises ProblemAnswer and Unreachable."""
    end = time.monotonic() + max(patience.seconds, call.seconds or 0)
    for number in range(1, patience.attempts + 1):
        timeout = min(call.seconds or patience.attempt_seconds, max(end - time.monotonic(), 0.001))
        outcome = yield _sending(call, memory, timeout)
        if isinstance(outcome, httpx.Response) and not _again(call, outcome):
            return _document_of(call, outcome, memory)
        wait = _wait(outcome, number)
        last = number == patience.attempts or time.monotonic() + wait > end
        if last or (isinstance(outcome, httpx.TransportError) and not _may_repeat(call, outcome)):
            break
        yield Wait(wait)
    if isinstance(outcome, httpx.Response):
        raise _problem(outcome)
    raise Unreachable(f"{call.method} {call.path}: {outcome or 'no answer'}") from outcome


def _sending(call: Call[Any], memory: Remembered, timeout: float) -> Send:
    headers = dict(call.headers)
    if call.condition and (read := memory.at(call.condition)):
        headers.setdefault("If-Match", read.etag)
    elif call.method == "GET" and (kept := memory.at(address_of(call))) and kept.content is not None:
        headers["If-None-Match"] = kept.etag
    return Send(call.method, call.path, call.params, call.content, headers, timeout)


def address_of(call: Call[Any]) -> str:
    """Path and query: what stands there is one document."""
    return f"{call.path}?{urlencode(call.params, doseq=True)}" if call.params else call.path


def _again(call: Call[Any], response: httpx.Response) -> bool:
    if response.status_code in BUSY:
        return call.repeatable or response.status_code in NOTHING_DONE
    return response.status_code == 409 and _members(response).get("type") == STILL_AT_WORK


def _may_repeat(call: Call[Any], error: httpx.TransportError) -> bool:
    """What never reached the service may be sent again; what may have, only where that does no harm."""
    return call.repeatable or isinstance(error, httpx.ConnectError | httpx.ConnectTimeout)


def _wait(outcome: Outcome, number: int) -> float:
    """As long as the service says and a little more, so that not all come at once; else longer each time."""
    retry_after: str = outcome.headers.get("retry-after", "") if isinstance(outcome, httpx.Response) else ""
    if retry_after.isascii() and retry_after.isdecimal():
        return int(retry_after) * random.uniform(1.0, 1.25)
    return random.uniform(0.5, 1.0) * min(FIRST_WAIT * 2.0 ** (number - 1), LONGEST_WAIT)


def _document_of(call: Call[T], response: httpx.Response, memory: Remembered) -> T:
    """The document of an answer; what is to be remembered of it is."""
    address = call.condition or address_of(call)
    if response.status_code == 304 and (kept := memory.at(address)) and kept.content is not None:
        return call.read(kept.content)
    if response.status_code >= 300:
        if response.status_code in (404, 412):
            memory.forget(address)
        raise _problem(response)
    content, etag = response.content, response.headers.get("etag")
    if call.method == "GET" and etag:
        memory.keep(address, etag, content)
    elif call.condition and not call.params.get("dry_run"):
        memory.keep(address, etag, None) if etag else memory.forget(address)
    elif etag and (location := response.headers.get("location")):
        memory.keep(location, etag, None)
    return call.read(content)


def _problem(response: httpx.Response) -> ProblemAnswer:
    return ProblemAnswer(response.status_code, _members(response))


def _members(response: httpx.Response) -> Mapping[str, Any]:
    """The problem document; nothing where the answer is none."""
    try:
        found = json.loads(response.content)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
