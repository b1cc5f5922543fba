"""A house's specification: over all its variants, two versions side by side, and the present one."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from graftbook.builds.standards.service import _variants
from graftbook.telemetry.requests import current

pytestmark = pytest.mark.anyio

LEFT, RIGHT = "24P-21-L", "24P-17-R"
ADDRESS = "/v1/specifications/house"


async def sent(answer: httpx.Response, status: int = 200) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    body: dict[str, Any] = answer.json()
    return body


async def made(writer: httpx.AsyncClient, *versions: dict[str, Any]) -> None:
    first, *later = ({"title": "House standard", "variants": [LEFT, RIGHT], **one} for one in versions)
    answer = await writer.post("/v1/specifications", json={"name": "house", **first})
    for body in later:
        answer = await writer.put(ADDRESS, json=body, headers={"If-Match": answer.headers["etag"]})
    assert answer.is_success, answer.text


@pytest.mark.one_engine
async def test_one_table_says_what_each_variant_alone_is_answered(writer: httpx.AsyncClient):
    await made(writer, {"wishes": [{"fit": "QB-3310"}], "limits": {"effort_at_most": "machining"}})
    table = await sent(await writer.get(f"{ADDRESS}/variants"))
    assert [row["variant"] for row in table["rows"]] == sorted([LEFT, RIGHT])
    for row in table["rows"]:
        body = {"vehicle": {"chassis": row["chassis"]}, "specification": "house@1"}
        alone = await sent(await writer.post("/v1/closures", json=body))
        whole = alone["set"]
        assert (row["outcome"], row["price"], row["minutes"], row["changes"]) == (
            alone["outcome"], whole["totals"]["price"], whole["totals"]["labour_minutes"],
            len(whole["changes"]),
        )  # fmt: skip
        assert row["shows"] == [c["position_title"] for c in whole["changes"] if c["visible"]]
        assert sum(row["flaws_left"].values()) == len(whole["flaws_left"]) > 0
        assert f"chassis={row['chassis']}&specification=house%401" in row["address"]
    assert table["resolved"] == 2


@pytest.mark.one_engine
async def test_a_variant_without_a_set_or_a_part_says_why(writer: httpx.AsyncClient):
    await made(
        writer,
        {"wishes": [{"fit": "QB-3310"}], "limits": {"keep_sections": ["wheels"]}},
        {"wishes": [{"fit": "QB-3310@brake.front.left"}]},
        {"wishes": [{"remedy": "no such flaw"}]},
    )
    kept = await sent(await writer.get(f"{ADDRESS}/variants", params={"version": 1}))
    assert {row["outcome"] for row in kept["rows"]} == {"impossible"}
    assert kept["resolved"] == 0
    assert all("wheel" in row["why"].lower() for row in kept["rows"])
    for version in (2, 3):
        wrong = await sent(await writer.get(f"{ADDRESS}/variants", params={"version": version}))
        assert [row["outcome"] for row in wrong["rows"]] == [None, None]
        assert all("There is no" in row["why"] for row in wrong["rows"])


async def test_one_version_is_the_houses_present_one(writer: httpx.AsyncClient):
    assert (await writer.get("/v1/house-specification")).status_code == 404
    await made(writer, {"wishes": [{"fit": "QL-7075"}]}, {"wishes": [{"fit": "QB-3310"}]})
    for word, version in (("house", 2), ("house@1", 1)):
        said = await sent(await writer.put("/v1/house-specification", json={"specification": word}))
        assert said["specification"] == f"house@{version}"
        assert (await sent(await writer.get("/v1/house-specification")))["version"] == version
        assert (await sent(await writer.get(ADDRESS)))["present"] == version
        listed = (await writer.get("/v1/specifications")).json()["items"]
        assert [row["present"] for row in listed] == [version]
    for word in ("house@9", "houses", "house@x"):
        answer = await writer.put("/v1/house-specification", json={"specification": word})
        assert (answer.status_code, answer.json()["pointer"]) == (422, "/specification")


@pytest.mark.one_engine
async def test_what_is_open_takes_as_long_as_the_set_and_less_once_parts_are_used(writer: httpx.AsyncClient):
    """Loose parts that are work count with their minutes, as they do with their prices."""
    await made(writer, {"wishes": [{"fit": "QB-3310"}]})
    await sent(await writer.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412"}), 201)
    closure = {"vehicle": {"build": "red"}, "specification": "house@1"}
    whole = (await sent(await writer.post("/v1/closures", json=closure)))["set"]
    lasts = [part for part in whole["loose_parts"] if part["minutes"]]
    assert lasts
    first: list[dict[str, Any]] = [{"what": "built to", "specification": "house@1"}]
    await sent(await writer.post("/v1/builds/red/events", json={"events": first}), 201)
    still = (await sent(await writer.get("/v1/builds/red/state")))["still_open"]
    assert (still["minutes"], still["price"]) == (whole["totals"]["labour_minutes"], whole["totals"]["price"])
    assert {c["component"]: c["minutes"] for c in still["changes"] if not c["position"]} == {
        part["component"]: part["minutes"] for part in whole["loose_parts"]
    }
    fitted = [
        {"what": "fitted", "position": c["position"], "component": c["component"]} for c in whole["changes"]
    ]
    await sent(await writer.post("/v1/builds/red/events", json={"events": fitted}), 201)
    left = (await sent(await writer.get("/v1/builds/red/state")))["still_open"]
    assert left["minutes"] == sum(part["minutes"] for part in lasts)
    used = [{"what": "used", "component": p["component"], "quantity": p["quantity"]} for p in lasts]
    await sent(await writer.post("/v1/builds/red/events", json={"events": used}), 201)
    done = (await sent(await writer.get("/v1/builds/red/state")))["still_open"]
    assert done["minutes"] == 0


@pytest.mark.one_engine
async def test_a_newer_version_says_what_it_would_take_on_variants_and_on_vehicles(
    writer: httpx.AsyncClient,
):
    await made(writer, {"wishes": [{"fit": "QL-7075"}]}, {"wishes": [{"fit": "QL-7075"}, {"fit": "QB-3310"}]})
    build = {"name": "red", "chassis": "24PL-018412"}
    await sent(await writer.post("/v1/builds", json=build), 201)
    await sent(await writer.post("/v1/builds", json=build | {"name": "plain"}), 201)
    closure = {"vehicle": {"build": "red"}, "specification": "house@1"}
    whole = (await sent(await writer.post("/v1/closures", json=closure)))["set"]
    events: list[dict[str, Any]] = [
        {"what": "fitted", "position": c["position"], "component": c["component"]} for c in whole["changes"]
    ]
    events += [
        {"what": "used", "component": p["component"], "quantity": p["quantity"]} for p in whole["loose_parts"]
    ]
    events.append({"what": "built to", "specification": "house@1"})
    await sent(await writer.post("/v1/builds/red/events", json={"events": events}), 201)
    state = await sent(await writer.get("/v1/builds/red/state"))
    assert (state["built_to"], state["still_open"]["changes"]) == ("house@1", [])

    compared = await sent(await writer.get(f"{ADDRESS}/comparison/effects", params={"from": 1, "to": 2}))
    for row in compared["variants"]:
        before, after = row["before"], row["after"]
        assert not row["same"]
        assert set(before["parts"]) - set(row["went"]) | set(row["came"]) == set(after["parts"])
        assert float(row["price"]) == pytest.approx(float(after["price"]) - float(before["price"]))
        assert row["changes"] == after["changes"] - before["changes"] > 0
    (mine,) = compared["builds"]
    assert mine["build"] == "red"
    takes = {change["position"]: change["component"] for change in mine["takes"]["changes"]}
    asked = {"vehicle": {"build": "red"}, "specification": "house@2"}
    now = (await sent(await writer.post("/v1/closures", json=asked)))["set"]
    assert {p: c for p, c in takes.items() if p} == {c["position"]: c["component"] for c in now["changes"]}
    assert mine["takes"]["price"] == now["totals"]["price"]
    back = await sent(await writer.get(f"{ADDRESS}/comparison/effects", params={"from": 1, "to": 1}))
    assert {row["same"] for row in back["variants"]} == {True}
    assert back["builds"][0]["takes"]["changes"] == []


@pytest.mark.one_engine
async def test_a_build_is_not_built_to_what_is_for_other_variants(writer: httpx.AsyncClient):
    await made(writer, {"wishes": [{"fit": "QL-7075"}], "variants": [RIGHT]})
    await sent(await writer.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412"}), 201)
    events = {"events": [{"what": "built to", "specification": "house@1"}]}
    answer = await writer.post("/v1/builds/red/events", json=events)
    assert (answer.status_code, answer.json()["pointer"]) == (422, "/events/0/specification")


@pytest.mark.one_engine
async def test_each_row_has_the_time_of_a_question_of_its_own(
    writer: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
):
    """A table takes longer than one question may; what was worked out is kept for who asks again."""
    await made(writer, {"wishes": [{"fit": "QL-7075"}]})
    monkeypatch.setattr("graftbook.builds.standards.service._variants", _late(_variants))
    table = await sent(await writer.get(f"{ADDRESS}/variants"))
    assert [row["outcome"] for row in table["rows"]] == ["proved", "proved"]
    monkeypatch.setattr("graftbook.builds.standards.service.SECONDS_IN_ALL", -1.0)
    none = await sent(await writer.get(f"{ADDRESS}/variants"))
    assert ["ask again" in row["why"] for row in none["rows"]] == [True, True]
    both = await sent(await writer.get(f"{ADDRESS}/comparison/effects", params={"from": 1, "to": 1}))
    assert [(row["told"], row["same"]) for row in both["variants"]] == [(False, False)] * 2


def _late(work: Callable[..., Any]) -> Callable[..., Any]:
    """The same, after which the time that one question may take is over for the request."""

    def done(*given: Any) -> Any:
        request = current()
        assert request is not None
        request.arrived -= 100.0
        return work(*given)

    return done
