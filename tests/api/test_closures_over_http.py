"""Closures over HTTP: what was asked is understood, the answer has its documented form, caches work."""

import json
from decimal import Decimal
from typing import Any

import httpx
import pytest
from pydantic import TypeAdapter

from graftbook.closure.answer import Answer, Outcome
from graftbook.orders.schemas import OrderOut
from graftbook.questions.closures.compared_schemas import CheckOut, WhatIfOut, WhyNotOut
from graftbook.questions.closures.schemas import ClosureOut

pytestmark = pytest.mark.anyio

DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
ADDRESS = "/v1/closures?chassis=24PL-018412&fit=QB-3310"


class Read(dict[str, Any]):
    """A document whose members are read as attributes."""

    __getattr__ = dict.__getitem__


def document_of(kind: Any, body: bytes | str) -> Read:
    """A document that has the form of its class: every member, and no other."""
    TypeAdapter(kind).validate_json(body)
    return json.loads(body, object_hook=Read)


async def test_front_discs_bring_their_companions_and_every_change_says_why(client: httpx.AsyncClient):
    answer = await client.post("/v1/closures", json=DISCS)
    assert answer.status_code == 200
    found = document_of(ClosureOut, answer.content)
    assert found.proved
    assert found.set is not None
    placed = {change.position: change for change in found.set.changes}
    assert placed["brake.front.left"].because.cause == "wish"
    assert placed["brake.front.right"].component == "QB-3311", "the handed twin follows"
    for change in found.set.changes:
        assert change.because.sentence
        if change.because.cause != "wish":
            assert change.because.from_position in placed, "the chain leads back to a wish"
    assert found.vehicle.variant == "24P-21-L"
    assert found.vehicle.built_is_estimated
    assert any("Brakes hold lives" in caution for caution in found.cautions)


async def test_numbers_are_understood_as_people_type_them(client: httpx.AsyncClient):
    as_typed = {"vehicle": {"chassis": "24pl 18412"}, "wishes": [{"fit": "qb.3310"}]}
    one, other = (
        await client.post("/v1/closures", json=DISCS),
        await client.post("/v1/closures", json=as_typed),
    )
    assert one.headers["etag"] == other.headers["etag"]
    assert one.content == other.content


async def test_address_and_body_give_the_same_bytes_and_the_address_can_be_kept(client: httpx.AsyncClient):
    posted, got = await client.post("/v1/closures", json=DISCS), await client.get(ADDRESS)
    assert posted.content == got.content
    etag = got.headers["etag"]
    assert etag == posted.headers["etag"]
    assert not etag.startswith("W/"), "a strong ETag"
    again = await client.get(ADDRESS, headers={"If-None-Match": f'"other", W/{etag}'})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag)
    other = await client.get(ADDRESS + "&nothing_visible=true", headers={"If-None-Match": etag})
    assert other.status_code == 200


async def test_the_etag_follows_what_the_answer_depends_on(writer: httpx.AsyncClient):
    before = await writer.get(ADDRESS)
    stays = await writer.get(ADDRESS, headers={"If-None-Match": before.headers["etag"]})
    assert stays.status_code == 304
    component = (await writer.get("/v1/components/QB-3310")).json()["component"]
    edit = {"record": "component", **component, "price": "999.00"}
    assert (await writer.post("/v1/imports", json=[edit])).status_code == 200
    after = await writer.get(ADDRESS, headers={"If-None-Match": before.headers["etag"]})
    assert after.status_code == 200
    assert after.headers["etag"] != before.headers["etag"]
    assert after.json()["catalogue_revision"] == before.json()["catalogue_revision"] + 1


async def test_contradicting_wishes_are_answered_with_the_contradiction_and_ways_out(
    client: httpx.AsyncClient,
):
    body = DISCS | {"limits": {"keep_sections": ["wheels"], "refuse": ["QB-2066"]}}
    answer = document_of(ClosureOut, (await client.post("/v1/closures", json=body)).content)
    assert answer.outcome == "impossible"
    assert answer.set is None
    assert answer.contradictions
    named = [{part.name for part in contradiction.parts} for contradiction in answer.contradictions]
    assert all("wish: fit QB-3310" in parts for parts in named), "each is against the wish"
    assert any("limit: keep section wheels" in parts for parts in named)
    assert answer.ways_out
    assert all(way.gives_up for way in answer.ways_out)


