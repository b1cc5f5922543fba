"""What every answer carries and none tells, who may write, and the pool trap: a burst that once stopped
everything.

The headers are those that the OWASP REST and HTTP Headers cheat sheets list (from memory).
"""

import asyncio
import re
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, text
from starlette.responses import HTMLResponse

from graftbook.app import create_app
from graftbook.database import writing
from graftbook.settings import Settings
from tests.conftest import client_of

pytestmark = pytest.mark.anyio

QUESTIONS = {
    "/v1/closures", "/v1/closures/why-not", "/v1/closures/what-if", "/v1/checks", "/v1/orders",
    "/v1/compatibility", "/v1/quotations", "/v1/fitting-sequences", "/v1/measured-parts",
}  # fmt: skip


def test_all_that_is_no_question_takes_a_key(app: FastAPI):
    """Signing in takes one in its form, signing out the cookie that it gave."""
    open_to_all = {
        path
        for path, item in app.openapi()["paths"].items()
        for method, operation in item.items()
        if method != "get" and (not operation["security"] or {} in operation["security"])
    }
    assert open_to_all - QUESTIONS == {"/signin", "/signout"}


ASKED: list[tuple[str, str, int, dict[str, Any]]] = [
    ("GET", "/", 200, {}),
    ("GET", "/livez", 200, {}),
    ("GET", "/openapi.json", 200, {}),
    ("GET", "/v1/exports", 200, {}),
    ("HEAD", "/v1/variants", 200, {}),
    ("HEAD", "/v1/nothing", 404, {}),
    ("OPTIONS", "/v1/variants", 204, {}),
    ("GET", "/v1/components/QB-3310", 304, {"headers": {"If-None-Match": "*"}}),
    ("POST", "/v1/closures", 400, {"content": b"{", "headers": {"Content-Type": "application/json"}}),
    ("POST", "/v1/imports", 401, {"json": []}),
    ("GET", "/v1/nothing", 404, {}),
    ("GET", "/v1/variants/", 404, {}),
    ("PATCH", "/v1/closures", 405, {}),
    ("GET", "/v1/orders?chassis=24PL-018412", 406, {"headers": {"Accept": "image/png"}}),
    ("POST", "/v1/closures", 413, {"content": b" " * 1_000_001}),
    ("POST", "/v1/closures", 415, {"content": b"{}", "headers": {"Content-Type": "text/plain"}}),
    ("GET", "/v1/variants?limit=0", 422, {}),
    ("GET", "/v1/vehicles/24PL-018499", 500, {}),
]


@pytest.mark.parametrize(("method", "path", "status", "sent"), ASKED)
async def test_every_answer_carries_the_safe_headers(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch, method: str, path: str, status: int, sent: dict[str, Any]
):
    if status == 500:
        monkeypatch.setattr(
            "graftbook.questions.vehicles.endpoints.find_with_book", _raising(RuntimeError("inside"))
        )
    async with client_of(app) as client:
        answer = await client.request(method, path, **sent)
    assert answer.status_code == status, answer.text
    headers = answer.headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "camera=()" in headers["permissions-policy"]
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert re.fullmatch(r"[0-9a-f]{16}", headers["x-request-id"])
    assert "strict-transport-security" not in headers, "only over https"
    if not headers.get("content-type", "").startswith("text/html"):
        assert headers["content-security-policy"].startswith("default-src 'none';")


async def test_over_https_it_asks_to_stay_there(app: FastAPI):
    async with client_of(app, "https://127.0.0.1") as client:
        for path in ("/livez", "/v1/nothing"):
            held = (await client.get(path)).headers["strict-transport-security"]
            assert int(held.removeprefix("max-age=")) >= 31_536_000


async def test_a_page_may_bring_a_policy_of_its_own(sqlite_demo_url: str):
    own = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'"
    app = create_app(Settings(database_url=sqlite_demo_url))

    @app.get("/page")
    async def page() -> HTMLResponse:
        return HTMLResponse("<p>", headers={"Content-Security-Policy": own})

    async with client_of(app) as client:
        headers = (await client.get("/page")).headers
    app.state.service.close()
    assert headers.get_list("content-security-policy") == [own]
    assert headers["x-frame-options"] == "DENY"


