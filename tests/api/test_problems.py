"""Every mistake is answered with a problem document (RFC 9457) that points at the field."""

import json
from collections.abc import AsyncIterator

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from tests.api.leaves import leaves
from tests.conftest import application, client_of

pytestmark = pytest.mark.anyio

VEHICLE = {"chassis": "24PL-018412"}


def asking(**fields: object) -> dict[str, object]:
    return {"vehicle": VEHICLE, **fields}


MISTAKES = [
    (asking(wishes=[{"fit": "QB-33I0"}]), 422, "unknown-component", "/wishes/0/fit"),
    (asking(wishes=[{"remedy": "no such flaw"}]), 422, "unknown-flaw", "/wishes/0/remedy"),
    (
        asking(wishes=[{"fit": "QB-3310", "position": "brake.frnt.left"}]),
        422,
        "unknown-position",
        "/wishes/0/position",
    ),
    (
        asking(wishes=[{"remedy_all": "severe", "section": "braks"}]),
        422,
        "unknown-section",
        "/wishes/0/section",
    ),
    (asking(wishes=[{"clear": "nowhere"}]), 422, "unknown-position", "/wishes/0/clear"),
    (asking(wishes=[{"fit": "QB-3310", "remedy": "x"}]), 422, "invalid-request", "/wishes/0"),
    (asking(wishes=[{}]), 422, "invalid-request", "/wishes/0"),
    (asking(wishes=[{"fit": "QB-3310", "colour": "red"}]), 422, "invalid-request", "/wishes/0/colour"),
    (asking(wishes=[{"fit": 5}]), 422, "invalid-request", "/wishes/0/fit"),
    (asking(limits={"keep": ["brake.servo", "nowhere"]}), 422, "unknown-position", "/limits/keep/1"),
    (asking(limits={"refuse": ["nothing"]}), 422, "unknown-component", "/limits/refuse/0"),
    (asking(limits={"price_at_most": -1}), 422, "invalid-request", "/limits/price_at_most"),
    (asking(limits={"price_at_most": "1e400"}), 422, "invalid-request", "/limits/price_at_most"),
    (asking(preference=["price", "price"]), 422, "invalid-request", "/preference"),
    (asking(deadline_seconds=0), 422, "invalid-request", "/deadline_seconds"),
    (asking(specification="house"), 422, "unknown-specification", "/specification"),
    (asking(alternatives=11), 422, "invalid-request", "/alternatives"),
    ({"vehicle": {"chassis": "ZZ-1"}}, 422, "unknown-chassis", "/vehicle/chassis"),
    ({"vehicle": {"build": "nobody's"}}, 422, "unknown-build", "/vehicle/build"),
    ({"vehicle": {}}, 422, "invalid-request", "/vehicle"),
    ({"vehicle": VEHICLE | {"variant": "16P-17-R"}}, 422, "vehicle-mismatch", "/vehicle/variant"),
    ({"vehicle": VEHICLE | {"options": ["wings"]}}, 422, "unknown-option", "/vehicle/options/0"),
    ({"vehicle": VEHICLE | {"fitted": {"a/b~c": None}}}, 422, "unknown-position", "/vehicle/fitted/a~1b~0c"),
    (
        {"vehicle": VEHICLE | {"fitted": {"brake.servo": "??"}}},
        422,
        "unknown-component",
        "/vehicle/fitted/brake.servo",
    ),
    ({"vehicle": VEHICLE | {"built": "yesterday"}}, 422, "invalid-request", "/vehicle/built"),
    ({}, 422, "invalid-request", "/vehicle"),
    ([], 422, "invalid-request", ""),
]


def checked(answer: httpx.Response) -> dict[str, object]:
    """The problem document, after what holds for all of them was checked."""
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    document = answer.json()
    assert document["status"] == answer.status_code
    assert document["type"].startswith("/problems/")
    assert document["title"]
    assert document["request_id"] == answer.headers["x-request-id"]
    assert "Traceback" not in answer.text
    assert "SELECT" not in answer.text
    return document