async def test_an_answer_that_time_cut_short_says_so_and_is_not_kept(
    client: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
):
    late = Answer(Outcome.not_proved, gap=0.25, engine="solver")
    monkeypatch.setattr("graftbook.questions.closures.reasoning.answer_question", lambda *_: late)
    asked_nowhere_else = DISCS | {"vehicle": {"chassis": "24PL-018416"}}
    answer = await client.post("/v1/closures", json=asked_nowhere_else | {"deadline_seconds": 0.5})
    found = document_of(ClosureOut, answer.content)
    assert (found.outcome, found.proved, found.gap) == ("not proved in time", False, 0.25)
    assert "etag" not in answer.headers
    assert answer.headers["cache-control"] == "no-store"
    monkeypatch.undo()
    again = await client.post("/v1/closures", json=asked_nowhere_else)
    assert again.json()["outcome"] == "proved", "the cut answer was not kept for the next asker"


async def test_why_not_shows_both_answers(client: httpx.AsyncClient):
    body = DISCS | {"component": "QB-7050"}
    found = document_of(WhyNotOut, (await client.post("/v1/closures/why-not", json=body)).content)
    assert found.asked.outcome == "proved"
    assert found.component == "QB-7050"
    assert found.instead.outcome == "proved"
    placed = [{c.position: c.component for c in one.set.changes} for one in (found.asked, found.instead)]
    assert "QB-7050" not in placed[0].values()
    assert "QB-7050" in placed[1].values()
    assert {c.component for c in found.only_instead} >= {"QB-7050"}
    plain = document_of(ClosureOut, (await client.post("/v1/closures", json=DISCS)).content)
    assert found.asked.set == plain.set, "the one is the answer to the question itself"
    prices = [Decimal(one.set.totals.price) for one in (found.asked, found.instead)]
    assert Decimal(found.difference.price) == prices[1] - prices[0]
    assert found.sentences


async def test_what_if_asks_the_same_of_another_vehicle(client: httpx.AsyncClient):
    body = DISCS | {"other_vehicle": {"chassis": "16PR-000200"}}
    answer = await client.post("/v1/closures/what-if", json=body)
    found = document_of(WhatIfOut, answer.content)
    assert found.asked.vehicle.variant == "24P-21-L"
    assert found.instead.vehicle.variant == "16P-17-R"
    there = {"vehicle": {"chassis": "16PR-000200"}, "wishes": DISCS["wishes"]}
    plain = document_of(ClosureOut, (await client.post("/v1/closures", json=there)).content)
    assert (found.instead.outcome, found.instead.set) == (plain.outcome, plain.set)
    assert [w.name for w in found.instead.wishes] == [w.name for w in found.asked.wishes]


async def test_a_list_with_only_the_calipers_is_incomplete_and_gets_completed(client: httpx.AsyncClient):
    body = DISCS | {"components": ["QB-3310", "QB-3311"]}
    found = document_of(CheckOut, (await client.post("/v1/checks", json=body)).content)
    assert not found.complete
    assert found.missing
    assert found.completed is not None
    assert found.completed.outcome == "proved"
    assert found.checks.findings


async def test_the_verdict_of_a_set_is_not_that_of_the_vehicle(client: httpx.AsyncClient):
    """An untouched vehicle that fails in places has a set that makes nothing worse."""
    answer = await client.post("/v1/closures", json={"vehicle": DISCS["vehicle"], "wishes": []})
    checks = document_of(ClosureOut, answer.content).checks
    assert checks is not None
    assert (checks.verdict, checks.sentence) == ("holds", "This set makes no check fail or worse.")
    assert {f.kind for f in checks.findings} == {"already so", "holds"}
    assert any(f.verdict == "fails" and f.verdict_today == "fails" for f in checks.findings)
    assert sum(checks.counts.values()) == len(checks.findings)
    assert not any(f.changed for f in checks.findings)


