"""The OWASP API Security Top 10 of 2023 walked through: one test a risk, in the list's order and words.

Source: OWASP API Security Project, "OWASP API Security Top 10", edition 2023 (names of the risks from
memory). Other tests go deeper; they are named where they stand.
"""

import ast
import re
import subprocess
import sys
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.access.keys import new_key
from tests.access.conftest import BUILD
from tests.conftest import bearer, client_of, make_key

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]
API = Path(__file__).resolve().parents[2] / "api" / "graftbook"


async def test_api1_broken_object_level_authorization(apps: Callable[..., FastAPI], url: str):
    """A house's builds belong to the house, not to single keys: what guards an object is the scope, and it
    is asked for the object's own address, not only for the list. No object is reached by an id that
    a stranger may count up or guess."""
    app = apps(reading="closed")
    async with client_of(app) as stranger:
        writer, reader = bearer(url, "order"), bearer(url, "read")
        assert (await stranger.post("/v1/builds", json=BUILD, headers=writer)).status_code == 201
        ids = [row["id"] for row in (await stranger.get("/v1/keys", headers=bearer(url))).json()["items"]]
        for method, path in [
            ("GET", "/v1/builds/red"),
            ("DELETE", "/v1/builds/red"),
            ("GET", "/v1/builds/x"),
        ]:
            answer = await stranger.request(method, path)
            assert (answer.status_code, "chassis" in answer.text) == (401, False)
        assert (await stranger.delete("/v1/builds/red", headers=reader)).status_code == 403
        for key in ids:
            assert (await stranger.delete(f"/v1/keys/{key}", headers=writer)).status_code == 403
        assert (await stranger.get("/v1/builds/red", headers=reader)).status_code == 200


async def test_api2_broken_authentication(app: FastAPI, anybody: httpx.AsyncClient):
    """No key in an address (it would stand in logs), none by another name, none guessed at speed. See also
    test_keys, test_door and test_slowing."""
    key = make_key(app.state.service.engine)
    for asked in (
        anybody.get("/v1/keys", params={"key": key, "access_token": key}),
        anybody.get("/v1/keys", headers={"X-API-Key": key}),
        anybody.get("/v1/keys", headers={"Cookie": f"graftbook_session={key}"}),
        anybody.get("/v1/keys", headers={"Authorization": f"Basic {key}"}),
        anybody.get("/v1/keys", headers={"Authorization": f"Bearer {key[:-1]}"}),
    ):
        assert (await asked).status_code == 401
    guesses = [
        await anybody.get("/v1/keys", headers={"Authorization": f"Bearer {new_key()[0]}"}) for _ in range(30)
    ]
    assert sum(answer.status_code == 401 for answer in guesses) <= 12
    assert guesses[-1].status_code == 429


async def test_api3_broken_object_property_level_authorization(administrator: httpx.AsyncClient):
    """Fields that only the service writes cannot be sent, and secrets are in no answer."""
    made = await administrator.post("/v1/keys", json={"label": "x", "scope": "read"})
    for forged in ("made_by", "id", "digest", "created", "revoked", "used"):
        body = {"label": "x", "scope": "read", forged: "x"}
        assert (await administrator.post("/v1/keys", json=body)).status_code == 422, forged
    for forged in ("version", "changed", "who", "name/x"):
        answer = await administrator.post("/v1/builds", json=BUILD | {forged: "x"})
        assert answer.status_code == 422, forged
    shown = (await administrator.get("/v1/keys")).text + (await administrator.get("/v1/audit")).text
    assert made.json()["key"] not in shown
    assert "digest" not in shown
    assert not re.search(r"[0-9a-f]{64}", shown)


async def test_api4_unrestricted_resource_consumption(app: FastAPI, administrator: httpx.AsyncClient):
    """Pages, bodies, batches and times are bounded. The burst, the slow body and the hostile catalogue have
    tests of their own."""
    assert (await administrator.get("/v1/keys", params={"limit": 501})).status_code == 422
    assert (await administrator.get("/v1/audit", params={"limit": 501})).status_code == 422
    huge = b"x" * (app.state.service.settings.largest_body + 1)
    for path in ("/v1/keys", "/v1/closures", "/signin"):
        assert (await administrator.post(path, content=huge)).status_code == 413, path
    questions = [{"component": "TL-1", "chassis": "2L-0001"}] * 1_001
    assert (await administrator.post("/v1/compatibility", json={"questions": questions})).status_code == 422
    question = {"vehicle": {"chassis": "2L-0001"}, "deadline_seconds": 10_000}
    begun = time.process_time()
    answer = await administrator.post("/v1/closures", json=question)
    assert answer.status_code == 422
    assert time.process_time() - begun < app.state.service.settings.seconds_to_reason + 5


