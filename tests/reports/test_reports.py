"""What workshops report over HTTP: taken in, listed, and the grades, breaks and answers that follow."""

from typing import Any

import httpx
import pytest

pytestmark = pytest.mark.anyio

DISC, PLACE = "QB-3310", "brake.front.left"
CLAIM = "QB-3310@brake.front.left/earlier"


def sent(workshop: str, outcome: str, chassis: str = "24PL-018412", **more: Any) -> dict[str, Any]:
    tried = {} if "claim" in more else {"component": DISC}
    return {"workshop": workshop, "outcome": outcome, "chassis": chassis, "on": "2026-03-02"} | tried | more


async def report(client: httpx.AsyncClient, body: dict[str, Any], status: int = 201) -> dict[str, Any]:
    answer = await client.post("/v1/reports", json=body)
    assert answer.status_code == status, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def grade(client: httpx.AsyncClient, claim: str = CLAIM) -> dict[str, Any]:
    (found,) = (await client.get("/v1/grades", params={"claim": claim})).json()["items"]
    return dict(found)


async def test_a_report_is_taken_in_and_says_what_it_bears_on(writer: httpx.AsyncClient) -> None:
    typed = sent(
        "North Road", "did not fit", "24pl 18412", component="qb3310", measured=["piston_area 25 cm2"]
    )
    found = await report(writer, typed)
    assert found["report"]["chassis"] == "24PL-018412"
    assert (found["report"]["component"], found["report"]["position"]) == (DISC, PLACE)
    bears = {one["claim"]: one for one in found["bears_on"]}
    assert set(bears) == {CLAIM, "QB-2010>QB-3310"}
    assert (bears[CLAIM]["was"], bears[CLAIM]["grade"]) == ("built and driven", "measured")
    assert bears[CLAIM]["contradicted"]
    assert bears[CLAIM]["lowered"]
    assert "lowers it from built and driven to measured" in bears[CLAIM]["sentence"]
    again = await report(writer, typed)
    assert again["catalogue_revision"] == found["catalogue_revision"]
    other = await report(writer, typed | {"outcome": "fitted"}, 409)
    assert "says otherwise: whoever may edit puts it right at /edit/report/" in other["detail"]


async def test_reports_are_listed_the_latest_first(writer: httpx.AsyncClient) -> None:
    for day, shop in ((2, "a"), (9, "b"), (5, "c")):
        await report(writer, sent(shop, "fitted", on=f"2026-03-0{day}"))
    first = (await writer.get("/v1/reports", params={"component": DISC, "limit": 2})).json()
    assert [one["report"]["workshop"] for one in first["items"]] == ["b", "c"]
    rest = (
        await writer.get("/v1/reports", params={"component": DISC, "limit": 2, "cursor": first["next"]})
    ).json()
    assert [one["report"]["workshop"] for one in rest["items"]] == ["a"]
    assert (await writer.get("/v1/reports", params={"workshop": "c"})).json()["items"] == first["items"][1:]


async def test_reports_of_a_claim_are_those_that_bear_on_it(writer: httpx.AsyncClient) -> None:
    await report(writer, sent("a", "fitted"))
    await report(writer, sent("b", "fitted", claim=CLAIM))
    await report(writer, sent("c", "fitted", component="QB-3311"))
    found = (await writer.get("/v1/reports", params={"claim": CLAIM})).json()["items"]
    assert [one["report"]["workshop"] for one in found] == ["a", "b"]


async def test_failures_before_a_number_are_told_as_a_break_that_nobody_has_made(
    writer: httpx.AsyncClient,
) -> None:
    before = (await writer.get(f"/v1/records/fitment/{CLAIM}")).json()
    for n, serial in enumerate((11000, 12400, 14100, 15500, 16900)):
        await report(writer, sent(f"early {n}", "did not fit", f"24PL-{serial:06d}"))
    for n, serial in enumerate((18400, 19000, 20100, 22200, 23300, 24400)):
        await report(writer, sent(f"late {n}", "fitted", f"24PL-{serial:06d}"))
    found = (await grade(writer))["suggestion"]
    assert (found["field"], found["value"]) == ("chassis_from", "24PL-018400")
    assert found["p"] < 0.01
    assert found["sentence"].startswith("All 5 failures are before chassis 24PL-018400 (5 of 5 vehicles)")
    assert (await writer.get(f"/v1/records/fitment/{CLAIM}")).json() == before
    doubtful = (await writer.get("/v1/grades")).json()["items"]
    assert CLAIM in [one["claim"] for one in doubtful]


