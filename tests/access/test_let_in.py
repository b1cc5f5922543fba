"""What stands is given again to who was let in just now, and never to who may no longer read."""

import time
from collections.abc import Callable
from datetime import datetime, timedelta

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event

from graftbook.access import authenticator, sessions
from graftbook.access import service as access
from graftbook.access.keys import checksum, new_key, presented
from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.database import make_engine
from graftbook.process import commits
from graftbook.process.commits import BELIEVED
from tests.access.conftest import signed_in
from tests.conftest import client_of, make_key

pytestmark = pytest.mark.anyio
PART = "/v1/components/TW-10"
HERE = Caller(client="192.0.2.1")


@pytest.fixture(autouse=True)
def however_slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """PostgreSQL is believed for so long that a busy machine changes nothing."""
    monkeypatch.setattr(commits, "BELIEVED", 3_600.0)


@pytest.fixture(params=["open", "closed"])
def app(apps: Callable[..., FastAPI], request: pytest.FixtureRequest) -> FastAPI:
    """With reading open, where a key is not needed but looked at, and closed."""
    return apps(reading=request.param)


def holding(app: FastAPI, key: str) -> httpx.AsyncClient:
    client = client_of(app)
    client.headers["Authorization"] = f"Bearer {key}"
    return client


async def made_ready(app: FastAPI, client: httpx.AsyncClient) -> list[str]:
    """Ask until the answer is given again without a look-up; the statements of every later question."""
    for _ in range(3):
        assert (await client.get(PART)).status_code == 200
        app.state.authenticator.close()  # when the key was last used is written behind the answer
    seen: list[str] = []

    @event.listens_for(app.state.service.engine, "before_cursor_execute")
    def note(_connection, _cursor, statement, *_rest):
        seen.append(statement)

    return seen


async def test_an_answer_that_stands_is_given_again_to_a_key_without_a_query(app: FastAPI, engine: Engine):
    async with holding(app, make_key(engine, "read")) as client:
        seen = await made_ready(app, client)
        answers = [await client.get(PART) for _ in range(2)]
        have = await client.get(PART, headers={"If-None-Match": answers[0].headers["etag"]})
    assert [a.status_code for a in (*answers, have)] == [200, 200, 304]
    assert seen == []


async def test_a_revocation_here_is_seen_by_the_next_request(app: FastAPI, engine: Engine):
    key = make_key(engine, "read")
    async with holding(app, key) as client:
        await made_ready(app, client)
        access.revoke_key(engine, presented(key).id, HERE)
        assert (await client.get(PART)).status_code == 401


async def test_a_revocation_elsewhere_is_seen_within_a_second(
    app: FastAPI, engine: Engine, url: str, monkeypatch: pytest.MonkeyPatch
):
    """On SQLite by the very next request."""
    monkeypatch.setattr(commits, "BELIEVED", BELIEVED)
    key, other = make_key(engine, "read"), make_engine(url)
    async with holding(app, key) as client:
        await made_ready(app, client)
        access.revoke_key(other, presented(key).id, HERE)
        if other.dialect.name == "postgresql":
            time.sleep(BELIEVED + 0.1)
        assert (await client.get(PART)).status_code == 401
    other.dispose()
    assert BELIEVED < 1


async def test_whatever_is_looked_up_or_changed_takes_a_look_at_the_key(
    app: FastAPI, engine: Engine, url: str
):
    """What is believed for a moment is believed for answers that stand alone."""
    key, other = make_key(engine, "edit"), make_engine(url)
    async with holding(app, key) as client:
        await made_ready(app, client)
        access.revoke_key(other, presented(key).id, HERE)
        assert (await client.get("/v1/components/TW-9")).status_code == 401
        assert (
            await client.post("/v1/builds", json={"name": "red", "chassis": "2L-0001"})
        ).status_code == 401
    other.dispose()


def by(monkeypatch: pytest.MonkeyPatch, later: timedelta) -> None:
    """From here on it is so much later."""

    def moment() -> datetime:
        return access.moment() + later

    for module in (authenticator, sessions):
        monkeypatch.setattr(module, "moment", moment)


async def test_a_key_that_expires_meanwhile_opens_nothing(
    app: FastAPI, engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    expires = access.moment() + timedelta(seconds=40)
    key = access.create_key(engine, "for a day", Scope.READ, expires, HERE).text
    async with holding(app, key) as client:
        await made_ready(app, client)
        by(monkeypatch, timedelta(seconds=41))
        assert (await client.get(PART)).status_code == 401


@pytest.mark.one_engine
async def test_that_a_key_is_used_goes_on_being_written(
    app: FastAPI, engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    key = make_key(engine, "read")
    async with holding(app, key) as client:
        await made_ready(app, client)
        before = access.list_keys(engine, None, 1)[0]["last_used"]
        by(monkeypatch, authenticator.USE_WRITTEN_EVERY)
        assert (await client.get(PART)).status_code == 200
        app.state.authenticator.close()
    assert before
    assert access.list_keys(engine, None, 1)[0]["last_used"] != before


@pytest.mark.one_engine
async def test_who_is_slowed_is_not_answered_what_stands(app: FastAPI, engine: Engine):
    key, other = make_key(engine, "read"), new_key()[0]
    start = "_".join(["graftbook", key.split("_")[1], other.split("_")[2][:-6]])
    async with holding(app, key) as client, holding(app, start + checksum(start)) as guesser:
        await made_ready(app, client)
        guesses = [(await guesser.get(PART)).status_code for _ in range(8)]
        assert guesses[-1] == 429
        assert (await client.get(PART)).status_code == 429


async def test_a_page_session_ends_with_its_sign_out_and_with_its_key(apps: Callable[..., FastAPI], url: str):
    app = apps(reading="closed")
    engine = app.state.service.engine
    async with signed_in(app, "read") as one, signed_in(app, "read") as other:
        seen = await made_ready(app, one)
        assert (await one.get(PART)).status_code == 200
        assert seen == []
        await made_ready(app, other)
        cookie = f"{sessions.COOKIE}={one.cookies[sessions.COOKIE]}"
        form = {"form_token": sessions.form_token(sessions.PageSession(one.cookies[sessions.COOKIE], None))}
        out = await one.post("/signout", data=form, headers={"Sec-Fetch-Site": "same-origin"})
        assert out.is_redirect, out.text
        assert (await one.get(PART, headers={"Cookie": cookie})).status_code == 401
        await made_ready(app, other)
        for key in access.list_keys(engine, None, 9):
            access.revoke_key(engine, key["id"], HERE)
        assert (await other.get(PART)).status_code == 401


@pytest.mark.one_engine
async def test_a_session_is_no_key_and_a_key_no_session(apps: Callable[..., FastAPI], url: str):
    app, key = apps(reading="closed"), make_key(url, "read")
    async with signed_in(app, "read") as one, holding(app, key) as client:
        await made_ready(app, one)
        await made_ready(app, client)
        secret = one.cookies[sessions.COOKIE]
    async with holding(app, secret) as client:
        assert (await client.get(PART)).status_code == 401
    async with client_of(app) as client:
        assert (await client.get(PART, headers={"Cookie": f"{sessions.COOKIE}={key}"})).status_code == 401
