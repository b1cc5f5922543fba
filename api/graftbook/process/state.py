"""The service as its routes ask for it; whatever needs no web takes it from `process.service`.

What they count themselves is carried from here into the metrics.
"""

from time import monotonic
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.pool import QueuePool

from graftbook.process.service import Service
from graftbook.telemetry import metrics

__all__ = ["Readings", "Service", "ServiceDep"]


def _service(request: Request) -> Service:
    found: Service = request.app.state.service
    return found


ServiceDep = Annotated[Service, Depends(_service)]


EVERY = 1.0
"""Seconds between two readings while requests come; a scrape always reads."""


class Readings:
    """Reads one service's caches and connection pool.

    The caches count in plain integers, so that their rooms know no metrics; what came on top since
    the last reading is added.
    """

    def __init__(self, service: Service) -> None:
        self._service = service
        self._last: dict[tuple[str, str], int] = {}
        self._read = 0.0

    def now_and_then(self) -> None:
        """Read, unless that was done just now."""
        if monotonic() - self._read > EVERY:
            self.take()

    def take(self) -> None:
        """Read everything."""
        self._read = monotonic()
        books, answers = self._service.books, self._service.answers
        self._add("books", "hit", books.hits)
        self._add("books", "miss", books.misses)
        self._add("books", "compiled", books.compiled)
        self._add("answers", "hit", answers.hits)
        self._add("answers", "miss", answers.misses)
        metrics.ANSWERS_HELD.set(answers.held)
        if (reasoning := self._service.reasoner.pool) is not None:
            metrics.PROCESSES.labels("at_work").set(reasoning.at_work)
            metrics.PROCESSES.labels("idle").set(reasoning.idle)
            self._add("lost", "", reasoning.lost)
        pool = self._service.engine.pool
        if isinstance(pool, QueuePool):
            metrics.POOL.labels("in_use").set(pool.checkedout())
            metrics.POOL.labels("idle").set(pool.checkedin())

    def _add(self, cache: str, what: str, total: int) -> None:
        counters = {"books": metrics.BOOKS, "answers": metrics.ANSWERS, "lost": metrics.LOST}
        counter = counters[cache].labels(what) if what else counters[cache]
        counter.inc(max(0, total - self._last.get((cache, what), 0)))
        self._last[cache, what] = total
