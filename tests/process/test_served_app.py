"""What a serving process has behind it before anybody asks, so that nothing holds everybody up later."""

import inspect
import json
import subprocess
import sys

import pytest

from graftbook.app import openapi_document

LOOKED_AT = """
import asyncio, gc, json
from fastapi import routing
import httpx
from graftbook.app import served_app
app = served_app()
read, made = [], routing._EffectiveRouteContext.from_api_route.__func__
def counted(kind, **what):
    read.append(what)
    return made(kind, **what)
routing._EffectiveRouteContext.from_api_route = classmethod(counted)
walked = len(gc.get_objects())
async def ask():
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1") as client:
        return [(await client.get(path)).status_code for path in ("/livez", "/nothing/here")]
print(json.dumps({"answers": asyncio.run(ask()), "read": len(read), "walked": walked,
                  "frozen": gc.get_freeze_count()}))
"""


@pytest.fixture(scope="module")
def served() -> dict[str, list[int] | int]:
    shown = subprocess.run([sys.executable, "-c", LOOKED_AT], capture_output=True, text=True, check=True)
    seen: dict[str, list[int] | int] = json.loads(shown.stdout)
    return seen


def test_no_request_waits_until_the_routes_are_read(served: dict[str, list[int] | int]) -> None:
    """One that no route takes has looked at all of them."""
    assert served["answers"] == [200, 404]
    assert served["read"] == 0


def test_the_collector_does_not_walk_the_program(served: dict[str, list[int] | int]) -> None:
    """Each walk of it stops every thread, the one with the writers' lock too."""
    assert served["frozen"] > 100_000
    assert served["walked"] < 1_000


def test_the_openapi_document_is_not_made_on_the_event_loop() -> None:
    assert not inspect.iscoroutinefunction(openapi_document)