def _raising(error: Exception) -> Callable[..., None]:
    def broken(*_: object, **__: object) -> None:
        raise error

    return broken


def _running(engine: Engine, statement: str) -> Callable[..., None]:
    """What a route would do that sends the database something it refuses."""

    def broken(*_: object, **__: object) -> None:
        with writing(engine) as session:
            session.execute(text(statement), {"secret": "hunter2secret"})

    return broken


REFUSED = {
    "IntegrityError": (
        'INSERT INTO section (name, title, "order") SELECT name, :secret, 1 FROM section LIMIT 1'
    ),
    "ProgrammingError": "SELECT FROM WHERE hunter2secret nowhere :secret",
    "DataError": "SELECT CAST(:secret AS integer) FROM section",
}


@pytest.mark.parametrize("kind", REFUSED)
async def test_what_the_database_refuses_tells_nothing_of_it(
    demo_url: str, monkeypatch: pytest.MonkeyPatch, kind: str
):
    """On both engines; SQLite casts anything, so there the third is no fault of the database."""
    app = create_app(Settings(database_url=demo_url))
    monkeypatch.setattr(
        "graftbook.questions.vehicles.endpoints.find_with_book",
        _running(app.state.service.engine, REFUSED[kind]),
    )
    async with client_of(app) as client:
        answer = await client.get("/v1/vehicles/24PL-018499")
    app.state.service.close()
    assert answer.status_code == 500
    tells_nothing(answer)


@pytest.mark.parametrize(
    "error",
    [KeyError("hunter2secret"), RecursionError("hunter2secret"), MemoryError(), ValueError("hunter2secret"),
     UnicodeError("hunter2secret"), OSError(28, "No space left", "hunter2secret")],
    ids=lambda error: type(error).__name__,
)  # fmt: skip
async def test_a_fault_tells_nothing_of_itself(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch, error: Exception
):
    monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", _raising(error))
    async with client_of(app) as client:
        answer = await client.get("/v1/vehicles/24PL-018499")
    assert answer.status_code in (500, 503)
    tells_nothing(answer)


def tells_nothing(answer: httpx.Response) -> None:
    """No trace, no statement, no path, no name of a library, no word of the fault."""
    assert answer.json()["request_id"] == answer.headers["x-request-id"]
    inside = (
        r"Traceback|File \"|\.py|SELECT|INSERT|CAST|sqlalche|sqlite|psycopg|section|nowhere|"
        r"hunter2secret|Error"
    )
    assert not re.search(inside, answer.text + str(answer.headers)), answer.text


async def test_a_request_keeps_the_id_it_came_with_unless_it_is_strange(client: httpx.AsyncClient):
    kept = await client.get("/livez", headers={"X-Request-Id": "counter-0815"})
    assert kept.headers["x-request-id"] == "counter-0815"
    strange = await client.get("/livez", headers={"X-Request-Id": "a b\tc<script>"})
    assert strange.headers["x-request-id"] != "a b\tc<script>"


async def test_a_burst_of_two_hundred_requests_is_answered(demo_url: str):
    """On both engines, with a pool far smaller than the burst."""
    app = create_app(Settings(database_url=demo_url, pool_size=2, questions_waiting=30))
    addresses = [
        "/v1/vehicles/24PL-018412", "/v1/components?words=brake", "/v1/components/QB-3310", "/v1/flaws",
        "/v1/closures?chassis=24PL-018412&fit=QW-3055", "/v1/builds", "/readyz", "/v1/variants",
        "/v1/compatibility?component=QB-3310&chassis=24PL-018412",
        "/v1/orders?chassis=24PL-018412&fit=QW-3055",
    ]  # fmt: skip
    async with client_of(app) as client:
        asked = [client.get(addresses[i % len(addresses)]) for i in range(200)]
        answers = await asyncio.wait_for(asyncio.gather(*asked), timeout=60)
    app.state.service.close()
    refused = [answer for answer in answers if answer.status_code != 200]
    assert all(answer.status_code == 503 and answer.headers["retry-after"] for answer in refused)
    assert len(refused) < 20, "more questions than may wait are told to come again; nothing else is"
