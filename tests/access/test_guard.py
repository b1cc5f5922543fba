"""Who may do what over HTTP, on both engines."""

import re
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any, cast

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from graftbook.access import service as access
from graftbook.access.guard import NeedsScope, known_reader
from graftbook.access.keys import new_key, presented
from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.catalogue.store.cursors import write_cursor
from graftbook.settings import Settings
from tests.access.conftest import BUILD
from tests.api.test_openapi import answers
from tests.conftest import bearer, client_of, make_key

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]
SECTION = [{"record": "section", "name": "new", "title": "New", "order": 5}]

WRITES: list[tuple[Scope, str, str, Any]] = [
    (Scope.ORDER, "POST", "/v1/builds", BUILD),
    (Scope.ORDER, "PUT", "/v1/builds/red", {"chassis": "2L-0001"}),
    (Scope.ORDER, "DELETE", "/v1/builds/red", None),
    (Scope.EDIT, "POST", "/v1/specifications", {"name": "house", "title": "House"}),
    (Scope.EDIT, "PUT", "/v1/specifications/house", {"title": "House"}),
    (Scope.EDIT, "POST", "/v1/imports", SECTION),
    (Scope.ADMINISTER, "POST", "/v1/keys", {"label": "another", "scope": "read"}),
    (Scope.ADMINISTER, "DELETE", "/v1/keys/nobody", None),
    (Scope.ADMINISTER, "GET", "/v1/keys", None),
    (Scope.ADMINISTER, "GET", "/v1/audit", None),
]


@pytest.mark.parametrize(("needed", "method", "path", "body"), WRITES)
async def test_each_change_takes_a_key_of_its_scope(
    app: FastAPI, anybody: httpx.AsyncClient, needed: Scope, method: str, path: str, body: Any
):
    without = await anybody.request(method, path, json=body)
    assert (without.status_code, without.json()["type"]) == (401, "/problems/key-needed")
    assert without.headers["www-authenticate"] == 'Bearer realm="graftbook"'
    for scope in Scope:
        headers = bearer(app.state.service.engine, scope.value)
        answer = await anybody.request(method, path, json=body, headers=headers)
        if scope.includes(needed):
            assert answer.status_code not in (401, 403, 429), answer.text
        else:
            assert (answer.status_code, answer.json()["type"]) == (403, "/problems/scope-needed")
            assert answer.json()["scope"] == needed.value
            assert f"may {needed.value}" in answer.json()["detail"]


READS = [
    "/", "/v1/variants", "/v1/components", "/v1/components/TL-1", "/v1/vehicles/2L-0001", "/v1/builds",
    "/v1/specifications", "/v1/exports", "/v1/closures?chassis=2L-0001", "/metrics",
    "/v1/compatibility?component=TL-1&chassis=2L-0001",
]  # fmt: skip


async def test_reading_is_open_unless_it_is_closed(apps: Callable[..., FastAPI], url: str):
    closed, read = apps(reading="closed"), bearer(url, "read")
    async with client_of(apps()) as anybody, client_of(closed) as stranger:
        for path in READS:
            assert (await anybody.get(path)).status_code == 200, path
            assert (await stranger.get(path)).status_code == 401, path
            assert (await stranger.get(path, headers=read)).status_code == 200, path
        for path in ("/livez", "/readyz", "/openapi.json"):
            assert (await stranger.get(path)).status_code == 200, path
        question = {"vehicle": {"chassis": "2L-0001"}}
        for path in ("/v1/closures", "/v1/checks", "/v1/orders"):
            assert (await stranger.post(path, json=question)).status_code == 401, path
            answer = await stranger.post(path, json=question, headers=read)
            assert answer.status_code not in (401, 403), answer.text


OPEN = {
    "/livez", "/readyz", "/openapi.json", "/guide", "/guide/{name}", "/problems/{name}",
    "/static/{digest}/{name}", "/signin", "/signout", "/units",
}  # fmt: skip
"""What a stranger may ask for where reading is closed: nothing of the catalogue, and the way to sign in."""


async def test_where_reading_is_closed_every_route_but_these_wants_a_key(apps: Callable[..., FastAPI]):
    closed, looked_at = apps(reading="closed"), set()
    async with client_of(closed) as stranger:
        for route in iter_route_contexts(closed.routes):
            path = str(getattr(route, "path", ""))
            for method in sorted(getattr(route, "methods", None) or ()):
                answer = await stranger.request(method, re.sub(r"{[^}]*}", "1", path))
                assert (answer.status_code == 401) is (path not in OPEN), (method, path, answer.status_code)
                looked_at.add(path)
    assert looked_at > OPEN
    assert len(looked_at) > 150


