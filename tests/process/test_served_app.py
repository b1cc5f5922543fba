"""What a serving process has behind it before anybody asks, so that nothing holds everybody up later."""

import inspect
import json
import subprocess
import sys
from typing import Any

import pytest

from graftbook.app import openapi_document

LOOKED_AT = """
import asyncio, gc, json, sys, threading, time
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
from graftbook.catalogue.compiling.books import Books
from graftbook.database import make_engine
engine, kept = make_engine(sys.argv[1]), []
walks = gc.get_stats()[2]["collections"]
for _ in range(40):  # as after forty edits of one range
    kept.append(Books(engine).book("24P-17-R"))
walks = gc.get_stats()[2]["collections"] - walks
done, waits = threading.Event(), []
def reckon():
    while not done.is_set():
        sum(range(100))
threading.Thread(target=reckon).start()
for _ in range(100):
    begun = time.monotonic()
    time.sleep(0)  # as a statement of the database does: others may go on meanwhile
    waits.append(time.monotonic() - begun)
done.set()
print(json.dumps({"answers": asyncio.run(ask()), "read": len(read), "walked": walked, "walks": walks,
                  "frozen": gc.get_freeze_count(), "wait": sorted(waits)[20]}))
"""


@pytest.fixture(scope="module")
def served(sqlite_demo_url: str) -> dict[str, Any]:
    command = [sys.executable, "-c", LOOKED_AT, sqlite_demo_url]
    shown = subprocess.run(command, capture_output=True, text=True, check=True)
    seen: dict[str, Any] = json.loads(shown.stdout)
    return seen


def test_no_request_waits_until_the_routes_are_read(served: dict[str, Any]) -> None:
    """One that no route takes has looked at all of them."""
    assert served["answers"] == [200, 404]
    assert served["read"] == 0


def test_the_collector_does_not_walk_the_program(served: dict[str, Any]) -> None:
    """Each walk of it stops every thread, the one with the writers' lock too."""
    assert served["frozen"] > 100_000
    assert served["walked"] < 1_000


def test_rule_books_that_come_do_not_make_the_collector_walk_all_that_there_is(
    served: dict[str, Any],
) -> None:
    """Forty of them, as after forty edits. Each walk stood still for 0.2 s of the processor, and with two
    processors that ten wanted for a second, in the middle of an edit that held the writers' lock too."""
    assert served["walks"] <= 4


def test_who_waits_for_the_database_goes_on_soon_while_another_thread_reckons(served: dict[str, Any]) -> None:
    """An edit asks forty statements, and each time it waits for the interpreter. As Python comes that is
    5 ms at least, each time."""
    assert served["wait"] < 0.003


def test_the_openapi_document_is_not_made_on_the_event_loop() -> None:
    assert not inspect.iscoroutinefunction(openapi_document)