async def test_api5_broken_function_level_authorization(app: FastAPI, anybody: httpx.AsyncClient):
    """Every operation that the document knows says its scope; the least key gets none but reading. The
    document, not a list kept by hand, is walked, so that a new route cannot be forgotten."""
    read = bearer(app.state.service.engine, "read")
    refused = 0
    for path, item in app.openapi()["paths"].items():
        for method, operation in item.items():
            scopes = [name for needed in operation.get("security", []) for name in needed.get("key", [])]
            if not scopes or scopes == ["read"]:
                continue
            address = re.sub(r"{\w+}", "1", path)
            answer = await anybody.request(method, address, json={}, headers=read)
            assert answer.status_code == 403, (method, path, answer.text)
            assert (await anybody.request(method, address, json={})).status_code == 401, (method, path)
            refused += 1
    assert refused >= 10


async def test_api6_unrestricted_access_to_sensitive_business_flows(
    app: FastAPI, anybody: httpx.AsyncClient, administrator: httpx.AsyncClient
):
    """The flows that a house would miss when they are run by a machine are stores of builds, imports and
    keys: each takes a key that says whose it is, and leaves a row in the trail with it."""
    header = bearer(app.state.service.engine, "edit")
    for i in range(20):
        sent = await anybody.post("/v1/builds", json=BUILD | {"name": f"b{i}"}, headers=header)
        assert sent.status_code == 201
    key = header["Authorization"].split("_")[1]
    rows = (await administrator.get("/v1/audit", params={"key": key, "limit": 100})).json()["items"]
    assert len(rows) == 20
    assert (await administrator.delete(f"/v1/keys/{key}")).status_code == 204
    assert (await anybody.post("/v1/builds", json=BUILD, headers=header)).status_code == 401


OUTGOING = {
    "httpx",
    "requests",
    "urllib3",
    "aiohttp",
    "smtplib",
    "ftplib",
    "http.client",
    "urllib.request",
    "socket",
}


TO_ITS_OWN = {"process/reasoning/frames.py", "process/reasoning/process.py", "process/reasoning/worker.py"}
"""Talk over a pair of sockets with processes that the service began itself; they may connect to nothing."""


TO_LISTEN = "process/listening.py"
"""Looks whether a port of this machine is free; it may connect to nothing either."""


TO_WEBHOOKS = "events/sending.py"
"""Sends events to addresses that an administrator named, and to no other network than a public one."""


CLIENT = "client/"
"""What other programs ask the service with; the service has nothing of it (see below)."""
REACHING = {"connect_ex", "create_connection", "open_connection", "getaddrinfo", "sock_connect"}


def opens_connections(calls: set[str], *but: str) -> bool:
    """Whether a module that calls these methods would reach further than the other end of a pair."""
    return bool(calls & REACHING | calls & {"connect", "bind", "create_server"} - {*but})


@cache
def outgoing_imports() -> dict[str, set[str]]:
    """Modules of the service that could reach others, but those that are there for it, and by what."""
    found: dict[str, set[str]] = {}
    for path in API.rglob("*.py"):
        names, calls = set[str](), set[str]()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                names |= {node.module or "", (node.module or "").partition(".")[0]}
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                calls.add(node.func.attr)
        where = path.relative_to(API).as_posix()
        inside = where in TO_ITS_OWN and not opens_connections(calls)
        listens = where == TO_LISTEN and not opens_connections(calls, "bind")
        own = {"socket"} if inside or listens or where == TO_WEBHOOKS else set()
        own |= {"httpx"} if where.startswith(CLIENT) else set()
        reaching = names & OUTGOING | calls & REACHING
        if (
            reaching := reaching
            - own
            - ({"getaddrinfo", "open_connection"} if where == TO_WEBHOOKS else set())
        ):
            found[where] = reaching
    return found


