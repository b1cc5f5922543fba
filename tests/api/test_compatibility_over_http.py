"""Compatibility over HTTP: many questions at once, each answered for itself."""

import time

import httpx
import pytest
from pydantic import TypeAdapter

from graftbook.closure.words import sentences
from graftbook.questions.compatibility.schemas import CompatibilityListOut, CompatibilityOut

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"


async def ask(client: httpx.AsyncClient, *questions: object) -> CompatibilityListOut:
    answer = await client.post("/v1/compatibility", json={"questions": list(questions)})
    assert answer.status_code == 200, answer.text
    TypeAdapter(CompatibilityListOut).validate_json(answer.content)
    document: CompatibilityListOut = answer.json()
    return document


async def test_each_verdict_is_given_where_it_belongs(client: httpx.AsyncClient):
    found = await ask(
        client,
        {"component": "QB-2010", "chassis": CHASSIS, "position": "brake.front.left"},
        {"component": "QB-3310", "chassis": CHASSIS},
        {"component": "QB-9001", "chassis": CHASSIS},
        {"component": "QB-3310", "chassis": CHASSIS, "position": "battery"},
    )
    today, discs, fluid, astray = found["answers"]
    assert (today["verdict"], today["places"][0]["sits_today"]) == ("fits", True)
    assert discs["verdict"] == "fits with companions"
    assert discs["places"][0]["effort"] == "with companions"
    assert discs["places"][0]["evidence_records"]
    needs = discs["places"][0]["companions"]
    assert {bool(need["sentence"] and need["possible"]) for need in needs} == {True}
    assert fluid["verdict"] == "not known", "a loose part has no position"
    assert astray["verdict"] == "does not fit"
    assert "it goes here" in astray["sentence"]


async def test_rubbish_in_one_question_does_not_fail_the_rest(client: httpx.AsyncClient):
    good = {"component": "qb 3310", "chassis": "24pl18412"}
    found = await ask(
        client, good, {"component": "QB-331"}, 5, None, {"component": "??", "chassis": CHASSIS},
        {"component": "QB-3310", "chassis": "nonsense"},
        {"component": "QB-3310", "chassis": CHASSIS, "position": "chimney"},
        {"component": "QB-3310", "chassis": CHASSIS, "variant": "16P-17-R"},
        {"component": "QB-3310", "chassis": CHASSIS, "options": ["wings"]}, good,
    )  # fmt: skip
    first, *wrong, last = found["answers"]
    assert first == last
    assert first["number"] == "QB-3310"
    kinds = [(answer["verdict"], answer["problem"]["type"].removeprefix("/problems/")) for answer in wrong]
    assert kinds == [
        ("not known", kind)
        for kind in (
            "invalid-request", "invalid-request", "invalid-request", "unknown-component", "unknown-chassis",
            "unknown-position", "vehicle-mismatch", "unknown-option",
        )
    ]  # fmt: skip
    assert all(answer["sentence"] for answer in found["answers"])


async def test_an_old_number_is_followed_to_todays(client: httpx.AsyncClient):
    (answer,) = (await ask(client, {"component": "QB-3300", "chassis": CHASSIS}))["answers"]
    assert answer["number"] == "QB-3302"
    assert "QB-3300 is now QB-3302" in answer["sentence"]


async def test_a_chassis_break_is_seen_from_both_sides(client: httpx.AsyncClient):
    """The late single-circuit cylinder was fitted from a chassis number on: each side has its own."""
    pages = [(await client.get(f"/v1/vehicles/{c}")).json() for c in ("24PL-000200", CHASSIS)]
    early, late = ({f["position"]: f["component"] for f in page["fitted"]} for page in pages)
    differing = [p for p in early if early[p] != late[p] and early[p] and late[p]]
    assert differing, "the demo range has a break between these two numbers"
    position = differing[0]
    found = await ask(
        client,
        {"component": early[position], "chassis": "24PL-000200", "position": position},
        {"component": late[position], "chassis": CHASSIS, "position": position},
    )
    assert [answer["verdict"] for answer in found["answers"]] == ["fits", "fits"]


async def test_a_thousand_questions_are_one_call_and_one_more_is_too_many(client: httpx.AsyncClient):
    page = (await client.get(f"/v1/vehicles/{CHASSIS}")).json()
    numbers = [f["component"] for f in page["fitted"] if f["component"]]
    questions = [
        {"component": numbers[i % len(numbers)], "chassis": f"24PL-{18_000 + i:06d}"} for i in range(1_000)
    ]
    started = time.process_time()
    found = await ask(client, *questions)
    assert len(found["answers"]) == 1_000
    assert time.process_time() - started < 20
    too_many = await client.post("/v1/compatibility", json={"questions": [*questions, questions[0]]})
    assert too_many.status_code == 422


