"""Who may write, what every answer carries, and the pool trap: a burst that once stopped everything."""

import asyncio
from collections.abc import Callable

import httpx
import pytest

from api.app import create_app
from api.settings import Settings
from tests.api.conftest import client_of

pytestmark = pytest.mark.anyio

WRITES = [
    ("POST", "/v1/imports"), ("POST", "/v1/builds"), ("PUT", "/v1/builds/x"), ("DELETE", "/v1/builds/x"),
    ("POST", "/v1/specifications"), ("PUT", "/v1/specifications/x"),
]  # fmt: skip


@pytest.mark.parametrize(("method", "path"), WRITES)
async def test_without_keys_a_service_beyond_this_machine_takes_no_changes(
    demo_copy: Callable[[], str], method: str, path: str
):
    app = create_app(Settings(database_url=demo_copy(), host="0.0.0.0"))
    async with client_of(app) as client:
        answer = await client.request(
            method, path, json={"name": "x", "chassis": "24PL-018412", "title": "x"}
        )
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/writing-closed")
        assert "GRAFTBOOK_OPEN_WRITES" in answer.json()["detail"]
    app.state.service.engine.dispose()


async def test_open_writes_open_them_and_a_foreign_name_for_loopback_does_not(demo_copy: Callable[[], str]):
    body = {"name": "x", "chassis": "24PL-018412"}
    opened = create_app(Settings(database_url=demo_copy(), host="0.0.0.0", open_writes=True))
    async with client_of(opened, "http://counter.example") as client:
        assert (await client.post("/v1/builds", json=body)).status_code == 201
    local = create_app(Settings(database_url=demo_copy()))
    async with client_of(local, "http://rebound.example") as client:
        assert (await client.post("/v1/builds", json=body)).status_code == 403
    for app in (opened, local):
        app.state.service.engine.dispose()


async def test_every_write_is_listed_here(client: httpx.AsyncClient):
    paths = (await client.get("/openapi.json")).json()["paths"]
    questions = {
        "/v1/closures",
        "/v1/closures/why-not",
        "/v1/closures/what-if",
        "/v1/checks",
        "/v1/orders",
        "/v1/compatibility",
    }
    writes = {
        (method.upper(), path.replace("{name}", "x"))
        for path, item in paths.items()
        for method in item
        if method != "get" and path not in questions
    }
    assert writes == set(WRITES)


@pytest.mark.parametrize("path", ["/", "/livez", "/v1/variants", "/v1/nothing", "/openapi.json"])
async def test_every_answer_carries_the_safe_headers(client: httpx.AsyncClient, path: str):
    headers = (await client.get(path)).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert "default-src 'none'" in headers["content-security-policy"]
    assert len(headers["x-request-id"]) >= 8


async def test_a_request_keeps_the_id_it_came_with_unless_it_is_strange(client: httpx.AsyncClient):
    kept = await client.get("/livez", headers={"X-Request-Id": "counter-0815"})
    assert kept.headers["x-request-id"] == "counter-0815"
    strange = await client.get("/livez", headers={"X-Request-Id": "a b\tc<script>"})
    assert strange.headers["x-request-id"] != "a b\tc<script>"


async def test_a_burst_of_two_hundred_requests_is_answered(demo_url: str):
    """On both engines, with a pool far smaller than the burst."""
    app = create_app(Settings(database_url=demo_url, pool_size=2))
    addresses = [
        "/v1/vehicles/24PL-018412", "/v1/components?words=brake", "/v1/components/QB-3310", "/v1/flaws",
        "/v1/closures?chassis=24PL-018412&fit=QW-3055", "/v1/builds", "/readyz", "/v1/variants",
        "/v1/compatibility?component=QB-3310&chassis=24PL-018412",
        "/v1/orders?chassis=24PL-018412&fit=QW-3055",
    ]  # fmt: skip
    async with client_of(app) as client:
        asked = [client.get(addresses[i % len(addresses)]) for i in range(200)]
        answers = await asyncio.wait_for(asyncio.gather(*asked), timeout=60)
    app.state.service.engine.dispose()
    assert {answer.status_code for answer in answers} == {200}
