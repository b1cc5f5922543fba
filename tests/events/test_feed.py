"""The feed over HTTP: what happened, in order, from any cursor; waiting; what is gone is told."""

import asyncio
import json
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, update

from graftbook.catalogue.history.revisions import begin_epoch
from graftbook.catalogue.loading.imports import SMALL, load
from graftbook.database import writing
from graftbook.events.outbox import EVENT
from graftbook.events.service import forget_old
from tests.conftest import client_of
from tests.events.conftest import build_made

pytestmark = pytest.mark.anyio
SECTION = [{"record": "section", "name": "new", "title": "New", "order": 5}]


async def feed(house: httpx.AsyncClient, **asked: Any) -> dict[str, Any]:
    answer = await house.get("/v1/events", params=asked)
    assert answer.status_code == 200, answer.text
    document: dict[str, Any] = answer.json()
    return document


async def test_what_happened_comes_in_order_and_is_read_on_from_its_cursor(house: httpx.AsyncClient):
    (loaded,) = (await feed(house))["items"]
    assert loaded["type"] == "catalogue.revised"
    assert loaded["data"]["revision"] == 1
    await build_made(house, "red")
    answer = await house.put("/v1/builds/red", json={"chassis": "2L-0002"}, headers=await as_read(house))
    assert answer.status_code == 200, answer.text
    assert (await house.post("/v1/imports", json=SECTION)).status_code == 200
    assert (await house.delete("/v1/builds/red", headers=await as_read(house))).status_code == 204
    rest = await feed(house, since=loaded["cursor"])
    kinds = ["build.created", "build.changed", "catalogue.revised", "build.removed"]
    assert [event["type"] for event in rest["items"]] == kinds
    assert rest["items"][2]["data"] | {"who": "", "ranges": []} == {
        "revision": 2, "who": "", "why": "", "records": 1, "ranges": [],
    }  # fmt: skip
    assert rest["items"][1]["data"] == {
        "name": "red", "variant": "T2-L", "chassis": "2L-0002", "version": 2,
    }  # fmt: skip
    assert (rest["more"], rest["cursor"]) == (False, rest["items"][-1]["cursor"])
    by_one, since = [], ""
    while True:
        page = await feed(house, since=since, limit=1)
        by_one += page["items"]
        since = page["cursor"]
        if not page["more"]:
            break
    assert by_one == [loaded, *rest["items"]]
    assert (await feed(house, since="now")) == {"items": [], "cursor": since, "more": False}


async def as_read(house: httpx.AsyncClient) -> dict[str, str]:
    return {"If-Match": (await house.get("/v1/builds/red")).headers["etag"]}


async def test_what_was_not_kept_is_not_told(house: httpx.AsyncClient):
    here = (await feed(house, since="now"))["cursor"]
    await house.post("/v1/imports?dry_run=true", json=SECTION)
    await house.post("/v1/imports", json=[*SECTION, {"record": "section", "name": ""}])
    assert (await house.post("/v1/builds", json={"name": "red", "chassis": "ZZ-1"})).status_code == 422
    assert (await feed(house, since=here))["items"] == []
    once = {"Idempotency-Key": "one"}
    for _ in range(2):
        await house.post("/v1/builds", json={"name": "red", "chassis": "2L-0001"}, headers=once)
    assert [event["type"] for event in (await feed(house, since=here))["items"]] == ["build.created"]


async def test_kinds_are_picked_and_the_cursor_passes_by_the_others(house: httpx.AsyncClient):
    for name in ("red", "blue", "green"):
        await build_made(house, name)
    page = await feed(house, kind=["catalogue.revised", "build.removed"])
    assert [event["type"] for event in page["items"]] == ["catalogue.revised"]
    assert page["cursor"] == (await feed(house))["cursor"]
    assert (await house.get("/v1/events?kind=build.painted")).status_code == 422


async def test_a_cursor_that_is_none_is_refused(house: httpx.AsyncClient):
    here = (await feed(house, since="now"))["cursor"]
    epoch, number = here.split("-")
    for wrong in ("1", "x-1", f"{epoch}-", f"{epoch}-{int(number) + 1}", f"{here}'", "%"):
        answer = await house.get("/v1/events", params={"since": wrong})
        assert (answer.status_code, answer.json()["type"]) == (400, "/problems/invalid-cursor"), wrong