def test_the_service_has_nothing_of_the_client_that_asks_one() -> None:
    """A process that serves, with every route of it, has loaded neither the client nor what it sends with."""
    code = (
        "import sys\nfrom graftbook.app import create_app\nfrom graftbook.settings import Settings\n"
        "create_app(Settings(database_url='sqlite://')).openapi()\nprint(*sys.modules)"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(shown.stdout.split())
    assert "graftbook.events.sending" in loaded
    assert not {name for name in loaded if name.startswith("graftbook.client")}
    assert not loaded & {"httpx", "requests", "urllib3", "aiohttp", "smtplib", "ftplib"}


async def test_api7_server_side_request_forgery(administrator: httpx.AsyncClient):
    """The service fetches nothing that a request names: an address in a record is text, and a sheet is never
    taken from a path. Webhooks alone are sent out, by an administrator's word and never into the house's
    own network (see tests/events/test_sending)."""
    assert outgoing_imports() == {}
    for inside in ("127.0.0.1", "[::1]", "10.0.0.8", "169.254.169.254", "[::ffff:192.168.1.1]", "0.0.0.0"):
        answer = await administrator.post("/v1/webhooks", json={"url": f"https://{inside}/x"})
        assert (answer.status_code, "is no public address" in answer.text) == (422, True), inside
    for other in (
        "http://stock.example/",
        "file:///etc/passwd",
        "ftp://stock.example/",
        "https://a:b@stock.example/",
    ):
        assert (await administrator.post("/v1/webhooks", json={"url": other})).status_code == 422, other
    assert (await administrator.get("/v1/webhooks")).json()["items"] == []
    record = {"record": "section", "name": "far", "title": "http://192.0.2.1/x", "order": 9}
    assert (await administrator.post("/v1/imports", json=[record])).status_code == 200
    for body in (["http://192.0.2.1/x.csv"], ["/etc/passwd"], ["file:///etc/passwd"]):
        answer = await administrator.post("/v1/imports", json=body)
        assert answer.status_code == 422
        assert "root:" not in answer.text


async def test_api8_security_misconfiguration(app: FastAPI, anybody: httpx.AsyncClient):
    """Safe from the start: loopback, changes closed, no cross-origin reading, no stack traces, no console for
    trying the API, safe headers also on refusals. Beyond loopback: test_commands."""
    settings = app.state.service.settings
    assert settings.here_only
    assert not settings.without_keys
    for answer in (
        await anybody.get("/v1/keys"),
        await anybody.get("/v1/variants"),
        await anybody.get("/nothing"),
    ):
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert not [name for name in answer.headers if name.startswith("access-control-")]
        assert "server" not in answer.headers
    asked = {"Origin": "https://evil.example", "Access-Control-Request-Method": "POST"}
    preflight = await anybody.options("/v1/builds", headers=asked)
    assert not [name for name in preflight.headers if name.startswith("access-control-")]
    for path in ("/docs", "/redoc", "/debug", "/.env", "/v1/../etc/passwd"):
        assert (await anybody.get(path)).status_code == 404
    for method in ("TRACE", "CONNECT"):
        assert (await anybody.request(method, "/v1/variants")).status_code == 405


async def test_api9_improper_inventory_management(app: FastAPI, anybody: httpx.AsyncClient):
    """What answers programs is what the document lists, under one version; nothing else is there."""
    document = (await anybody.get("/openapi.json")).json()
    unversioned = {path for path in document["paths"] if not path.startswith("/v1/")}
    assert unversioned - {"/"} == {"/livez", "/readyz", "/metrics", "/signin", "/signout"}
    assert not [o for item in document["paths"].values() for o in item.values() if o.get("deprecated")]
    for path in (
        "/v0/builds",
        "/v2/builds",
        "/closures",
        "/imports",
        "/keys",
        "/v1/debug",
        "/api/v1/builds",
        "/v1/Builds",
    ):
        assert (await anybody.get(path)).status_code == 404, path


async def test_api10_unsafe_consumption_of_apis(administrator: httpx.AsyncClient):
    """The service asks no other one; of a webhook's answer it takes the status alone. What it takes from
    others is sheets: each value is checked as if it came from a stranger, also when a key that may edit sent
    it, and nothing is stored of a bad one."""
    assert outgoing_imports() == {}
    bad: list[Any] = [
        {
            "record": "component",
            "number": "=1+1",
            "name": "x",
            "section": "no such section",
            "origin": "modern",
        },
        {"record": "component", "number": "N-1", "name": "x", "section": "wheels", "origin": "stolen"},
        {"record": "no such kind", "name": "x"},
    ]
    for record in bad:
        good = {"record": "section", "name": "brought along", "title": "x", "order": 9}
        answer = await administrator.post("/v1/imports", json=[good, record])
        assert answer.status_code == 422, record
        assert answer.json()["mistakes"]
    assert "brought along" not in (await administrator.get("/v1/exports")).text
