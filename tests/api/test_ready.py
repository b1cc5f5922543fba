"""An answer that stands is given again unlooked-up, and never one that an edit has overtaken."""

import os
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import suppress
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event, text

from graftbook.database import make_engine, writing
from graftbook.editing.records.service import Author, put_record, record_state
from graftbook.process import commits
from graftbook.process.commits import BELIEVED, CommitWatch
from tests.conftest import _Databases, application, client_of

pytestmark = pytest.mark.anyio

PART = "/v1/components/QB-3310"


@pytest.fixture
def url(databases: _Databases, untouched_demo_url: str) -> str:
    """A demo range of the test's own; on each engine in turn."""
    return databases.copy(untouched_demo_url)


@pytest.fixture
def served(url: str) -> Iterator[FastAPI]:
    with application(url, seconds_to_reason=30) as app:
        yield app


@pytest.fixture
async def reader(served: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """Somebody without a key."""
    async with client_of(served) as client:
        yield client


def priced(engine: Engine, price: str) -> None:
    """An edit of the component that is asked for."""
    state = record_state(engine, "component", "QB-3310")
    rows = [state.rows[0] | {"price": price}]
    assert put_record(engine, "component", "QB-3310", rows, state.etag, Author("tests")).ok


async def price_of(client: httpx.AsyncClient) -> str:
    answer = await client.get(PART)
    assert answer.status_code == 200, answer.text
    found: str = answer.json()["component"]["price"]
    return found


def statements(engine: Engine) -> list[str]:
    """Every statement from here on."""
    seen: list[str] = []

    @event.listens_for(engine, "before_cursor_execute")
    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        seen.append(statement)

    return seen


async def test_an_answer_that_stands_is_given_again_without_a_query(
    served: FastAPI, reader: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(commits, "BELIEVED", 60)  # a busy machine takes half a second for the rest
    first = [await reader.get(PART) for _ in range(2)][-1]
    seen = statements(served.state.service.engine)
    again = await reader.get(PART)
    have = await reader.get(PART, headers={"If-None-Match": first.headers["etag"]})
    assert seen == []
    assert (again.content, again.status_code, have.status_code) == (first.content, 200, 304)
    changing = {"x-request-id"}
    assert {n: v for n, v in again.headers.items() if n not in changing} == {
        n: v for n, v in first.headers.items() if n not in changing
    }
    assert have.headers["etag"] == first.headers["etag"]


async def test_an_edit_through_this_process_is_seen_by_the_next_request(
    served: FastAPI, reader: httpx.AsyncClient
) -> None:
    for price in ("611.00", "612.00", "613.00"):
        old = await reader.get(PART)
        await reader.get(PART)
        priced(served.state.service.engine, price)
        have = await reader.get(PART, headers={"If-None-Match": old.headers["etag"]})
        assert have.status_code == 200, "what he has is overtaken"
        assert await price_of(reader) == price


async def test_an_edit_through_another_process_is_seen_within_a_second(
    served: FastAPI, reader: httpx.AsyncClient, url: str
) -> None:
    """On SQLite by the very next request."""
    other = make_engine(url)
    for price in ("611.00", "612.00"):
        await price_of(reader)
        priced(other, price)
        if other.dialect.name == "postgresql":
            time.sleep(BELIEVED + 0.1)
        assert await price_of(reader) == price
    other.dispose()
    assert BELIEVED < 1


async def test_a_closure_follows_an_edit_and_a_build_is_always_looked_up(
    served: FastAPI, reader: httpx.AsyncClient
) -> None:
    async with client_of(served, scope="edit") as writer:
        made = await writer.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412"})
        assert made.is_success, made.text
        asked = {"vehicle": {"build": "red"}, "deadline_seconds": 30.0}
        before = [await reader.post("/v1/closures", json=asked) for _ in range(2)][-1]
        decided = {"chassis": "24PL-018412", "decided": [{"fit": "QL-7075"}]}
        etag = (await writer.get("/v1/builds/red")).headers["etag"]
        changed = await writer.put("/v1/builds/red", json=decided, headers={"If-Match": etag})
        assert changed.is_success, changed.text
    after = await reader.post("/v1/closures", json=asked)
    assert len(after.json()["wishes"]) == len(before.json()["wishes"]) + 1


@pytest.mark.one_engine
async def test_who_may_not_read_gets_nothing_that_another_was_given(
    reader: httpx.AsyncClient, url: str
) -> None:
    for _ in range(2):
        await price_of(reader)
    foreign = await reader.get(PART, headers={"Host": "elsewhere.example"})
    bad_key = await reader.get(PART, headers={"Authorization": "Bearer graftbook_nobody"})
    assert (foreign.status_code, bad_key.status_code) == (421, 401)
    with application(url, reading="closed") as closed:
        async with client_of(closed, scope="read") as holder, client_of(closed) as anybody:
            for _ in range(2):
                assert (await holder.get(PART)).status_code == 200
                assert (await anybody.get(PART)).status_code == 401


@pytest.mark.one_engine
async def test_a_question_that_is_asked_again_stays_among_the_last(
    served: FastAPI, reader: httpx.AsyncClient
) -> None:
    recent = served.state.service.recent
    often = {"vehicle": {"chassis": "24PL-018412"}, "deadline_seconds": 30.0}
    rarely = {"vehicle": {"chassis": "24PL-018413"}, "deadline_seconds": 30.0}
    for asked in (often, often, rarely, often):
        assert (await reader.post("/v1/closures", json=asked)).headers["etag"]
    assert [("018412" in text, "018413" in text) for text in recent.texts()[:2]] == [
        (True, False),
        (False, True),
    ]


def test_what_was_read_while_another_committed_is_not_believed(url: str) -> None:
    """Read before the commit and noted after it, the old state would stand under the new count."""
    engine = make_engine(url)
    watch = CommitWatch(engine)
    old = watch.read()

    @event.listens_for(engine, "commit")
    def another_reads(_connection: Any) -> None:
        assert watch.read() == old, "nothing is committed yet"

    priced(engine, "611.00")
    assert watch.known() is None
    assert watch.read().revision == old.revision + 1
    watch.close()
    engine.dispose()


def test_a_transaction_that_is_undone_changes_nothing(url: str) -> None:
    engine = make_engine(url)
    watch = CommitWatch(engine)
    state = watch.read()
    with suppress(RuntimeError), writing(engine) as session:
        session.connection().execute(text("UPDATE epoch SET name = 'another'"))
        raise RuntimeError
    assert watch.known() == state
    watch.close()
    engine.dispose()


@pytest.mark.one_engine
def test_another_file_in_its_place_is_another_moment(demo_copy: Callable[[], str]) -> None:
    """As a restore puts it there."""
    here, there = demo_copy(), demo_copy()
    engine, other = make_engine(here), make_engine(there)
    watch = CommitWatch(engine)
    old = watch.read()
    priced(other, "611.00")
    with other.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    other.dispose()
    engine.dispose()
    os.replace(there.removeprefix("sqlite:///"), here.removeprefix("sqlite:///"))
    assert watch.known() is None
    assert watch.read().revision == old.revision + 1
    os.remove(here.removeprefix("sqlite:///"))
    assert watch.known() is None
    watch.close()
    engine.dispose()
