"""Fifty hostile closures at once on a real server: it stays alive, each gets an honest answer or a 503."""

import asyncio
import random
import statistics
import time
from typing import Any

import httpx
import pytest

from graftbook.catalogue.loading.imports import load
from graftbook.database import make_engine
from graftbook.problems import Busy
from graftbook.process.service import Gate
from tests.soundness.conftest import Serve
from tests.soundness.server import Served

ASKED = 50
DEADLINE = 1.0
MOST_SECONDS_ALIVE = 1.0
"""What `/livez` may take at worst meanwhile; more where it took long before, too."""
TIMES_AS_LONG = 30
CHASSIS = "24PL-018412"


def tangle(variables: int = 120, clauses: int = 511) -> list[dict[str, Any]]:
    """Positions for a random formula of three literals a clause, all to be remedied; invented data."""
    chance = random.Random(11)
    held: list[dict[str, Any]] = [
        {"record": "section", "name": "x-section", "title": "Places", "order": 9_999}
    ]
    for p in range(variables):
        held.append({"record": "position", "name": f"x{p}", "section": "x-section", "title": f"Place {p}"})
        for number in (f"X-{p}-0", f"X-{p}-1", f"X-{p}-2"):
            held.append(
                {"record": "component", "number": number, "name": "Clip", "section": "x-section",
                 "origin": "modern", "price": "1.00"}
            )  # fmt: skip
            held.append(
                {
                    "record": "fitment",
                    "component": number,
                    "position": f"x{p}",
                    "from_new": number.endswith("2"),
                }
            )
        held.append(
            {"record": "flaw", "name": f"x flaw {p}", "component": f"X-{p}-2", "severity": "dangerous",
             "symptom": "It breaks"}
        )  # fmt: skip
    for clause in range(clauses):
        (first, sign), *others = [(p, chance.randrange(2)) for p in chance.sample(range(variables), 3)]
        for number, (p, s) in enumerate(others):
            more = {"component": f"X-{first}-{1 - sign}", "reason": "It needs one"} if not number else {}
            held.append(
                {"record": "companion", "name": f"x {clause}", "fit": f"X-{p}-{s}", "at": f"x{p}", **more}
            )
    return held


@pytest.fixture
def tangled(sqlite_databases: Any, sqlite_demo_url: str, start: Serve) -> Served:
    """The demo range and the tangle behind a service: two questions at once, four waiting."""
    url = sqlite_databases.copy(sqlite_demo_url)
    engine = make_engine(url)
    report = load(engine, [tangle()])
    engine.dispose()
    assert report.ok, "\n".join(map(str, report.mistakes[:5]))
    return start(url, questions_at_once=2, questions_waiting=4, reasoning_processes=2)


def hostile(number: int) -> dict[str, Any]:
    """A question that nobody has asked yet: each has another price ceiling."""
    return {
        "vehicle": {"chassis": CHASSIS},
        "wishes": [{"remedy_all": "dangerous"}],
        "limits": {"price_at_most": 900_000 + number},
        "deadline_seconds": DEADLINE,
    }


async def _alive(
    client: httpx.AsyncClient, ready: dict[str, Any], over: asyncio.Event
) -> dict[str, list[float]]:
    """Seconds of each `/livez` and each ready answer until it is over."""
    took: dict[str, list[float]] = {"/livez": [], "ready": []}
    while not over.is_set():
        for name in took:
            start = time.perf_counter()
            answer = await (client.get(name) if name == "/livez" else client.post("/v1/closures", json=ready))
            took[name].append(time.perf_counter() - start)
            assert answer.status_code == 200, answer.text
        await asyncio.sleep(0.02)
    return took


async def _before(client: httpx.AsyncClient) -> float:
    """The longest that `/livez` takes while nobody asks anything: what the machine itself holds up."""
    took = []
    for _ in range(30):
        start = time.perf_counter()
        await client.get("/livez")
        took.append(time.perf_counter() - start)
    return max(took)


async def _ask_all(served: Served) -> tuple[list[httpx.Response], dict[str, list[float]], float, float]:
    limits = httpx.Limits(max_connections=ASKED + 5)
    async with served.async_client(limits=limits) as client:
        easy = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QL-7075"}]}
        assert (await client.post("/v1/closures", json=easy)).status_code == 200
        before = await _before(client)
        over = asyncio.Event()
        watch = asyncio.create_task(_alive(client, easy, over))
        start = time.perf_counter()
        answers = await asyncio.gather(*(client.post("/v1/closures", json=hostile(i)) for i in range(ASKED)))
        whole = time.perf_counter() - start
        over.set()
        return answers, await watch, whole, before


def test_fifty_hostile_closures_at_once_hold_nothing_up(tangled: Served) -> None:
    answers, alive, whole, before = asyncio.run(_ask_all(tangled))
    assert len(answers) == ASKED
    answered = [a.json() for a in answers if a.status_code == 200]
    refused = [a for a in answers if a.status_code != 200]
    assert answered
    assert refused, "the questions were not hostile enough"
    for document in answered:
        assert document["outcome"] in ("proved", "impossible", "not proved in time")
        assert (document["set"] is not None) >= (document["outcome"] == "proved")
    for answer in refused:
        assert answer.status_code == 503, answer.text
        assert int(answer.headers["Retry-After"]) > 0
        assert answer.json()["type"] == "/problems/busy"
        assert "ask again" in answer.json()["detail"]
    assert len(alive["/livez"]) > 5
    most = max(MOST_SECONDS_ALIVE, TIMES_AS_LONG * before)
    assert max(alive["/livez"]) < most, sorted(alive["/livez"])[-5:]
    assert statistics.median(alive["ready"]) < most
    assert whole < 120
    with tangled.client() as client:
        again = client.post("/v1/closures", json=hostile(ASKED + 1))
        assert again.status_code == 200, "a place at the gate was lost"
    print(
        f"\n{len(answered)} answered, {len(refused)} refused in {whole:.1f} s; /livez median "
        f"{statistics.median(alive['/livez']) * 1000:.0f} ms, worst {max(alive['/livez']) * 1000:.0f} ms; "
        f"ready answers median {statistics.median(alive['ready']) * 1000:.0f} ms, "
        f"worst {max(alive['ready']) * 1000:.0f} ms"
    )


def test_a_gate_gives_its_place_back_also_after_a_failure() -> None:
    gate = Gate("questions", 1, 0, 0.01)
    for _ in range(3):
        with pytest.raises(ZeroDivisionError), gate.turn():
            raise ZeroDivisionError
    with gate.turn(), pytest.raises(Busy), gate.turn():
        raise AssertionError("two at once")
    with gate.turn():
        pass


def test_who_waits_too_long_is_told_to_come_again() -> None:
    gate = Gate("questions", 1, 1, 0.05)
    with gate.turn(), pytest.raises(Busy) as told, gate.turn():
        raise AssertionError("two at once")
    assert told.value.headers["Retry-After"] == "5"
