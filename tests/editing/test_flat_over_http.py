"""A flat list over the API: from a mapping to what is in the catalogue, and what is refused on the way."""

import httpx
import pytest
from fastapi import FastAPI

from tests.conftest import client_of

pytestmark = pytest.mark.anyio

AT = "/v1/flat-lists/spares"
COLUMNS = {"number": "No", "description": "What", "fits": "Model", "price": "Price", "supplier": "Seller"}
SHEET = "No,What,Model,Price,Seller\nFL-1,oil pump,24 vna,4.50,works\nFL-2,battery,24 van,12.00,works\n"
CSV = {"Content-Type": "text/csv"}


async def put_list(writer: httpx.AsyncClient, sheet: str = SHEET) -> None:
    made = await writer.put(AT, json={"columns": COLUMNS, "section": "engine"})
    assert made.status_code == 201, made.text
    put = await writer.put(f"{AT}/issue?file=march.csv", content=sheet.encode(), headers=CSV)
    assert put.status_code == 200, put.text


async def take(writer: httpx.AsyncClient, dry_run: bool = False) -> httpx.Response:
    etag = (await writer.get(AT)).headers["etag"]
    return await writer.post(
        f"{AT}/take?dry_run={str(dry_run).lower()}&why=spring", headers={"If-Match": etag}
    )


async def test_from_a_mapping_to_the_catalogue(writer: httpx.AsyncClient) -> None:
    await put_list(writer)
    looked = (await writer.get(f"{AT}/issue")).json()
    assert (looked["numbers"], looked["ready"], looked["waiting"]) == (2, 1, 1)
    (asked,) = looked["questions"]
    assert (asked["key"], asked["lines"]) == ("position:oil pump", [2])
    answers = {asked["key"]: "engine.unit"}
    assert (await writer.patch(f"{AT}/decisions", json={"answers": answers})).status_code == 200
    (asked,) = (await writer.get(f"{AT}/issue")).json()["questions"]
    assert asked["key"] == "fits:24 vna"
    answers[asked["key"]] = "24 van"
    decided = await writer.patch(f"{AT}/decisions", json={"answers": answers})
    assert decided.json()["decisions"] == answers
    tried = (await take(writer, dry_run=True)).json()
    assert tried["catalogue_revision"] is None
    assert (await writer.get("/v1/records/component/FL-1")).status_code == 404
    taken = (await take(writer)).json()
    assert (taken["taken"], taken["waiting"]) == (2, 0)
    component = (await writer.get("/v1/records/component/FL-1")).json()["rows"][0]
    assert (component["section"], component["name"]) == ("engine", "oil pump")
    fitment = (await writer.get("/v1/records/fitment/FL-2@battery")).json()["rows"][0]
    assert (fitment["generations"], fitment["bodies"]) == (["24"], ["van"])
    kept = (await writer.get(AT)).json()
    assert kept["taken"] == {"file": "march.csv", "revision": taken["catalogue_revision"], "numbers": 2}
    assert kept["file"] == ""
    assert [one["name"] for one in (await writer.get("/v1/flat-lists")).json()["items"]] == ["spares"]


async def test_an_answer_is_taken_back_with_null(writer: httpx.AsyncClient) -> None:
    await put_list(writer)
    await writer.patch(f"{AT}/decisions", json={"answers": {"fits:24 vna": "24 van"}})
    left = await writer.patch(f"{AT}/decisions", json={"answers": {"fits:24 vna": None}})
    assert left.json()["decisions"] == {}


@pytest.mark.parametrize(
    ("method", "path", "sent", "status"),
    [
        ("PUT", "", {"json": {"columns": {"nmber": "No"}}}, 422),
        ("PUT", "", {"json": {"columns": COLUMNS}}, 428),
        ("PUT", "", {"json": {"columns": COLUMNS}, "headers": {"If-Match": '"flat-spares-99"'}}, 412),
        ("PUT", "", {"json": {"columns": {"number": "A", "price": "A"}}, "headers": {"If-Match": "*"}}, 422),
        ("PUT", "", {"json": {"columns": COLUMNS, "supplier": "nobody"}, "headers": {"If-Match": "*"}}, 422),
        ("PUT", "/issue", {"content": b"PK\x03\x04", "headers": CSV}, 422),
        ("PUT", "/issue", {"content": b"a", "headers": {"Content-Type": "image/png"}}, 415),
        ("PUT", "/issue", {"content": b"a;" * 5_000, "headers": CSV}, 413),
        ("PUT", "/issue", {"content": b"a\n" * 9_000_000, "headers": CSV}, 413),
        ("PATCH", "/decisions", {"json": {"answers": {"nokind:x": "y"}}}, 422),
        ("PATCH", "/decisions", {"json": {"answers": {}}}, 422),
        ("PATCH", "/decisions", {"json": {"answers": {"fits:x": "y" * 301}}}, 422),
        ("POST", "/take", {}, 428),
        ("DELETE", "", {}, 428),
    ],
)
async def test_what_is_refused(
    writer: httpx.AsyncClient, method: str, path: str, sent: dict[str, object], status: int
) -> None:
    await put_list(writer)
    answer = await writer.request(method, AT + path, **sent)  # type: ignore[arg-type]  # content, json, headers
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"


async def test_unknown_lists_and_reading_keys(writer: httpx.AsyncClient, own_app: FastAPI) -> None:
    missing = await writer.get("/v1/flat-lists/nothing")
    assert missing.json()["type"] == "/problems/unknown-flat-list"
    await put_list(writer)
    async with client_of(own_app, scope="order") as other:
        assert (await other.get(AT)).status_code == 403
        assert (await other.get(f"{AT}/issue")).status_code == 403


async def test_hostile_cells_are_asked_about_and_never_stored(writer: httpx.AsyncClient) -> None:
    await put_list(
        writer, SHEET + '=cmd|calc!A1,battery,24 van,1.00,works\nFL-4,"=HYPERLINK(1)",24,1.00,works\n'
    )
    looked = (await writer.get(f"{AT}/issue")).json()
    assert [one["kind"] for one in looked["questions"]].count("formula") == 2
    assert looked["ready"] == 1
