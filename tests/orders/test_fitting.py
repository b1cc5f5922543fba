"""The fitting sequence of the demo's front discs, as a fitter would read it."""

import httpx
import pytest

pytestmark = pytest.mark.one_engine

ASKED = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3302"}]}
PAGE = "/fitting?chassis=24PL-018412&fit=QB-3302&hands="


async def test_what_comes_off_and_goes_on_first(counter: httpx.AsyncClient) -> None:
    answer = await counter.post("/v1/fitting-sequences", json=ASKED)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    at = {(step["work"], step["job"]): step["step"] for step in found["steps"]}
    assert at["removing", "wheel.road"] < at["removing", "rotor.front.left"]
    assert (
        at["fitting", "brake.front.left"] < at["fitting", "bled brake.master"] < at["fitting", "wheel.road"]
    )
    assert at["removing", "disconnected battery"] == 1
    for step in found["steps"]:
        assert all(other < step["step"] for other in step["waits_for"])
    assert found["minutes"] == sum(section["minutes"] for section in found["sections"])
    assert found["minutes"] == sum(step["minutes"] for step in found["steps"])
    assert found["finish_minutes"] == found["minutes"]
    assert any("N" in value for step in found["steps"] for value in step["tightenings"])
    assert found["tools"]
    assert any("licensed" in caution for caution in found["cautions"])
    assert any("jack" in caution for caution in found["cautions"])
    assert found["circles"] == []


async def test_loose_parts_stand_inside_the_steps_that_use_them(counter: httpx.AsyncClient) -> None:
    steps = (await counter.post("/v1/fitting-sequences", json=ASKED)).json()["steps"]
    assert not [step["job"] for step in steps if step["job"].startswith("loose ")]
    inside = {
        step["job"]: {use["component"]: use["quantity"] for use in step["loose_parts"]}
        for step in steps if step["loose_parts"]
    }  # fmt: skip
    assert inside["hub.front.left"] == {"QA-9002": 1, "QA-9030": 1, "QA-9041": 1}
    assert inside["hub.front.right"] == {"QA-9002": 1, "QA-9030": 1}, "one tin of grease serves both"
    assert inside["brake.front.right"] == {"QB-9330": 1, "QB-9010": 1}
    assert inside["brake.servo"] == {"QB-9066": 1}
    assert inside["bled brake.master"] == {"QB-9001": 2}
    caliper = next(s for s in steps if (s["job"], s["work"]) == ("brake.front.left", "fitting"))
    first = "First: 1 × front caliper bracket with its bolts, one side (QB-9330)"
    assert caliper["loose_parts"][0]["sentence"] == first


async def test_no_more_is_claimed_than_was_proved(counter: httpx.AsyncClient) -> None:
    one = (await counter.post("/v1/fitting-sequences", json=ASKED)).json()
    unknown = [step for step in one["steps"] if step["time"] == "not recorded"]
    assert one["steps_without_time"] == len(unknown) > 0
    assert not any(step["minutes"] for step in unknown)
    assert "quicker" not in one["sentence"] + one["proved_of"]
    assert f"This order respects all {one['orders_recorded']} recorded orders of work." in one["sentence"]
    assert one["sentence"].startswith("With one pair of hands the work takes at least ")
    two = (await counter.post("/v1/fitting-sequences", json=ASKED | {"hands": 2})).json()
    assert two["proved"]
    assert "With the orders of work and times recorded, no order is quicker." in two["sentence"]
    assert "recorded" in two["proved_of"]


async def test_the_page_says_so_too(counter: httpx.AsyncClient) -> None:
    shown = (await counter.get(PAGE + "1", follow_redirects=True)).text
    assert "no order of work is quicker" not in shown
    assert "<b>Put back</b> wheel nuts" in shown
    assert "<b>Fill and bleed</b> brakes, from the master cylinder on" in shown
    assert "2 × brake fluid, glycol, one-litre can (QB-9001)" in shown
    assert "66 lbf ft; again after 40 miles" in shown.replace("\u00a0", " ")


async def test_more_hands_are_never_slower_and_never_quicker_than_the_longest_chain(
    counter: httpx.AsyncClient,
) -> None:
    finishes = []
    for hands in (1, 2, 3):
        found = (await counter.post("/v1/fitting-sequences", json=ASKED | {"hands": hands})).json()
        finishes.append(found["finish_minutes"])
        assert found["longest_chain_minutes"] <= found["finish_minutes"] <= found["minutes"]
    assert finishes == sorted(finishes, reverse=True)
    assert finishes[1] < finishes[0]
    wrong = await counter.post("/v1/fitting-sequences", json=ASKED | {"hands": 0})
    assert wrong.status_code == 422


async def test_welding_a_loose_part_in_counts_in_the_step_that_uses_it_with_its_cautions(
    counter: httpx.AsyncClient,
) -> None:
    asked = {
        "vehicle": {"chassis": "24PL-018412"},
        "wishes": [{"fit": "QF-7000"}],
        "limits": {"keep": ["exhaust.system"]},
    }
    found = (await counter.post("/v1/fitting-sequences", json=asked)).json()
    closure = (await counter.post("/v1/closures", json=asked)).json()
    (step,) = (s for s in found["steps"] if "QF-9650" in {part["component"] for part in s["loose_parts"]})
    minutes = {change["position"]: change["minutes"] for change in closure["set"]["changes"]}
    assert step["minutes"] == minutes[step["job"]] + 45
    assert any(caution.startswith("Cutting or welding") for caution in found["cautions"])
    assert any(caution.startswith("QF-9650: welding: battery, control unit") for caution in found["cautions"])
    assert found["minutes"] == closure["set"]["totals"]["labour_minutes"]


FUEL_LINES = ("fuel.pump", "fuel.return", "fuel.feed", "fuel.swirl_pot")


async def test_no_fuel_line_is_opened_while_the_tank_is_full(counter: httpx.AsyncClient) -> None:
    """The line from the tank ends at the pump, the return line in the tank: petrol runs out of either."""
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QF-7000"}]}
    steps = (await counter.post("/v1/fitting-sequences", json=body)).json()["steps"]
    at = {(step["work"], step["job"]): step["step"] for step in steps}
    drained, filled = at["removing", "drained fuel.tank"], at["fitting", "drained fuel.tank"]
    opened = {job: at[work, job] for work, job in at if job in FUEL_LINES}
    assert {"fuel.pump", "fuel.return"} <= set(opened)
    for job, step in opened.items():
        assert drained < step < filled, job


async def test_the_battery_is_off_before_the_gearbox_is_reached(counter: httpx.AsyncClient) -> None:
    """The cautions of this work say so: the steps do it."""
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QT-7000"}]}
    found = (await counter.post("/v1/fitting-sequences", json=body)).json()
    assert any("battery" in caution for caution in found["cautions"])
    at = {(step["work"], step["job"]): step["step"] for step in found["steps"]}
    assert at["removing", "disconnected battery"] < at["removing", "gearbox"]
    assert at["fitting", "gearbox"] < at["fitting", "disconnected battery"]
    (bolts,) = [u for step in found["steps"] for u in step["loose_parts"] if u["component"] == "QT-9120"]
    assert bolts["quantity"] == 8
    assert "set of" not in bolts["sentence"], "eight pieces are counted, not eight sets"