async def test_a_cursor_of_another_history_is_told_and_not_guessed(house: httpx.AsyncClient, engine: Engine):
    here = (await feed(house, since="now"))["cursor"]
    with writing(engine) as session:
        begin_epoch(session.connection())
    answer = await house.get("/v1/events", params={"since": here})
    assert (answer.status_code, answer.json()["type"]) == (410, "/problems/other-history")
    assert answer.json()["newest"].split("-")[1] == here.split("-")[1]
    assert len((await feed(house, since=answer.json()["oldest"]))["items"]) == 1


async def test_what_is_kept_no_more_is_told(house: httpx.AsyncClient, engine: Engine):
    for name in ("red", "blue"):
        await build_made(house, name)
    loaded, red, blue = (await feed(house))["items"]
    with writing(engine) as session:
        old = update(EVENT).where(EVENT.c.id.in_([loaded["id"], red["id"]]))
        session.connection().execute(old.values(at=datetime.now(UTC) - timedelta(days=31)))
    assert forget_old(engine, 30) == 2
    assert forget_old(engine, 30) == 0
    answer = await house.get("/v1/events", params={"since": loaded["cursor"]})
    assert (answer.status_code, answer.json()["type"]) == (410, "/problems/events-forgotten")
    assert answer.json()["oldest"] == red["cursor"]
    assert "1 event" in answer.json()["detail"]
    assert (await feed(house, since=red["cursor"]))["items"] == [blue]
    assert (await feed(house))["items"] == [blue]


async def test_waiting_ends_with_the_event(house: httpx.AsyncClient, app: FastAPI):
    here = (await feed(house, since="now"))["cursor"]
    waiting = asyncio.create_task(feed(house, since=here, wait=60))
    await asyncio.sleep(0.6)
    assert not waiting.done()
    threads = [thread.name for thread in threading.enumerate()]
    held = getattr(app.state.service.engine.pool, "checkedout", lambda: 0)
    looks = 100  # who looks whether something came has a connection for a moment
    while held() and (looks := looks - 1):
        await asyncio.sleep(0.05)
    assert looks, "a connection is held"
    assert len(threads) < 40, "a thread is held"
    await build_made(house, "red")
    page = await asyncio.wait_for(waiting, 10)
    assert [event["data"]["name"] for event in page["items"]] == ["red"]


async def test_a_kind_is_waited_for_while_others_happen(house: httpx.AsyncClient):
    here = (await feed(house, since="now"))["cursor"]
    waiting = asyncio.create_task(feed(house, since=here, wait=60, kind="catalogue.revised"))
    await build_made(house, "red")
    await asyncio.sleep(0.8)
    assert not waiting.done()
    await house.post("/v1/imports", json=SECTION)
    page = await asyncio.wait_for(waiting, 10)
    assert [event["type"] for event in page["items"]] == ["catalogue.revised"]


async def test_waiting_in_vain_gives_the_same_cursor(house: httpx.AsyncClient):
    here = (await feed(house, since="now"))["cursor"]
    assert await feed(house, since=here, wait=1) == {"items": [], "cursor": here, "more": False}


async def test_who_has_gone_is_waited_for_no_longer(house: httpx.AsyncClient, app: FastAPI):
    waiting = asyncio.create_task(feed(house, since="now", wait=60))
    await asyncio.sleep(0.3)
    assert app.state.waiting._readers == 1
    waiting.cancel()
    for _ in range(50):
        await asyncio.sleep(0.1)
        if not app.state.waiting._readers:
            break
    assert app.state.waiting._readers == 0