async def test_open_reading_looks_at_no_key_of_nobody(anybody: httpx.AsyncClient, app: FastAPI, monkeypatch):
    def touched(*_given):
        raise AssertionError("the authenticator was asked")

    monkeypatch.setattr(app.state.authenticator, "authenticate", touched)
    assert (await anybody.get("/v1/variants")).status_code == 200
    assert (await anybody.get("/v1/variants", headers={"Authorization": "Basic eDp5"})).status_code == 200


async def test_a_wrong_key_is_refused_also_where_none_is_needed(anybody: httpx.AsyncClient):
    """Else somebody with an old key would think that it still opens."""
    wrong = {"Authorization": f"Bearer {new_key()[0]}"}
    assert (await anybody.get("/v1/variants", headers=wrong)).status_code == 401


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Bearer",
        "Bearer ",
        "Bearer x",
        "Basic eDp5",
        "bearer graftbook_x_y",
        "Bearer " + "x" * 9_000,
        "Bearer \xff",
    ],
)
async def test_whatever_stands_in_the_header_is_answered(anybody: httpx.AsyncClient, header: str):
    answer = await anybody.post("/v1/builds", json=BUILD, headers={"Authorization": header.encode("latin-1")})
    assert answer.status_code == 401, answer.text


async def test_the_scheme_is_read_in_any_case(app: FastAPI, anybody: httpx.AsyncClient):
    """RFC 9110, 11.1: names of schemes are not case-sensitive."""
    key = make_key(app.state.service.engine, "order")
    answer = await anybody.post("/v1/builds", json=BUILD, headers={"Authorization": f"bEaReR  {key} "})
    assert answer.status_code == 201, answer.text


async def test_no_key_an_unknown_an_expired_and_a_revoked_one_look_alike(
    app: FastAPI, anybody: httpx.AsyncClient
):
    engine = app.state.service.engine
    revoked = make_key(engine)
    access.revoke_key(engine, presented(revoked).id, Caller())
    answers = [await anybody.get("/v1/keys")]
    for key in (new_key()[0], revoked, "no key at all"):
        answers.append(await anybody.get("/v1/keys", headers={"Authorization": f"Bearer {key}"}))
    told = {
        (a.status_code, a.headers["www-authenticate"], a.json()["detail"], a.json()["type"]) for a in answers
    }
    assert len(told) == 1


async def test_attempts_are_slowed_with_429_and_retry_after(app: FastAPI, anybody: httpx.AsyncClient):
    good = bearer(app.state.service.engine)
    statuses = []
    for _ in range(14):
        answer = await anybody.get("/v1/keys", headers={"Authorization": f"Bearer {new_key()[0]}"})
        statuses.append(answer.status_code)
    assert statuses == [401] * 11 + [429] * 3
    assert int(answer.headers["retry-after"]) >= 1
    assert answer.json()["type"] == "/problems/too-many-attempts"
    assert (await anybody.get("/v1/variants")).status_code == 200
    elsewhere = httpx.ASGITransport(app, client=("198.51.100.7", 5))
    async with httpx.AsyncClient(transport=elsewhere, base_url="http://127.0.0.1", headers=good) as other:
        assert (await other.get("/v1/keys")).status_code == 200


async def test_an_import_is_by_its_key_and_the_body_cannot_say_otherwise(
    app: FastAPI, anybody: httpx.AsyncClient
):
    engine = app.state.service.engine
    key = access.create_key(engine, "the editor", Scope.EDIT, None, Caller())
    sheet = [{**SECTION[0], "title": f"By another than {key.row.id}"}]
    headers = {"Authorization": f"Bearer {key.text}", "X-Who": "forged", "From": "forged"}
    assert (await anybody.post("/v1/imports?who=forged", json=sheet, headers=headers)).status_code == 422
    sent = await anybody.post("/v1/imports", json=sheet, headers=headers)
    assert sent.status_code == 200, sent.text
    with engine.connect() as connection:
        whos = connection.exec_driver_sql("SELECT who FROM revision ORDER BY number").scalars().all()
    assert whos[-1] == f"the editor ({key.row.id})"
    assert "forged" not in " ".join(whos)