async def test_a_list_answers_for_what_it_makes_worse_and_for_what_it_mends(client: httpx.AsyncClient):
    listed = {
        "positions": {"tyre.road": "QW-7750", "wheel.road": "QW-7655", "brake.balance_valve": "QB-2090"}
    }
    body = {"vehicle": DISCS["vehicle"], **listed}
    checks = document_of(CheckOut, (await client.post("/v1/checks", json=body)).content).checks
    kinds = {f.check: f.kind for f in checks.findings}
    assert kinds["unions.seat"] == "worse", "wheels with a ball seat on the cone nuts of the old ones"
    assert kinds["brakes.heat.front"] == "worse", "the balance valve leaves the front more of the work"
    assert kinds["brakes.lock_order.unladen"] == "mended"
    assert kinds["fuel.ethanol.fuel.feed"] == "already so"
    assert kinds["brakes.circuit_failed"] == "already so", "dangerous, and not this list's doing"
    assert checks.verdict == "fails"
    assert checks.counts["worse"] == list(kinds.values()).count("worse")
    assert checks.sentence == f"This set makes {checks.counts['worse']} checks fail or worse."


async def test_the_completed_set_is_complete(client: httpx.AsyncClient):
    whole = (await client.post("/v1/closures", json=DISCS)).json()
    closure = whole["set"]
    loose = [part["component"] for part in closure["loose_parts"] for _ in range(part["quantity"])]
    positions = {change["position"]: change["component"] for change in closure["changes"]}
    body = DISCS | {"components": loose, "positions": positions}
    found = document_of(CheckOut, (await client.post("/v1/checks", json=body)).content)
    assert (found.complete, found.missing, found.clashing, found.surplus) == (True, [], [], [])
    assert any(caution.startswith("QB-9001: ") for caution in found.cautions), "a hazard of a loose part"
    assert set(found.cautions) == set(whole["cautions"])


async def test_the_order_list_holds_every_part_of_the_closure(client: httpx.AsyncClient):
    closure = (await client.post("/v1/closures", json=DISCS)).json()["set"]
    answer = await client.post("/v1/orders", json=DISCS)
    order = TypeAdapter(OrderOut).validate_json(answer.content)
    wanted = {c["component"] for c in closure["changes"] if c["component"]}
    wanted |= {part["component"] for part in closure["loose_parts"]}
    assert {line["number"] for line in order["lines"]} == wanted
    assert {t["number"] for t in order["taken_off"]} == {
        c["replaces"] for c in closure["changes"] if c["replaces"]
    }


@pytest.mark.parametrize(
    ("accept", "media"),
    [
        ("text/csv", "text/csv; charset=utf-8"),
        ("application/json", "application/json"),
        ("*/*", "application/json"),
        ("text/csv;q=0.9, application/json;q=0.1", "text/csv; charset=utf-8"),
        ("text/*, application/json;q=0.5", "text/csv; charset=utf-8"),
    ],
)
async def test_the_order_list_comes_in_the_form_that_is_accepted(
    client: httpx.AsyncClient, accept: str, media: str
):
    answer = await client.post("/v1/orders", json=DISCS, headers={"Accept": accept})
    assert answer.headers["content-type"] == media
    assert answer.headers["vary"] == "Accept, Accept-Encoding"


BOSS = {
    "vehicle": {"chassis": "24PL-018412"},
    "wishes": [{"fit": "QF-7000"}],
    "limits": {"keep": ["exhaust.system"]},
}


async def test_a_boss_to_weld_in_is_told_wherever_an_answer_is_read(client: httpx.AsyncClient):
    found = document_of(ClosureOut, (await client.post("/v1/closures", json=BOSS)).content)
    totals = found.set.totals
    assert (totals.irreversible, totals.cut_or_welded) == (1, ["QF-9650"])
    (boss,) = (part for part in found.set.loose_parts if part.component == "QF-9650")
    known = (await client.get("/v1/components/QF-9650")).json()["component"]
    assert (boss.effort, boss.can_be_put_back, boss.minutes) == ("cutting", False, int(known["minutes"]))
    assert boss.note == known["note"]
    assert boss.note.startswith("welding: ")
    assert any(caution.startswith("Cutting or welding a vehicle") for caution in found.cautions)


@pytest.mark.parametrize("most", ["machining", "with companions", "direct"])
async def test_a_limit_on_the_work_keeps_the_boss_out(client: httpx.AsyncClient, most: str):
    body = BOSS | {"limits": {"effort_at_most": most}}
    found = document_of(ClosureOut, (await client.post("/v1/closures", json=body)).content)
    if most == "direct":
        assert found.set is None
        named = {part.name for contradiction in found.contradictions for part in contradiction.parts}
        assert named & {limit.name for limit in found.limits}
    else:
        assert found.set is not None, "another way without the boss is known"
        assert "QF-9650" not in {part.component for part in found.set.loose_parts}
        assert found.set.totals.cut_or_welded == []


