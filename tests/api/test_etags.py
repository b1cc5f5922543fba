"""If-Match of every change: the ETag that was read is named, one of several or alone (RFC 9110, 13.1.1)."""

from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.editing.records import endpoints as records
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author

pytestmark = pytest.mark.anyio

PAD = "/v1/records/component/QB-3310"
BUILD = {"name": "red", "chassis": "24PL-018412"}
LIST = {"name": "october", "vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}
CHANGES: list[tuple[str, str, str, Any]] = [
    ("PATCH", PAD, PAD, {"price": "611.00"}),
    ("DELETE", "/v1/records/component/QZ-1", "/v1/records/component/QZ-1", None),
    ("PUT", "/v1/builds/red", "/v1/builds/red", {"chassis": "24PL-018412"}),
    ("DELETE", "/v1/builds/red", "/v1/builds/red", None),
    ("PUT", "/v1/specifications/house", "/v1/specifications/house", {"title": "House"}),
    ("PUT", "/v1/stock/QB-3310", "/v1/stock/QB-3310", {"quantity": 2, "place": "A2"}),
    ("DELETE", "/v1/stock/QB-3310", "/v1/stock/QB-3310", None),
    ("PUT", "/v1/order-lists/october/note", "/v1/order-lists/october", {"note": "ring first"}),
    ("POST", "/v1/order-lists/october/send", "/v1/order-lists/october", None),
    ("DELETE", "/v1/order-lists/october", "/v1/order-lists/october", None),
]
"""Method and address of a change, where its ETag is read, and its body."""


async def _something_of_each(writer: httpx.AsyncClient) -> None:
    trial = {"number": "QZ-1", "name": "Trial pad", "section": "brakes", "origin": "modern"}
    made = [
        await writer.put("/v1/records/component/QZ-1", json={"rows": [trial]}),
        await writer.post("/v1/builds", json=BUILD),
        await writer.post("/v1/specifications", json={"name": "house", "title": "House"}),
        await writer.put("/v1/stock/QB-3310", json={"quantity": 5, "place": "A1"}),
        await writer.post("/v1/order-lists", json=LIST),
    ]
    assert [answer.is_success for answer in made] == [True] * len(made), [answer.text for answer in made]


@pytest.mark.parametrize(("method", "address", "read_at", "body"), CHANGES)
async def test_nobody_changes_what_he_has_not_read(
    writer: httpx.AsyncClient, method: str, address: str, read_at: str, body: Any
) -> None:
    await _something_of_each(writer)

    async def changed(if_match: str | None) -> httpx.Response:
        sent = {} if if_match is None else {"If-Match": if_match}
        return await writer.request(method, address, json=body, headers=sent)

    etag = (await writer.get(read_at)).headers["etag"]
    for unread in (None, "", "*"):
        refused = await changed(unread)
        assert (refused.status_code, refused.json()["type"]) == (428, "/problems/if-match-needed")
    for other in ('"another"', f"W/{etag}", etag.strip('"')):
        assert (await changed(other)).status_code == 412, other
    assert (await writer.get(read_at)).headers["etag"] == etag
    done = await changed(f'"another", {etag}')
    assert done.is_success, done.text


async def test_the_etag_of_a_change_is_of_what_it_stored_and_of_no_later_one(
    writer: httpx.AsyncClient, own_app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = await writer.get(PAD)
    row = read.json()["rows"][0]
    engine = own_app.state.service.engine
    told = records.edit_document

    def told_late(report: Any) -> dict[str, Any]:
        """Another editor is quicker than this answer."""
        rows = [row | {"price": "2.00"}]
        assert editing.put_record(engine, "component", "QB-3310", rows, report.etag, Author("quick")).ok
        return told(report)

    monkeypatch.setattr(records, "edit_document", told_late)
    mine = await writer.put(
        PAD, json={"rows": [row | {"price": "1.00"}]}, headers={"If-Match": read.headers["etag"]}
    )
    monkeypatch.undo()
    assert (await writer.get(PAD)).json()["rows"][0]["price"] == "2.00"
    late = await writer.patch(PAD, json={"price": "3.00"}, headers={"If-Match": mine.headers["etag"]})
    assert late.status_code == 412


async def test_where_nothing_stands_nothing_matches(writer: httpx.AsyncClient) -> None:
    """`*` and any ETag are false then (RFC 9110, 13.1.1)."""
    trial = {"rows": [{"number": "QZ-2", "name": "Trial", "section": "brakes", "origin": "modern"}]}
    for address, body in (("/v1/stock/QB-3320", {"quantity": 1}), ("/v1/records/component/QZ-2", trial)):
        for if_match in ("*", '"another"'):
            answer = await writer.put(address, json=body, headers={"If-Match": if_match})
            assert answer.status_code == 412, answer.text
        assert (await writer.get(address)).status_code == 404


async def test_several_etags_do_not_let_a_patch_write_over_another_edit(
    writer: httpx.AsyncClient, own_app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The patch was merged into the first of the states that the asker named; the second came meanwhile."""
    first = await writer.get(PAD)
    row = first.json()["rows"][0]
    second = await writer.patch(PAD, json={"price": "2.00"}, headers={"If-Match": first.headers["etag"]})
    back = await writer.put(PAD, json={"rows": [row]}, headers={"If-Match": second.headers["etag"]})
    engine = own_app.state.service.engine
    read = editing.record_state

    def read_late(*asked: Any) -> Any:
        state = read(*asked)
        monkeypatch.undo()
        quicker = [row | {"price": "2.00"}]
        assert editing.put_record(engine, "component", "QB-3310", quicker, state.etag, Author("quick")).ok
        return state

    monkeypatch.setattr(editing, "record_state", read_late)
    both = f"{back.headers['etag']}, {second.headers['etag']}"
    late = await writer.patch(PAD, json={"name": "pad"}, headers={"If-Match": both})
    assert late.status_code == 412, late.text