async def test_keys_are_made_listed_page_by_page_and_revoked(
    administrator: httpx.AsyncClient, anybody: httpx.AsyncClient
):
    made = []
    for i in range(5):
        body = {"label": f"counter {i}", "scope": "order", "expires": "2099-01-01T00:00:00+01:00"}
        answer = await administrator.post("/v1/keys", json=body)
        assert answer.status_code == 201, answer.text
        assert answer.headers["cache-control"] == "no-store"
        made.append(answer.json())
    assert made[0]["expires"] == "2098-12-31T23:00:00+00:00"
    assert made[0]["made_by"].startswith("tests (")
    listed, cursor = [], ""
    while cursor is not None:
        page = (await administrator.get("/v1/keys", params={"limit": 2, "cursor": cursor})).json()
        listed += page["items"]
        cursor = page["next"]
    assert [row["label"] for row in listed] == ["tests", *(f"counter {i}" for i in range(5))]
    assert all("key" not in row and "digest" not in row for row in listed)
    mine = {"Authorization": f"Bearer {made[0]['key']}"}
    assert (await anybody.post("/v1/builds", json=BUILD, headers=mine)).status_code == 201
    gone = await administrator.delete(f"/v1/keys/{made[0]['id']}")
    assert gone.status_code == 204
    assert (await anybody.get("/v1/builds", headers=mine)).status_code == 401
    assert (await administrator.delete(f"/v1/keys/{made[0]['id']}")).status_code == 204
    assert (await administrator.delete("/v1/keys/nobody")).status_code == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"label": "x", "scope": "everything"}, "/scope"),
        ({"label": " ", "scope": "read"}, "/label"),
        ({"label": "x", "scope": "read", "expires": "2020-01-01T00:00:00Z"}, "/expires"),
        ({"label": "x", "scope": "read", "expires": "2099-01-01T00:00:00"}, "/expires"),
        ({"label": "x", "scope": "read", "made_by": "forged"}, "/made_by"),
        ({"scope": "read"}, "/label"),
    ],
)
async def test_a_mistake_in_a_key_points_at_its_field(
    administrator: httpx.AsyncClient, body: Any, pointer: str
):
    answer = await administrator.post("/v1/keys", json=body)
    assert (answer.status_code, answer.json()["pointer"]) == (422, pointer)


@pytest.mark.parametrize("path", ["/v1/keys", "/v1/audit"])
async def test_a_cursor_of_another_list_is_refused(administrator: httpx.AsyncClient, path: str):
    for cursor in ("x", "WyJ4Il0", "W10"):
        answer = await administrator.get(path, params={"cursor": cursor})
        assert (answer.status_code, answer.json()["type"]) == (400, "/problems/invalid-cursor")


async def test_a_cursor_whose_day_is_none_is_refused(administrator: httpx.AsyncClient):
    cursor = write_cursor({"list": "keys"}, ["the day before", "x"])
    answer = await administrator.get("/v1/keys", params={"cursor": cursor})
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/invalid-cursor")


async def test_a_page_that_reaches_this_machine_under_its_own_name_reads_nothing(
    apps: Callable[..., FastAPI], url: str
):
    """DNS rebinding: the browser takes a stranger's page and this service for one site. Without a key
    that page reads nothing; it has no key, and a cookie is kept for another name."""
    rebound, key = "http://rebound.example:8000", bearer(url, "order")
    async with client_of(apps(), rebound) as page:
        answer = await page.get("/v1/variants")
        assert (answer.status_code, answer.json()["type"]) == (421, "/problems/foreign-name")
        assert (await page.post("/v1/builds", json=BUILD)).status_code == 421
        assert (await page.post("/v1/builds", json=BUILD, headers=key)).status_code == 201
    for name in ("127.0.0.1:8000", "localhost", "[::1]:8000", "LOCALHOST:1", "127.8.8.8"):
        async with client_of(apps()) as client:
            assert (await client.get("/v1/variants", headers={"Host": name})).status_code == 200, name
    for name in ("", "[", "localhost.rebound.example", "127.0.0.1.rebound.example", "[::2]", "a]:b", "\xe9"):
        async with client_of(apps()) as client:
            headers = {"Host": name.encode("latin-1")}
            assert (await client.get("/v1/variants", headers=headers)).status_code == 421, name


