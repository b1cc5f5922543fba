"""HEAD, OPTIONS and what an address does not take, as RFC 9110 asks (9.3.2, 9.3.7, 10.2.1, 15.5.6)."""

import asyncio
import socket
import threading
from collections.abc import Iterator

import httpx
import pytest
import uvicorn
from fastapi import FastAPI

pytestmark = pytest.mark.anyio

READS = [
    "/look-up", "/livez", "/readyz", "/openapi.json", "/v1/variants", "/v1/components/QB-3310",
    "/v1/vehicles/24PL-018412", "/v1/closures?chassis=24PL-018412&fit=QL-7075",
    "/v1/orders?chassis=24PL-018412&fit=QL-7075", "/v1/imports/schema", "/v1/builds", "/v1/revisions",
]  # fmt: skip


@pytest.mark.parametrize("path", [*READS, "/v1/nothing", "/v1/components/no-such", "/v1/variants?limit=0"])
async def test_head_answers_as_get_without_the_body(client: httpx.AsyncClient, path: str):
    same_id = {"X-Request-Id": "head-and-get"}
    got, head = await client.get(path, headers=same_id), await client.head(path, headers=same_id)
    assert head.status_code == got.status_code
    assert head.headers == got.headers
    assert head.content == b""
    assert got.content


async def test_every_get_of_the_document_takes_head(client: httpx.AsyncClient, app: FastAPI):
    pages = {"/signin"}
    values = {
        "number": "1",
        "chassis": "x",
        "name": "x",
        "kind": "component",
        "id": "x",
        "booking": "1",
        "digest": "x",
        "list": "x",
    }
    for path, item in app.openapi()["paths"].items():
        answer = await client.head(path.format(**values))
        assert (answer.status_code == 405) == ("get" not in item and path not in pages), path
        assert answer.content == b""


async def test_head_takes_what_the_asker_has(client: httpx.AsyncClient):
    etag = (await client.head("/v1/components/QB-3310")).headers["etag"]
    again = await client.head("/v1/components/QB-3310", headers={"If-None-Match": etag})
    assert (again.status_code, again.headers["etag"]) == (304, etag)


async def test_head_of_a_stream_does_not_stream(app: FastAPI):
    sent: list[dict] = []

    async def send(message: dict) -> None:
        sent.append(message)

    async def receive() -> dict:
        await asyncio.sleep(60)
        return {"type": "http.disconnect"}

    scope = {
        "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "method": "HEAD", "headers": [],
        "path": "/v1/exports", "raw_path": b"/v1/exports", "query_string": b"", "scheme": "http",
        "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1), "root_path": "",
    }  # fmt: skip
    scope["headers"] = [(b"host", b"127.0.0.1")]
    for version in ("2.3", "2.4"):
        sent.clear()
        await app(scope | {"asgi": {"version": "3.0", "spec_version": version}, "state": {}}, receive, send)
        assert [message["type"] for message in sent] == ["http.response.start", "http.response.body"]
        assert (sent[0]["status"], sent[1]["body"]) == (200, b"")


@pytest.mark.parametrize(
    ("path", "allow"),
    [
        ("/v1/closures", "GET, HEAD, OPTIONS, POST"),
        ("/v1/builds/x", "DELETE, GET, HEAD, OPTIONS, PUT"),
        ("/v1/closures/why-not", "OPTIONS, POST"),
        ("/livez", "GET, HEAD, OPTIONS"),
        ("/openapi.json", "GET, HEAD, OPTIONS"),
    ],
)
async def test_allow_names_every_method_of_the_address(client: httpx.AsyncClient, path: str, allow: str):
    refused = await client.request("TRACE", path)
    assert (refused.status_code, refused.headers["allow"]) == (405, allow)
    assert refused.json()["type"] == "/problems/method-not-allowed"
    asked = await client.options(path)
    assert (asked.status_code, asked.headers["allow"], asked.content) == (204, allow, b"")
    assert "access-control-allow-origin" not in asked.headers


async def test_an_address_that_is_not_there_is_a_problem_for_every_method(client: httpx.AsyncClient):
    for method in ("GET", "HEAD", "POST", "OPTIONS", "PATCH", "BREW"):
        answer = await client.request(method, "/v1/nothing/here")
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"


async def test_no_address_sends_the_asker_to_another_host(client: httpx.AsyncClient):
    """With a slash too many there is nothing, rather than a redirect to whatever Host was sent."""
    answer = await client.get("/v1/variants/", headers={"Host": "elsewhere.example"})
    assert answer.status_code == 404
    assert "location" not in answer.headers


@pytest.fixture
def port(app: FastAPI) -> Iterator[int]:
    """A real server of this application."""
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        threading.Event().wait(0.01)
    yield server.servers[0].sockets[0].getsockname()[1]
    server.should_exit = True
    thread.join()


async def test_over_a_real_connection_nothing_follows_the_head(port: int):
    """A body after HEAD would be read as the next answer."""
    ask = "HEAD {} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    last = "GET /livez HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        for path in ("/v1/variants", "/v1/exports", "/v1/nothing"):
            connection.sendall(ask.format(path).encode())
            received = b""
            while not received.endswith(b"\r\n\r\n"):
                received += connection.recv(65_536)
            assert received.startswith(b"HTTP/1.1 ")
        connection.sendall(last.encode())
        answer = b"".join(iter(lambda: connection.recv(65_536), b""))
    assert answer.startswith(b"HTTP/1.1 200 OK")
    assert answer.endswith(b'{"status":"alive"}')


async def test_no_version_of_anything_is_told(port: int):
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}") as client:
        for path in ("/", "/v1/nothing", "/livez"):
            headers = (await client.get(path)).headers
            assert not {"x-powered-by", "via"} & set(headers)
            assert "/" not in headers.get("server", "")