@pytest.mark.parametrize(("body", "status", "kind", "pointer"), MISTAKES)
async def test_a_mistake_in_a_question_points_at_its_field(
    client: httpx.AsyncClient, body: object, status: int, kind: str, pointer: str
):
    document = checked(await client.post("/v1/closures", json=body))
    assert (document["status"], document["type"]) == (status, f"/problems/{kind}")
    assert document.get("pointer", "") == pointer


@pytest.mark.parametrize(
    ("method", "path", "status", "kind"),
    [
        ("GET", "/v1/nothing", 404, "nothing-here"),
        ("PATCH", "/v1/closures", 405, "method-not-allowed"),
        ("GET", "/v1/components/QB%2033I0", 404, "unknown-component"),
        ("GET", "/v1/vehicles/ZZ-000001", 404, "unknown-chassis"),
        ("GET", "/v1/vehicles/24PL-018412?option=wings", 422, "unknown-option"),
        ("GET", "/v1/builds/nobody", 404, "unknown-build"),
        ("GET", "/v1/specifications/nothing", 404, "unknown-specification"),
        ("GET", "/v1/components?section=braks", 404, "unknown-section"),
        ("GET", "/v1/components?variant=24P", 404, "unknown-variant"),
        ("GET", "/v1/variants?range=quillan", 404, "unknown-range"),
        ("GET", "/v1/positions?section=braks", 404, "unknown-section"),
        ("GET", "/v1/flaws?component=QB-33I0", 404, "unknown-component"),
        ("GET", "/v1/components?characteristic=size%20at%20least%201%20m", 404, "unknown-characteristic"),
        ("GET", "/v1/components?characteristic=big", 422, "invalid-request"),
        ("GET", "/v1/components?characteristic=disc_diameter%20at%20least%201%20kg", 422, "invalid-request"),
        ("GET", "/v1/components?cursor=abc", 400, "invalid-cursor"),
        ("GET", "/v1/variants?cursor=%F0%9F%9A%97", 400, "invalid-cursor"),
        ("GET", "/v1/components?limit=0", 422, "invalid-request"),
        ("GET", "/v1/closures?chassis=24PL-018412&colour=red", 422, "invalid-request"),
        ("GET", "/v1/closures?fit=QB-3310", 422, "invalid-request"),
        ("GET", "/v1/flaws?at_least=awful", 422, "invalid-request"),
    ],
)
async def test_a_mistake_in_an_address_is_named(
    client: httpx.AsyncClient, method: str, path: str, status: int, kind: str
):
    document = checked(await client.request(method, path))
    assert (document["status"], document["type"]) == (status, f"/problems/{kind}")


async def test_unknown_names_come_with_near_matches(client: httpx.AsyncClient):
    document = checked(await client.post("/v1/closures", json=asking(wishes=[{"fit": "QB-331"}])))
    assert "QB-3310" in document["near"]
    document = checked(await client.post("/v1/closures", json=asking(wishes=[{"clear": "brake servo x"}])))
    assert "brake.servo" in document["near"]
    document = checked(await client.get("/v1/vehicles/24PL-999999"))
    assert document["near"], "the ends of the nearest spans"


async def test_every_mistake_is_listed_at_once(client: httpx.AsyncClient):
    body = asking(wishes=[{"fit": "A", "x": 1}, {"remedy_all": "bad"}], alternatives=-1)
    document = checked(await client.post("/v1/closures", json=body))
    assert {error["pointer"] for error in document["errors"]} == {
        "/wishes/0/x",
        "/wishes/1/remedy_all",
        "/alternatives",
    }


HOSTILE = [
    b'{"vehicle":',
    b"\xff\xfe\x00",
    b'{"vehicle": {"chassis": "24PL-018412"}} trailing',
    b"[" * 100_000,
    b'{"alternatives": ' + b"9" * 5_000 + b"}",
]


@pytest.mark.parametrize("body", HOSTILE, ids=range(len(HOSTILE)))
async def test_what_is_no_json_is_malformed(client: httpx.AsyncClient, body: bytes):
    answer = await client.post("/v1/closures", content=body, headers={"Content-Type": "application/json"})
    assert checked(answer)["type"] == "/problems/malformed-request"
    assert answer.status_code == 400


