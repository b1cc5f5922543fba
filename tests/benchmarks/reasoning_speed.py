"""Look-ups beside hard questions, new closures a second, and one closure in quiet: by reasoning processes.

A real `graftbook serve` on the demo range and a tangle of clauses, asked from this process. 0 processes: it
reasons in the serving process itself. Every figure stands beside one of the same moment, since other work on
the machine moves both.
"""

import asyncio
import statistics
import time
from collections.abc import Iterator
from typing import Any

import httpx

from graftbook.catalogue.loading.imports import load
from graftbook.commands.demo import demo_sheets
from tests.benchmarks.loaded import new_database
from tests.soundness.server import Served, serve
from tests.soundness.test_hostile_questions import hostile, tangle

HARD_AT_ONCE = 4
SECONDS = 8.0
NEW_CLOSURES = 48
LOOK_UP = "/v1/components/QB-3310"


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was asked of how many processes, and how long it took."""
    with new_database() as engine:
        report = load(engine, [demo_sheets(), tangle(240, 1022)])
        assert report.ok, report.mistakes[:3]
        url = engine.url.render_as_string(hide_password=False)
        for processes in (0, 4):
            with serve(url, reasoning_processes=processes, questions_at_once=4) as served:
                yield from asyncio.run(_look_ups(served, processes))
        for processes in (0, 1, 2):
            with serve(url, reasoning_processes=processes, questions_at_once=4) as served:
                yield from asyncio.run(_new_closures(served, processes))


async def _look_ups(served: Served, processes: int) -> Iterator[tuple[str, str]]:
    async with served.async_client() as client:
        etag = (await client.get(LOOK_UP)).headers["etag"]
        await _hard(client, 0, 1.0)  # a process is begun, a rule book compiled
        quiet = await _took(client, etag, SECONDS / 4)
        hard = [asyncio.create_task(_hard(client, n + 1, SECONDS)) for n in range(HARD_AT_ONCE)]
        await asyncio.sleep(0.5)
        busy = await _took(client, etag, SECONDS * 0.7)
        answers = await asyncio.gather(*hard)
    rows = [
        (
            f"{name}, {HARD_AT_ONCE} hard closures beside, {processes} processes",
            _spread(busy[name], quiet[name]),
        )
        for name in busy
    ]
    statuses = sorted({answer.status_code for answer in answers})
    return iter([*rows, (f"hard closures, {processes} processes", f"answered {statuses}")])


async def _hard(client: httpx.AsyncClient, number: int, seconds: float) -> httpx.Response:
    return await client.post("/v1/closures", json=hostile(number) | {"deadline_seconds": seconds})


async def _took(client: httpx.AsyncClient, etag: str, seconds: float) -> dict[str, list[float]]:
    """Milliseconds of each look-up, whole and as 304, one after the other for so long."""
    took: dict[str, list[float]] = {"look-up": [], "look-up, 304": [], "/livez": []}
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for name, address, headers, status in (
            ("look-up", LOOK_UP, {}, 200),
            ("look-up, 304", LOOK_UP, {"If-None-Match": etag}, 304),
            ("/livez", "/livez", {}, 200),
        ):
            began = time.perf_counter()
            answer = await client.get(address, headers=headers)
            took[name].append((time.perf_counter() - began) * 1000)
            assert answer.status_code == status, answer.text
        await asyncio.sleep(0.005)
    return took


def _spread(busy: list[float], quiet: list[float]) -> str:
    ordered = sorted(busy)
    middle, late = statistics.median(ordered), ordered[int(len(ordered) * 0.99)]
    return (
        f"median {middle:.1f}, p99 {late:.1f}, most {ordered[-1]:.1f} ms of {len(ordered)}; "
        f"{middle / statistics.median(quiet):.1f} times that of a moment before"
    )


async def _new_closures(served: Served, processes: int) -> Iterator[tuple[str, str]]:
    bodies = [_body(n) for n in range(NEW_CLOSURES + 12)]
    async with served.async_client() as client:
        for body in bodies[:4]:
            await client.post("/v1/closures", json=body)
        await asyncio.gather(*(client.post("/v1/closures", json=body) for body in bodies[4:8]))
        alone = []
        for body in bodies[8:12]:
            began = time.perf_counter()
            (await client.post("/v1/closures", json=body)).raise_for_status()
            alone.append((time.perf_counter() - began) * 1000)
        began = time.perf_counter()
        waiting = bodies[12:]

        async def connection() -> None:
            while waiting:
                (await client.post("/v1/closures", json=waiting.pop())).raise_for_status()

        await asyncio.gather(*(connection() for _ in range(4)))
        rate = NEW_CLOSURES / (time.perf_counter() - began)
    return iter(
        [
            (f"one new closure in quiet, {processes} processes", f"median {statistics.median(alone):.1f} ms"),
            (f"new closures, four at once, {processes} processes", f"{rate:.2f} a second"),
        ]
    )


def _body(number: int) -> dict[str, Any]:
    """An alternator for another vehicle each time: nothing of it is kept."""
    return {
        "vehicle": {"chassis": f"24PL-{10_700 + number * 7:06d}"},
        "wishes": [{"fit": "QL-7075"}],
        "deadline_seconds": 30,
    }
