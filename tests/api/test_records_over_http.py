"""Single edits, history and questions about the past, over HTTP on a copy of the demo range."""

from typing import Any

import httpx
from fastapi import FastAPI
from sqlalchemy import delete

from graftbook.catalogue.store.tables import table
from graftbook.database import writing

PAD = "/v1/records/component/QB-3310"
ASKED = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}


async def test_a_record_is_changed_by_who_read_it_last(writer: httpx.AsyncClient) -> None:
    read = await writer.get(PAD)
    assert read.status_code == 200
    row = read.json()["rows"][0]
    assert (await writer.get(PAD, headers={"If-None-Match": read.headers["etag"]})).status_code == 304
    body = {"rows": [row | {"price": "611.00"}]}
    assert (await writer.put(PAD, json=body)).status_code == 428
    mine = {"If-Match": read.headers["etag"]}
    changed = await writer.put(PAD, params={"why": "new price list"}, json=body, headers=mine)
    assert changed.status_code == 200, changed.text
    assert changed.json() == {"dry_run": False, "changed": 1, "catalogue_revision": 2}
    assert (await writer.put(PAD, json=body, headers=mine)).status_code == 412
    assert (await writer.delete(PAD)).status_code == 428
    now = {"If-Match": changed.headers["etag"]}
    patched = await writer.patch(PAD, json={"price": None}, headers=now)
    assert patched.status_code == 200, patched.text
    assert "price" not in (await writer.get(PAD)).json()["rows"][0]
    history = (await writer.get(f"{PAD}/history")).json()["items"]
    assert [h["what"] for h in history] == ["changed", "changed", "added"]
    assert history[1]["edit"]["why"] == "new price list"
    assert history[1]["edit"]["who"].startswith("tests (")
    assert history[1]["after"][0]["price"] == "611.00"


async def test_what_is_named_cannot_be_removed_and_what_is_new_can(writer: httpx.AsyncClient) -> None:
    held = await writer.get(PAD)
    refused = await writer.delete(PAD, headers={"If-Match": held.headers["etag"]})
    assert refused.status_code == 422
    assert any("still names the component 'QB-3310'" in m["message"] for m in refused.json()["mistakes"])
    row = {"number": "QZ-1", "name": "Trial pad", "section": "brakes", "origin": "modern"}
    address = "/v1/records/component/QZ-1"
    dry = await writer.put(address, params={"dry_run": "true"}, json={"rows": [row]})
    assert dry.json() == {"dry_run": True, "changed": 1, "catalogue_revision": None}
    assert (await writer.get(address)).status_code == 404
    made = await writer.put(address, json={"rows": [row]})
    assert made.status_code == 201
    gone = await writer.delete(address, headers={"If-Match": made.headers["etag"]})
    assert gone.json()["changed"] == 1
    assert (await writer.get(address)).status_code == 404
    assert [h["what"] for h in (await writer.get(f"{address}/history")).json()["items"]] == [
        "removed",
        "added",
    ]


async def test_a_record_with_mistakes_is_refused_field_by_field(writer: httpx.AsyncClient) -> None:
    row = {"number": "QZ-1", "name": "Trial pad", "section": "brake", "origin": "modern", "price": "dear"}
    answer = await writer.put("/v1/records/component/QZ-1", json={"rows": [row]})
    assert answer.status_code == 422
    assert {m["field"] for m in answer.json()["mistakes"]} >= {"price"}
    other = await writer.put("/v1/records/component/QZ-2", json={"rows": [row | {"price": "1"}]})
    assert other.status_code == 422


async def test_a_question_can_be_asked_as_of_a_revision(writer: httpx.AsyncClient) -> None:
    first = await writer.post("/v1/closures", json=ASKED)
    held = await writer.get(PAD)
    dearer = {"rows": [held.json()["rows"][0] | {"price": "9999.00"}]}
    await writer.put(PAD, json=dearer, headers={"If-Match": held.headers["etag"]})
    now = await writer.post("/v1/closures", json=ASKED)
    assert now.json()["catalogue_revision"] == 2
    assert now.headers["etag"] != first.headers["etag"]
    then = await writer.post("/v1/closures", json=ASKED | {"as_of": 1})
    assert then.content == first.content
    assert then.headers["etag"] == first.headers["etag"]
    by_address = await writer.get(
        "/v1/closures", params={"chassis": "24PL-018412", "fit": "QB-3310", "as_of": "1"}
    )
    assert by_address.content == first.content
    for path in ("/v1/orders", "/v1/closures"):
        ahead = await writer.post(path, json=ASKED | {"as_of": 3})
        assert ahead.status_code == 404, ahead.text
        assert ahead.json()["type"] == "/problems/unknown-revision"


