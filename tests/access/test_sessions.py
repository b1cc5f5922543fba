"""Browsers: signing in and out, what the cookie carries, and requests that other sites forge."""

from collections.abc import Callable
from datetime import timedelta

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlmodel import select

from graftbook.access import service as access
from graftbook.access import sessions
from graftbook.access.keys import digest_of, new_key, presented
from graftbook.access.principal import Caller
from graftbook.access.session_endpoints import local_path
from graftbook.access.tables import KeyRow, PageSessionRow
from graftbook.database import reading, writing
from graftbook.problems import ForgedRequest
from tests.access.conftest import BUILD, signed_in
from tests.conftest import client_of, make_key

pytestmark = pytest.mark.anyio
OWN = {"Sec-Fetch-Site": "same-origin"}


def token_of(client: httpx.AsyncClient) -> str:
    """What the service's own page would carry in its forms."""
    return sessions.form_token(sessions.PageSession(client.cookies[sessions.COOKIE], None))


@pytest.mark.one_engine
async def test_the_cookie_is_for_this_site_and_no_script(app: FastAPI, anybody: httpx.AsyncClient):
    answer = await anybody.post(
        "/signin", data={"key": make_key(app.state.service.engine), "next": "/builds?x=1"}
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/builds?x=1")
    assert answer.headers["cache-control"] == "no-store"
    name, *flags = [part.strip() for part in answer.headers["set-cookie"].split(";")]
    assert len(name.partition("=")[2]) >= 43
    assert {flag.lower() for flag in flags} == {"httponly", "samesite=strict", "path=/"}


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("base", "settings"), [("https://127.0.0.1", {}), ("http://127.0.0.1", {"secure_cookies": True})]
)
async def test_the_cookie_goes_over_https_only_where_there_is_https(
    apps: Callable[..., FastAPI], url: str, base: str, settings: dict[str, bool]
):
    async with client_of(apps(**settings), base) as client:
        answer = await client.post("/signin", data={"key": make_key(url)})
        assert "secure" in [part.strip().lower() for part in answer.headers["set-cookie"].split(";")]


async def test_the_database_keeps_a_digest_of_the_cookie_only(app: FastAPI):
    async with signed_in(app) as client:
        secret = client.cookies[sessions.COOKIE]
    with app.state.service.engine.connect() as connection:
        (row,) = connection.execute(text("SELECT * FROM page_session")).all()
    assert row.digest == digest_of(secret)
    assert secret not in " ".join(map(str, row))


@pytest.mark.one_engine
@pytest.mark.parametrize("key", ["", "x", new_key()[0]], ids=["none", "no key", "a key that nobody made"])
async def test_a_wrong_key_signs_nobody_in(anybody: httpx.AsyncClient, key: str):
    answer = await anybody.post("/signin", data={"key": key})
    assert (answer.status_code, answer.json()["type"]) == (401, "/problems/key-needed")
    assert "set-cookie" not in answer.headers


@pytest.mark.one_engine
async def test_signing_in_is_slowed_as_any_attempt(anybody: httpx.AsyncClient):
    answers = [await anybody.post("/signin", data={"key": new_key()[0]}) for _ in range(13)]
    assert [a.status_code for a in answers] == [401] * 11 + [429] * 2


@pytest.mark.one_engine
async def test_sign_in_takes_a_form_of_a_fair_size(anybody: httpx.AsyncClient):
    assert (await anybody.post("/signin", json={"key": "x"})).status_code == 415
    assert (await anybody.post("/signin", data={"key": "x" * 200_000})).status_code == 413
    form = {"content-type": "application/x-www-form-urlencoded"}
    for body in (b"key=%ff%fe", b"\xff", b"&".join(b"a=1" for _ in range(500)), b""):
        assert (await anybody.post("/signin", content=body, headers=form)).status_code == 401


@pytest.mark.one_engine
async def test_another_site_cannot_sign_a_browser_in(app: FastAPI, anybody: httpx.AsyncClient):
    key = make_key(app.state.service.engine)
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "https://evil.example"}, {"Origin": "null"}):
        answer = await anybody.post("/signin", data={"key": key}, headers=headers)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/forged-request")