@pytest.mark.parametrize(
    ("headers", "free"),
    [
        ([(b"host", b"localhost:8000"), (b"accept", b"text/html")], True),
        ([(b"accept", b"localhost"), (b"host", b"rebound.example"), (b"x-name", b"localhost")], False),
        ([(b"host", b"localhost"), (b"authorization", b"Bearer of something")], False),
    ],
)
def test_what_is_answered_before_the_guard_is_read_under_our_own_name_only(
    headers: list[tuple[bytes, bytes]], free: bool
):
    scope: Any = {"headers": headers, "server": ("127.0.0.1", 8000)}
    authenticator = SimpleNamespace(known_by_key=lambda *_: None)
    known = known_reader(Settings(database_url="sqlite://"), cast(Any, authenticator), scope, None)
    assert known == ({} if free else None)


async def test_names_that_are_set_are_answered_and_no_others(apps: Callable[..., FastAPI], url: str):
    make_key(url)
    named = apps(host="0.0.0.0", names="counter.example, Parts.Example")
    for name, status in (("counter.example", 200), ("parts.example:80", 200), ("rebound.example", 421)):
        async with client_of(named, f"http://{name}") as client:
            assert (await client.get("/v1/variants")).status_code == status, name
    async with client_of(apps(host="0.0.0.0"), "http://anything.example") as client:
        assert (await client.get("/v1/variants")).status_code == 200


async def test_a_listener_that_the_settings_know_nothing_of_answers_no_stranger(apps: Callable[..., FastAPI]):
    """A server program may be told to listen elsewhere than GRAFTBOOK_HOST says."""
    async with client_of(apps(), "http://192.0.2.7:8000") as client:
        answer = await client.get("/v1/variants", headers={"Host": "localhost"})
        assert answer.status_code == 421
        assert "GRAFTBOOK_HOST" in answer.json()["detail"]


def test_every_route_says_who_may_use_it_and_how_it_refuses(app: FastAPI):
    unguarded = set()
    for path, item in app.openapi()["paths"].items():
        for method, operation in item.items():
            if not operation.get("security"):
                unguarded.add((method, path))
                continue
            assert {"401", "403", "429"} <= set(operation["responses"]), (method, path)
            assert {"page_session": []} in operation["security"]
    assert unguarded == {
        ("get", "/livez"), ("get", "/readyz"), ("post", "/signin"), ("post", "/signout"),
    }  # fmt: skip


def test_the_document_says_whether_reading_takes_a_key(apps: Callable[..., FastAPI]):
    opened, closed = apps().openapi(), apps(reading="closed").openapi()
    assert {} in opened["paths"]["/v1/variants"]["get"]["security"]
    assert {} not in closed["paths"]["/v1/variants"]["get"]["security"]
    assert opened["paths"]["/v1/imports"]["post"]["security"][0] == {"key": ["edit"]}
    assert set(opened["components"]["securitySchemes"]) == {"key", "page_session"}


def test_the_document_says_forged_where_a_page_could_be_used_to_change_something(
    apps: Callable[..., FastAPI],
):
    document = apps().openapi()

    def refused(method: str, path: str) -> set[str]:
        answer = dict(answers(document, document["paths"][path][method]))["403"]
        return set(answer["content"]["application/problem+json"]["examples"])

    assert "forged-request" in refused("post", "/v1/builds")
    assert "forged-request" in refused("delete", "/v1/builds/{name}")
    assert "forged-request" not in refused("get", "/v1/builds"), "reading changes nothing"
    assert "forged-request" not in refused("post", "/v1/closures"), "a question changes nothing"
    assert "forged-request" not in refused("get", "/v1/keys")


def guarded(dependant: Any) -> bool:
    return any(isinstance(inner.call, NeedsScope) or guarded(inner) for inner in dependant.dependencies)


def routes_of(router: Any) -> Iterator[Any]:
    """Every route that has a function, also those of routers that were included."""
    for route in router.routes:
        included = getattr(route, "original_router", None)
        if included is not None:
            yield from routes_of(included)
        elif hasattr(route, "dependant"):
            yield route


def test_pages_too_say_who_may_use_them(app: FastAPI):
    """They are not in the document, so the routes themselves are looked at."""
    found = list(routes_of(app.router))
    assert len(found) > 40
    open_to_all = {route.path for route in found if not guarded(route.dependant)}
    assert open_to_all == {
        "/livez", "/readyz", "/signin", "/signout", "/guide", "/guide/{name}", "/static/{digest}/{name}",
        "/units", "/problems/{name}", "/openapi.json",
    }  # fmt: skip