async def test_a_batch_of_unknown_numbers_is_quick(client: httpx.AsyncClient):
    started = time.process_time()
    found = await ask(client, *({"component": f"XX-{i}", "chassis": CHASSIS} for i in range(1_000)))
    assert {a["problem"]["type"] for a in found["answers"]} == {"/problems/unknown-component"}
    assert time.process_time() - started < 20


async def test_one_question_by_address_can_be_kept(client: httpx.AsyncClient):
    address = f"/v1/compatibility?component=qb3310&chassis={CHASSIS}"
    answer = await client.get(address)
    TypeAdapter(CompatibilityOut).validate_json(answer.content)
    again = await client.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 304


async def test_it_is_told_how_far_was_looked(client: httpx.AsyncClient):
    found = await ask(
        client,
        {"component": "QB-2010", "chassis": CHASSIS, "position": "brake.front.left"},
        {"component": "QB-3310", "chassis": CHASSIS},
        {"component": "QF-7325", "chassis": CHASSIS},
        {"component": "QL-7020", "chassis": CHASSIS},
        {"component": "QB-9001", "chassis": CHASSIS},
    )
    today, discs, pump, elsewhere, fluid = found["answers"]
    assert (today["proved"], today["looked_at"]) == (True, None)
    assert discs["looked_at"] == "propagation"
    assert discs["proved"] or discs["sentence"].endswith("ask for a closure to prove a whole set.")
    assert (pump["verdict"], pump["proved"], pump["looked_at"]) == ("does not fit", True, "propagation")
    assert [rule["name"] for rule in pump["places"][0]["against"]] == ["fuel-flow"]
    assert pump["places"][0]["against"][0]["sentence"] in pump["sentence"]
    assert (elsewhere["verdict"], elsewhere["proved"], elsewhere["looked_at"]) == ("does not fit", True, None)
    assert (fluid["verdict"], fluid["proved"], fluid["looked_at"]) == ("not known", False, None)


async def test_an_answer_as_of_a_revision(writer: httpx.AsyncClient):
    question = {"component": "QB-3310", "chassis": CHASSIS}
    for answer in (
        await writer.get("/v1/compatibility", params=question | {"as_of": 1}),
        await writer.post("/v1/compatibility", json={"questions": [question], "as_of": 1}),
    ):
        assert answer.status_code == 200, answer.text
        assert answer.json()["catalogue_revision"] == 1
    ahead = await writer.get("/v1/compatibility", params=question | {"as_of": 77})
    assert ahead.json()["type"] == "/problems/unknown-revision"


async def test_verdict_detail_says_what_the_full_answer_says_and_no_more(client: httpx.AsyncClient):
    page = (await client.get(f"/v1/vehicles/{CHASSIS}")).json()
    numbers = [f["component"] for f in page["fitted"] if f["component"]][:40]
    named = [*numbers, "QB-3310", "QF-7325", "QL-7020", "QB-9001", "QB-3300", "QB-331?"]
    questions = [{"component": n, "chassis": c} for n in named for c in (CHASSIS, "16PL-000900", "nonsense")]
    full = (await client.post("/v1/compatibility", json={"questions": questions})).json()
    asked = {"questions": questions, "detail": "verdict"}
    brief = (await client.post("/v1/compatibility", json=asked)).json()
    TypeAdapter(CompatibilityListOut).validate_python(brief)
    assert brief["catalogue_revision"] == full["catalogue_revision"]
    told = ("verdict", "number", "proved")
    assert [{k: one.get(k) for k in told} for one in brief["answers"]] == [
        {k: one.get(k) for k in told} for one in full["answers"]
    ]
    assert {one["verdict"] for one in brief["answers"]} >= {"fits", "does not fit", "not known"}
    known = [one for one in brief["answers"] if "problem" not in one]
    assert all(set(one) == set(told) for one in known)


