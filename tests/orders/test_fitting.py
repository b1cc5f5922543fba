"""The fitting sequence of the demo's front discs, as a fitter would read it."""

import httpx

ASKED = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}


async def test_what_comes_off_and_goes_on_first(counter: httpx.AsyncClient) -> None:
    answer = await counter.post("/v1/fitting-sequences", json=ASKED)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    at = {(step["work"], step["job"]): step["step"] for step in found["steps"]}
    assert at["removing", "wheel.road"] < at["removing", "rotor.front.left"]
    assert at["fitting", "hub.front.left"] < at["fitting", "wheel.road"]
    for step in found["steps"]:
        assert all(other < step["step"] for other in step["waits_for"])
    assert found["minutes"] == sum(section["minutes"] for section in found["sections"])
    assert found["minutes"] == sum(step["minutes"] for step in found["steps"])
    assert found["finish_minutes"] == found["minutes"]
    assert found["proved"]
    assert any("N" in value for step in found["steps"] for value in step["tightenings"])
    assert found["tools"]
    assert any("licensed" in caution for caution in found["cautions"])
    assert found["circles"] == []


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


async def test_welding_a_loose_part_in_is_a_job_with_its_minutes_and_cautions(
    counter: httpx.AsyncClient,
) -> None:
    asked = {
        "vehicle": {"chassis": "24PL-018412"},
        "wishes": [{"fit": "QF-7000"}],
        "limits": {"keep": ["exhaust.system"]},
    }
    found = (await counter.post("/v1/fitting-sequences", json=asked)).json()
    (boss,) = (step for step in found["steps"] if step["job"] == "loose QF-9650")
    assert boss["minutes"] == 40
    assert any(caution.startswith("Cutting or welding") for caution in found["cautions"])
    assert "QF-9650: welding; sensors off first" in found["cautions"]
    closure = (await counter.post("/v1/closures", json=asked)).json()
    assert found["minutes"] == closure["set"]["totals"]["labour_minutes"]
