""" "None" is never said of evidence: where nothing is recorded that is told, and where none is needed."""

import httpx
import pytest

from graftbook.questions.closures.plain_text import answer_lines

pytestmark = pytest.mark.anyio

NOTHING_CHANGES = "/v1/closures?chassis=24PL-018412"
MANY_CHANGES = "/v1/closures?chassis=24PL-018412&remedy_all=minor"


async def test_a_claim_without_evidence_is_told_as_that(client: httpx.AsyncClient):
    found = (await client.get(MANY_CHANGES)).json()["set"]
    bare = {claim["claim"] for claim in found["unconfirmed"] if claim["evidence"] == "no evidence"}
    assert bare
    assert found["confidence"] == "no evidence"
    assert found["rests_on"] == f"Rests on claims with no evidence recorded at all ({len(bare)})."
    assert "rests on no evidence." in " ".join(claim["sentence"] for claim in found["unconfirmed"])


async def test_where_nothing_changes_no_claim_is_needed(client: httpx.AsyncClient):
    found = (await client.get(NOTHING_CHANGES)).json()["set"]
    assert (found["changes"], found["confidence"]) == ([], None)
    assert found["rests_on"] == "No claim is needed: nothing changes."


async def test_text_confirms_only_what_somebody_confirmed(client: httpx.AsyncClient):
    said = {}
    for address in (NOTHING_CHANGES, MANY_CHANGES, "/v1/closures?chassis=24PL-018412&fit=QL-7075"):
        document = (await client.get(address)).json()
        text = said[address] = "\n".join(answer_lines(document, full=True))
        found = document["set"]
        confirmed = found["confidence"] in ("measured", "trial fitted", "built and driven")
        assert ("CONFIRMED: " in text) == (confirmed and not found["unconfirmed"]), address
    assert "No claim is needed: nothing changes." in said[NOTHING_CHANGES]


async def test_a_wish_a_limit_and_a_pair_need_no_evidence(client: httpx.AsyncClient):
    found = (await client.get("/v1/closures?chassis=24PL-018412&fit=QB-3310")).json()["set"]
    because = [b for c in found["changes"] for b in (c["because"], *c["also_needed_by"])]
    told = {(b["cause"], b["evidence"] is None) for b in because}
    assert {cause for cause, without in told if without} <= {"wish", "pair", "limit", "fact"}
    assert ("wish", True) in told
    assert ("pair", True) in told


async def test_the_page_says_what_it_rests_on(client: httpx.AsyncClient):
    page = (await client.get(MANY_CHANGES.replace("/v1/closures", "/answer"), follow_redirects=True)).text
    assert '<dt>Rests on</dt><dd><a href="#claims-in">no evidence</a></dd>' in page
    assert "Rests on claims with no evidence recorded at all (" in page
