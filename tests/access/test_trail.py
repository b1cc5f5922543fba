"""The trail: changes and refusals are in it, and nobody can fill the disk with it."""

from datetime import timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy.exc import OperationalError
from sqlmodel import func, select

from graftbook.access import guard, store
from graftbook.access import service as access
from graftbook.access.authenticator import Refusals, _add
from graftbook.access.keys import new_key, presented
from graftbook.access.principal import Caller
from graftbook.access.tables import AccessEventRow
from graftbook.database import reading, writing
from tests.access.conftest import BUILD
from tests.conftest import bearer

pytestmark = pytest.mark.anyio


async def trail_of(administrator: httpx.AsyncClient, **asked: object) -> list[dict]:
    answer = await administrator.get("/v1/audit", params=asked)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


async def test_every_change_leaves_a_row_with_key_outcome_and_request(
    app: FastAPI, anybody: httpx.AsyncClient, administrator: httpx.AsyncClient
):
    header = bearer(app.state.service.engine, "order")
    key = presented(header["Authorization"].split()[1]).id
    stored = await anybody.post("/v1/builds", json=BUILD, headers=header | {"X-Request-Id": "counter-0815"})
    again = await anybody.post("/v1/builds?secret=1", json=BUILD, headers=header)
    assert (stored.status_code, again.status_code) == (201, 422)
    failed, done = await trail_of(administrator, key=key)
    assert (done["what"], done["outcome"], done["request_id"]) == ("POST /v1/builds", "done", "counter-0815")
    assert (failed["what"], failed["outcome"]) == ("POST /v1/builds", "failed")
    assert (done["client"], done["times"]) == ("127.0.0.1", 1)


async def test_a_key_made_over_the_api_is_told_once_with_its_maker(administrator: httpx.AsyncClient):
    made = (await administrator.post("/v1/keys", json={"label": "counter", "scope": "read"})).json()
    await administrator.delete(f"/v1/keys/{made['id']}")
    revoked, created, _ = await trail_of(administrator)
    maker = administrator.headers["authorization"].split("_")[1]
    assert created["what"] == f"key {made['id']} made: counter, may read"
    assert revoked["what"] == f"key {made['id']} revoked: counter"
    assert created["key"] == revoked["key"] == maker
    assert made["made_by"] == f"tests ({maker})"


async def test_refused_attempts_are_counted_together_and_name_the_key(
    anybody: httpx.AsyncClient, administrator: httpx.AsyncClient
):
    await administrator.get("/v1/keys")
    wrong = new_key()[0]
    for _ in range(5):
        await anybody.get("/v1/keys", headers={"Authorization": f"Bearer {wrong}"})
    rest, first = await trail_of(administrator, outcome="refused")
    astray = await administrator.get("/v1/audit", params={"outcome": "nope"})
    assert "One of done, failed, refused is needed here" in astray.json()["detail"]
    assert first["what"] == "GET /v1/keys: 401"
    assert first["key"] == presented(wrong).id
    assert (first["times"], rest["times"]) == (1, 4)
    assert wrong not in str(await trail_of(administrator))


async def test_a_key_that_may_not_is_in_the_trail(
    app: FastAPI, anybody: httpx.AsyncClient, administrator: httpx.AsyncClient
):
    header = bearer(app.state.service.engine, "read")
    await anybody.post("/v1/builds", json=BUILD, headers=header)
    app.state.authenticator.close()
    (row,) = await trail_of(administrator, outcome="refused")
    assert (row["what"], row["key"]) == ("POST /v1/builds: 403", header["Authorization"].split("_")[1])


async def test_reading_leaves_no_rows(administrator: httpx.AsyncClient):
    before = len(await trail_of(administrator))
    for path in ("/v1/keys", "/v1/builds", "/v1/variants"):
        await administrator.get(path)
    assert len(await trail_of(administrator)) == before


async def test_the_trail_is_paged_newest_first(administrator: httpx.AsyncClient):
    for i in range(5):
        await administrator.post("/v1/keys", json={"label": f"k{i}", "scope": "read"})
    seen, cursor = [], ""
    while cursor is not None:
        page = (await administrator.get("/v1/audit", params={"limit": 2, "cursor": cursor})).json()
        seen += [row["number"] for row in page["items"]]
        cursor = page["next"]
    assert seen == sorted(seen, reverse=True)
    assert len(seen) == 6