@pytest.mark.parametrize(
    ("address", "goes_to"),
    [
        ("/builds?x=1#y", "/builds?x=1#y"), ("", "/"), ("builds", "/"), ("//evil.example", "/"),
        ("/\\evil.example", "/"), ("https://evil.example", "/"), ("javascript:alert(1)", "/"),
        ("/a\r\nSet-Cookie: x=1", "/"), ("/\t/evil.example", "/"),
    ],
)  # fmt: skip
def test_a_sign_in_leads_to_a_page_of_this_service_only(address: str, goes_to: str):
    assert local_path(address) == goes_to


@pytest.mark.one_engine
async def test_a_cookie_opens_closed_reading(apps: Callable[..., FastAPI]):
    app = apps(reading="closed")
    async with signed_in(app, "read") as client:
        assert (await client.get("/v1/variants")).status_code == 200
        assert (await client.post("/v1/checks", json={"vehicle": {"chassis": "2L-0001"}})).status_code == 200
        client.cookies.clear()
        client.cookies.set(sessions.COOKIE, "x" * 43)
        assert (await client.get("/v1/variants")).status_code == 401


@pytest.mark.one_engine
async def test_a_change_from_our_own_page_is_made(app: FastAPI):
    async with signed_in(app) as client:
        headers = OWN | {"X-Form-Token": token_of(client)}
        assert (await client.post("/v1/builds", json=BUILD, headers=headers)).status_code == 201
        older = {"Origin": "http://127.0.0.1", "X-Form-Token": token_of(client)}
        answer = await client.post("/v1/builds", json=BUILD | {"name": "blue"}, headers=older)
        assert answer.status_code == 201


FORGERIES = {
    "another site, as the browser says": {"Sec-Fetch-Site": "cross-site"},
    "a neighbour under the same domain": {"Sec-Fetch-Site": "same-site"},
    "no page at all": {"Sec-Fetch-Site": "none"},
    "another origin": {"Origin": "https://evil.example"},
    "an origin that begins like ours": {"Origin": "http://127.0.0.1.evil.example"},
    "an origin that is hidden": {"Origin": "null"},
    "a browser that says nothing": {},
}


@pytest.mark.one_engine
@pytest.mark.parametrize("forgery", FORGERIES)
async def test_a_change_that_does_not_come_from_our_own_page_is_refused(app: FastAPI, forgery: str):
    """Even with the right token."""
    async with signed_in(app) as client:
        headers = FORGERIES[forgery] | {"X-Form-Token": token_of(client)}
        answer = await client.post("/v1/builds", json=BUILD, headers=headers)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/forged-request")
        assert (await client.get("/v1/builds")).json()["items"] == []


@pytest.mark.one_engine
@pytest.mark.parametrize("token", [None, "", "0" * 64, "é"])
async def test_a_change_without_the_sessions_token_is_refused(app: FastAPI, token: str | None):
    """Even from our own page. Also another session's token is wrong."""
    async with signed_in(app) as client, signed_in(app) as other:
        headers = OWN | ({"X-Form-Token": token.encode()} if token is not None else {})
        for sent in (headers, OWN | {"X-Form-Token": token_of(other)}):
            answer = await client.post("/v1/builds", json=BUILD, headers=sent)
            assert (answer.status_code, answer.json()["type"]) == (403, "/problems/forged-request")


@pytest.mark.one_engine
async def test_a_key_in_the_header_needs_no_token(app: FastAPI):
    """No browser sends that header by itself."""
    async with client_of(app, scope="order") as client:
        sent = await client.post("/v1/builds", json=BUILD, headers={"Origin": "https://evil.example"})
        assert sent.status_code == 201


