"""One request as it is watched: what its line in the log and its metrics are made of.

Nothing of what the asker sent is kept but the request id, which the guard has looked at: the route is
the template (`/v1/components/{number}`), never the path; no query, header or body.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from time import perf_counter
from typing import TYPE_CHECKING, Any

from starlette.types import Scope

from graftbook.telemetry import metrics

if TYPE_CHECKING:
    from graftbook.telemetry.asker import Asker

_LOG = logging.getLogger("graftbook")
_METHODS = frozenset(("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"))

ELSEWHERE = "other"
"""The route of a request that matched none, and the method of one that is not of HTTP's own."""


class Seen:
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


_CURRENT: ContextVar[Seen | None] = ContextVar("seen", default=None)
entered, left = _CURRENT.set, _CURRENT.reset


def current() -> Seen | None:
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
