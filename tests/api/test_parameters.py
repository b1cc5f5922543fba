"""Every route refuses a query parameter that it does not know, and names the near one."""

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from graftbook.http.parameters import ASKED_BY_MACHINES, MOST_TOLD

pytestmark = pytest.mark.anyio

VALUES = {
    "number": "1", "chassis": "24PL-018412", "name": "x", "kind": "component", "id": "x", "form": "pdf",
    "booking": "1", "step": "send", "digest": "x", "list": "x", "listed": "x",
}  # fmt: skip


def every_route(app: FastAPI) -> Iterator[tuple[str, str]]:
    """Each method and address of the application, its places filled."""
    for route in iter_route_contexts(app.routes):
        path = str(route.path).replace(":path", "")
        for method in sorted(route.methods or ()):
            yield method, path.format_map(VALUES)


async def test_every_route_refuses_a_parameter_that_it_does_not_know(
    writer: httpx.AsyncClient, own_app: FastAPI
):
    looked = 0
    for method, path in every_route(own_app):
        if path in ASKED_BY_MACHINES or path == "/openapi.json":
            continue
        answer = await writer.request(method, path, params={"no_such_parameter": "1"}, follow_redirects=False)
        assert answer.status_code == 422, (method, path, answer.status_code)
        problem = answer.json()
        assert problem["type"] == "/problems/invalid-request", (method, path)
        assert problem["errors"][0]["pointer"] == "no_such_parameter", (method, path)
        looked += 1
    assert looked > 100


@pytest.mark.parametrize(
    ("address", "wrong", "near"),
    [
        ("/v1/components?sectoin=brakes", "sectoin", "section"),
        ("/v1/vehicles/24PL-018412?optoin=heater", "optoin", "option"),
        ("/v1/closures?chassis=24PL-018412&fitt=QL-7075", "fitt", "fit"),
        ("/v1/compatibility?chassis=24PL-018412&componnent=QL-7075", "componnent", "component"),
        ("/v1/ranges?limt=5", "limt", "limit"),
    ],
)
async def test_the_near_name_is_told(client: httpx.AsyncClient, address: str, wrong: str, near: str):
    for method in ("GET", "HEAD"):
        answer = await client.request(method, address)
        assert answer.status_code == 422
    problem = (await client.get(address)).json()
    assert near in problem["near"]
    assert f"did you mean '{near}'?" in problem["detail"]
    assert problem["errors"][0]["pointer"] == wrong


async def test_without_a_near_name_it_is_told_what_there_is(client: httpx.AsyncClient):
    problem = (await client.get("/v1/ranges?bogus=1")).json()
    assert problem["detail"] == "'bogus': there is no such parameter here; it takes cursor, limit"
    assert "near" not in problem


async def test_whoever_may_not_ask_is_told_that_first(client: httpx.AsyncClient):
    assert (await client.get("/v1/keys?bogus=1")).status_code == 401
    assert (await client.post("/v1/builds?bogus=1", json={})).status_code == 401


async def test_what_stands_once_may_not_stand_twice(client: httpx.AsyncClient):
    answer = await client.get("/v1/components?section=brakes&section=wheels&number=QB")
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"pointer": "section", "message": "it stands twice; give it once"}]
    again = await client.get("/v1/closures?chassis=24PL-018412&chassis=24PL-018413&fit=QL-7075")
    assert again.status_code == 422
    lists = await client.get("/v1/closures?chassis=24PL-018412&fit=QL-7075&refuse=QL-7076&refuse=QL-7078")
    assert "twice" not in lists.text, "refuse may repeat"


async def test_every_wrong_parameter_is_told(client: httpx.AsyncClient):
    problem = (await client.get("/v1/variants?rnge=x&limt=1&zzzz=2")).json()
    assert [one["pointer"] for one in problem["errors"]] == ["rnge", "limt", "zzzz"]
    assert problem["detail"].endswith("(and 2 more)")
    two = (await client.get("/v1/variants?rnge=x&limt=1")).json()
    assert two["detail"].endswith("(and 1 more)")