async def test_a_trail_that_cannot_be_written_does_not_undo_the_answer(
    app: FastAPI,
    anybody: httpx.AsyncClient,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
):
    header = bearer(app.state.service.engine, "order")

    def full(_engine):
        raise OperationalError("INSERT", {}, Exception("disk full"))

    monkeypatch.setattr(guard, "writing", full)
    assert (await anybody.post("/v1/builds", json=BUILD, headers=header)).status_code == 201
    assert "is not in the trail" in caplog.text


def test_one_client_gets_a_row_a_minute_and_the_rest_is_counted():
    refusals, now = Refusals(), access.moment()
    caller = Caller(client="192.0.2.1")
    rows = [row for i in range(1_000) for row in refusals.note(caller, "x", now + timedelta(milliseconds=i))]
    assert [row.times for row in rows] == [1]
    (later,) = refusals.note(caller, "x", now + timedelta(minutes=2))
    assert later.times == 1_000
    assert refusals.taken(now) == []


def test_many_clients_get_sixty_rows_a_minute_and_the_state_is_bounded():
    refusals, now = Refusals(), access.moment()
    rows = [
        row
        for i in range(20_000)
        for row in refusals.note(Caller(client=f"10.0.{i >> 8}.{i & 255}"), "x", now)
    ]
    assert len(rows) == Refusals.MOST_A_MINUTE
    assert len(refusals.taken(now)) == Refusals.MOST_CLIENTS
    assert refusals.note(Caller(client="10.9.9.9"), "x", now + timedelta(minutes=1))


def test_the_client_told_longest_ago_is_forgotten_first(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(Refusals, "MOST_CLIENTS", 2)
    refusals, now = Refusals(), access.moment()

    def is_told(last: int) -> bool:
        return bool(refusals.note(Caller(client=f"192.0.2.{last}"), "x", now))

    assert [is_told(1), is_told(2), is_told(3)] == [True, True, True]
    assert [is_told(3), is_told(2), is_told(1)] == [False, False, True]


def test_only_the_newest_refusals_are_kept_and_nothing_else_goes(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(Refusals, "MOST_STORED", 20)
    engine, now = app.state.service.engine, access.moment()
    with writing(engine) as session:
        session.add_all(Caller().event(now, f"done {i}", "done") for i in range(30))
    for i in range(30):
        with writing(engine) as session:
            _add(session, [Caller().event(now, f"refused {i}", "refused")])
    with reading(engine) as session:
        counts = dict(
            session.exec(select(AccessEventRow.outcome, func.count()).group_by(AccessEventRow.outcome)).all()
        )
        refused = store.events_before(session, None, 100, outcome="refused")
        assert [row.what for row in refused] == [f"refused {i}" for i in range(29, 9, -1)]
    assert counts == {"done": 30, "refused": 20}


def test_what_others_write_is_cut_and_printable():
    row = Caller(request="r" * 500, client="c" * 500).event(access.moment(), "\ud800" * 500, "refused")
    assert (len(row.request), len(row.client), row.what) == (64, 64, "?" * 200)


async def test_what_breaks_after_its_answer_began_is_one_row(monkeypatch: pytest.MonkeyPatch):
    told: list[str] = []
    monkeypatch.setattr(guard, "_write", lambda _request, outcome: told.append(outcome))

    async def breaks(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise RuntimeError("the client is gone")

    async def send(_message: Any) -> None:
        """To nobody."""

    with pytest.raises(RuntimeError):
        await guard.AuditTrail(breaks)({"type": "http", "state": {"to_record": True}}, None, send)
    assert told == ["done"]


async def test_what_is_no_request_is_passed_on_as_it_is():
    passed = []

    async def app(*given: Any) -> None:
        passed.append(given)

    await guard.AuditTrail(app)({"type": "lifespan"}, "receive", "send")
    assert passed == [({"type": "lifespan"}, "receive", "send")]