async def test_an_answer_knows_the_grade_and_has_another_etag(writer: httpx.AsyncClient) -> None:
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": DISC}]}
    before = await writer.post("/v1/closures", json=asked)
    await report(writer, sent("North Road", "did not fit"))
    after = await writer.post("/v1/closures", json=asked)
    assert before.headers["etag"] != after.headers["etag"]

    def of_claim(answer: httpx.Response) -> str:
        changes = answer.json()["set"]["changes"]
        return next(str(c["evidence"]) for c in changes if c["component"] == DISC)

    assert (of_claim(before), of_claim(after)) == ("built and driven", "measured")
    contradicted = after.json()["set"]["contradicted"]
    assert [one["claim"] for one in contradicted] == [CLAIM]
    told = "Reports contradict that QB-3310 fits the front brake, left: 1 did not fit, by 1 workshop."
    assert contradicted[0]["sentence"].startswith(told), "one report alone disagrees with no other"
    assert before.json()["set"]["contradicted"] == []


WRONG = {
    "outcome": (sent("a", "went"), 422),
    "chassis": (sent("a", "fitted", "99ZZ-1"), 422),
    "component": (sent("a", "fitted", component="QQ-1"), 422),
    "position": (sent("a", "fitted", position="nowhere"), 422),
    "claim": (sent("a", "fitted", claim="none"), 422),
    "both": (sent("a", "fitted", claim=CLAIM) | {"component": DISC}, 422),
    "neither": ({k: v for k, v in sent("a", "fitted").items() if k != "component"}, 422),
    "no vehicle": ({k: v for k, v in sent("a", "fitted").items() if k != "chassis"}, 422),
    "build": (sent("a", "fitted") | {"build": "none"}, 422),
    "measured": (sent("a", "fitted", measured=["piston_area wide"]), 422),
    "unknown kind": (sent("a", "fitted", measured=["piston_aria 25 cm2"]), 422),
    "a field more": (sent("a", "fitted") | {"mood": "good"}, 422),
    "a day": (sent("a", "fitted", on="2026-13-40"), 422),
    "a day to come": (sent("a", "fitted", on="2999-01-01"), 422),
}


@pytest.mark.parametrize("case", WRONG)
async def test_rubbish_is_refused_with_a_sentence(writer: httpx.AsyncClient, case: str) -> None:
    body, status = WRONG[case]
    found = await report(writer, body, status)
    assert found["title"]
    assert (await writer.get("/v1/reports")).json()["items"] == []


async def test_where_it_was_tried_must_be_said_when_it_goes_in_several_places(
    writer: httpx.AsyncClient,
) -> None:
    found = await report(writer, sent("a", "fitted", component="QW-3650"), 422)
    assert "/position" in str(found)


async def test_a_build_gives_the_vehicle(writer: httpx.AsyncClient) -> None:
    made = await writer.post(
        "/v1/builds", json={"name": "red-van", "chassis": "24PL-018412", "options": ["heater"]}
    )
    assert made.status_code == 201
    body = {"workshop": "us", "outcome": "fitted", "build": "red-van", "component": DISC}
    found = (await report(writer, body))["report"]
    assert (found["chassis"], found["options"], found["build"]) == ("24PL-018412", ["heater"], "red-van")
    assert len((await writer.get("/v1/reports", params={"build": "red-van"})).json()["items"]) == 1


async def test_a_build_and_another_vehicles_number_are_no_report(writer: httpx.AsyncClient) -> None:
    """It would count for one vehicle, and stand beside the other's name."""
    await writer.post("/v1/builds", json={"name": "green", "chassis": "24PL-018412"})
    try:
        body = sent("Mill Lane", "fitted", chassis="24PR-012000", build="green")
        refused = await report(writer, body, 422)
        assert refused["pointer"] == "/chassis"
        assert "'green' is 24PL-018412, not 24PR-012000" in refused["detail"]
        assert (await report(writer, body | {"chassis": "24pl18412"}))["report"]["build"] == "green"
    finally:
        etag = (await writer.get("/v1/builds/green")).headers["etag"]
        await writer.delete("/v1/builds/green", headers={"If-Match": etag})


