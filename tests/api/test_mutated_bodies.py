"""Valid bodies with one value replaced by anything: never a fault of the service, always documented."""

import asyncio
import copy
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.api.test_openapi import answers, examples, validator
from tests.conftest import application, bearer, client_of
from tests.running import cases

WISH = {"fit": "QW-3055", "position": "wheel.road"}
ASKS = {"vehicle": {"chassis": "24PL-018412", "built": "1969-01-01", "options": ["heater"]}, "wishes": [WISH]}
SECTION = {"record": "section", "name": "new", "title": "New", "order": 5}
BODIES: list[tuple[str, str, Any]] = [
    (
        "post",
        "/v1/closures",
        ASKS | {"limits": {"keep": ["brake.servo"], "price_at_most": "900"}, "alternatives": 1},
    ),
    ("post", "/v1/closures/why-not", ASKS | {"component": "QW-1500", "position": "wheel.road"}),
    ("post", "/v1/closures/what-if", ASKS | {"other_vehicle": {"chassis": "24PR-009401"}}),
    ("post", "/v1/checks", ASKS | {"components": ["QB-9001"], "positions": {"wheel.road": "QW-3055"}}),
    ("post", "/v1/orders", ASKS | {"preference": ["price", "labour"]}),
    (
        "post",
        "/v1/compatibility",
        {"questions": [{"component": "QW-3055", "chassis": "24PL-018412", "options": []}]},
    ),
    (
        "post",
        "/v1/builds",
        {"name": "x", "chassis": "24PL-018412", "variant": None, "fitted": {"brake.servo": None}},
    ),
    (
        "post",
        "/v1/specifications",
        {"name": "x", "title": "x", "wishes": [WISH], "limits": {}, "variants": []},
    ),
    ("post", "/v1/keys", {"label": "counter", "scope": "order", "expires": "2099-01-01T00:00:00Z"}),
    ("post", "/v1/webhooks", {"url": "https://stock.example/", "kinds": ["build.created"], "note": "x"}),
    ("put", "/v1/webhooks/{id}", {"url": "https://stock.example/", "state": "paused"}),
    ("post", "/v1/webhooks/{id}/send-again", {"since": "now"}),
    ("post", "/v1/order-lists", ASKS | {"name": "x", "at_most_suppliers": 3}),
    (
        "post",
        "/v1/order-lists/{name}/receive",
        {
            "lines": [{"line": 1, "unit": "packs", "received": 1, "promised": "2027-01-01"}],
            "supplier": "welterby",
            "delivery_note": "L-1",
            "accept": ["too many"],
        },
    ),
    ("post", "/v1/order-lists/{name}/bookings/{booking}/take-back", {"why": "twice", "reopen": False}),
    ("post", "/v1/order-lists/{name}/substitute", {"line": 1, "number": "QB-7090"}),
    ("post", "/v1/order-lists/{name}/close", {"reason": "enough"}),
    ("post", "/v1/order-lists/{name}/send", {"incomplete": True}),
    ("post", "/v1/fitting-sequences", ASKS | {"hands": 2, "room_in": ["brakes"]}),
    ("post", "/v1/quotations", ASKS | {"labour_rate": "50.00", "allowance": "10", "months": 3}),
    ("post", "/v1/imports", [SECTION]),
    (
        "post",
        "/v1/proposals",
        {"why": "x", "records": [SECTION], "remove": [{"kind": "flaw", "name": "x"}], "source": "suggestion"},
    ),
    ("post", "/v1/proposal-decisions/accept", {"proposals": [3, 4], "reason": "seen on the vehicle"}),
    ("post", "/v1/proposal-decisions/refuse", {"proposals": [3, 4], "reason": "it is there already"}),
    (
        "post",
        "/v1/measured-parts",
        {
            "vehicle": {"chassis": "24PL-018412"},
            "measured": [{"kind": "bolt_circle", "value": "134 mm", "within": "0.5 mm"}],
        },
    ),
    (
        "post",
        "/v1/reports",
        {
            "outcome": "did not fit",
            "workshop": "North Road",
            "on": "2026-11-29",
            "chassis": "24PL-018412",
            "component": "QB-3310",
            "position": "brake.front.left",
            "measured": ["master_bore 22.2 mm"],
            "note": "x",
        },
    ),
    (
        "post",
        "/v1/builds/{name}/events",
        {
            "events": [
                {"what": "fitted", "position": "brake.servo", "component": "QB-2066", "day": "2026-11-01"},
                {"what": "work", "done": "servo fitted", "minutes": 95},
            ]
        },
    ),
    (
        "post",
        "/v1/builds/{name}/carried-out",
        {
            "order_list": "x",
            "day": "2026-11-01",
            "steps": ["brake.servo"],
            "kept": {"brake.servo": "shelf 4"},
        },
    ),
    ("put", "/v1/house-specification", {"specification": "house-standard@1"}),
    (
        "put",
        "/v1/flat-lists/{name}",
        {
            "columns": {"number": "Part No", "price": "Price", "fits": "Model"},
            "head_line": 1,
            "supplier": "works",
            "decimal": "point",
        },
    ),
    (
        "patch",
        "/v1/flat-lists/{name}/decisions",
        {"answers": {"fits:24 vna": "24 van", "price_mark:*": "point"}},
    ),
]

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a JSON value where another value can be put."""
    if path:
        yield path
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield from places(value, (*path, key))


def replaced(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    """A copy of the body with another value in one place."""
    whole = copy.deepcopy(body)
    node = whole
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    return whole


@pytest.fixture(scope="module")
def mutable(sqlite_databases: Any, sqlite_demo_url: str) -> Iterator[FastAPI]:
    """An application on a copy of the demo range. It has so long that what is asked again and again, with
    other values where they change nothing, is reasoned over once (`tests/sparing.py`)."""
    with application(sqlite_databases.copy(sqlite_demo_url), seconds_to_reason=10) as app:
        app.state.let_in = bearer(app.state.service.engine)
        assert ask(app, "post", "/v1/builds", {"name": "a-list", "chassis": "24PL-018412"}).status_code == 201
        yield app


def ask(app: FastAPI, method: str, path: str, body: Any) -> httpx.Response:
    async def once() -> httpx.Response:
        async with client_of(app) as client:
            address = path.replace("{name}", "a-list").replace("{booking}", "1")
            return await client.request(method, address, json=body, headers=app.state.let_in)

    return asyncio.run(once())


def held_to_the_document(app: FastAPI, method: str, path: str, answer: httpx.Response) -> None:
    document = app.openapi()
    documented = dict(answers(document, document["paths"][path][method])).get(str(answer.status_code))
    assert documented, f"{answer.status_code} is not documented: {answer.text}"
    media = answer.headers["content-type"].split(";")[0]
    validator(document, documented["content"][media]["schema"]).validate(answer.json())


@pytest.mark.parametrize(("method", "path", "body"), BODIES, ids=[path for _, path, _ in BODIES])
@settings(max_examples=cases(20), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_one_value_replaced_by_anything(
    mutable: FastAPI, method: str, path: str, body: Any, data: st.DataObject
):
    place = data.draw(st.sampled_from(sorted(places(body), key=str)))
    sent = replaced(body, place, data.draw(VALUES))
    held_to_the_document(mutable, method, path, ask(mutable, method, path, sent))


@pytest.mark.parametrize(("method", "path", "body"), BODIES, ids=[path for _, path, _ in BODIES])
def test_every_value_replaced_by_null_and_by_nothing(mutable: FastAPI, method: str, path: str, body: Any):
    for place in places(body):
        for value in (None, "", [], {}):
            answer = ask(mutable, method, path, replaced(body, place, value))
            held_to_the_document(mutable, method, path, answer)


def test_the_bodies_here_cover_every_body_that_the_document_knows(mutable: FastAPI):
    known = {(method, path) for path, method, _, _ in examples(mutable.openapi()) if method == "post"}
    assert known <= {(method, path) for method, path, _ in BODIES}
