"""Named upgrades in use: told by their title, listed, in specifications and builds, edited, exported."""

import io
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.catalogue.format.exports import export
from graftbook.catalogue.loading.imports import load
from tests.conftest import client_of

pytestmark = pytest.mark.anyio

VEHICLE = {"chassis": "24PL-018412"}
DISCS = {"upgrade": "front-discs"}
CALIPER = {"fit": "QB-3310"}
TOLD = "You wish front discs: QB-3310 ("


async def closure(client: httpx.AsyncClient, *wishes: dict[str, Any], **more: Any) -> httpx.Response:
    body = {"vehicle": VEHICLE, "wishes": list(wishes), **more}
    answer = await client.post("/v1/closures", json=body)
    assert answer.status_code == 200, answer.text
    return answer


def sentences(answer: httpx.Response) -> list[str]:
    return [wish["sentence"] for wish in answer.json()["wishes"]]


async def test_a_wish_that_came_by_an_upgrade_is_told_by_its_title(client: httpx.AsyncClient):
    plain, named = await closure(client, CALIPER), await closure(client, DISCS)
    assert sentences(plain) == ["You wish QB-3310 (front brake caliper, four pistons, pads with it, left)."]
    assert sentences(named) == [
        "You wish front discs: QB-3310 (front brake caliper, four pistons, pads with it, left)."
    ]
    assert plain.headers["etag"] != named.headers["etag"], "else one would be given for the other"
    assert any(TOLD in change["because"]["sentence"] for change in named.json()["set"]["changes"])
    assert sentences(await closure(client, CALIPER)) == sentences(plain)


async def test_the_same_wish_by_itself_and_by_an_upgrade_is_one(client: httpx.AsyncClient):
    assert len(sentences(await closure(client, DISCS, CALIPER))) == 1
    assert len(sentences(await closure(client, CALIPER, DISCS))) == 1


async def test_a_way_out_names_the_upgrade_that_is_given_up(client: httpx.AsyncClient):
    answer = await closure(client, DISCS, limits={"refuse": ["QB-3310"]})
    told = [way["sentence"] for way in answer.json()["ways_out"]]
    assert any("give up wishing front discs: QB-3310" in way for way in told), told


async def listed(client: httpx.AsyncClient, **asked: str) -> dict[str, dict[str, Any]]:
    items, cursor = [], ""
    while True:
        answer = await client.get("/v1/upgrades", params={"limit": "5", "cursor": cursor, **asked})
        assert answer.status_code == 200, answer.text
        items += answer.json()["items"]
        if not (cursor := answer.json()["next"]):
            assert [item["name"] for item in items] == sorted({item["name"] for item in items})
            return {item["name"]: item for item in items}


async def test_upgrades_are_listed_all_or_those_of_a_vehicle(client: httpx.AsyncClient):
    every = await listed(client)
    assert every["front-discs"]["title"] == "front discs"
    assert "disc conversion" in every["front-discs"]["called"]
    assert every["front-discs"]["wishes"] == [{"component": "QB-3310", "position": None, "flaw": None}]
    of_variant = await listed(client, variant="24P-21-L")
    of_vehicle = await listed(client, **VEHICLE)
    assert set(every) > set(of_variant) >= set(of_vehicle) > {"front-discs"}
    assert "front-discs-16" in set(every) - set(of_variant)
    for name in sorted(of_vehicle)[::6]:  # each is asked in test_upgrades
        asked = await client.post("/v1/closures", json={"vehicle": VEHICLE, "wishes": [{"upgrade": name}]})
        assert asked.status_code == 200, name


@pytest.mark.parametrize(
    ("asked", "type_"),
    [
        ({"variant": "no-such"}, "unknown-variant"),
        ({"chassis": "XX-1"}, "unknown-chassis"),
        ({"chassis": "24PL-018412", "variant": "16P-17-L"}, "vehicle-mismatch"),
        ({"chassis": "24PL-018412", "option": "wings"}, "unknown-option"),
        ({"cursor": "x"}, "invalid-cursor"),
    ],
)
async def test_what_cannot_be_listed_is_told(client: httpx.AsyncClient, asked: dict[str, str], type_: str):
    answer = await client.get("/v1/upgrades", params=asked)
    assert answer.status_code >= 400
    assert answer.json()["type"].endswith(type_)


async def test_a_cursor_of_one_list_is_none_of_another(client: httpx.AsyncClient):
    page = (await client.get("/v1/upgrades?limit=1")).json()
    other = await client.get("/v1/upgrades", params={"variant": "24P-21-L", "cursor": page["next"]})
    assert other.json()["type"].endswith("invalid-cursor")


async def test_a_house_builds_to_an_upgrade(writer: httpx.AsyncClient):
    body = {"name": "stops-well", "title": "Stops well", "wishes": [DISCS]}
    assert (await writer.post("/v1/specifications", json=body)).status_code == 201
    assert sentences(await closure(writer, specification="stops-well"))[0].startswith(TOLD)
    kept = {"name": "red", "chassis": VEHICLE["chassis"], "decided": [DISCS]}
    assert (await writer.post("/v1/builds", json=kept)).status_code == 201
    answer = await writer.post("/v1/closures", json={"vehicle": {"build": "red"}})
    assert sentences(answer)[0].startswith(TOLD)
    wrong = {"name": "blue", "chassis": VEHICLE["chassis"], "decided": [{"upgrade": "front-wings"}]}
    assert (await writer.post("/v1/builds", json=wrong)).json()["type"].endswith("unknown-upgrade")


async def test_an_edit_of_an_upgrade_shows_and_the_past_keeps_its_words(own_app: FastAPI):
    async with client_of(own_app, scope="edit") as editor:
        address = "/v1/records/upgrade/front-discs"
        read = await editor.get(address)
        before = (await editor.get("/v1/revisions")).json()["items"][0]["revision"]
        changed = await editor.patch(
            address,
            json={"title": "disc brakes in front"},
            headers={
                "If-Match": read.headers["etag"],
                "Content-Type": "application/merge-patch+json",
            },
        )
        assert changed.status_code == 200, changed.text
        assert sentences(await closure(editor, DISCS))[0].startswith("You wish disc brakes in front: QB-3310")
        assert sentences(await closure(editor, DISCS, as_of=before))[0].startswith(TOLD)
        history = (await editor.get(f"{address}/history")).json()["items"]
        assert history[0]["before"][0]["title"] == "front discs"


async def test_an_upgrade_may_remedy_a_flaw(writer: httpx.AsyncClient):
    row = {"name": "two-circuits", "title": "two circuits", "remedy": ["single-circuit-24-late"]}
    put = await writer.put("/v1/records/upgrade/two-circuits", json={"rows": [row]})
    assert put.status_code == 201, put.text
    made = (await listed(writer, **VEHICLE))["two-circuits"]
    assert made["wishes"] == [{"component": None, "position": None, "flaw": "single-circuit-24-late"}]
    (told,) = sentences(await closure(writer, {"upgrade": "two-circuits"}))
    assert told.startswith("You wish two circuits: this flaw remedied: ")


def test_an_export_holds_them_whole(own_app: FastAPI):
    engine, stream = own_app.state.service.engine, io.StringIO()
    export(engine, stream)
    own = stream.getvalue().partition("[upgrade]\n")[2].partition("\n[")[0]
    assert "front discs" in own
    again = load(engine, io.StringIO(f"[upgrade]\n{own}"))
    assert (again.ok, again.changed) == (True, 0)
    less = load(engine, io.StringIO(f"[upgrade]\n{own.replace('front discs', 'discs in front')}"))
    assert (less.ok, less.changed) == (True, 2)