@pytest.mark.parametrize("called", ["Master cylinder bore", "master_bore", "Master-bore"])
async def test_a_measured_kind_may_be_called_by_its_title(writer: httpx.AsyncClient, called: str) -> None:
    body = sent("Mill Lane", "fitted", measured=[f"{called} 22.2 mm", "fluid_type glycol"])
    assert (await report(writer, body))["report"]["measured"] == ["master_bore 22.2 mm", "fluid_type glycol"]


async def test_records_that_say_otherwise_stand_side_by_side(writer: httpx.AsyncClient) -> None:
    row = (await writer.get(f"/v1/records/fitment/{CLAIM}")).json()["rows"][0]
    other = row | {"name": "another view", "effort": "machining", "evidence": []}
    assert (await writer.put("/v1/records/fitment/another view", json={"rows": [other]})).status_code == 201
    found = await grade(writer)
    assert found["opposed_by"] == [
        {"claim": "another view", "says": "machining, 1 off", "this_says": "with companions, 1 off"}
    ]
    assert (await grade(writer, "another view"))["opposed_by"][0]["claim"] == CLAIM


async def closure(client: httpx.AsyncClient, wish: dict[str, str], least: str = "") -> dict[str, Any]:
    limits = {"limits": {"evidence_at_least": least}} if least else {}
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [wish], **limits}
    found: dict[str, Any] = (await client.post("/v1/closures", json=asked)).json()
    return found


async def test_a_least_grade_says_what_it_costs(writer: httpx.AsyncClient) -> None:
    wish = {"remedy_all": "moderate", "section": "wheels"}
    plain, strict = await closure(writer, wish), await closure(writer, wish, "measured")
    assert plain["least_evidence"] is None
    cost = strict["least_evidence"]
    assert cost["wanted"] == "measured"
    more = strict["set"]["totals"]["changes"] - plain["set"]["totals"]["changes"]
    assert cost["difference"]["changes"] == more
    assert "Without it the set would take QW-3055" in cost["sentence"]
    worth = {"measured", "trial fitted", "built and driven"}
    before = {c["component"] for c in plain["set"]["changes"] if c["evidence"] not in worth}
    after = {c["component"] for c in strict["set"]["changes"] if c["evidence"] not in worth}
    assert before - after, "parts that nobody measured went"


async def test_where_nothing_is_worth_as_much_that_is_proved_with_the_way_out(writer) -> None:
    found = await closure(writer, {"upgrade": "front-discs"}, "measured")
    assert found["outcome"] == "impossible"
    cost = found["least_evidence"]["sentence"]
    assert cost.startswith("It goes only with parts whose fitting is worth less")
    ways = [way["instead"] for way in found["ways_out"]]
    assert "accept parts whose fitting is worth less than measured" in ways


async def test_a_report_changes_what_a_least_grade_lets_in(writer: httpx.AsyncClient) -> None:
    wish = {"remedy_all": "moderate", "section": "wheels"}
    before = await closure(writer, wish, "measured")
    changes = before["set"]["changes"]
    (trusted, *_) = [c for c in changes if c["evidence"] == "built and driven" and c["component"]]
    tried = {"component": trusted["component"], "position": trusted["position"]}
    for shop in ("a", "b"):
        await report(writer, sent(shop, "did not fit", **tried))
    after = await closure(writer, wish, "measured")
    fits = [(c["component"], c["position"]) for c in (after["set"] or {"changes": []})["changes"]]
    assert (trusted["component"], trusted["position"]) not in fits


async def test_a_least_grade_stands_in_an_address(writer: httpx.AsyncClient) -> None:
    asked = {"chassis": "24PL-018412", "fit": "QB-3310", "evidence_at_least": "hearsay"}
    answer = await writer.get("/v1/closures", params=asked)
    assert answer.json()["least_evidence"]["wanted"] == "hearsay"
    wrong = await writer.get("/v1/closures", params=asked | {"evidence_at_least": "good"})
    assert wrong.status_code == 422
