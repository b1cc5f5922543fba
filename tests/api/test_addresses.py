"""Every field of a question's address says what its body's field says, and each changes the answer."""

from collections.abc import AsyncIterator
from datetime import date, timedelta
from typing import Any
from urllib.parse import parse_qs

import httpx
import pytest

from graftbook.orders.question_schemas import OrderQuery
from graftbook.questions.closures.query import ClosureQuery
from tests.conftest import application, client_of

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"
SOON = (date.today() + timedelta(days=3)).isoformat()
BASE = {"chassis": CHASSIS, "fit": "QB-3310"}
BODY: dict[str, Any] = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}


def vehicle(**more: Any) -> dict[str, Any]:
    return BODY | {"vehicle": BODY["vehicle"] | more}


def limits(**more: Any) -> dict[str, Any]:
    return BODY | {"limits": more}


def wishes(*more: dict[str, Any]) -> dict[str, Any]:
    return BODY | {"wishes": [*BODY["wishes"], *more]}


FIELDS: dict[str, tuple[Any, dict[str, Any]]] = {
    "build": ("red", BODY | {"vehicle": {"build": "red", "chassis": CHASSIS}}),
    "chassis": ("24PR-012000", BODY | {"vehicle": {"chassis": "24PR-012000"}}),
    "variant": ("16P-17-R", vehicle(variant="16P-17-R")),
    "built": ("1966-02-03", vehicle(built="1966-02-03")),
    "option": (["heater"], vehicle(options=["heater"])),
    "fitted": (
        ["brake.balance_valve=QB-7090", "brake.servo="],
        vehicle(fitted={"brake.balance_valve": "QB-7090", "brake.servo": None}),
    ),
    "on_the_bench": (["QB-3310", "QB-9001"], vehicle(on_the_bench=["QB-3310", "QB-9001"])),
    "upgrade": (["two-leading-shoes"], wishes({"upgrade": "two-leading-shoes"})),
    "fit": (
        ["QB-3310", "QB-7090@brake.balance_valve"],
        wishes({"fit": "QB-7090", "position": "brake.balance_valve"}),
    ),
    "remedy": (["single-circuit-24-late"], wishes({"remedy": "single-circuit-24-late"})),
    "remedy_all": ("dangerous", wishes({"remedy_all": "dangerous"})),
    "clear": (["brake.servo"], wishes({"clear": "brake.servo"})),
    "keep": (["wheel.road"], limits(keep=["wheel.road"])),
    "keep_section": (["wheels"], limits(keep_sections=["wheels"])),
    "refuse": (["QB-2066", "QB-2090"], limits(refuse=["QB-2066", "QB-2090"])),
    "effort_at_most": ("direct", limits(effort_at_most="direct")),
    "price_at_most": ("100.50", limits(price_at_most="100.50")),
    "nothing_visible": ("true", limits(nothing_visible=True)),
    "evidence_at_least": ("measured", limits(evidence_at_least="measured")),
    "specification": ("house@1", BODY | {"specification": "house@1"}),
    "alternatives": ("2", BODY | {"alternatives": 2}),
    "prefer": (["labour", "price"], BODY | {"preference": ["labour", "price"]}),
    "rules": ("type approval", BODY | {"rules": "type approval"}),
    "as_of": ("1", BODY | {"as_of": 1}),
}
"""Field → its value in an address that asks `BASE` otherwise, and the whole body that asks the same."""


def test_no_field_of_an_address_is_forgotten():
    """`on` is of a build alone: `tests/builds/test_life.py`."""
    assert {*FIELDS, "on"} == set(ClosureQuery.model_fields)
    assert {*FIELDS, "on"} | set(ORDER_FIELDS) == set(OrderQuery.model_fields)


ORDER_FIELDS: dict[str, tuple[Any, dict[str, Any]]] = {
    "by": (SOON, BODY | {"by": SOON}),
    "at_most_suppliers": ("2", BODY | {"at_most_suppliers": 2}),
    "fastest": ("true", BODY | {"fastest": True}),
    "use_stock": ("false", BODY | {"use_stock": False}),
    "tax_market": ("home", BODY | {"tax_market": "home"}),
    "buy_from": (["QB-3311=thornlode"], BODY | {"buy_from": {"QB-3311": "thornlode"}}),
}


@pytest.fixture(scope="module")
async def house(sqlite_databases: Any, sqlite_demo_url: str) -> AsyncIterator[httpx.AsyncClient]:
    """The demo with a build, a specification, a full shelf and a second revision in it, only to be asked."""
    with application(sqlite_databases.copy(sqlite_demo_url), seconds_to_reason=30) as app:
        async with client_of(app, scope="edit") as client:
            await furnished(client)
            yield client


async def furnished(writer: httpx.AsyncClient) -> None:
    build = {"name": "red", "chassis": CHASSIS, "decided": [{"clear": "brake.servo"}]}
    standard = {"name": "house", "title": "House", "variants": [], "wishes": [{"fit": "QL-7075"}]}
    for path, body in (("/v1/builds", build), ("/v1/specifications", standard)):
        answer = await writer.post(path, json=body)
        assert answer.status_code == 201, answer.text
    component = (await writer.get("/v1/components/QB-3310")).json()["component"]
    edit = await writer.post("/v1/imports", json=[{"record": "component", **component, "price": "999.00"}])
    assert edit.status_code == 200, edit.text
    shelf = await writer.put("/v1/stock/QB-3310", json={"quantity": 1, "place": "drawer 3"})
    assert shelf.status_code == 200, shelf.text


@pytest.mark.parametrize("field", FIELDS)
async def test_the_address_asks_what_the_body_asks(house: httpx.AsyncClient, field: str):
    value, body = FIELDS[field]
    plain = await house.get("/v1/closures", params=BASE)
    got = await house.get("/v1/closures", params=BASE | {field: value})
    posted = await house.post("/v1/closures", json=body)
    assert got.status_code == posted.status_code
    if field == "variant":
        told = [{k: v for k, v in a.json().items() if k in ("type", "detail")} for a in (got, posted)]
        assert told[0] == told[1]
        assert (got.status_code, got.json()["type"]) == (422, "/problems/vehicle-mismatch")
        return
    assert got.status_code == 200, got.text
    assert got.content == posted.content
    assert got.headers["etag"] == posted.headers["etag"] != plain.headers["etag"]
    assert plain.status_code == 200
    assert got.content != plain.content, "it changes the answer"
    told = posted.headers.get("content-location", "")
    assert bool(told) is (field not in ("build", "specification")), "what these say may change"
    if told:
        written = [
            one.lower() if field == "nothing_visible" else one
            for one in parse_qs(told.partition("?")[2])[field]
        ]
        assert written == (value if isinstance(value, list) else [value])
        assert (await house.get(told)).content == posted.content


@pytest.mark.parametrize("field", ORDER_FIELDS)
async def test_the_address_of_an_order_asks_what_its_body_asks(house: httpx.AsyncClient, field: str):
    value, body = ORDER_FIELDS[field]
    plain = await house.get("/v1/orders", params=BASE)
    got = await house.get("/v1/orders", params=BASE | {field: value})
    posted = await house.post("/v1/orders", json=body)
    assert (plain.status_code, got.status_code, posted.status_code) == (200, 200, 200)
    assert got.content == posted.content
    assert got.content != plain.content, "it changes the answer"
