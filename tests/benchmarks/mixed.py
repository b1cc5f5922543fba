"""A thousand mixed compatibility questions in one call, beside a service that returns the same bytes.

The demo range on SQLite, in this process over ASGI, in processor seconds, the collector set as `serve` sets
it. Half of the questions name a part that some record fits on the variant of the vehicle, half any part of
the catalogue; one in ten names a position, one in fifty is misspelt, one in five is typed in another way.
Chassis numbers are of every span.
"""

import asyncio
import gc
import json
import random
import statistics
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import Engine, select
from starlette.types import ASGIApp

from graftbook.app import collect_seldom, create_app
from graftbook.catalogue.store.tables import table
from graftbook.commands.demo import demo_sheets
from graftbook.settings import Settings
from tests.benchmarks.http_speed import ready_bytes
from tests.benchmarks.loaded import load_all, new_database
from tests.benchmarks.releases.beside import OLD, now, then
from tests.benchmarks.releases.transcribed import load_both

QUESTIONS, CALLS, ROUNDS = 1_000, 9, 5
Figures = dict[str, float | int | str]


def mixed_questions(engine: Engine, count: int = QUESTIONS, seed: int = 1) -> list[dict[str, str]]:
    """Questions drawn by a seed from what the catalogue holds."""
    chance = random.Random(seed)
    fitment, claim, spelt = table("fitment"), table("claim"), table("condition_variant")
    recorded = (
        select(spelt.c.variant, fitment.c.component, fitment.c.position)
        .join(claim, claim.c.condition_id == spelt.c.condition_id)
        .join(fitment, fitment.c.claim == claim.c.name)
    )
    with engine.connect() as connection:
        spans = connection.execute(select(table("chassis_span")).order_by("prefix", "first_serial")).all()
        every = sorted(connection.execute(select(table("component").c.number)).scalars())
        fitting: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for variant, component, position in sorted(connection.execute(recorded).tuples()):
            fitting[variant].append((component, position))
    return [_question(chance, n, spans, every, fitting) for n in range(count)]


def _question(
    chance: random.Random, n: int, spans: Any, every: list[str], fitting: dict[str, list[tuple[str, str]]]
) -> dict[str, str]:
    span = chance.choice(spans)
    component, position = chance.choice(fitting[span.variant])
    if n % 2:
        component = chance.choice(every)
    if n % 50 == 17:
        component = component[:-1] + "?"
    if n % 5 == 2:
        component = component.replace("-", " ").lower()
    serial = chance.randint(span.first_serial, span.last_serial)
    asked = {"component": component, "chassis": f"{span.prefix}-{serial:0{span.digits}d}"}
    return asked | ({"position": position} if n % 10 == 3 else {})


def measure(**further: Any) -> Figures:
    """Processor milliseconds of a call (first, and the median of later ones about other vehicles), the size
    of its answer, and the ratio to a service that returns the same bytes. `further`: members of the body."""
    with new_database() as engine:
        load_all(engine, demo_sheets())
        app = create_app(Settings(database_url=str(engine.url), reasoning_processes=0))
        collected_after = gc.get_threshold()
        collect_seldom()
        bodies = [
            json.dumps({"questions": mixed_questions(engine, seed=n), **further}).encode()
            for n in range(CALLS + 1)
        ]
        took = asyncio.run(_took(app, "/v1/compatibility", bodies))
        answers = asyncio.run(_answer(app, "/v1/compatibility", bodies[0]))
        ready = asyncio.run(_took(ready_bytes(answers), "/", bodies))
        app.state.service.close()
        gc.set_threshold(*collected_after)
        gc.unfreeze()
    verdicts = Counter(answer["verdict"] for answer in json.loads(answers)["answers"])
    return {
        "questions": QUESTIONS,
        "first_ms": took[0],
        "median_ms": statistics.median(took[1:]),
        "worst_ms": max(took[1:]),
        "ready_bytes_ms": statistics.median(ready[1:]),
        "ratio_to_ready_bytes": statistics.median(took[1:]) / statistics.median(ready[1:]),
        "kilobytes": len(answers) / 1000,
        **{f"answered '{verdict}'": count for verdict, count in sorted(verdicts.items())},
    }


async def _took(app: ASGIApp, address: str, bodies: list[bytes]) -> list[float]:
    """Processor milliseconds of each call, one after the other, in this process."""
    took = []
    async with _client(app) as client:
        for body in bodies:
            start = time.process_time()
            (await client.post(address, content=body)).raise_for_status()
            took.append((time.process_time() - start) * 1000)
    return took


async def _answer(app: ASGIApp, address: str, body: bytes) -> bytes:
    async with _client(app) as client:
        return (await client.post(address, content=body)).raise_for_status().content


def _client(app: ASGIApp) -> httpx.AsyncClient:
    headers = {"Content-Type": "application/json"}
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1", headers=headers)


def beside() -> Iterator[tuple[str, str]]:
    """Calls of both releases in turns: the first finds nothing kept, the later ones are about other vehicles.
    Of the last, each of our verdicts is held against the one that is given alone."""
    with new_database() as engine:
        load_all(engine, demo_sheets())
        asked = [mixed_questions(engine, seed=n) for n in range(ROUNDS)]
    took: dict[str, list[float]] = {"ours": [], OLD: []}
    with now() as ours, then() as theirs:
        sides = {"ours": (ours, {"detail": "verdict"}), OLD: (theirs, {})}
        with tempfile.TemporaryDirectory() as folder:
            load_both(ours, theirs, demo_sheets(), Path(folder))
        for questions in asked:
            for name, (side, further) in sides.items():
                told = side.ask(do="many", body={"questions": questions, **further})
                took[name].append(told["took"]["cpu"] * 1000)
        body = {"questions": asked[-1], "detail": "verdict"}
        many, alone = ours.ask(do="many", body=body), ours.ask(do="many", body=body, alone=True)
    if many["verdicts"] != alone["verdicts"]:
        raise AssertionError("a verdict of the call is not the one that is given alone")
    for what, pick in (("cold", lambda each: each[0]), ("warm", lambda each: statistics.median(each[1:]))):
        mine, old = pick(took["ours"]), pick(took[OLD])
        yield f"{what}, ms of a processor, ours / {OLD} / times", f"{mine:.0f} / {old:.0f} / {old / mine:.1f}"


def run() -> Iterator[tuple[str, str]]:
    """Rows of (what, figure)."""
    for what, figure in measure(detail="verdict").items():
        yield (
            f"a thousand mixed questions: {what}",
            str(figure if isinstance(figure, int) else round(figure, 3)),
        )
    yield from beside()
