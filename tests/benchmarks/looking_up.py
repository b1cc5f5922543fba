"""Look-ups beside four hard closures: how long they take, and what they wait for.

The service runs on the demo range in a process of its own, reasoning in further ones, as `graftbook serve`
does. Three clients of their own ask, one request at a time each, first in a quiet service and then while four
hard closures are reasoned over without end: for a component's page that is ready, for the same with a key,
and for a search, which is never kept. They go before others on a busy machine where the system lets them.

Beside their milliseconds stands what the event loop itself sees: by how much it wakes later than it wanted,
and how much of that was no waiting for a processor (Linux tells of each thread how long it waited for one):
what other programs take is the machine's business, the rest is ours.
"""

import asyncio
import json
import multiprocessing
import os
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import httpx
from starlette.types import ASGIApp, Receive, Scope, Send

from graftbook.app import create_app
from tests.benchmarks.sending import demo_in, on_a_free_port
from tests.conftest import make_key

HARD = {"wishes": [{"remedy_all": "moderate"}], "deadline_seconds": 20.0}
ASKERS = 4
SECONDS = 6.0
LEAST = 20
"""Look-ups of a round, however long they take."""
WOKEN_EVERY = 0.01
LAG = "/lag"
SERVE = """
import sys, uvicorn
from tests.benchmarks.looking_up import watched
uvicorn.run(watched(), host="127.0.0.1", port=int(sys.argv[1]), log_level="warning", access_log=False)
"""
LOOK_UPS = (
    ("component's page, ready", "/v1/components/QB-3310", False),
    ("the same with a key", "/v1/components/QB-3310", True),
    ("search, never kept", "/v1/components?words=disc&limit=10", False),
)


class Watched:
    """An application and how late its event loop wakes; `/lag` gives the figures since it was asked last."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.late: list[tuple[float, float]] = []
        self._watch: asyncio.Task[None] | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._watch is None:
            self._watch = asyncio.create_task(self._wake())
        if scope["type"] == "http" and scope["path"] == LAG:
            late, self.late = self.late, []
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": json.dumps(late).encode()})
            return
        await self.app(scope, receive, send)

    async def _wake(self) -> None:
        while True:
            began, waited = time.perf_counter(), _waited_for_a_processor()
            await asyncio.sleep(WOKEN_EVERY)
            late = time.perf_counter() - began - WOKEN_EVERY
            self.late.append((late * 1000, (_waited_for_a_processor() - waited) * 1000))


def watched() -> ASGIApp:
    """The service with its event loop watched."""
    return Watched(create_app())


def _waited_for_a_processor() -> float:
    """Seconds that threads of this process could have run and did not: one that waits may hold what the
    others wait for. 0 where the system does not tell."""
    waited = 0
    for told in Path("/proc/self/task").glob("*/schedstat"):
        with suppress(OSError):
            waited += int(told.read_text().split()[1])
    return waited / 1e9


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was asked, with the milliseconds."""
    with _served() as (base, key):
        quiet = _round(base, key)
        over = threading.Event()
        askers = [threading.Thread(target=_hard, args=(base, n, over)) for n in range(ASKERS)]
        for asker in askers:
            asker.start()
        time.sleep(2)
        hard = _round(base, key)
        over.set()
        for asker in askers:
            asker.join()
    for what, beside in quiet.items():
        ratio = statistics.median(hard[what]) / max(statistics.median(beside), 0.01)
        yield what, f"{_told(hard[what])}; median {ratio:.1f} times that of a quiet service: {_told(beside)}"


def _round(base: str, key: str) -> dict[str, list[float]]:
    """Milliseconds of each look-up, and of the event loop's waking, by name."""
    httpx.get(base + LAG)
    with multiprocessing.get_context("fork").Pool(len(LOOK_UPS)) as clients:
        took = clients.starmap(
            _client, [(base, path, key if with_key else "") for _, path, with_key in LOOK_UPS]
        )
    late = httpx.get(base + LAG).json()
    return {
        **{what: one for (what, _, _), one in zip(LOOK_UPS, took, strict=True)},
        "the event loop wakes late": [whole for whole, _ in late],
        "the same without waiting for a processor": [max(0.0, whole - waited) for whole, waited in late],
    }


def _client(base: str, path: str, key: str) -> list[float]:
    """One request after the other, with a little rest between them."""
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, 0, 0)
    took: list[float] = []
    headers = {"Authorization": f"Bearer {key}"} if key else {}
    with httpx.Client(base_url=base, headers=headers, timeout=60) as client:
        client.get(path).raise_for_status()
        began = time.perf_counter()
        while time.perf_counter() - began < SECONDS or len(took) < LEAST:
            start = time.perf_counter()
            client.get(path).raise_for_status()
            took.append((time.perf_counter() - start) * 1000)
            time.sleep(0.005)
    return took


def _hard(base: str, first: int, over: threading.Event) -> None:
    """One hard closure after the other, each of another vehicle."""
    serial = 10_700 + 300 * first
    with httpx.Client(base_url=base, timeout=90) as client:
        while not over.is_set():
            serial += 1
            client.post("/v1/closures", json={"vehicle": {"chassis": f"24PL-{serial:06d}"}, **HARD})


def _told(took: list[float]) -> str:
    cuts = statistics.quantiles(took, n=100)
    return f"median {cuts[49]:.1f} ms, 99th percentile {cuts[98]:.1f} ms"


@contextmanager
def _served() -> Iterator[tuple[str, str]]:
    """The service on the demo range, and a key that may read."""
    with TemporaryDirectory() as folder:
        url = demo_in(folder)
        settings: dict[str, Any] = {"DATABASE_URL": url, "REASONING_PROCESSES": "4"}
        environment = os.environ | {f"GRAFTBOOK_{name}": value for name, value in settings.items()}
        with on_a_free_port([sys.executable, "-c", SERVE], "/livez", environment) as base:
            yield base, make_key(url, "read")


if __name__ == "__main__":
    for row in run():
        print(*row, sep=": ", flush=True)