async def test_a_key_that_expires_ends_its_sessions_at_once(apps: Callable[..., FastAPI], url: str):
    """Not when the session would have ended: neither a change nor closed reading goes on."""
    app = apps(reading="closed")
    async with signed_in(app) as client:
        headers = OWN | {"X-Form-Token": token_of(client)}
        assert (await client.post("/v1/builds", json=BUILD, headers=headers)).status_code == 201
        with writing(app.state.service.engine) as session:
            (row,) = session.exec(select(KeyRow)).all()
            row.expires = access.moment() - timedelta(seconds=1)
            session.add(row)
        later = await client.post("/v1/builds", json=BUILD | {"name": "blue"}, headers=headers)
        assert (later.status_code, later.json()["type"]) == (401, "/problems/key-needed")
        assert (await client.get("/v1/variants")).status_code == 401
    with reading(app.state.service.engine) as session:
        assert len(session.exec(select(PageSessionRow)).all()) == 1, "it is there still, and opens nothing"


async def test_revoking_the_key_ends_its_sessions_at_once(app: FastAPI):
    async with signed_in(app) as client:
        headers = OWN | {"X-Form-Token": token_of(client)}
        engine = app.state.service.engine
        (row,) = access.list_keys(engine, None, 5)
        access.revoke_key(engine, row["id"], Caller())
        assert (await client.post("/v1/builds", json=BUILD, headers=headers)).status_code == 401
        with reading(engine) as session:
            assert session.exec(select(PageSessionRow)).all() == []


@pytest.mark.parametrize(
    ("begun", "seen", "open_"),
    [(timedelta(hours=1), timedelta(hours=1), True), (timedelta(days=1), timedelta(hours=12), False),
     (timedelta(days=7), timedelta(minutes=1), False), (timedelta(days=6), timedelta(hours=11), True)],
)  # fmt: skip
async def test_a_session_ends_twelve_hours_after_its_last_use_and_after_a_week(
    app: FastAPI, begun: timedelta, seen: timedelta, open_: bool
):
    engine = app.state.service.engine
    async with signed_in(app) as client:
        with writing(engine) as session:
            row = session.exec(select(PageSessionRow)).one()
            row.begun, row.seen = access.moment() - begun, access.moment() - seen
        opened = sessions.open_session(app.state.authenticator, client.cookies[sessions.COOKIE])
        assert (opened is not None) == open_
    app.state.authenticator.close()
    with reading(engine) as session:
        last = session.exec(select(PageSessionRow)).one().seen
        assert (access.moment() - last < timedelta(seconds=50)) == open_


async def test_signing_in_clears_sessions_that_ended(app: FastAPI):
    async with signed_in(app):
        with writing(app.state.service.engine) as session:
            session.exec(select(PageSessionRow)).one().seen = access.moment() - timedelta(hours=13)
    async with signed_in(app):
        with reading(app.state.service.engine) as session:
            assert len(session.exec(select(PageSessionRow)).all()) == 1


async def test_signing_out_ends_the_session_for_everybody_who_has_the_cookie(app: FastAPI):
    async with signed_in(app) as client:
        secret, token = client.cookies[sessions.COOKIE], token_of(client)
        forged = await client.post("/signout", headers=OWN, data={"form_token": "x"})
        assert forged.status_code == 403
        out = await client.post("/signout", headers=OWN, data={"form_token": token})
        assert (out.status_code, out.headers["location"]) == (303, "/")
        assert sessions.COOKIE not in client.cookies
        assert sessions.open_session(app.state.authenticator, secret) is None
        assert (await client.post("/signout", headers=OWN, data={"form_token": token})).status_code == 303


def test_the_token_does_not_tell_the_cookie():
    one, other = (sessions.PageSession(secret, None) for secret in ("a" * 43, "b" * 43))
    assert sessions.form_token(one) == sessions.form_token(one) != sessions.form_token(other)
    assert "a" * 43 not in sessions.form_token(one) + repr(one)
    sessions.require_form_token(one, sessions.form_token(one))
    with pytest.raises(ForgedRequest):
        sessions.require_form_token(one, sessions.form_token(other))


def test_a_key_is_not_a_cookie_nor_a_cookie_a_key(app: FastAPI):
    key = make_key(app.state.service.engine)
    assert sessions.open_session(app.state.authenticator, key) is None
    assert presented("a" * 43) is None
