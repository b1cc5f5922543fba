"""A summary says what a program at the counter needs, in a few kilobytes, and loses no caution."""

from typing import Any

import httpx
import pytest

from graftbook.orders.summary import order_summary
from graftbook.questions.closures.query import address_of
from graftbook.questions.schemas import ClosureIn

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

DISCS: dict[str, Any] = {
    "vehicle": {"chassis": "24PL-018412"},
    "wishes": [{"fit": "QB-3310"}],
    "deadline_seconds": 30.0,
}


async def both(client: httpx.AsyncClient, where: str, body: dict[str, Any]) -> tuple[Any, Any, int]:
    """The whole answer, its summary, and how many bytes the summary has."""
    full = await client.post(where, json=body)
    brief = await client.post(f"{where}?view=summary", json=body)
    assert (full.status_code, brief.status_code) == (200, 200), brief.text
    assert full.headers["etag"] != brief.headers["etag"]
    return full.json(), brief.json(), len(brief.content)


async def test_a_summary_of_front_discs_is_small_and_whole_in_what_matters(client: httpx.AsyncClient) -> None:
    full, brief, size = await both(client, "/v1/closures", DISCS)
    assert size < 8_000
    every = [*full["set"]["changes"], *full["set"]["loose_parts"]]
    assert [(line["number"], line.get("position"), line.get("quantity", 1), line["price"]) for line in
            brief["set"]["lines"]] == [
        (one["component"], one.get("position"), one["quantity"], one["price"]) for one in every
    ]  # fmt: skip
    assert all(0 < len(line["why"]) <= 100 for line in brief["set"]["lines"])
    for name in ("proved", "outcome", "cautions", "currency", "catalogue_revision", "cut_short"):
        assert brief[name] == full[name], name
    assert brief["set"]["totals"] == full["set"]["totals"]
    assert sum(brief["set"]["flaws_left"]["counts"].values()) == len(full["set"]["flaws_left"])
    checks = full["checks"]
    assert set(brief["checks"]["cautions"]) == {f["caution"] for f in checks["findings"]} - {None}
    assert sum(brief["checks"]["counts"].values()) == len(checks["findings"])
    assert set(brief["checks"]["failing_already"]) <= {
        f["check"] for f in checks["findings"] if f["verdict"] == "fails"
    }


async def test_what_the_set_makes_worse_is_listed_with_its_words(client: httpx.AsyncClient) -> None:
    proposed = {**DISCS, "components": ["QB-3310"], "wishes": []}
    full, brief, _ = await both(client, "/v1/checks", proposed)
    worse = [f for f in full["checks"]["findings"] if f["kind"] in ("worse", "newly not determined")]
    assert [f["sentence"] for f in brief["checks"]["findings"]] == [f["sentence"] for f in worse]
    assert (brief["complete"], brief["cautions"]) == (full["complete"], full["cautions"])
    assert len(brief["missing"]) == len(full["missing"]) > 0
    assert brief["completed"]["set"]["totals"] == full["completed"]["set"]["totals"]


async def test_an_impossible_question_says_so_in_its_summary(client: httpx.AsyncClient) -> None:
    body = {**DISCS, "limits": {"keep_sections": ["brakes"]}}
    full, brief, _ = await both(client, "/v1/closures", body)
    assert (brief["outcome"], brief["set"], brief["checks"]) == ("impossible", None, None)
    assert brief["contradictions"] == [c["sentences"] for c in full["contradictions"]] != []
    assert brief["ways_out"] == [way["sentence"] for way in full["ways_out"]]
    assert brief["cautions"] == full["cautions"] != []


async def test_the_answer_names_its_own_address(client: httpx.AsyncClient) -> None:
    body = {
        **DISCS,
        "wishes": [{"fit": "QL-7075"}],
        "limits": {"refuse": ["QB-3310"], "price_at_most": "9000"},
    }
    for view in ("", "?view=summary"):
        posted = await client.post(f"/v1/closures{view}", json=body)
        address = posted.headers["content-location"]
        assert "as_of=" in address
        got = await client.get(address)
        assert got.content == posted.content
        assert got.headers["content-location"] == address
        assert (await client.get(address, headers={"If-None-Match": got.headers["etag"]})).status_code == 304
    assert (await client.get(posted.json()["full"])).json()["set"]["changes"]


async def test_a_ceiling_of_nothing_stands_in_the_address() -> None:
    body = {"vehicle": {"chassis": "1"}, "wishes": [{"fit": "A"}], "limits": {"price_at_most": "0"}}
    address = address_of(ClosureIn.model_validate(body), 3)
    assert address == "/v1/closures?chassis=1&price_at_most=0&fit=A&as_of=3"


async def test_what_no_address_says_has_none(client: httpx.AsyncClient) -> None:
    spread = {**DISCS, "wishes": [{"fit": "QB-9001", "quantity": 2}]}
    answer = await client.post("/v1/closures", json=spread)
    assert answer.status_code == 200, answer.text
    assert "content-location" not in answer.headers


async def test_another_view_is_refused(client: httpx.AsyncClient) -> None:
    for answer in (
        await client.get("/v1/closures?chassis=24PL-018412&view=short"),
        await client.post("/v1/closures?view=short", json=DISCS),
    ):
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid-request")


