"""The life of a build over HTTP: taken in, decided, ordered, half done, finished, and asked about later."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import httpx
import pytest

pytestmark = [pytest.mark.anyio]

CHASSIS = "24PL-018412"
TODAY = datetime.now(UTC).date()


def ago(days: int) -> str:
    return (TODAY - timedelta(days=days)).isoformat()


async def sent(answer: httpx.Response, status: int = 201) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    body: dict[str, Any] = answer.json()
    return body


async def taken_in(writer: httpx.AsyncClient, days: int = 60, **more: object) -> dict[str, Any]:
    body = {"name": "red", "chassis": CHASSIS, "taken_in": ago(days)} | more
    return await sent(await writer.post("/v1/builds", json=body))


async def recorded(writer: httpx.AsyncClient, *events: dict[str, Any]) -> dict[str, Any]:
    return await sent(await writer.post("/v1/builds/red/events", json={"events": list(events)}))


async def read(writer: httpx.AsyncClient, path: str, **params: str) -> dict[str, Any]:
    return await sent(await writer.get(f"/v1/builds/red{path}", params=params), 200)


async def test_what_was_fitted_is_told_as_of_any_day(writer: httpx.AsyncClient):
    await taken_in(writer)
    servo = {"what": "fitted", "position": "brake.servo", "component": "qb2066", "day": ago(20)}
    drum = {"what": "fitted", "position": "brake.front.left", "component": "QB-2012", "day": ago(40)}
    now = await recorded(writer, servo, drum)
    assert now["fitted"] == {"brake.front.left": "QB-2012", "brake.servo": "QB-2066"}
    for days, fitted in (
        (60, {}),
        (40, {"brake.front.left": "QB-2012"}),
        (21, {"brake.front.left": "QB-2012"}),
        (20, now["fitted"]),
        (0, now["fitted"]),
    ):
        assert (await read(writer, "", on=ago(days)))["fitted"] == fitted
    early = await writer.get("/v1/builds/red", params={"on": ago(61)})
    assert early.status_code == 422
    assert f"taken in on {ago(60)}" in early.json()["detail"]


async def test_a_question_starts_from_the_build_as_of_its_day(writer: httpx.AsyncClient):
    await taken_in(writer, decided=[{"fit": "QB-3310"}])
    await recorded(
        writer,
        {"what": "fitted", "position": "brake.front.left", "component": "QB-2012", "day": ago(10)},
    )

    async def replaced(**on: str) -> str:
        body = {"vehicle": {"build": "red", **on}}
        found = await sent(await writer.post("/v1/closures", json=body), 200)
        return next(c["replaces"] for c in found["set"]["changes"] if c["position"] == "brake.front.left")

    assert await replaced() == "QB-2012"
    assert await replaced(on=ago(11)) == "QB-2010"
    got = await writer.get("/v1/closures", params={"build": "red", "on": ago(11)})
    assert any(c["replaces"] == "QB-2010" for c in got.json()["set"]["changes"])
    alone = await writer.post("/v1/closures", json={"vehicle": {"chassis": CHASSIS, "on": ago(1)}})
    assert (alone.status_code, "`on` goes with `build`" in alone.text) == (422, True)


async def test_what_was_recorded_by_mistake_counts_no_more_and_stays_to_be_read(writer: httpx.AsyncClient):
    await taken_in(writer)
    await recorded(writer, {"what": "fitted", "position": "brake.servo", "component": "QB-2066"})
    wrong = (await read(writer, "/events"))["items"][-1]
    now = await recorded(writer, {"what": "taken back", "event": wrong["id"], "reason": "other vehicle"})
    assert now["fitted"] == {}
    told = (await read(writer, "/events"))["items"]
    assert [one["what"] for one in told] == ["stated", "fitted", "taken back"]
    assert told[1]["taken_back"] == "other vehicle"
    again = {"events": [{"what": "taken back", "event": wrong["id"], "reason": "again"}]}
    assert (await writer.post("/v1/builds/red/events", json=again)).status_code == 422
    first = {"events": [{"what": "taken back", "event": told[0]["id"], "reason": "all wrong"}]}
    assert (await writer.post("/v1/builds/red/events", json=first)).status_code == 422
    assert len((await read(writer, "/events"))["items"]) == 3


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("event", "pointer"),
    [
        ({"what": "fitted", "position": "nowhere", "component": None}, "/position"),
        ({"what": "fitted", "position": "brake.servo", "component": "nothing"}, "/component"),
        ({"what": "fitted", "position": "brake.servo", "component": None, "day": ago(61)}, "/day"),
        ({"what": "fitted", "position": "brake.servo", "component": None, "day": ago(-2)}, "/day"),
        ({"what": "used", "component": "QB-9010", "quantity": 0}, "/quantity"),
        ({"what": "measured", "position": "brake.servo", "characteristic": "charm", "value": "1"},
         "/characteristic"),
        ({"what": "measured", "position": "wheel.road", "characteristic": "centre_bore", "value": "6 bar"},
         "/value"),
        ({"what": "decided", "wishes": [{"fit": "nothing"}]}, "/wishes/0/fit"),
        ({"what": "built to", "specification": "none@2"}, "/specification"),
        ({"what": "taken back", "event": 999_999, "reason": "gone"}, "/event"),
        ({"what": "painted"}, ""),
    ],
)  # fmt: skip
async def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_recorded(
    writer: httpx.AsyncClient, event: dict[str, Any], pointer: str
):
    await taken_in(writer)
    good = {"what": "note", "text": "rust under the sill"}
    answer = await writer.post("/v1/builds/red/events", json={"events": [good, event]})
    assert (answer.status_code, answer.json()["pointer"]) == (422, f"/events/1{pointer}")
    assert len((await read(writer, "/events"))["items"]) == 1


@pytest.mark.one_engine
async def test_a_mistake_points_into_the_body_that_was_sent(writer: httpx.AsyncClient):
    await taken_in(writer)
    events = [
        {"what": "note", "note": "waits"},
        {"what": "decided", "wishes": [{"fit": 7}]},
        {"what": "gone"},
    ]
    answer = await writer.post("/v1/builds/red/events", json={"events": events})
    assert answer.status_code == 422
    assert {error["pointer"] for error in answer.json()["errors"]} == {
        "/events/0/text", "/events/0/note", "/events/1/wishes/0/fit", "/events/2",
    }  # fmt: skip


async def test_the_same_request_sent_again_records_nothing_twice(writer: httpx.AsyncClient):
    await taken_in(writer)
    body = {"events": [{"what": "work", "done": "stripped", "minutes": 90}]}
    for _ in range(2):
        answer = await writer.post("/v1/builds/red/events", json=body, headers={"Idempotency-Key": "one"})
        assert answer.status_code == 201
    assert len((await read(writer, "/events"))["items"]) == 2


DISCS = {"vehicle": {"build": "red"}, "name": "discs"}
FRONT = ["brake.front.left", "brake.front.right", "rotor.front.left", "rotor.front.right"]


async def ordered(writer: httpx.AsyncClient) -> dict[str, Any]:
    listed = await writer.post("/v1/order-lists", json=DISCS)
    await sent(listed)
    gone = await writer.post(
        "/v1/order-lists/discs/send", headers={"If-Match": listed.headers["etag"]}, json={"incomplete": True}
    )
    await sent(gone, 200)
    return await read(writer, "/order-lists/discs")


@pytest.mark.one_engine
async def test_a_list_is_carried_out_line_by_line_and_half_done_is_a_state_like_any_other(
    writer: httpx.AsyncClient,
):
    await taken_in(writer)
    decided = {"what": "decided", "wishes": [{"fit": "QB-3310"}], "reason": "it must stop"}
    await recorded(writer, decided | {"day": ago(30)})
    steps = await ordered(writer)
    by_step = {step["step"]: step for step in steps["steps"]}
    assert steps["open"] == len(by_step) > 20
    assert (by_step["brake.front.left"]["component"], by_step["brake.front.left"]["off"]) == (
        "QB-3310", "QB-2010",
    )  # fmt: skip
    assert (by_step["brake.residual_valve"]["component"], by_step["brake.residual_valve"]["off"]) == (
        None, "QB-1090",
    )  # fmt: skip
    assert by_step["QB-9010"]["quantity"] == 2

    body = {"order_list": "discs", "steps": FRONT, "day": ago(5), "kept": {FRONT[0]: "rack 3"}}
    half = await sent(await writer.post("/v1/builds/red/carried-out", json=body))
    assert half["fitted"] == {
        "brake.front.left": "QB-3310", "brake.front.right": "QB-3311",
        "rotor.front.left": "QB-3302", "rotor.front.right": "QB-3302",
    }  # fmt: skip
    assert (await read(writer, "/order-lists/discs"))["open"] == len(by_step) - 4
    twice = await writer.post("/v1/builds/red/carried-out", json=body)
    assert (twice.status_code, twice.json()["pointer"]) == (422, "/steps/0")

    state = await read(writer, "/state")
    drive, still = state["drive"], state["still_open"]
    assert drive["verdict"] == "do not drive"
    assert any("residual valve" in sentence for sentence in drive["reasons"])
    assert any("Room between wheel and front brake" in sentence for sentence in drive["reasons"])
    assert any("Brakes hold lives" in caution for caution in state["cautions"])
    open_steps = {c["position"] or c["component"] for c in still["changes"]}
    assert "brake.master" in open_steps
    assert not set(FRONT) & open_steps
    before = await read(writer, "/state", on=ago(6))
    assert before["drive"]["verdict"] == "nothing known against it"
    assert set(FRONT) <= {change["position"] for change in before["still_open"]["changes"]}

    await sent(await writer.post("/v1/builds/red/carried-out", json={"order_list": "discs", "whole": True}))
    done = await read(writer, "/state")
    assert done["still_open"]["changes"] == []
    assert done["drive"]["broken"] == done["drive"]["not_recorded"] == []
    assert done["drive"]["verdict"] != "do not drive", done["drive"]["reasons"]
    assert {part["component"]: part["quantity"] for part in done["used"]}["QB-9010"] == 2
    bolts = {"what": "used", "component": "QB-9010", "quantity": 1}
    await recorded(writer, bolts | {"reason": "a head tore off"}, bolts)
    told = [event["sentence"] for event in (await read(writer, "/events"))["items"]]
    assert [sentence for sentence in told if "QB-9010" in sentence] == [
        "2 × QB-9010 used (order list discs). The bolts of a caliper are tightened to their yield; "
        "they and their lock tabs are used once.",
        "1 × QB-9010 used. a head tore off",
        "1 × QB-9010 used.",
    ]


@pytest.mark.one_engine
async def test_what_is_open_takes_as_long_and_costs_as_much_as_its_answer(writer: httpx.AsyncClient):
    await taken_in(writer, decided=[{"fit": "QB-3310"}])
    question = {"vehicle": {"build": "red"}, "wishes": [{"fit": "QB-3310"}]}
    answer = await sent(await writer.post("/v1/closures", json=question), 200)
    totals, loose = answer["set"]["totals"], {p["component"]: p for p in answer["set"]["loose_parts"]}
    still = (await read(writer, "/state"))["still_open"]
    assert (still["minutes"], still["price"]) == (totals["labour_minutes"], totals["price"])
    tyres = loose["QW-9008"]
    assert tyres["minutes"], "work that is a loose part: five tyres off their rims and on the new ones"
    await recorded(writer, {"what": "used", "component": "QW-9008", "quantity": tyres["quantity"]})
    less = (await read(writer, "/state"))["still_open"]
    assert still["minutes"] - less["minutes"] == tyres["minutes"]


@pytest.mark.one_engine
@pytest.mark.parametrize("first", [[], ["brake.front.left"], ["brake.front.left", "rotor.front.left"]])
async def test_a_loose_part_is_used_up_before_or_after_what_asks_for_it(
    writer: httpx.AsyncClient, first: list[str]
):
    """Whatever is recorded before: of the fixing kit of the servo and the seals of two hubs what is used is
    not open, and no piece that is not used is left out."""
    parts = {"brake.front.left": "QB-3310", "rotor.front.left": "QB-3302"}
    await taken_in(writer, decided=[{"fit": "QB-3310"}])
    fitted = [{"what": "fitted", "position": place, "component": parts[place]} for place in first]
    kit = {"what": "used", "component": "QB-9066", "quantity": 1}
    seal = {"what": "used", "component": "QA-9002", "quantity": 1}
    hub = {"what": "fitted", "position": "hub.front.left", "component": "QA-3102"}
    servo = {"what": "fitted", "position": "brake.servo", "component": "QB-2066"}

    async def pieces() -> tuple[int, int]:
        state = await read(writer, "/state")
        left = {change["component"]: change["quantity"] for change in state["still_open"]["changes"]}
        return left.get("QB-9066", 0), left.get("QA-9002", 0)

    for event in fitted:
        await recorded(writer, event)
    assert await pieces() == (1, 2)
    await recorded(writer, kit, seal)
    assert await pieces() == (0, 1)
    await recorded(writer, hub, servo)
    assert await pieces() == (0, 1)


@pytest.mark.one_engine
async def test_what_was_used_for_an_earlier_job_does_for_no_later_one(writer: httpx.AsyncClient):
    await taken_in(writer)
    await recorded(writer, {"what": "used", "component": "QA-9002", "quantity": 2, "day": ago(40)})
    await recorded(writer, {"what": "decided", "wishes": [{"fit": "QB-3310"}], "day": ago(9)})
    state = await read(writer, "/state")
    left = {change["component"]: change["quantity"] for change in state["still_open"]["changes"]}
    assert left["QA-9002"] == 2


@pytest.mark.one_engine
async def test_a_loose_part_that_was_decided_is_open_until_it_is_used(writer: httpx.AsyncClient):
    await taken_in(writer, decided=[{"fit": "QB-9001", "quantity": 3}])

    async def pieces() -> list[tuple[str, int]]:
        state = await read(writer, "/state")
        return [(change["component"], change["quantity"]) for change in state["still_open"]["changes"]]

    used = {"what": "used", "component": "QB-9001", "quantity": 1}
    assert await pieces() == [("QB-9001", 3)]
    await recorded(writer, used)
    assert await pieces() == [("QB-9001", 2)]
    await recorded(writer, used | {"quantity": 2})
    assert await pieces() == []


async def pieces_open(writer: httpx.AsyncClient, number: str) -> int:
    state = await read(writer, "/state")
    left = {change["component"]: change["quantity"] for change in state["still_open"]["changes"]}
    return left.get(number, 0)


@pytest.mark.one_engine
@pytest.mark.parametrize("at_once", [True, False])
async def test_a_piece_that_serves_all_serves_what_is_fitted_after_it_too(
    writer: httpx.AsyncClient, at_once: bool
):
    """A litre of fluid is recorded with the pipes that ask for one; the whole job takes two, whatever else
    of it is fitted, and whether or not what stands now goes together."""
    await taken_in(writer, decided=[{"fit": "QB-3310"}])
    assert await pieces_open(writer, "QB-9001") == 2
    fluid = {"what": "used", "component": "QB-9001", "quantity": 1}
    pipes = {"what": "fitted", "position": "brake.pipes.front", "component": "QB-2081"}
    for events in [[fluid, pipes]] if at_once else [[pipes], [fluid]]:
        await recorded(writer, *events)
    assert await pieces_open(writer, "QB-9001") == 1
    await recorded(writer, {"what": "fitted", "position": "brake.front.left", "component": "QB-3310"})
    assert await pieces_open(writer, "QB-9001") == 1
    await recorded(writer, fluid)
    assert await pieces_open(writer, "QB-9001") == 0


@pytest.mark.one_engine
async def test_on_a_half_finished_job_a_wished_piece_is_not_forgotten_and_an_earlier_one_does_nothing(
    writer: httpx.AsyncClient,
):
    await taken_in(writer)
    await recorded(
        writer,
        {"what": "used", "component": "QA-9002", "quantity": 2, "day": ago(40)},
        {"what": "decided", "wishes": [{"fit": "QB-3310"}, {"fit": "QB-9001", "quantity": 3}], "day": ago(9)},
        {"what": "fitted", "position": "brake.front.left", "component": "QB-3310"},
    )
    assert (await pieces_open(writer, "QB-9001"), await pieces_open(writer, "QA-9002")) == (5, 2)
    await recorded(writer, {"what": "used", "component": "QB-9001", "quantity": 1})
    assert await pieces_open(writer, "QB-9001") == 4


@pytest.mark.one_engine
async def test_a_list_of_another_vehicle_and_a_draft_are_refused(writer: httpx.AsyncClient):
    await taken_in(writer, decided=[{"fit": "QB-3310"}])
    await sent(await writer.post("/v1/order-lists", json=DISCS))
    body = {"order_list": "discs", "whole": True}
    draft = await writer.post("/v1/builds/red/carried-out", json=body)
    assert (draft.status_code, draft.json()["state"]) == (409, "draft")
    other = {"name": "blue", "chassis": "24PR-009401"}
    await sent(await writer.post("/v1/builds", json=other))
    wrong = await writer.post("/v1/builds/blue/carried-out", json=body)
    assert (wrong.status_code, CHASSIS in wrong.json()["detail"]) == (422, True)


@pytest.mark.one_engine
async def test_the_sheet_claims_nothing_without_its_record(writer: httpx.AsyncClient):
    await taken_in(writer, fitted={"brake.servo": "QB-2066"}, decided=[{"fit": "QB-3310"}])
    await ordered(writer)
    await sent(
        await writer.post(
            "/v1/builds/red/carried-out",
            json={"order_list": "discs", "whole": True, "kept": {"brake.front.left": "rack 3, box 7"}},
        )
    )
    bore = {"what": "measured", "position": "hub.front.left", "characteristic": "centre_bore"}
    work = {"what": "work", "done": "brakes bled", "minutes": 75}
    await recorded(writer, bore | {"value": "67.1  mm"}, work)
    sheet = await read(writer, "/sheet")
    records = {event["id"]: event for event in sheet["events"]}
    changed = {change["position"]: change for change in sheet["changed"]}
    for change in changed.values():
        event = records.get(change["event"])
        assert event is None or event["detail"]["component"] == change["component"]
        assert change["reason"] == (event["detail"]["reason"] if event else "")
    assert changed["brake.servo"]["event"] is None, "it was so when it was taken in: nobody recorded why"
    front = changed["brake.front.left"]
    assert (front["original"], front["kept"]) == ("QB-2010", "rack 3, box 7")
    assert front["can_be_put_back"] is True
    assert changed["brake.front.right"]["kept"] is None
    kept = {place["position"] for place in sheet["kept_original"]}
    assert not kept & set(changed)
    assert len(kept) > 30
    gone = {flaw["flaw"] for change in changed.values() for flaw in change["flaws_gone"]}
    closure = await writer.post(
        "/v1/closures", json={"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
    )
    assert gone == {flaw["flaw"] for flaw in closure.json()["set"]["flaws_gone"]} != set()
    figures = {f["check"]: f["figures"] for f in sheet["checks"]["findings"] if f["changed"]}
    theirs = {f["check"]: f["figures"] for f in closure.json()["checks"]["findings"] if f["changed"]}
    assert figures == theirs, "the arithmetic is that of the answer"
    assert sheet["minutes"] == 75
    assert [(one["position"], one["value"]) for one in sheet["measured"]] == [("hub.front.left", "67.1 mm")]
    paper = await writer.get("/v1/builds/red/sheet", headers={"Accept": "application/pdf"})
    assert (paper.status_code, paper.content[:5]) == (200, b"%PDF-")


@pytest.mark.one_engine
async def test_records_call_places_and_measures_as_people_do(writer: httpx.AsyncClient):
    await taken_in(writer)
    wish = {"fit": "QB-3310", "position": "brake.front.left"}
    await recorded(
        writer,
        {"what": "fitted", "position": "brake.servo", "component": "QB-2066"},
        {"what": "fitted", "position": "brake.servo", "component": None},
        {"what": "decided", "wishes": [wish, {"clear": "brake.servo"}], "reason": "as ordered"},
        {"what": "measured", "position": "hub.front.left", "characteristic": "centre_bore", "value": "67 mm"},
    )
    sheet, listed = await read(writer, "/sheet"), (await read(writer, "/events"))["items"]
    told = [event["sentence"] for event in sheet["events"]][1:]
    assert told == [event["sentence"] for event in listed][1:]
    titles = {p["name"]: p["title"] for p in (await writer.get("/v1/positions?limit=500")).json()["items"]}
    servo, caliper, hub = (titles[p] for p in ("brake.servo", "brake.front.left", "hub.front.left"))
    assert told[0].startswith(f"QB-2066 fitted at the {servo}")
    assert told[1].startswith(f"Nothing sits at the {servo} any more.")
    assert told[2] == f"Decided: as ordered (fit QB-3310 at the {caliper}, clear the {servo})."
    assert told[3] == f"Centre bore at the {hub} measured: 67 mm."
    page = await writer.get("/builds/red", headers={"Accept": "text/html"})
    assert f"QB-2066 fitted at the {servo}" in page.text


@pytest.mark.one_engine
async def test_what_has_a_place_is_fitted_and_not_used(writer: httpx.AsyncClient):
    """It would sit at its place by being used, also after everything was said to be as new."""
    await taken_in(writer)
    body = {"events": [{"what": "used", "component": "qb3310", "quantity": 1}]}
    refused = await writer.post("/v1/builds/red/events", json=body)
    assert (refused.status_code, refused.json()["pointer"]) == (422, "/events/0/component")
    assert "QB-3310 is no loose part, it goes at the front brake, left: record" in refused.json()["detail"]
    elsewhere = {"events": [{"what": "used", "component": "QB-3320", "quantity": 1}]}
    assert (await writer.post("/v1/builds/red/events", json=elsewhere)).status_code == 422
    await recorded(writer, {"what": "used", "component": "qb9010", "quantity": 1})


@pytest.mark.one_engine
@pytest.mark.parametrize("called", ["centre_bore", "Centre bore", "centre bore", "CENTRE-BORE"])
async def test_a_measured_kind_is_called_as_the_records_call_it(writer: httpx.AsyncClient, called: str):
    await taken_in(writer)
    bore = {"what": "measured", "position": "hub.front.left", "characteristic": called, "value": "67.1 mm"}
    await recorded(writer, bore)
    assert [m["characteristic"] for m in (await read(writer, "/state"))["measured"]] == ["centre_bore"]
    two = await writer.post(
        "/v1/builds/red/events", json={"events": [bore | {"characteristic": "contents of one piece"}]}
    )
    assert (two.status_code, " or " in two.json()["detail"]) == (422, True)
    none = await writer.post(
        "/v1/builds/red/events", json={"events": [bore | {"characteristic": "center_bore"}]}
    )
    assert "did you mean centre_bore" in none.json()["detail"]


@pytest.mark.one_engine
async def test_an_empty_place_is_told_with_its_article(writer: httpx.AsyncClient):
    await taken_in(writer)
    await recorded(writer, {"what": "fitted", "position": "brake.master", "component": None})
    reasons = (await read(writer, "/state"))["drive"]["reasons"]
    assert reasons[0] == "Nothing sits at the master cylinder, which is never left empty."


async def test_the_rows_that_questions_read_say_what_the_events_say(writer: httpx.AsyncClient):
    await taken_in(writer, options=["heater"], note="as found")
    await recorded(
        writer,
        {"what": "fitted", "position": "brake.servo", "component": "QB-2066", "day": ago(3)},
        {"what": "decided", "wishes": [{"fit": "QB-3310"}], "day": ago(2)},
    )
    etag = (await writer.get("/v1/builds/red")).headers["etag"]
    body = {"chassis": CHASSIS, "fitted": {"brake.front.left": "QB-2012"}, "note": "looked at again"}
    await sent(await writer.put("/v1/builds/red", json=body, headers={"If-Match": etag}), 200)
    now, told = await read(writer, ""), await read(writer, "", on=TODAY.isoformat())
    assert now == told
    assert (now["note"], now["options"], now["fitted"]) == (
        "looked at again", [], {"brake.front.left": "QB-2012"},
    )  # fmt: skip
    before = await read(writer, "", on=(TODAY - timedelta(days=1)).isoformat())
    assert (before["note"], before["options"]) == ("as found", ["heater"])
    assert before["decided"] == [{"fit": "QB-3310"}]
    assert date.fromisoformat(before["taken_in"]) == TODAY - timedelta(days=60)
