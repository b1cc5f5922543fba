"""What is counted, in the Prometheus text format. One set a process; labels come from short lists.

With several worker processes `PROMETHEUS_MULTIPROC_DIR` names a folder where each leaves its figures
(`graftbook serve --workers` makes one), and any of them answers for all.
"""

import os
from pathlib import Path
from typing import Final

from prometheus_client import (
    CONTENT_TYPE_LATEST,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    ProcessCollector,
    generate_latest,
)
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead

MEDIA_TYPE = CONTENT_TYPE_LATEST
FOLDER = "PROMETHEUS_MULTIPROC_DIR"

_REGISTRY = CollectorRegistry()
_TOGETHER: Final = "livesum"

REQUESTS = Histogram(
    "graftbook_request_seconds",
    "Requests: how many, and how long they took",
    ["route", "method", "status"],
    buckets=(0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30),
    registry=_REGISTRY,
)
IN_FLIGHT = Gauge(
    "graftbook_requests_in_flight",
    "Requests being answered now",
    registry=_REGISTRY,
    multiprocess_mode=_TOGETHER,
)
PROBLEMS = Counter(
    "graftbook_problems",
    "Problem documents answered, by the last part of their type: also what a limit refused",
    ["problem"],
    registry=_REGISTRY,
)
CLOSURES = Histogram(
    "graftbook_closure_seconds",
    "Closures reasoned anew: how many, and how long they took; by what ended them and who found them",
    ["question", "outcome", "engine"],
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60),
    registry=_REGISTRY,
)
BOOKS = Counter(
    "graftbook_rule_books", "Rule books asked for: hit, miss; and compiled", ["what"], registry=_REGISTRY
)
ANSWERS = Counter(
    "graftbook_ready_answers", "Ready answers asked for: hit, miss", ["what"], registry=_REGISTRY
)
ANSWERS_HELD = Gauge(
    "graftbook_ready_answers_bytes",
    "Bytes of ready answers kept",
    registry=_REGISTRY,
    multiprocess_mode=_TOGETHER,
)
POOL = Gauge(
    "graftbook_database_connections",
    "Database connections: in_use, idle",
    ["what"],
    registry=_REGISTRY,
    multiprocess_mode=_TOGETHER,
)
PROCESSES = Gauge(
    "graftbook_reasoning_processes",
    "Reasoning processes: at_work, idle",
    ["what"],
    registry=_REGISTRY,
    multiprocess_mode=_TOGETHER,
)
LOST = Counter(
    "graftbook_reasoning_processes_lost", "Reasoning processes that ended at work", registry=_REGISTRY
)
if FOLDER not in os.environ:
    ProcessCollector(registry=_REGISTRY)

_children: dict[tuple[str, str, int], Histogram] = {}


def request(route: str, method: str, status: int, seconds: float) -> None:
    """Count one request under its route's template and its status class (`2xx`; `none`: never answered)."""
    key = (route, method, status // 100)
    child = _children.get(key)
    if child is None:
        child = _children[key] = REQUESTS.labels(route, method, f"{key[2]}xx" if status else "none")
    child.observe(seconds)


def exposition() -> bytes:
    """Every figure, of every worker process, as text."""
    folder = os.environ.get(FOLDER)
    if not folder:
        return generate_latest(_REGISTRY)
    for pid in _ended_processes(Path(folder)):
        mark_process_dead(pid)  # type: ignore[no-untyped-call]  # the library gives it no types
    together = CollectorRegistry()
    MultiProcessCollector(together)  # type: ignore[no-untyped-call]  # the library gives it no types
    return generate_latest(together)


def _ended_processes(folder: Path) -> set[int]:
    """Processes that ended without saying so, whose gauges must not be summed any more."""
    written = {int(path.stem.rsplit("_", 1)[1]) for path in folder.glob("gauge_live*.db")}
    return {pid for pid in written if not _alive(pid)}


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
