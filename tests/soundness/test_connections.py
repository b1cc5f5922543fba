"""What comes over a connection that no client of good faith would send, against a real service."""

import asyncio
import resource
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI
from httpx import URL
from uvicorn.server import ServerState

from graftbook.http import middleware
from graftbook.process import serving
from tests.soundness.server import Served, serve

pytestmark = pytest.mark.anyio


@pytest.fixture
def here(demo_copy: Any) -> Any:
    with serve(demo_copy()) as served:
        yield served


def spoken(served: Served, text: str) -> str:
    """What a service answers to these bytes."""
    where = URL(served.address)
    with socket.create_connection((where.host, where.port or 80), timeout=10) as connection:
        connection.sendall(text.encode())
        return b"".join(iter(lambda: connection.recv(65_536), b"")).decode()


def test_http_1_1_wants_one_host_and_http_1_0_none(here: Served) -> None:
    close = "Connection: close\r\n\r\n"
    assert " 200 " in spoken(here, f"GET /livez HTTP/1.1\r\nHost: 127.0.0.1\r\n{close}").splitlines()[0]
    for hosts in ("", "Host: 127.0.0.1\r\nHost: elsewhere\r\n"):
        assert " 400 " in spoken(here, f"GET /livez HTTP/1.1\r\n{hosts}{close}").splitlines()[0], hosts
    assert " 200 " in spoken(here, "GET /livez HTTP/1.0\r\n\r\n").splitlines()[0]
    assert not here.faults()


WRONG = {"Authorization": "Bearer graftbook_wrong"}


def attempts(served: Served) -> list[int]:
    """Answers to more wrong keys than one address may try, each said to come from elsewhere."""
    with httpx.Client(base_url=served.address) as client:
        return [
            client.get("/v1/builds", headers=WRONG | {"X-Forwarded-For": f"203.0.113.{number}"}).status_code
            for number in range(14)
        ]


def test_nobody_is_believed_to_speak_for_another_unless_he_is_named(demo_copy: Any, here: Served) -> None:
    assert attempts(here)[-1] == 429
    with serve(demo_copy(), trusted_proxies="127.0.0.1") as behind_a_proxy:
        assert set(attempts(behind_a_proxy)) == {401}


async def test_a_body_that_does_not_come_is_not_waited_for(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(middleware, "SECONDS_FOR_A_BODY", 0.2)
    scope = {
        "type": "http", "http_version": "1.1", "method": "POST", "path": "/v1/closures", "query_string": b"",
        "raw_path": b"/v1/closures", "scheme": "http", "server": ("127.0.0.1", 80),
        "client": ("127.0.0.1", 1),
        "headers": [(b"host", b"127.0.0.1"), (b"content-type", b"application/json")],
    }  # fmt: skip
    pieces = [{"type": "http.request", "body": b'{"vehicle"', "more_body": True}]
    sent: list[dict[str, Any]] = []

    async def receive() -> Any:
        if pieces:
            return pieces.pop()
        await asyncio.sleep(3600)

    async def send(message: Any) -> None:
        sent.append(message)

    async with asyncio.timeout(10):
        await app(scope, receive, send)
    assert sent[0]["status"] == 408
    assert (b"connection", b"close") in sent[0]["headers"]
    assert b"body-too-slow" in sent[1]["body"]


MANY = 500
"""Connections of each kind: more than a process may have files by default, all together."""
HEAD = b"POST /v1/closures HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
STRANGERS = (b"", HEAD, HEAD + b'Content-Length: 1000\r\n\r\n{"vehicle"')
"""Who never says a byte, who stops in the middle of a head, and who stops in the middle of a body."""


@pytest.fixture
def many_files() -> Iterator[None]:
    """As few files as a process has by default; for this one, which is both ends, as many as it may have."""
    usual = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (usual[1], usual[1]))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, usual)


@pytest.mark.usefixtures("many_files")
def test_nobody_waits_for_many_strangers_who_say_nothing(demo_copy: Any) -> None:
    with serve(demo_copy(), files=1_024) as served, ExitStack() as open_ones:
        where = URL(served.address)
        for said in STRANGERS * MANY:
            address = (where.host, where.port or 80)
            stranger = open_ones.enter_context(socket.create_connection(address, timeout=30))
            stranger.sendall(said)
        with served.client() as client:
            answers = [client.get("/v1/components/QB-3310") for _ in range(20)]
        assert {answer.status_code for answer in answers} == {200}
        took = sorted(answer.elapsed.total_seconds() for answer in answers)
        assert took[len(took) // 2] < 1, took
        assert not served.faults()


async def said_to(port: int, *pieces: bytes, pause: float = 0.0) -> bytes:
    """What comes back over one connection until it is closed."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    for piece in pieces:
        writer.write(piece)
        await writer.drain()
        await asyncio.sleep(pause)
    async with asyncio.timeout(20):
        answer = await reader.read()
    writer.close()
    return answer


async def test_who_does_not_say_what_he_wants_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor between two requests; who is slow and ends his head in time is answered, and a long answer is not
    cut off."""
    monkeypatch.setattr(serving, "SECONDS_FOR_A_HEAD", 1.0)

    async def answer(_scope: Any, _receive: Any, send: Any) -> None:
        await asyncio.sleep(1.2)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"done"})

    config = uvicorn.Config(answer, http=serving.Prompt, lifespan="off", log_level="critical")
    config.load()
    state = ServerState()
    loop = asyncio.get_running_loop()
    made = await loop.create_server(
        lambda: serving.Prompt(config=config, server_state=state, app_state={}), "127.0.0.1", 0
    )
    async with made:
        port = made.sockets[0].getsockname()[1]
        head = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        silent, half, lines, slow, then_half, then_line, two = await asyncio.gather(
            said_to(port, b""),
            said_to(port, head),
            said_to(port, b"\r\n", b"\r\n", pause=0.1),
            said_to(port, head[:9], head[9:], b"\r\n", pause=0.1),
            said_to(port, head + b"\r\n", head, pause=1.8),
            said_to(port, head + b"\r\n", b"\r\n", pause=1.8),
            said_to(port, (head + b"\r\n") * 2),
        )
        assert (silent, half, lines) == (b"", b"", b"")
        assert [answer.count(b"done") for answer in (slow, then_half, then_line, two)] == [1, 1, 1, 2]
    assert not state.connections
