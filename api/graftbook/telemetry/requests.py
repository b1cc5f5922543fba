"""One request as it is watched: what its line in the log and its metrics are made of.

Nothing of what the asker sent is kept but the request id, which the guard has looked at: the route is
the template (`/v1/components/{number}`), never the path; no query, header or body.

Of a closure in it: how long the reasoning took, how it ended, who found the set. Whether the one who asked is
still there is looked at only while something long is done for him.
"""

import asyncio
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from time import perf_counter
from typing import Any, Protocol, TypeVar

from starlette.types import Receive, Scope

from graftbook.closure.answer import Outcome
from graftbook.telemetry import metrics, tracing

_LOG = logging.getLogger("graftbook")
_METHODS = frozenset(("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"))

ELSEWHERE = "other"
"""The route of a request that matched none, and the method of one that is not of HTTP's own."""


class WatchedRequest:
    """A request from its first byte to its last."""

    __slots__ = (
        "arrived", "asker", "began", "method", "outcome", "problem", "request_id", "sent", "status", "trace",
    )  # fmt: skip

    def __init__(self, request_id: str, method: str) -> None:
        self.request_id = request_id
        self.method = method if method in _METHODS else ELSEWHERE
        self.status = 0
        self.sent = 0
        self.outcome = ""
        """How the closure inside ended, if there was one."""
        self.problem = ""
        """The last part of the problem's type, if it was answered with one."""
        self.trace = ""
        self.began = self.arrived = perf_counter()
        """When its first byte came, and when all of it was there."""
        self.asker: Asker | None = None
        metrics.IN_FLIGHT.inc()

    def ended(self, scope: Scope) -> None:
        """Count the request and write its line; called once, whatever happened."""
        seconds = perf_counter() - self.began
        route = route_of(scope)
        metrics.IN_FLIGHT.dec()
        metrics.request(route, self.method, self.status, seconds)
        if self.problem:
            metrics.PROBLEMS.labels(self.problem).inc()
        if _LOG.isEnabledFor(logging.INFO):
            record = logging.LogRecord(_LOG.name, logging.INFO, "", 0, "request", None, None)
            record.facts = self._facts(route, seconds, scope)
            _LOG.handle(record)

    def _facts(self, route: str, seconds: float, scope: Scope) -> dict[str, Any]:
        principal = scope.get("state", {}).get("principal")
        facts = {
            "request_id": self.request_id,
            "method": self.method,
            "route": route,
            "status": self.status or None,
            "milliseconds": round(seconds * 1000, 2),
            "bytes": self.sent,
            "key": getattr(principal, "key", ""),
            "outcome": self.outcome,
            "problem": self.problem,
            "trace": self.trace,
        }
        return {name: value for name, value in facts.items() if value not in ("", None)}


_CURRENT: ContextVar[WatchedRequest | None] = ContextVar("request", default=None)
entered, left = _CURRENT.set, _CURRENT.reset


def current() -> WatchedRequest | None:
    """The request that this code runs for, also in a worker thread; None outside of one."""
    return _CURRENT.get()


def since_asked() -> float:
    """Seconds since the present request was there in whole; 0 outside of one."""
    request = current()
    return 0.0 if request is None else perf_counter() - request.arrived


@contextmanager
def asked_anew() -> Iterator[None]:
    """One of several questions that a request asks one after the other: its time begins now."""
    request = current()
    if request is None:
        yield
        return
    arrived, request.arrived = request.arrived, perf_counter()
    try:
        yield
    finally:
        request.arrived = arrived


def route_of(scope: Scope) -> str:
    """The template of the route that took a request."""
    return getattr(scope.get("route"), "path", None) or ELSEWHERE


class Asker:
    """The other end of a request's connection. `there` is for other threads."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._loop = asyncio.get_running_loop()
        self._watch: asyncio.Task[None] | None = None
        self._gone = self._watched = False

    def there(self) -> bool:
        """Whether he has not gone; the first look begins to watch. Once the request is read in whole."""
        if not self._watched:
            self._watched = True
            self._loop.call_soon_threadsafe(self._begin)
        return not self._gone

    def _begin(self) -> None:
        self._watch = self._loop.create_task(self._until_gone())

    async def _until_gone(self) -> None:
        while (await self._receive())["type"] != "http.disconnect":
            pass
        self._gone = True

    def left(self) -> None:
        """The request is answered: nobody looks any more."""
        self._watched = True
        if self._watch is not None:
            self._watch.cancel()
            self._watch = None  # how it ends holds this, and this nothing that only the collector frees


def somebody_waits() -> Callable[[], bool]:
    """Tells whether the asker of the present request is there; without a request, that somebody is."""
    request = current()
    return request.asker.there if request is not None and request.asker is not None else lambda: True


Result = TypeVar("Result")


class Watched(Protocol):
    """What is watched of an answer."""

    @property
    def outcome(self) -> Outcome: ...
    @property
    def engine(self) -> str: ...
    @property
    def reached(self) -> int: ...


_DEAREST_FIRST = ("solver", "concession", "elimination", "propagation")
_LEAST_SURE = (Outcome.too_large, Outcome.not_proved, Outcome.impossible, Outcome.proved)


def watched(
    question: str, reason: Callable[[], Result], answers: Callable[[Result], tuple[Watched, ...]]
) -> Result:
    """What `reason` returns, with its time under the kind of question and its least sure outcome.

    `answers` takes the answers out of the result: a comparison reasons twice, and a set that is
    complete needs no closure at all.
    """
    began = perf_counter()
    with tracing.span(f"reason {question}") as span:
        result = reason()
        outcome, engine, reached = _summed_up(answers(result))
        span.set("graftbook.outcome", outcome)
        span.set("graftbook.engine", engine)
        span.set("graftbook.positions_reached", reached)
    metrics.CLOSURES.labels(question, outcome, engine).observe(perf_counter() - began)
    if (request := current()) is not None:
        request.outcome = outcome
    return result


def _summed_up(given: tuple[Watched, ...]) -> tuple[str, str, int]:
    """The least sure outcome, who found it, and how many positions were reached."""
    if not given:
        return str(Outcome.proved), "none", 0
    least = min(given, key=lambda answer: _LEAST_SURE.index(answer.outcome))
    engines = {answer.engine for answer in given}
    engine = next((name for name in _DEAREST_FIRST if name in engines), "none")
    return str(least.outcome), engine, max(answer.reached for answer in given)
