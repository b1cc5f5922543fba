"""Specifications over HTTP: versions stay, two can be compared, a question can be asked to one."""

import httpx
import pytest

pytestmark = pytest.mark.anyio

HOUSE = {
    "name": "house",
    "title": "House standard",
    "variants": ["24P-21-L"],
    "wishes": [{"fit": "QB-3310"}],
    "limits": {"effort_at_most": "machining"},
    "note": "first",
}


async def revised(writer: httpx.AsyncClient) -> httpx.Response:
    first = await writer.post("/v1/specifications", json=HOUSE)
    assert first.status_code == 201, first.text
    body = {key: value for key, value in HOUSE.items() if key != "name"}
    body |= {"wishes": [{"fit": "QW-3055", "position": "wheel.road"}], "note": "wheels only"}
    assert (await writer.put("/v1/specifications/house", json=body)).status_code == 428
    second = await writer.put(
        "/v1/specifications/house", json=body, headers={"If-Match": first.headers["etag"]}
    )
    assert second.status_code == 200, second.text
    stale = await writer.put(
        "/v1/specifications/house", json=body, headers={"If-Match": first.headers["etag"]}
    )
    assert stale.status_code == 412
    return second


async def test_an_older_version_stays_as_it_was(writer: httpx.AsyncClient):
    second = await revised(writer)
    assert (second.json()["version"], second.json()["latest"]) == (2, 2)
    old = (await writer.get("/v1/specifications/house?version=1")).json()
    assert (old["version"], old["note"], old["wishes"]) == (1, "first", [{"fit": "QB-3310"}])
    assert (await writer.get("/v1/specifications/house?version=3")).status_code == 404


@pytest.mark.one_engine
async def test_two_versions_are_compared(writer: httpx.AsyncClient):
    await revised(writer)
    difference = (await writer.get("/v1/specifications/house/comparison?from=1&to=2")).json()
    assert difference["wishes_added"] == [{"fit": "QW-3055", "position": "wheel.road"}]
    assert difference["wishes_removed"] == [{"fit": "QB-3310"}]
    assert difference["changed"] == {}
    same = (await writer.get("/v1/specifications/house/comparison?from=2&to=2")).json()
    assert (same["wishes_added"], same["wishes_removed"]) == ([], [])


@pytest.mark.one_engine
async def test_numbers_are_kept_as_the_catalogue_writes_them(writer: httpx.AsyncClient):
    wishes = [{"fit": "qb 3310"}, {"fit": "QB-3310"}, {"fit": "ql.7075"}, {"fit": "not yet made"}]
    body = HOUSE | {"wishes": wishes, "limits": {"refuse": ["qb3302", "QB-3302"]}}
    made = (await writer.post("/v1/specifications", json=body)).json()
    assert [wish["fit"] for wish in made["wishes"]] == ["QB-3310", "QL-7075", "not yet made"]
    assert made["limits"]["refuse"] == ["QB-3302"]
    build = {"name": "red", "chassis": "24PL-018412", "decided": [{"fit": "qb 3310"}, {"fit": "QB-3310"}]}
    taken_in = (await writer.post("/v1/builds", json=build)).json()
    assert taken_in["decided"] == [{"fit": "QB-3310"}]
    decided = {"what": "decided", "wishes": [{"fit": "ql 7075"}]}
    now = await writer.post("/v1/builds/red/events", json={"events": [decided]})
    assert now.json()["decided"] == [{"fit": "QL-7075"}]


@pytest.mark.one_engine
async def test_a_question_takes_the_specifications_wishes_and_limits(writer: httpx.AsyncClient):
    await revised(writer)
    body = {"vehicle": {"chassis": "24PL-018412"}, "specification": "house"}
    latest = (await writer.post("/v1/closures", json=body)).json()
    assert [wish["name"] for wish in latest["wishes"]] == ["wish: fit QW-3055 at wheel.road"]
    assert [limit["name"] for limit in latest["limits"]] == ["limit: nothing cut or welded"]
    first = (await writer.post("/v1/closures", json=body | {"specification": "house@1"})).json()
    assert [wish["name"] for wish in first["wishes"]] == ["wish: fit QB-3310"]


@pytest.mark.one_engine
@pytest.mark.parametrize("named", ["house@9", "house@x", "house@" + "9" * 30, "other"])
async def test_a_version_that_is_not_there_is_named(writer: httpx.AsyncClient, named: str):
    await revised(writer)
    body = {"vehicle": {"chassis": "24PL-018412"}, "specification": named}
    answer = await writer.post("/v1/closures", json=body)
    assert (answer.status_code, answer.json()["pointer"]) == (422, "/specification")


@pytest.mark.one_engine
async def test_a_specification_for_other_variants_is_refused(writer: httpx.AsyncClient):
    await writer.post("/v1/specifications", json=HOUSE)
    body = {"vehicle": {"chassis": "16PR-000200"}, "specification": "house"}
    answer = await writer.post("/v1/closures", json=body)
    assert (answer.status_code, answer.json()["pointer"]) == (422, "/specification")
    assert "24P-21-L" in answer.json()["detail"]
