"""Answers over HTTP beside an endpoint that returns the same ready bytes, on one real server each.

The demo range on SQLite, one uvicorn worker, four connections asking. A cached closure is served from
the process's ready answers; a fresh one differs each time by the chassis serial.
"""

import asyncio
import statistics
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import Response

from graftbook.app import create_app
from graftbook.commands.demo import demo_sheets
from graftbook.settings import Settings
from tests.benchmarks.loaded import load_all, new_database

CONNECTIONS = 4
ALTERNATOR = {"wishes": [{"fit": "QL-7075"}]}


@contextmanager
def serving(app: Any) -> Iterator[str]:
    """A real server on a free port of this machine; yields its address."""
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()


def ready_bytes(body: bytes) -> FastAPI:
    """A service that does nothing but return these bytes."""
    app = FastAPI(openapi_url=None)

    @app.post("/")
    async def same(request: Request) -> Response:
        await request.body()
        return Response(body, media_type="application/json")

    return app


async def _ask(url: str, bodies: list[dict[str, Any]]) -> tuple[float, float]:
    """Requests a second, and the median milliseconds of one."""
    waiting = list(bodies)
    took: list[float] = []
    async with httpx.AsyncClient(timeout=60) as client:

        async def connection() -> None:
            while waiting:
                body = waiting.pop()
                start = time.perf_counter()
                (await client.post(url, json=body)).raise_for_status()
                took.append(time.perf_counter() - start)

        start = time.perf_counter()
        await asyncio.gather(*(connection() for _ in range(CONNECTIONS)))
    return len(bodies) / (time.perf_counter() - start), statistics.median(took) * 1000


def _rate(url: str, bodies: list[dict[str, Any]]) -> tuple[float, float]:
    asyncio.run(_ask(url, bodies[: max(4, len(bodies) // 10)]))  # warm
    return asyncio.run(_ask(url, bodies))


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was asked, and requests a second with the ratio to ready bytes of the same size."""
    with new_database() as engine:
        load_all(engine, demo_sheets())
        app = create_app(Settings(database_url=str(engine.url), answers_kept=32_000_000))
        with serving(app) as base:
            yield from _compared(f"{base}/v1/closures", *_cached())
            yield from _compared(f"{base}/v1/closures", *_fresh("alternator", 10_700, ALTERNATOR))
            yield from _compared(
                f"{base}/v1/closures", *_fresh("front discs", 10_700, {"wishes": [{"fit": "QB-3310"}]}, 16)
            )
            yield from _compared(f"{base}/v1/compatibility", *_batches())


Asked = tuple[str, list[dict[str, Any]], int]


def _cached() -> Asked:
    return "closure, ready answer", [{"vehicle": {"chassis": "24PL-018412"}, **ALTERNATOR}] * 300, 1


def _fresh(what: str, first: int, wish: dict[str, Any], count: int = 60) -> Asked:
    bodies = [{"vehicle": {"chassis": f"24PL-{first + n:06d}"}, **wish} for n in range(count)]
    return f"closure, reasoned anew: {what}", bodies, 1


def _batches() -> Asked:
    numbers = ["qb 3310", "QW-7655", "ql7075", "QA-3024", "QB-2048", "no such part"]
    batches = [
        {
            "questions": [
                {"component": numbers[(n + b) % len(numbers)], "chassis": f"24PL-{11_000 + n * 13 + b:06d}"}
                for n in range(500)
            ]
        }
        for b in range(6)
    ]
    return "compatibility, 500 questions in one call", batches, 500


def _compared(url: str, what: str, bodies: list[dict[str, Any]], questions: int) -> Iterator[tuple[str, str]]:
    body = httpx.post(url, json=bodies[0], timeout=60).raise_for_status().content
    rate, median = _rate(url, bodies)
    with serving(ready_bytes(body)) as other:
        beside, _ = _rate(f"{other}/", bodies * max(1, 300 // len(bodies)))
    each = f", {rate * questions * 60:,.0f} questions a minute" if questions > 1 else ""
    yield (
        f"{what} ({len(body) / 1000:.0f} kB)",
        f"{rate:8.1f} a second, median {median:.1f} ms, ratio to ready bytes {rate / beside:.3f}{each}",
    )