STRANGE = [
    '{"vehicle": {"chassis": "24PL-018412"}, "deadline_seconds": NaN}',
    '{"vehicle": {"chassis": "24PL-018412"}, "deadline_seconds": Infinity}',
    '{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "\\ud800"}]}',
    '{"vehicle": {"chassis": "\\u202e24PL"}}',
    '{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "a\\u0000b"}]}',
    '{"vehicle": {"chassis": "24PL-018412"}, "alternatives": ' + "9" * 400 + "}",
    '{"vehicle": {"chassis": "24PL-018412"}, "\\ud800": 1}',
]


@pytest.mark.parametrize("body", STRANGE, ids=range(len(STRANGE)))
async def test_strange_values_are_clear_mistakes(client: httpx.AsyncClient, body: str):
    answer = await client.post("/v1/closures", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    checked(answer)


async def test_json_under_another_name_is_not_understood(client: httpx.AsyncClient):
    answer = await client.post(
        "/v1/closures", content=json.dumps(asking()), headers={"Content-Type": "text/plain"}
    )
    assert checked(answer)["type"] == "/problems/unsupported-media"


async def test_a_body_above_the_limit_is_refused_before_and_while_it_is_read(empty: httpx.AsyncClient):
    announced = await empty.post("/v1/closures", json=asking(wishes=[{"fit": "A" * 21_000}]))
    assert checked(announced)["type"] == "/problems/too-large"

    async def pieces() -> AsyncIterator[bytes]:
        for _ in range(30):
            yield b" " * 1_000

    streamed = await empty.post(
        "/v1/closures", content=pieces(), headers={"Content-Type": "application/json"}
    )
    assert streamed.status_code == 413
    assert checked(streamed)["limit_bytes"] == 20_000


async def test_a_fault_of_the_service_tells_nothing_but_its_id(app: FastAPI, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("secret SELECT inside")

    monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", broken)
    async with client_of(app) as client:
        answer = await client.get("/v1/vehicles/24PL-018499")
    document = checked(answer)
    assert (document["status"], document["type"]) == (500, "/problems/internal")
    assert "secret" not in answer.text


async def test_a_database_that_is_gone_or_too_busy_is_said_and_may_be_asked_again(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
):
    for fault in (OperationalError("SELECT", {}, Exception("gone")), PoolTimeout("QueuePool limit")):

        def broken(*_: object, fault: Exception = fault, **__: object) -> None:
            raise fault

        monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", broken)
        async with client_of(app) as client:
            answer = await client.get("/v1/vehicles/24PL-018499")
        assert checked(answer)["type"] == "/problems/unavailable"
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")


async def test_without_tables_the_service_is_not_ready_and_says_what_to_do(tmp_path):
    with application(f"sqlite:///{tmp_path / 'bare.sqlite3'}") as app:
        async with client_of(app) as client:
            ready, alive = await client.get("/readyz"), await client.get("/livez")
            asked = await client.get("/v1/variants")
    assert ready.status_code == 503
    assert "graftbook migrate" in ready.json()["detail"]
    assert ready.headers["retry-after"]
    assert alive.json() == {"status": "alive"}
    assert checked(asked)["type"] == "/problems/unavailable"


def test_types_are_stable_and_each_is_used_once():
    types = [leaf.type for leaf in leaves()]
    assert len(types) == len(set(types))
    assert all(leaf.status >= 400 and leaf.title for leaf in leaves())


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("/v1/closures/", "/v1/closures"),
        ("/V1/Components/QB-3310", "/v1/components/qb-3310"),
        ("/v1/component/QB-3310", "/v1/components/qb-3310"),
        ("/v1/vehicle/24PL-018412/", "/v1/vehicles/24pl-018412"),
        ("/v1/nothing", ""),
        ("/v1/closures/nothing/at/all", ""),
        ("/v1", ""),
    ],
)
async def test_an_address_with_a_slip_is_told_the_one_that_was_meant(
    client: httpx.AsyncClient, written: str, meant: str
):
    problem = checked(await client.get(f"http://127.0.0.1{written}"))
    assert problem["type"] == "/problems/nothing-here"
    assert problem.get("near", []) == ([meant] if meant else [])
    if meant:
        assert (await client.get(meant)).status_code != 404
