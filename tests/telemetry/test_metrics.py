"""What /metrics says, read with the reference parser of the Prometheus client."""

import os
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy.exc import TimeoutError as PoolTimeout

from tests.conftest import client_of

pytestmark = pytest.mark.anyio

ROOT = Path(__file__).resolve().parents[2]
Figures = dict[tuple[str, frozenset[tuple[str, str]]], float]


async def figures(client: httpx.AsyncClient) -> Figures:
    answer = await client.get("/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=")
    families = text_string_to_metric_families(answer.text)
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in families
        for sample in family.samples
    }


def rise(before: Figures, after: Figures, name: str, **labels: str) -> float:
    """How much a figure with these labels (and any others) rose."""

    def total(known: Figures) -> float:
        return sum(v for (n, ls), v in known.items() if n == name and labels.items() <= set(ls))

    return total(after) - total(before)


async def test_requests_are_counted_by_template_method_and_status_class(client: httpx.AsyncClient):
    before = await figures(client)
    for number in ("QB-3310", "QL-7075", "nothing"):
        await client.get(f"/v1/components/{number}")
    await client.head("/v1/components/QB-3310")
    for n in range(5):
        await client.get(f"/v1/unknown-{n}")
        await client.request(f"BREW{n}", "/livez")
    after = await figures(client)
    count, route = "graftbook_request_seconds_count", "/v1/components/{number}"
    assert rise(before, after, count, route=route, method="GET", status="2xx") == 2
    assert rise(before, after, count, route=route, method="GET", status="4xx") == 1
    assert rise(before, after, count, route=route, method="HEAD", status="2xx") == 1
    assert rise(before, after, count, route="other", status="4xx") == 5
    assert rise(before, after, count, route="/livez", method="other", status="4xx") == 5
    assert rise(before, after, "graftbook_problems_total", problem="nothing-here") == 5
    assert rise(before, after, "graftbook_request_seconds_sum", route=route) > 0


async def test_strange_requests_make_no_new_series(client: httpx.AsyncClient):
    async def stir() -> None:
        for n in range(10):
            await client.get(f"/v1/nowhere/{n}?x={n}")
            await client.request(f"X{n}", f"/{n}")
            await client.get(f"/v1/components/no-{n}", headers={"X-Request-Id": f"strange-{n:04}"})

    await stir()
    before = await figures(client)
    await stir()
    assert set(await figures(client)) == set(before)


async def test_closures_are_counted_by_question_outcome_and_engine(client: httpx.AsyncClient):
    before = await figures(client)
    vehicle = {"chassis": "24PL-018413"}
    possible = {"vehicle": vehicle, "wishes": [{"fit": "QB-3310"}]}
    impossible = possible | {"limits": {"keep_sections": ["brakes"]}}
    answers = [(await client.post("/v1/closures", json=body)).json() for body in (possible, impossible)]
    assert [answer["outcome"] for answer in answers] == ["proved", "impossible"]
    await client.post("/v1/orders", json=possible)
    await client.post("/v1/closures/why-not", json=possible | {"component": "QB-2048"})
    await client.post("/v1/checks", json={"vehicle": vehicle, "components": ["QL-7075"]})
    after = await figures(client)
    count = "graftbook_closure_seconds_count"
    assert rise(before, after, count, question="closure", outcome="proved") == 1
    assert rise(before, after, count, question="closure", outcome="impossible") == 1
    assert rise(before, after, count, question="order", outcome="proved") == 1
    assert rise(before, after, count, question="why-not") == 1
    assert rise(before, after, count, question="check") == 1
    assert rise(before, after, count, engine="elimination") >= 1


async def test_a_closure_out_of_time_is_counted_as_such(client: httpx.AsyncClient):
    before = await figures(client)
    body = {
        "vehicle": {"chassis": "24PL-018414"}, "wishes": [{"remedy_all": "minor"}],
        "deadline_seconds": 0.001,
    }  # fmt: skip
    answer = (await client.post("/v1/closures", json=body)).json()
    assert answer["outcome"] == "not proved in time"
    after = await figures(client)
    assert rise(before, after, "graftbook_closure_seconds_count", outcome="not proved in time") == 1


async def test_caches_tell_hits_misses_compilations_and_bytes(app: FastAPI):
    async with client_of(app) as client:
        before = await figures(client)
        body = {"vehicle": {"chassis": "24PL-018415"}, "wishes": [{"fit": "QL-7075"}]}
        for _ in range(3):
            answer = await client.post("/v1/closures", json=body)
        after = await figures(client)
    assert rise(before, after, "graftbook_ready_answers_total", what="miss") == 1
    assert rise(before, after, "graftbook_ready_answers_total", what="hit") == 2
    assert after["graftbook_ready_answers_bytes", frozenset()] >= len(answer.content)
    books = "graftbook_rule_books_total"
    asked = rise(before, after, books, what="hit") + rise(before, after, books, what="miss")
    assert asked >= 1, "an answer that stands is given again without its book"
    assert rise(before, after, books, what="compiled") <= 1


async def test_a_pool_that_is_used_up_shows_as_a_problem(client: httpx.AsyncClient, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise PoolTimeout("QueuePool limit")

    monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", broken)
    before = await figures(client)
    assert (await client.get("/v1/vehicles/24PL-018412")).status_code == 503
    after = await figures(client)
    assert rise(before, after, "graftbook_problems_total", problem="unavailable") == 1
    assert ("graftbook_database_connections", frozenset({("what", "in_use")})) in after
    assert after["graftbook_requests_in_flight", frozenset()] == 1, "the one that reads them"


def test_figures_of_several_processes_are_told_together(tmp_path: Path):
    code = (
        "from graftbook.telemetry import metrics\n"
        "metrics.request('/livez', 'GET', 200, 0.01)\n"
        "metrics.ANSWERS_HELD.set(7)\n"
        "print(metrics.exposition().decode())"
    )
    environment = os.environ | {"PROMETHEUS_MULTIPROC_DIR": str(tmp_path)}
    runs = [
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        for _ in range(3)
    ]
    told = runs[-1].stdout
    assert 'graftbook_request_seconds_count{method="GET",route="/livez",status="2xx"} 3.0' in told
    assert "graftbook_ready_answers_bytes 7.0" in told, "those that ended are not summed"