async def test_the_summary_of_the_order_of_front_discs_is_small_and_whole_in_what_matters(
    client: httpx.AsyncClient,
) -> None:
    full, brief, size = await both(client, "/v1/orders", DISCS)
    assert size < 8_000
    assert (
        [(s["name"], s["total"], s["arrives"]) for s in brief["suppliers"]]
        == [(s["name"], s["total"], s["arrives"]) for s in full["suppliers"]]
        != []
    )
    assert (
        [list(line.values()) for line in brief["lines"]]
        == [
            [line[name] for name in ("number", "name", "pieces", "supplier", "total")]
            for line in full["lines"]
        ]
        != []
    )
    assert [(line["number"], line["quantity"], line["reason"], line["why"]) for line in brief["without"]] == [
        (line["number"], line["quantity"], line["reason"], line["why"]) for line in full["not_supplied"]
    ]
    same = ("totals", "cautions", "defers", "unknown_prices", "headline", "complete", "not_bought", "date")
    for name in same:
        assert brief[name] == full[name], name
    assert brief["cautions"]
    assert brief["taken_off"] == len(full["taken_off"])
    assert (brief["proved"], brief["sentence"]) == (full["split"]["proved"], full["split"]["sentence"])


async def test_what_is_not_bought_stands_in_the_summary_with_its_reason(client: httpx.AsyncClient) -> None:
    full = (await client.post("/v1/orders", json={**DISCS, "at_most_suppliers": 1})).json()
    brief = order_summary(full, None)
    assert len(brief["without"]) == full["not_bought"] == brief["not_bought"] > 0
    for line, whole in zip(brief["without"], full["not_supplied"], strict=True):
        assert line.get("earliest") == whole["earliest"]
        assert line.get("substitute") == (whole["substitute"] and whole["substitute"]["number"])


async def test_an_order_names_its_own_address_where_it_has_one(client: httpx.AsyncClient) -> None:
    body = {**DISCS, "wishes": [{"fit": "QL-7075"}], "at_most_suppliers": 2, "use_stock": False}
    for view in ("", "?view=summary"):
        posted = await client.post(f"/v1/orders{view}", json=body)
        address = posted.headers["content-location"]
        got = await client.get(address)
        assert (got.content, got.headers["etag"]) == (posted.content, posted.headers["etag"])
        again = await client.get(address, headers={"If-None-Match": got.headers["etag"]})
        assert again.status_code == 304
    whole = await client.get(posted.json()["full"])
    assert len(whole.json()["lines"]) == len(posted.json()["lines"])
    labelled = await client.post("/v1/orders?view=summary", json={**body, "label": "red van"})
    assert labelled.json()["full"] is None
    assert "content-location" not in labelled.headers


async def test_a_sheet_is_whole_in_every_view(client: httpx.AsyncClient) -> None:
    accept = {"Accept": "text/csv"}
    body = {**DISCS, "wishes": [{"fit": "QL-7075"}]}
    sheets = [await client.post(f"/v1/orders{v}", json=body, headers=accept) for v in ("", "?view=summary")]
    assert sheets[0].content == sheets[1].content


async def test_the_summary_of_a_fitting_sequence_has_each_step_and_every_caution(
    client: httpx.AsyncClient,
) -> None:
    whole = await client.post("/v1/fitting-sequences", json=DISCS)
    full = whole.json()
    answer = await client.post("/v1/fitting-sequences?view=summary", json=DISCS)
    brief = answer.json()
    assert 3 * len(answer.content) < len(whole.content)
    assert [step["what"] for step in brief["steps"]] == [
        f"{step['verb']}: {step['title']}" for step in full["steps"]
    ]
    assert sum(step.get("minutes", 0) for step in brief["steps"]) == full["minutes"]
    for name in ("cautions", "tools", "minutes", "finish_minutes", "sentence", "steps_without_time"):
        assert brief[name] == full[name], name


async def test_a_summary_of_compatibility_is_verdict_detail(client: httpx.AsyncClient) -> None:
    question = {"component": "QB-3310", "chassis": "24PL-018412"}
    body = {"questions": [question, {**question, "component": "QB-9999-NO"}]}
    by_word = await client.post("/v1/compatibility", json={**body, "detail": "verdict"})
    by_view = await client.post("/v1/compatibility?view=summary", json=body)
    assert by_view.content == by_word.content
    full = await client.post("/v1/compatibility?view=full", json=body)
    assert full.content == (await client.post("/v1/compatibility", json=body)).content != by_view.content
    one = await client.get("/v1/compatibility", params={**question, "view": "summary"})
    assert one.json().items() >= by_view.json()["answers"][0].items()
    whole = await client.get("/v1/compatibility", params=question)
    assert one.headers["etag"] != whole.headers["etag"]
    assert "places" not in one.json()
    wrong = await client.post("/v1/compatibility?view=verdict", json=body)
    assert wrong.status_code == 422


@pytest.mark.parametrize(
    ("wish", "component", "looked_up"),
    [({"fit": "QB-3310"}, "QB-7050", None), ({"remedy_all": "severe"}, "QB-3310", None)],
)
async def test_why_not_in_brief_agrees_with_both_whole_answers(
    client: httpx.AsyncClient, wish: dict[str, str], component: str, looked_up: bool | None
) -> None:
    body = {**DISCS, "wishes": [wish], "component": component}
    full, brief, size = await both(client, "/v1/closures/why-not", body)
    assert size < 4_000
    assert brief["difference"] == full["difference"]
    assert (brief["asked"], brief["outcome"]) == (full["asked"]["outcome"], full["instead"]["outcome"])
    assert brief["sentences"] == full["sentences"][: len(brief["sentences"])] != []
    blamed = [one["sentences"] for one in full["instead"]["contradictions"]]
    assert brief["contradiction"] == (blamed[0] if blamed else [])
    assert set(full["asked"]["cautions"]) <= set(brief["cautions"])
