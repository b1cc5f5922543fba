"""What comes over a connection that no client of good faith would send, against a real service."""

import asyncio
import socket
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from httpx import URL

from graftbook.http import middleware
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
