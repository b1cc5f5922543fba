"""Every kind of record as a list: filters, partial rows, stable pages, ETags."""

from typing import Any

import httpx
import pytest
from sqlalchemy import Engine

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.store.from_rows import records_of
from graftbook.catalogue.store.lists import filters_of
from graftbook.database import reading

pytestmark = pytest.mark.anyio


async def every(client: httpx.AsyncClient, address: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    while address:
        answer = await client.get(address)
        assert answer.status_code == 200, answer.text
        found += answer.json()["items"]
        address = answer.links.get("next", {}).get("url", "")
        assert bool(address) == (answer.json()["next"] is not None)
    return found


@pytest.mark.parametrize("kind", r.KIND_BY_WORD)
async def test_a_list_holds_each_record_once_by_name_as_it_is_read_alone(
    client: httpx.AsyncClient, demo: Engine, kind: str
):
    with reading(demo) as session:
        records = list(records_of(session.connection(), r.KIND_BY_WORD[kind]))
    own = {one.variant if isinstance(one, r.ChassisSpanRecord) else name_of(one) for one in records}
    listed = await every(client, f"/v1/records/{kind}?limit=400")
    assert [line["name"] for line in listed] == sorted(own)
    for line in (*listed[:1], *listed[-1:]):
        alone = await client.get(f"/v1/records/{kind}/{line['name']}")
        assert (alone.headers["etag"], alone.json()["rows"]) == (line["etag"], line["rows"])


@pytest.mark.parametrize(
    ("kind", "where", "holds"),
    [
        ("fitment", {"component": "QB-3310"}, lambda row: row["component"] == "QB-3310"),
        ("fitment", {"position": "brake.*"}, lambda row: row["position"].startswith("brake.")),
        ("component", {"number": "QB-33*"}, lambda row: row["number"].startswith("QB-33")),
        ("component", {"section": "brakes", "origin": "modern"}, lambda row: row["section"] == "brakes"),
        ("flaw", {"severity": "dangerous"}, lambda row: row["severity"] == "dangerous"),
        ("offer", {"name": "works:*", "component": "QB-3310"}, lambda row: row["supplier"] == "works"),
        ("chassis_span", {"name": "24P-21-L"}, lambda row: row["variant"] == "24P-21-L"),
        ("evidence", {"grade": "hearsay"}, lambda row: row["grade"] == "hearsay"),
    ],
)
async def test_a_filter_leaves_exactly_what_it_says(
    client: httpx.AsyncClient, kind: str, where: dict[str, str], holds: Any
):
    asked = "&".join(f"{name}={value}" for name, value in where.items())
    whole = await every(client, f"/v1/records/{kind}?limit=500")
    picked = await every(client, f"/v1/records/{kind}?limit=3&{asked}")
    assert picked
    assert all(holds(row) for line in picked for row in line["rows"])
    if len(where) == 1:
        assert picked == [line for line in whole if holds(line["rows"][0])]


async def test_only_the_members_that_are_wanted_come(client: httpx.AsyncClient):
    lines = (await client.get("/v1/records/fitment?fields=component,%20minutes&limit=5")).json()["items"]
    rows = [row for line in lines for row in line["rows"]]
    assert len(rows) >= len(lines) == 5
    assert all({"component"} <= set(row) <= {"component", "minutes"} for row in rows)


@pytest.mark.parametrize(
    ("address", "pointer", "near"),
    [
        ("/v1/records/component?orgin=modern", "orgin", "origin"),
        ("/v1/records/component?position=x", "position", ""),
        ("/v1/records/component?origin=modrn", "origin", "modern"),
        ("/v1/records/component?fields=prise", "fields", "price"),
        ("/v1/records/component?limit=0", "limit", ""),
        ("/v1/records/compnent", "kind", ""),
    ],
)
async def test_what_it_does_not_take_is_refused(
    client: httpx.AsyncClient, address: str, pointer: str, near: str
):
    answer = await client.get(address)
    problem = answer.json()
    assert answer.status_code == 422
    assert pointer in (problem.get("pointer"), *(each["pointer"] for each in problem.get("errors", ())))
    assert near in (problem.get("near") or [""])


async def test_pages_are_stable_and_an_edit_gives_another_etag(writer: httpx.AsyncClient):
    first = await writer.get("/v1/records/section?limit=4")
    after = first.links["next"]["url"]
    second = await writer.get(after)
    new = {"name": "aaa-first", "title": "First of all", "order": 1}
    assert (await writer.put("/v1/records/section/aaa-first", json={"rows": [new]})).status_code == 201
    again = await writer.get(after)
    assert again.json()["items"] == second.json()["items"], "what stands before a page moves nothing on it"
    assert again.headers["etag"] != second.headers["etag"]
    assert (await writer.get(after, headers={"If-None-Match": again.headers["etag"]})).status_code == 304
    assert (await writer.get(after, headers={"If-None-Match": second.headers["etag"]})).status_code == 200
    foreign = await writer.get(after.replace("/section?", "/range?"))
    assert (foreign.status_code, foreign.json()["type"]) == (400, "/problems/invalid-cursor")


def test_every_kind_can_be_picked_by_name():
    for kind in r.KIND_BY_WORD:
        assert {"name", "number"} & set(filters_of(kind)), kind