async def test_three_near_names_are_told_at_most(client: httpx.AsyncClient):
    wrong = "chasis=1&optoin=1&fitt=1&refus=1"
    problem = (await client.get(f"/v1/closures?chassis=24PL-018412&fit=QL-7075&{wrong}")).json()
    assert problem["near"] == ["chassis", "option", "fit"]


async def test_of_many_wrong_parameters_no_more_than_twenty_are_told(client: httpx.AsyncClient):
    wrong = "&".join(f"zzzz{number}=1" for number in range(MOST_TOLD + 1))
    problem = (await client.get(f"/v1/ranges?{wrong}&limit=1&limit=2")).json()
    assert [one["pointer"] for one in problem["errors"]] == [f"zzzz{n}" for n in range(MOST_TOLD)]


async def test_probes_and_collectors_may_add_what_they_like(client: httpx.AsyncClient):
    for path in sorted(ASKED_BY_MACHINES):
        assert (await client.get(path, params={"t": "1"})).status_code == 200


async def test_options_answers_whatever_is_asked(client: httpx.AsyncClient):
    assert (await client.options("/v1/ranges?bogus=1")).status_code == 204


async def test_a_browser_gets_a_page_that_keeps_the_question(client: httpx.AsyncClient):
    answer = await client.get(
        "/answer?chassis=24PL-018412&fit=QL-7075&refus=QL-7076", headers={"Accept": "text/html"}
    )
    assert answer.status_code == 422
    assert "did you mean &#39;refuse&#39;?" in answer.text
    assert "/ask?chassis=24PL-018412&amp;fit=QL-7075" in answer.text


WRONG = (
    ({"fit": ["QB-3310", "QB-331"]}, "fit"),
    ({"fit": ["QB-3310"], "upgrade": ["front-disc"]}, "upgrade"),
    ({"fit": ["QB-3310"], "remedy": ["nonsuch"], "remedy_all": "severe"}, "remedy"),
    ({"remedy_all": "severe", "clear": ["nonsuch"]}, "clear"),
    ({"keep": ["nonsuch"]}, "keep"),
    ({"keep_section": ["nonsuch"]}, "keep_section"),
    ({"refuse": ["nonsuch"]}, "refuse"),
    ({"option": ["nonsuch"]}, "option"),
    ({"fitted": ["nonsuch=QB-3310"]}, "fitted"),
    ({"on_the_bench": ["nonsuch"]}, "on_the_bench"),
    ({"variant": "nonsuch"}, "variant"),
    ({"chassis": "24PX-018412"}, "chassis"),
    ({"chassis": ""}, "chassis"),
    ({"specification": "nonsuch"}, "specification"),
    ({"as_of": 999}, "as_of"),
)


@pytest.mark.parametrize("address", ["/v1/closures", "/v1/orders"])
@pytest.mark.parametrize(("asked", "parameter"), WRONG, ids=[wrong[1] for wrong in WRONG])
async def test_what_is_wrong_in_an_address_is_told_of_its_parameter(
    client: httpx.AsyncClient, address: str, asked: dict[str, Any], parameter: str
):
    answer = await client.get(address, params={"chassis": "24PL-018412"} | asked)
    assert 400 <= answer.status_code < 500, answer.text
    problem = answer.json()
    told = {one["pointer"] for one in problem.get("errors", ())} | {problem.get("pointer", parameter)}
    assert told == {parameter}, problem
    assert not problem["detail"].startswith("/"), problem


async def test_what_is_wrong_in_a_body_is_told_of_its_member(client: httpx.AsyncClient):
    """Also when an address asked the same before."""
    await client.get("/v1/closures", params={"chassis": "24PL-018412", "fit": "QB-331"})
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-331"}]}
    assert (await client.post("/v1/closures", json=body)).json()["pointer"] == "/wishes/0/fit"
