"""The page of the lint and its address for programs: findings by severity, and where to mend each."""

import httpx
import pytest

from tests.pages.conftest import BROWSER, text_of

pytestmark = pytest.mark.anyio

FITMENT = "/v1/records/fitment/QB-3310@brake.front.left/earlier"


async def seeded(client: httpx.AsyncClient) -> int:
    row = (await client.get(FITMENT)).json()["rows"][0]
    other = row | {"name": "another view", "effort": "machining"}
    edit = await client.put("/v1/records/fitment/another view", json={"rows": [other]})
    assert edit.status_code == 201, edit.text
    return int(edit.json()["catalogue_revision"])


async def test_findings_are_told_by_severity_with_where_to_mend_them(writer: httpx.AsyncClient) -> None:
    revision = await seeded(writer)
    page = await writer.get("/lint", headers=BROWSER)
    told = text_of(page)
    assert told.index("Serious:") < told.index("Doubtful:") < told.index("Untidy:")
    assert "another view says machining, 1 off" in told or "says machining, 1 off" in told
    assert 'href="/edit/fitment/another%20view"' in page.text
    assert 'href="/edit/offer?component=QA-7352"' in page.text
    untidy = text_of(await writer.get("/lint?severity=untidy", headers=BROWSER))
    assert "Serious:" not in untidy
    assert "rest on no evidence" in untidy
    touched = text_of(await writer.get(f"/lint?touched_by={revision}", headers=BROWSER))
    assert "Serious:" in touched
    assert "nobody offers" not in touched
    assert "Nothing is found of that" in text_of(await writer.get("/lint?kind=nothing", headers=BROWSER))


async def test_programs_get_the_same(writer: httpx.AsyncClient) -> None:
    revision = await seeded(writer)
    found = (await writer.get("/v1/lint")).json()["items"]
    (one, *_) = found
    assert one["severity"] == "serious"
    assert one["kind"] == "records that say the opposite"
    assert {"kind": "fitment", "name": "another view"} in one["mend"]
    touched = (await writer.get("/v1/lint", params={"touched_by": revision})).json()["items"]
    assert touched == [one]
    assert (await writer.get("/v1/lint", params={"touched_by": 0})).status_code == 422
    unknown = await writer.get("/v1/lint", params={"touched_by": revision + 1})
    assert (unknown.status_code, unknown.json()["type"]) == (422, "/problems/unknown-revision")
    assert (await writer.get(f"/lint?touched_by={revision + 1}", headers=BROWSER)).status_code == 422


async def test_who_may_not_edit_is_not_shown_it(client: httpx.AsyncClient) -> None:
    assert (await client.get("/v1/lint")).status_code == 401