async def test_a_checked_list_tells_what_of_it_is_welded(client: httpx.AsyncClient):
    body = {"vehicle": BOSS["vehicle"], "components": ["QF-7800", "QF-9650"], "limits": {}}
    found = document_of(CheckOut, (await client.post("/v1/checks", json=body)).content)
    assert found.cut_or_welded == ["QF-9650"]
    assert any(caution.startswith("Cutting or welding a vehicle") for caution in found.cautions)
    body["limits"] = {"effort_at_most": "machining"}
    limited = document_of(CheckOut, (await client.post("/v1/checks", json=body)).content)
    assert [note.name for note in limited.limits_broken] == ["limit: nothing cut or welded"]


async def test_a_price_that_is_not_known_is_no_zero(client: httpx.AsyncClient):
    answer = (await client.post("/v1/closures", json=DISCS)).json()
    found = document_of(ClosureOut, json.dumps(answer))
    others = {o.component: o for change in found.set.changes for o in change.alternatives}
    dear = others["QB-7302"].difference
    known = sum(Decimal(c.price or 0) for c in found.set.changes if c.component == "QB-3302")
    assert known > 0
    assert (dear.price, dear.known_price) == (None, f"-{known}")
    assert dear.unknown_prices.added == ["QB-7302"]
    said = " ".join(change.choice or "" for change in found.set.changes)
    assert f"the price of QB-7302 is not known (the parts of known price cost {known} less)" in said
    assert "less for parts" not in said


LABELS = {"fit": "QL-9010"}
RISING = [
    pytest.param([LABELS | {"quantity": 2}, LABELS | {"quantity": 5}], 5, id="rising"),
    pytest.param([LABELS | {"quantity": 5}, LABELS | {"quantity": 2}], 5, id="falling"),
    pytest.param([LABELS, LABELS | {"quantity": 2}], 2, id="one, then two"),
    pytest.param([LABELS | {"quantity": 3}, LABELS | {"quantity": 3}], 3, id="the same twice"),
]


@pytest.mark.parametrize(("wishes", "pieces"), RISING)
async def test_of_several_wishes_for_one_loose_part_the_greatest_counts(
    client: httpx.AsyncClient, wishes: list[dict], pieces: int
):
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": wishes}
    closure = await client.post("/v1/closures", json=asked)
    assert closure.status_code == 200, closure.text
    (part,) = closure.json()["set"]["loose_parts"]
    assert (part["component"], part["quantity"]) == ("QL-9010", pieces)
    assert part["why"] == f"You wish {pieces} × QL-9010 (label: NEGATIVE EARTH)."
    names = [wish["name"] for wish in closure.json()["wishes"]]
    assert len(set(names)) == len(names) == len({wish.get("quantity", 1) for wish in wishes})
    order = await client.post("/v1/orders", json=asked)
    assert order.status_code == 200, order.text
    (part,) = order.json()["lines"]
    assert (part["number"], part["quantity"]) == ("QL-9010", pieces)
    check = await client.post("/v1/checks", json=asked | {"components": ["QL-9010"] * pieces})
    assert check.status_code == 200, check.text
    assert (check.json()["complete"], check.json()["surplus"]) == (True, [])
    other = asked | {"other_vehicle": {"chassis": "24PR-009401"}}
    what_if = await client.post("/v1/closures/what-if", json=other)
    assert what_if.status_code == 200, what_if.text
    assert what_if.json()["instead"]["set"]["loose_parts"][0]["quantity"] == pieces


async def test_a_specification_may_wish_fewer_of_a_loose_part_than_the_asker(writer: httpx.AsyncClient):
    house = {"name": "labels", "title": "Labels", "variants": [], "wishes": [LABELS | {"quantity": 2}]}
    assert (await writer.post("/v1/specifications", json=house)).status_code == 201
    asked = {"vehicle": {"chassis": "24PL-018412"}, "specification": "labels"}
    answer = await writer.post("/v1/closures", json=asked | {"wishes": [LABELS | {"quantity": 5}]})
    assert answer.status_code == 200, answer.text
    assert [p["quantity"] for p in answer.json()["set"]["loose_parts"]] == [5]
    assert [wish["sentence"] for wish in answer.json()["wishes"]] == [
        "You wish 2 × QL-9010 (label: NEGATIVE EARTH).",
        "You wish 5 × QL-9010 (label: NEGATIVE EARTH).",
    ]
