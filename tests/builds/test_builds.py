"""Builds over HTTP: stored as the catalogue writes names, never overwritten unread, usable in questions."""

import asyncio
import time
from datetime import UTC, date, datetime, timedelta

import httpx
import pytest

pytestmark = pytest.mark.anyio

RED = {
    "name": "red",
    "chassis": "24pl 18412",
    "options": ["heater"],
    "fitted": {"brake.front.left": "qb 2012", "brake.servo": None},
    "on_the_bench": ["qb3310"],
    "decided": [{"fit": "QW-3055", "position": "wheel.road"}],
    "note": "the red one",
}


async def stored(writer: httpx.AsyncClient, **changes: object) -> httpx.Response:
    answer = await writer.post("/v1/builds", json=RED | changes)
    assert answer.status_code == 201, answer.text
    return answer


async def test_names_are_stored_as_the_catalogue_writes_them(writer: httpx.AsyncClient):
    answer = await stored(writer)
    assert answer.headers["location"] == "/v1/builds/red"
    read = await writer.get("/v1/builds/red")
    assert read.json() == answer.json()
    assert read.headers["etag"] == answer.headers["etag"]
    build = read.json()
    assert (build["chassis"], build["variant"]) == ("24PL-018412", "24P-21-L")
    assert build["fitted"] == {"brake.front.left": "QB-2012", "brake.servo": None}
    assert build["on_the_bench"] == ["QB-3310"]
    listed = (await writer.get("/v1/builds")).json()["items"]
    assert [line["name"] for line in listed] == ["red"]


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"chassis": "ZZ-1"}, "/chassis"),
        ({"variant": "16P-17-R"}, "/variant"),
        ({"fitted": {"brake.front.left": "nothing"}}, "/fitted/brake.front.left"),
        ({"on_the_bench": ["QB-3310", "nothing"]}, "/on_the_bench/1"),
        ({"decided": [{"fit": "nothing"}]}, "/decided/0/fit"),
        ({"options": ["wings"]}, "/options/0"),
    ],
)
async def test_a_name_that_nobody_knows_is_refused_at_its_field(
    writer: httpx.AsyncClient, changes: dict[str, object], pointer: str
):
    answer = await writer.post("/v1/builds", json=RED | changes)
    assert (answer.status_code, answer.json()["pointer"]) == (422, pointer)
    assert (await writer.get("/v1/builds")).json()["items"] == []


async def test_a_name_is_taken_once(writer: httpx.AsyncClient):
    await stored(writer)
    again = await writer.post("/v1/builds", json=RED)
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already-exists")


async def test_a_change_needs_what_was_read(writer: httpx.AsyncClient):
    first = (await stored(writer)).headers["etag"]
    body = {key: value for key, value in RED.items() if key != "name"} | {"note": "changed"}
    blind = await writer.put("/v1/builds/red", json=body)
    assert blind.status_code == 428
    second = await writer.put("/v1/builds/red", json=body, headers={"If-Match": first})
    assert (second.status_code, second.json()["version"], second.json()["note"]) == (200, 2, "changed")
    for method, sent in (("PUT", {"json": body}), ("DELETE", {})):
        stale = await writer.request(method, "/v1/builds/red", headers={"If-Match": first}, **sent)
        assert (stale.status_code, stale.json()["type"]) == (412, "/problems/changed-meanwhile")
    gone = await writer.delete("/v1/builds/red", headers={"If-Match": second.headers["etag"]})
    assert gone.status_code == 204
    assert (await writer.get("/v1/builds/red")).status_code == 404


async def test_what_was_read_can_be_sent_back_with_a_change(writer: httpx.AsyncClient):
    """Also what only its records tell, as it was read and not otherwise."""
    await stored(writer)
    read = await writer.get("/v1/builds/red")
    body = {key: value for key, value in read.json().items() if key not in ("name", "version")}
    match = {"If-Match": read.headers["etag"]}
    for field, other in (("taken_in", "2001-01-01"), ("taken_in", None), ("built_to", "house@1")):
        refused = await writer.put("/v1/builds/red", json=body | {field: other}, headers=match)
        assert (refused.status_code, refused.json()["pointer"]) == (422, f"/{field}")
    sent = await writer.put("/v1/builds/red", json=body | {"note": "sent back"}, headers=match)
    assert sent.status_code == 200, sent.text
    assert sent.json() == read.json() | {"version": 2, "note": "sent back"}


async def test_of_twenty_changes_at_once_one_is_taken(writer: httpx.AsyncClient):
    etag = (await stored(writer)).headers["etag"]
    body = {key: value for key, value in RED.items() if key != "name"}
    answers = await asyncio.gather(
        *(
            writer.put("/v1/builds/red", json=body | {"note": f"by {i}"}, headers={"If-Match": etag})
            for i in range(20)
        )
    )
    assert sorted(answer.status_code for answer in answers) == [200] + [412] * 19
    taken = next(answer for answer in answers if answer.status_code == 200)
    assert (await writer.get("/v1/builds/red")).json() == taken.json()


@pytest.mark.one_engine
async def test_a_question_about_a_build_starts_from_what_is_fitted_and_decided(writer: httpx.AsyncClient):
    await stored(writer)
    body = {"vehicle": {"build": "red"}, "wishes": [{"fit": "QB-3310"}]}
    closure = (await writer.post("/v1/closures", json=body)).json()
    assert [wish["name"] for wish in closure["wishes"]] == [
        "wish: fit QW-3055 at wheel.road",
        "wish: fit QB-3310",
    ]
    assert closure["vehicle"]["options"] == ["heater"]
    changes = {change["position"]: change for change in closure["set"]["changes"]}
    assert changes["brake.front.left"]["replaces"] == "QB-2012", (
        "what the build has, not what the factory fitted"
    )
    order = (await writer.post("/v1/orders", json=body)).json()
    assert "QB-3310" in [part["number"] for part in order["at_hand"]]
    assert "QB-3310" not in [line["number"] for line in order["lines"]]


@pytest.mark.one_engine
async def test_a_half_converted_vehicle_is_taken_as_it_stands(writer: httpx.AsyncClient):
    """What is wrong already and not touched is told, not mended."""
    body = {
        "vehicle": {"chassis": "24PL-018412", "fitted": {"brake.front.left": "QB-3310"}},
        "wishes": [{"fit": "QE-2800"}],
    }
    answer = await writer.post("/v1/closures", json=body)
    assert answer.status_code == 200, answer.text
    already = answer.json()["set"]["already_so"]
    assert any("brake.front.left" in note["positions"] for note in already)
    assert not any(change["position"] == "brake.front.left" for change in answer.json()["set"]["changes"])


@pytest.mark.one_engine
@pytest.mark.parametrize("zone", ["Etc/GMT-14", "Etc/GMT+12"])
async def test_a_day_is_of_the_shops_own_calendar(
    writer: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch, zone: str
):
    """Where the sun rises before or after Greenwich's: what is done today is written down today."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        ahead = timedelta(hours=-int(zone.removeprefix("Etc/GMT")))
        today = (datetime.now(UTC) + ahead).date()
        assert date.today() == today
        build = (await stored(writer, taken_in=today.isoformat())).json()
        assert build["taken_in"] == today.isoformat()
        late = await writer.post(
            "/v1/builds", json=RED | {"name": "blue", "taken_in": (today + timedelta(1)).isoformat()}
        )
        assert (late.status_code, late.json()["pointer"]) == (422, "/taken_in")
    finally:
        monkeypatch.delenv("TZ")
        time.tzset()