async def test_as_many_wait_as_may(house: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("graftbook.events.waiting.MOST_WAITING", 0)
    answer = await house.get("/v1/events?since=now&wait=1")
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    answer = await house.get("/v1/events?since=now", headers={"Accept": "text/event-stream"})
    assert answer.status_code == 503


async def test_of_many_who_come_together_as_many_wait_as_may(
    house: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
):
    """All are told that there is room before the first of them has taken his place."""
    monkeypatch.setattr("graftbook.events.waiting.MOST_WAITING", 3)
    monkeypatch.setattr("graftbook.events.endpoints.LONGEST_STREAM", 4.0)
    asking = (house.get("/v1/events?since=now", headers={"Accept": "text/event-stream"}) for _ in range(12))
    answers = await asyncio.gather(*asking)
    assert {answer.status_code for answer in answers} <= {200, 503}
    waited = [one for one in answers if one.status_code == 200 and "event: problem" not in one.text]
    assert 1 <= len(waited) <= 3


async def test_reading_events_takes_the_right_to_read(apps: Callable[..., FastAPI]):
    async with client_of(apps(reading="closed")) as stranger:
        assert (await stranger.get("/v1/events")).status_code == 401
    async with client_of(apps(), scope="read") as reader:
        assert (await reader.get("/v1/events")).status_code == 200


def lines_of(text: str) -> list[dict[str, str]]:
    """A stream as its reader takes it: blocks of fields (HTML standard, 9.2.6)."""
    blocks = [block.split("\n") for block in text.split("\n\n") if block]
    return [dict(line.partition(": ")[::2] for line in block) for block in blocks]


async def test_a_stream_goes_on_behind_the_last_event(
    house: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("graftbook.events.endpoints.LONGEST_STREAM", 2.0)
    monkeypatch.setattr("graftbook.events.endpoints.HEARTBEAT", 0.5)
    (loaded,) = (await feed(house))["items"]
    stream = {"Accept": "text/event-stream"}
    reading = asyncio.create_task(house.get("/v1/events", headers=stream))
    await asyncio.sleep(0.5)
    await build_made(house, "red")
    answer = await reading
    assert answer.headers["content-type"].startswith("text/event-stream")
    assert answer.headers["cache-control"] == "no-store"
    first, *told = lines_of(answer.text)
    assert first == {"retry": "3000"}
    events = [block for block in told if "data" in block]
    assert [json.loads(block["data"])["type"] for block in events] == ["catalogue.revised", "build.created"]
    assert events[0] == {
        "id": loaded["cursor"], "event": "catalogue.revised", "data": events[0]["data"],
    }  # fmt: skip
    assert json.loads(events[0]["data"]) == loaded
    assert any("" in block and "id" in block for block in told), "no heartbeat"
    again = await house.get("/v1/events", headers=stream | {"Last-Event-ID": loaded["cursor"]})
    assert [block["event"] for block in lines_of(again.text) if "data" in block] == ["build.created"]


async def test_a_stream_is_told_of_a_restore(
    house: httpx.AsyncClient, engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("graftbook.events.endpoints.LONGEST_STREAM", 10.0)
    reading = asyncio.create_task(house.get("/v1/events", headers={"Accept": "text/event-stream"}))
    await asyncio.sleep(0.5)
    with writing(engine) as session:
        begin_epoch(session.connection())
    answer = await asyncio.wait_for(reading, 8)
    last = lines_of(answer.text)[-1]
    assert (last["event"], json.loads(last["data"])["type"]) == ("problem", "/problems/other-history")


async def test_a_large_load_that_is_worked_out_in_a_copy_is_told_once(
    house: httpx.AsyncClient, engine: Engine
):
    here = (await feed(house, since="now"))["cursor"]
    sections = [
        {"record": "section", "name": f"s{number}", "title": "S", "order": number}
        for number in range(100, SMALL + 200)
    ]
    assert load(engine, sections, dry_run=True).ok
    assert (await feed(house, since=here))["items"] == []
    report = load(engine, sections, who="house", why="many")
    (told,) = (await feed(house, since=here))["items"]
    assert told["data"] | {"ranges": []} == {
        "revision": report.revision, "who": "house", "why": "many", "records": SMALL + 100, "ranges": [],
    }  # fmt: skip
    assert load(engine, sections).revision == report.revision, "it says the same"
    assert len((await feed(house, since=here))["items"]) == 1