async def test_each_of_many_answers_is_the_one_that_is_given_alone(client: httpx.AsyncClient):
    """Numbers of every kind: fitted, known, superseded, of other variants only, typed otherwise, nobody's."""
    named = ["QB-2010", "QB-3310", "QB-3300", "qf7325", "QL-7020", "QB-9001", "QB-331?", "QW-7611"]
    chassis = (CHASSIS, "16PL-000900", "32XL-009000", "24PR-012000", "16PR-000200")
    questions = [{"component": n, "chassis": c} for n in named for c in chassis]
    questions += [{"component": "QB-3310", "chassis": c, "position": "battery"} for c in chassis]
    many = (await client.post("/v1/compatibility", json={"questions": questions})).json()["answers"]
    for question, answer in zip(questions, many, strict=True):
        assert (await ask(client, question))["answers"] == [answer], question


async def test_proof_gives_a_whole_set_with_it_or_that_there_is_none(client: httpx.AsyncClient):
    named = ["QB-3310", "QB-2010", "QF-7325", "QB-9001", "?"]
    questions = [{"component": n, "chassis": CHASSIS} for n in named]
    asked = {"questions": questions, "detail": "verdict", "proof": True}
    answer = (await client.post("/v1/compatibility", json=asked)).json()
    TypeAdapter(CompatibilityListOut).validate_python(answer)
    discs, today, pump, fluid, nobodys = answer["answers"]
    closure = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
    whole = (await client.post("/v1/closures", json=closure)).json()
    changes = sorted((c["position"], c["component"]) for c in whole["set"]["changes"])
    assert discs["proved"] is True
    assert [(p["position"], p["component"]) for p in discs["set"] if p["position"]] == changes
    ordered = {p["component"]: p["quantity"] for p in discs["set"] if p["position"] is None}
    assert ordered == {part["component"]: part["quantity"] for part in whole["set"]["loose_parts"]}
    assert (today["verdict"], today["proved"], today["set"]) == ("fits", True, [])
    assert (pump["verdict"], pump["proved"], pump["set"]) == ("does not fit", True, [])
    assert (fluid["verdict"], fluid["set"]) == ("not known", [])
    assert "set" not in nobodys
    alone = await client.get("/v1/compatibility", params=questions[0] | {"proof": True})
    assert alone.json()["set"] == discs["set"]


async def test_many_chassis_numbers_are_looked_up_as_one_is(client: httpx.AsyncClient):
    """At the ends of spans and beyond them, with and without a dash, the day built given or not."""
    typed = [f"{p}{s:06d}" for p in ("24PL-", "24pl", "16PR-", "32 EL ", "99XX-") for s in (0, 1, 200, 18412)]
    questions = [
        {"component": "QB-3310", "chassis": t, "built": b} for t in typed for b in (None, "1971-05-02")
    ]
    many = (await client.post("/v1/compatibility", json={"questions": questions})).json()["answers"]
    for question, answer in zip(questions, many, strict=True):
        alone = await client.get(f"/v1/vehicles/{question['chassis']}")
        if answer.get("problem"):
            assert alone.status_code == 404, question
        elif question["built"] is None:
            assert answer["vehicle"]["built"] == alone.json()["built"]
            assert answer["vehicle"]["chassis"] == alone.json()["chassis"]
        else:
            assert answer["vehicle"]["built"] == question["built"]
    assert 0 < sum("problem" in answer for answer in many) < len(many)


async def test_work_that_can_hurt_is_told_with_its_cautions(client: httpx.AsyncClient):
    """Each is one that the whole set with it tells too; where nothing is fitted, there is none."""
    today = {"component": "QB-2010", "chassis": CHASSIS, "position": "brake.front.left"}
    astray = {"component": "QB-3310", "chassis": CHASSIS, "position": "battery"}
    assert (await ask(client, today, astray))["cautions"] == []
    fitted = ((CHASSIS, "QB-3310"), (CHASSIS, "QL-7075"), ("16PL-004321", "QT-7000"))
    for chassis, number in fitted:
        question = {"component": number, "chassis": chassis}
        told = (await ask(client, question, today))["cautions"]
        body = {"vehicle": {"chassis": chassis}, "wishes": [{"fit": number}]}
        whole = (await client.post("/v1/closures", json=body)).json()["cautions"]
        assert told
        assert set(told) <= set(whole)
        alone = (await client.get("/v1/compatibility", params=question)).json()
        assert alone["cautions"] == told
        known = (await client.get(f"/v1/components/{number}")).json()
        hazards = [f"{number}: {known['component']['hazard']}"] if known["component"]["hazard"] else []
        assert known["cautions"] + hazards == told
        for detail in ({"detail": "verdict"}, {"proof": True}):
            again = await client.post("/v1/compatibility", json={"questions": [question], **detail})
            assert again.json()["cautions"] == told
    assert {sentences.CUTTING, sentences.HEAVY} <= set(told)
