"""Look-up over HTTP: pages, search, vehicles."""

import httpx
import pytest

pytestmark = pytest.mark.anyio


@pytest.mark.parametrize(
    "path", ["/v1/variants", "/v1/positions", "/v1/flaws", "/v1/components?section=brakes"]
)
async def test_pages_linked_by_rfc_8288_give_everything_once_and_in_order(
    client: httpx.AsyncClient, path: str
):
    joint = "&" if "?" in path else "?"
    whole = (await client.get(f"{path}{joint}limit=500")).json()
    assert whole["next"] is None
    pieces: list[dict] = []
    answer = await client.get(f"{path}{joint}limit=7")
    for _ in whole["items"]:
        pieces += answer.json()["items"]
        if answer.json()["next"] is None:
            assert "link" not in answer.headers
            break
        assert answer.links["next"]["url"].startswith("/v1/")
        answer = await client.get(answer.links["next"]["url"])
    else:
        pytest.fail("more pages than there are items")
    assert pieces == whole["items"]
    assert len(pieces) > 7


async def test_a_cursor_serves_the_search_that_gave_it_out(client: httpx.AsyncClient):
    cursor = (await client.get("/v1/components?section=brakes&limit=2")).json()["next"]
    astray = await client.get(f"/v1/components?section=wheels&limit=2&cursor={cursor}")
    assert (astray.status_code, astray.json()["type"]) == (400, "/problems/invalid-cursor")


async def test_a_characteristic_is_asked_for_in_any_unit(client: httpx.AsyncClient):
    answers = [
        (
            await client.get("/v1/components", params={"characteristic": f"disc_diameter at least {value}"})
        ).json()["items"]
        for value in ("268 mm", "0.268 m", "26.8 cm")
    ]
    assert answers[0]
    assert answers[0] == answers[1] == answers[2]
    none = await client.get("/v1/components", params={"characteristic": "disc_diameter at least 1 m"})
    assert none.json()["items"] == []


async def test_search_narrows_by_everything_that_is_given(client: httpx.AsyncClient):
    fits = (await client.get("/v1/components?chassis=24PL-018412&position=brake.servo")).json()["items"]
    assert {"QB-2066"} <= {item["number"] for item in fits}
    modern = (
        await client.get("/v1/components?chassis=24PL-018412&position=brake.servo&origin=modern")
    ).json()["items"]
    assert len(modern) < len(fits)
    assert {item["origin"] for item in modern} == {"modern"}


async def test_a_vehicle_page_tells_variant_day_equipment_and_flaws_with_remedies(client: httpx.AsyncClient):
    page = (await client.get("/v1/vehicles/24pl18412")).json()
    assert (page["variant"], page["chassis"], page["built_is_estimated"]) == ("24P-21-L", "24PL-018412", True)
    sits = {f["position"]: f["component"] for f in page["fitted"]}
    assert sits["brake.front.left"] == "QB-2010"
    severities = [flaw["severity"] for flaw in page["flaws"]]
    order = ["dangerous", "severe", "moderate", "minor"]
    assert severities == sorted(severities, key=order.index), "the worst first"
    assert all(sits[flaw["position"]] == flaw["component"] for flaw in page["flaws"])
    circuit = next(flaw for flaw in page["flaws"] if flaw["position"] == "brake.master")
    assert circuit["remedies"] >= 1


async def test_the_day_built_is_the_askers_when_he_knows_it(client: httpx.AsyncClient):
    page = (await client.get("/v1/vehicles/24PL-018412?built=1969-05-02&option=heater")).json()
    assert (page["built"], page["built_is_estimated"], page["options"]) == ("1969-05-02", False, ["heater"])


async def test_a_components_page_leads_to_everything_around_it(client: httpx.AsyncClient):
    page = (await client.get("/v1/components/qb 3300")).json()
    assert page["component"]["number"] == "QB-3300"
    assert page["current_numbers"] == ["QB-3302"]
    assert any(step["old"] == "QB-3300" for step in page["chain"])
    caliper = (await client.get("/v1/components/QB-3310")).json()
    for filled in ("characteristics", "fitments", "needs", "replaces", "evidence"):
        assert caliper[filled], filled


@pytest.mark.parametrize(("path", "unknown"), [("/v1/components", 404), ("/v1/upgrades", 422)])
@pytest.mark.parametrize(
    ("said", "problem"),
    [
        ({"chassis": "24PL-018412", "option": "hetaer"}, "/problems/unknown-option"),
        ({"option": "heater"}, "/problems/invalid-request"),
        ({"variant": "24P-21-L", "built": "1970-01-01"}, "/problems/invalid-request"),
    ],
)
async def test_what_is_said_of_a_vehicle_is_never_swallowed(
    client: httpx.AsyncClient, path: str, unknown: int, said: dict[str, str], problem: str
):
    answer = await client.get(path, params=said)
    assert answer.json()["type"] == problem
    assert answer.status_code == (unknown if "unknown" in problem else 422)


async def test_a_position_that_nobody_has_is_no_empty_list(client: httpx.AsyncClient):
    answer = await client.get("/v1/components?position=brake.mastre")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/unknown-position")
    assert "brake.master" in answer.json()["near"]