async def test_the_past_of_a_removed_vehicle_is_answered_too(writer: httpx.AsyncClient) -> None:
    first = await writer.post("/v1/closures", json=ASKED)
    spans = await writer.get("/v1/records/chassis_span/24P-21-L")
    rows = spans.json()["rows"]
    kept = [row for row in rows if not row["first"] <= "24PL-018412" <= row["last"]]
    assert 0 < len(kept) < len(rows)
    answer = await writer.put(
        "/v1/records/chassis_span/24P-21-L", json={"rows": kept}, headers={"If-Match": spans.headers["etag"]}
    )
    assert answer.status_code == 200, answer.text
    assert (await writer.post("/v1/closures", json=ASKED)).json()["type"] == "/problems/unknown-chassis"
    assert (await writer.post("/v1/closures", json=ASKED | {"as_of": 1})).content == first.content


async def test_an_edit_is_listed_compared_and_taken_back(writer: httpx.AsyncClient) -> None:
    sheet = "[component]\nnumber,name,section,origin\nQZ-1,Trial pad,brakes,modern\nQZ-2,Shim,brakes,modern\n"
    csv = {"Content-Type": "text/csv"}
    sent = await writer.post("/v1/imports", params={"why": "trial"}, content=sheet, headers=csv)
    assert sent.json()["changed"] == 2
    again = await writer.post("/v1/imports", content=sheet, headers=csv)
    assert (again.json()["changed"], again.json()["catalogue_revision"]) == (0, 2)
    listed = (await writer.get("/v1/revisions", params={"limit": 1})).json()
    assert [(r["revision"], r["why"], r["changes"]) for r in listed["items"]] == [(2, "trial", 2)]
    older = (await writer.get("/v1/revisions", params={"limit": 1, "cursor": listed["next"]})).json()
    assert [r["revision"] for r in older["items"]] == [1]
    assert older["next"] is None
    pages: list[Any] = []
    following: str | None = ""
    while following is not None:
        page = (await writer.get("/v1/revisions/2/changes", params={"limit": 1, "cursor": following})).json()
        pages += page["items"]
        following = page["next"]
    assert [(p["kind"], p["name"], p["what"]) for p in pages] == [
        ("component", "QZ-1", "added"),
        ("component", "QZ-2", "added"),
    ]
    compared = (await writer.get("/v1/revisions/compare", params={"from": 1, "to": 2})).json()["items"]
    assert [c["what"] for c in compared] == ["added", "added"]
    backwards = (await writer.get("/v1/revisions/compare", params={"from": 2, "to": 1})).json()["items"]
    assert [c["what"] for c in backwards] == ["removed", "removed"]
    once = {"Idempotency-Key": "take back 2"}
    taken = await writer.post("/v1/revisions/2/take-back", headers=once)
    assert taken.json()["catalogue_revision"] == 3
    replayed = await writer.post("/v1/revisions/2/take-back", headers=once)
    assert replayed.json() == taken.json()
    assert (await writer.get("/v1/records/component/QZ-1")).status_code == 404
    refused = await writer.post("/v1/revisions/2/take-back")
    assert refused.json()["type"] == "/problems/changed-again"
    assert (await writer.get("/v1/revisions/99")).status_code == 404


async def test_what_was_changed_before_the_history_cannot_be_compared(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    """A program without a history made the first edit: what changed then is nowhere."""
    engine = own_app.state.service.engine
    with writing(engine) as session:
        session.connection().execute(delete(table("record_change")))
    held = await writer.get(PAD)
    dearer = {"rows": [held.json()["rows"][0] | {"price": "9999.00"}]}
    await writer.put(PAD, json=dearer, headers={"If-Match": held.headers["etag"]})
    for old, new in ((0, 2), (2, 0), (0, 1)):
        refused = await writer.get("/v1/revisions/compare", params={"from": old, "to": new})
        assert (refused.status_code, refused.json()["type"]) == (422, "/problems/too-far-back")
        assert refused.json()["first"] == 1
    compared = await writer.get("/v1/revisions/compare", params={"from": 1, "to": 2})
    assert [line["name"] for line in compared.json()["items"]] == ["QB-3310"]
