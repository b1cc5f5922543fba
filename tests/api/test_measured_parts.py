"""A part on the bench with no number: what it could be by its measures, and where it could serve."""

from typing import Any

import httpx
import pytest

from tests.pages.conftest import BROWSER, text_of

VAN = {"chassis": "24PL-018412"}


async def ask(client: httpx.AsyncClient, *measured: tuple[str, ...], **more: Any) -> dict[str, Any]:
    rows = [dict(zip(("kind", "value", "within"), one, strict=False)) for one in measured]
    answer = await client.post("/v1/measured-parts", json={"measured": rows, **more})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def test_every_component_is_among_what_its_own_figures_could_be(client: httpx.AsyncClient) -> None:
    """Measured as recorded, each is found, and nothing that says otherwise of one of its kinds."""
    for number in ("QB-3310", "QA-1140", "QW-1500", "QT-7000", "QL-7075", "QB-2055", "QA-1010"):
        facts = (await client.get(f"/v1/components/{number}")).json()["characteristics"]
        own = {one["kind"]: one["value"] for one in facts}
        told = await ask(client, *own.items())
        assert number in [one["number"] for one in told["could_be"]][:5], number
        first = told["could_be"][0]
        assert first["not_recorded"] == [], number
        assert {one["kind"] for one in first["agrees"]} == own.keys(), number


async def test_half_of_the_last_digit_is_given_and_what_lies_beyond_is_ruled_out(
    client: httpx.AsyncClient,
) -> None:
    coarse = await ask(client, ("master_bore", "21 mm"))
    assert coarse["read"] == [
        {"kind": "master_bore", "title": "master cylinder bore", "value": "21 mm", "within": "0.5 mm"}
    ]
    fine = await ask(client, ("master_bore", "20.6 mm"))
    numbers = {one["number"] for one in coarse["could_be"]}
    assert {one["number"] for one in fine["could_be"]} == numbers
    assert {one["agrees"][0]["recorded"] for one in fine["could_be"]} == {"20.6 mm"}
    assert (await ask(client, ("master_bore", "20.7 mm")))["could_be"] == []
    assert (await ask(client, ("master_bore", "20.7 mm", "0.1 mm")))["could_be"] != []


async def test_what_contradicts_one_measure_is_out_and_what_is_not_recorded_is_said(
    client: httpx.AsyncClient,
) -> None:
    five = await ask(client, ("bolt_circle", "134 mm"), ("bolt_count", "5"))
    six = await ask(client, ("bolt_circle", "134 mm"), ("bolt_count", "6"))
    assert five["could_be"]
    assert {"bolt_count" in one["not_recorded"] for one in six["could_be"]} == {True}
    assert [one["not_recorded"] for one in five["could_be"]] == sorted(
        (one["not_recorded"] for one in five["could_be"]), key=len
    ), "those with every figure stand first"


async def test_places_are_those_whose_joints_are_met_beside_what_is_fitted(client: httpx.AsyncClient) -> None:
    told = await ask(client, ("spline_count", "14"), vehicle=VAN)
    assert [place["position"] for place in told["places"]] == ["diff.rear", "hub.rear.right", "hub.rear.left"]
    assert await places(client, "27") == []
    strong = VAN | {"fitted": {"halfshaft.rear.left": "QA-3024", "halfshaft.rear.right": "QA-3025"}}
    told = await ask(client, ("spline_count", "27"), vehicle=strong)
    assert {place["position"] for place in told["places"]} == {"diff.rear", "hub.rear.left", "hub.rear.right"}


async def places(client: httpx.AsyncClient, splines: str) -> list[str]:
    told = await ask(client, ("spline_count", splines), vehicle=VAN)
    return [place["position"] for place in told["places"]]


async def test_what_a_position_asks_for_is_what_its_neighbours_have(client: httpx.AsyncClient) -> None:
    told = await ask(client, vehicle=VAN, position="wheel.road")
    asked = {one["kind"]: one["asks"] for one in told["position"]["open"]}
    assert asked["bolt_circle"] == "equal to 134 mm"
    assert asked["rim_width"] == "inside 4.5 .. 5 in"
    assert asked["rim_inner_radius"] == "at least 150 mm plus 3 mm"
    measured = await ask(client, ("bolt_circle", "134 mm"), vehicle=VAN, position="wheel.road")
    assert {one["kind"] for one in measured["position"]["met"]} == {"bolt_circle"}
    assert any("wheel" in caution.lower() for caution in told["cautions"])


async def test_the_next_measure_parts_the_candidates_as_told(client: httpx.AsyncClient) -> None:
    told = await ask(client, ("bolt_circle", "134 mm"))
    numbers = {one["number"] for one in told["could_be"]}
    best = told["measure_next"][0]
    assert len(best["groups"]) > 1
    assert {n for group in best["groups"] for n in group["numbers"]} | set(best["without"]) == numbers
    left = sum(len(g["numbers"]) * (len(g["numbers"]) + len(best["without"])) for g in best["groups"])
    left += len(best["without"]) * len(numbers)
    assert best["left"] == round(left / len(numbers), 1)
    group = best["groups"][0]
    then = await ask(client, ("bolt_circle", "134 mm"), (best["kind"], group["value"]))
    assert {one["number"] for one in then["could_be"]} >= set(group["numbers"])
    assert best["left"] <= told["measure_next"][-1]["left"]


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({"measured": []}, 422, "/measured"),
        ({"measured": [{"kind": "bolt_circle", "value": "134"}]}, 422, "/measured/0/value"),
        (
            {"measured": [{"kind": "bolt_circle", "value": "134 mm", "within": "wide"}]},
            422,
            "/measured/0/within",
        ),
        (
            {"measured": [{"kind": "bolt_circle", "value": "134 mm", "within": "-1 mm"}]},
            422,
            "/measured/0/within",
        ),
        ({"measured": [{"kind": "bolt_cirle", "value": "134 mm"}]}, 422, "/measured/0/kind"),
        ({"position": "wheel.road"}, 422, "/vehicle"),
        ({"position": "wheel.rood", "vehicle": VAN}, 422, "/position"),
    ],
)
async def test_what_is_wrong_is_told(
    client: httpx.AsyncClient, body: dict[str, Any], status: int, pointer: str
) -> None:
    answer = await client.post("/v1/measured-parts", json=body)
    assert (answer.status_code, answer.json()["pointer"]) == (status, pointer), answer.text


async def test_the_page_tells_the_same(client: httpx.AsyncClient) -> None:
    empty = await client.get("/measure", headers=BROWSER)
    assert empty.status_code == 200
    asked = {"kind": ["bolt_circle", "", ""], "value": ["134 mm", "", ""], "chassis": VAN["chassis"]}
    page = await client.get("/measure", params=asked, headers=BROWSER)
    told = await ask(client, ("bolt_circle", "134 mm"), vehicle=VAN)
    assert told["sentence"] in text_of(page)
    assert all(one["number"] in page.text for one in told["could_be"])
    wrong = await client.get("/measure", params=asked | {"value": ["134", "", ""]}, headers=BROWSER)
    assert wrong.status_code == 422
    assert "length has a unit" in text_of(wrong)
    assert 'value="134"' in wrong.text
