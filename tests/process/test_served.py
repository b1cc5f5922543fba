"""A service that reasons in further processes: the same answers, in time, whatever happens to a process."""

import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from graftbook.app import create_app
from graftbook.catalogue.loading.imports import load
from graftbook.closure.search.deadline import LEAST_SECONDS, SHARE_TO_EXPLAIN
from graftbook.database import make_engine
from graftbook.settings import Settings
from tests.conftest import client_of
from tests.process.test_pool import alive, eventually
from tests.scenarios.reading import scenarios
from tests.soundness.server import Served, serve
from tests.soundness.test_hostile_questions import hostile, tangle

DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
ALTERNATOR = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}
LONG = {"deadline_seconds": 30}
BUSY_MACHINE = 2.0
"""Seconds that an answer may take longer on a machine that others use too."""


def questions() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every eighth scenario, and each kind of question that takes reasoning."""
    for case in list(scenarios())[::8]:
        yield case.path, case.ask
    yield "/v1/closures", ALTERNATOR | {"alternatives": 1}
    yield "/v1/closures/why-not", ALTERNATOR | {"component": "QL-3045"}
    yield "/v1/closures/what-if", ALTERNATOR | {"other_vehicle": {"chassis": "24PR-012000"}}
    yield "/v1/checks", ALTERNATOR | {"components": ["QL-7075"]}
    yield "/v1/orders", ALTERNATOR
    yield "/v1/fitting-sequences", ALTERNATOR | {"hands": 2}
    yield "/v1/quotations", ALTERNATOR | {"labour_rate": "40.00"}


def whole(answer: httpx.Response) -> bool:
    """Whether no time limit had a part in it: what one had differs from one time to the next."""
    return not any(mark in answer.text for mark in ('"cut_short":true', "not proved in time", "not-in-time"))


async def test_answers_are_byte_for_byte_those_of_the_same_process(
    app: Any, sqlite_demo_url: str, client: httpx.AsyncClient
) -> None:
    apart = create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=30, reasoning_processes=1))
    async with client_of(apart) as other:
        compared = 0
        for path, body in questions():
            here = await client.post(path, json=body | LONG)
            there = await other.post(path, json=body | LONG)
            if not (whole(here) and whole(there)):
                continue
            compared += 1
            assert here.status_code == 200, here.text
            assert (there.status_code, there.content) == (here.status_code, here.content), (path, body)
            assert there.headers.get("etag") == here.headers.get("etag")
    assert compared > 8
    assert apart.state.service.reasoner.pool.lost == 0
    pids = apart.state.service.reasoner.pool.pids()
    apart.state.service.close()
    assert pids
    assert not any(map(alive, pids))


@pytest.fixture(scope="module")
def database(sqlite_databases: Any, sqlite_demo_url: str) -> str:
    """The demo range and a tangle that no deadline here is long enough for."""
    url: str = sqlite_databases.copy(sqlite_demo_url)
    engine = make_engine(url)
    report = load(engine, [tangle(240, 1022)])
    engine.dispose()
    assert report.ok, "\n".join(map(str, report.mistakes[:5]))
    return url


@pytest.fixture(scope="module")
def served(database: str) -> Iterator[Served]:
    with serve(database, reasoning_processes=2, questions_at_once=2, seconds_to_reason=10) as served:
        with served.client() as client:
            assert client.post("/v1/closures", json=ALTERNATOR | LONG).status_code == 200
        yield served


def processes(served: Served) -> list[int]:
    """The reasoning processes of a service."""
    shown = subprocess.run(
        ["ps", "-o", "pid=,args=", "--ppid", str(served.process.pid)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return [
        int(line.split()[0]) for line in shown.stdout.splitlines() if "graftbook.process.reasoning" in line
    ]


def at_work(served: Served) -> int:
    text = httpx.get(f"{served.address}/metrics", timeout=30).text
    samples = [s for family in text_string_to_metric_families(text) for s in family.samples]
    name, labels = "graftbook_reasoning_processes", {"what": "at_work"}
    return int(sum(s.value for s in samples if s.name == name and s.labels == labels))


def asked_raw(served: Served, body: bytes) -> socket.socket:
    """A question on a connection of its own, whose answer nobody reads yet."""
    host, port = served.address.removeprefix("http://").split(":")
    connection = socket.create_connection((host, int(port)))
    connection.sendall(
        f"POST /v1/closures HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n".encode()
        + body
    )
    return connection


def hard(number: int, seconds: float) -> dict[str, Any]:
    return hostile(number) | {"deadline_seconds": seconds}


def in_hand(served: Served, number: int, seconds: float) -> socket.socket:
    """A hard question that a process is at work on."""
    body = httpx.Request("POST", "http://x", json=hard(number, seconds)).content
    connection = asked_raw(served, body)
    assert eventually(lambda: at_work(served) > 0)
    return connection


def test_a_process_killed_at_work_is_told_as_a_problem_and_replaced(served: Served) -> None:
    connection = in_hand(served, 1, 20)
    for pid in processes(served):
        os.kill(pid, signal.SIGKILL)
    connection.settimeout(60)
    answer = ""
    while not answer.endswith("}"):
        answer += connection.recv(4096).decode()
    connection.close()
    assert answer.startswith("HTTP/1.1 503 "), answer
    assert "retry-after: 1" in answer.lower()
    assert "/problems/reasoning-ended" in answer
    with served.client() as client:
        again = client.post("/v1/closures", json=DISCS | LONG)
    assert again.status_code == 200
    assert again.json()["outcome"] == "proved"
    assert not served.faults(), "it is a warning, no fault of the service"


def test_an_asker_who_goes_away_frees_the_place(served: Served) -> None:
    connection = in_hand(served, 2, 30)
    began = time.monotonic()
    connection.close()
    assert eventually(lambda: at_work(served) == 0)
    assert time.monotonic() - began < 15, "half of the deadline"
    with served.client() as client:
        answers = [client.post("/v1/closures", json=ALTERNATOR | LONG) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200] * 3


@pytest.mark.parametrize("seconds", [0.001, 0.02, 0.1, 0.5, 1.5])
def test_no_answer_takes_more_than_half_as_long_again_as_asked(served: Served, seconds: float) -> None:
    """Of easy and of hard questions; what is not answered is a documented problem."""
    bodies = [DISCS, hard(int(seconds * 1000) + 10, seconds), ALTERNATOR]
    paths = ["/v1/closures", "/v1/orders", "/v1/fitting-sequences"]
    most = seconds * (1 + SHARE_TO_EXPLAIN) + LEAST_SECONDS + BUSY_MACHINE
    with served.client() as client:
        for path in paths:
            for body in bodies:
                began = time.monotonic()
                answer = client.post(path, json=body | {"deadline_seconds": seconds})
                took = time.monotonic() - began
                assert took < most, (path, body, took)
                if answer.status_code != 200:
                    assert answer.status_code in (409, 503), answer.text
                    assert answer.json()["type"].startswith("/problems/")
    assert not served.faults()


def test_look_ups_stay_quick_while_every_process_reasons(served: Served) -> None:
    connections = [in_hand(served, 40 + n, 6) for n in range(2)]
    took = []
    with served.client() as client:
        client.get("/v1/components/QB-3310")
        until = time.monotonic() + 3
        while time.monotonic() < until:
            began = time.monotonic()
            assert client.get("/v1/components/QB-3310").status_code == 200
            took.append(time.monotonic() - began)
    for connection in connections:
        connection.close()
    assert len(took) > 20
    assert sorted(took)[len(took) // 2] < 0.1, sorted(took)[-5:]
    assert eventually(lambda: at_work(served) == 0)


@pytest.mark.parametrize("end", [Served.stop, Served.kill], ids=["SIGTERM", "SIGKILL"])
def test_the_processes_of_a_service_end_with_it(database: str, end: Callable[[Served], Any]) -> None:
    with serve(database, reasoning_processes=2, seconds_to_reason=10) as served:
        connection = in_hand(served, 80, 20)
        assert eventually(lambda: len(processes(served)) == 2)
        pids = processes(served)
        connection.close()
        end(served)
        assert eventually(lambda: not any(map(alive, pids)))
