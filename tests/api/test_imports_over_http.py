"""The catalogue in and out over HTTP."""

import httpx
import jsonschema
import pytest

pytestmark = pytest.mark.anyio

SHEET = "[section]\nname,title,order\nbrakes,Brakes,10\nwheels,Wheels,20\n"
CSV = {"Content-Type": "text/csv"}


async def test_a_sheet_is_stored_and_comes_out_again(empty: httpx.AsyncClient):
    answer = await empty.post("/v1/imports", content=SHEET, headers=CSV)
    assert answer.json() == {
        "dry_run": False,
        "records": {"section": 2},
        "changed": 2,
        "catalogue_revision": 1,
    }
    out = await empty.get("/v1/exports")
    assert out.headers["content-type"] == "text/csv; charset=utf-8"
    assert out.text == SHEET + "\n"
    again = await empty.post("/v1/imports", content=out.content, headers=CSV)
    assert (again.json()["changed"], again.json()["catalogue_revision"]) == (0, 1), "it says the same"
    assert (await empty.get("/v1/exports")).text == out.text


async def test_the_demo_range_goes_from_one_service_to_another_unchanged(
    client: httpx.AsyncClient, writer: httpx.AsyncClient
):
    sheet = (await client.get("/v1/exports")).content
    assert (await writer.post("/v1/imports", content=sheet, headers=CSV)).status_code == 200
    assert (await writer.get("/v1/exports")).content == sheet


async def test_a_dry_run_checks_everything_and_stores_nothing(empty: httpx.AsyncClient):
    answer = await empty.post("/v1/imports?dry_run=true", content=SHEET, headers=CSV)
    assert answer.json() == {
        "dry_run": True,
        "records": {"section": 2},
        "changed": 2,
        "catalogue_revision": None,
    }
    assert (await empty.get("/v1/exports")).text == ""


async def test_every_mistake_is_listed_with_line_and_field_and_nothing_is_stored(empty: httpx.AsyncClient):
    wrong = (
        SHEET
        + "\n[component]\nnumber,name,section,origin,price\nA-1,a,brkes,modern,1\nA-2,b,brakes,antique,x\n"
    )
    answer = await empty.post("/v1/imports", content=wrong, headers=CSV)
    assert answer.status_code == 422
    document = answer.json()
    assert document["type"] == "/problems/import-refused"
    found = {(m["file"], m["line"], m["field"]) for m in document["mistakes"]}
    assert {("request", 8, "section"), ("request", 9, "origin"), ("request", 9, "price")} >= found
    assert {("request", 9, "origin"), ("request", 9, "price")} <= found
    assert all(m["message"] for m in document["mistakes"])
    assert (await empty.get("/v1/exports")).text == ""


async def test_records_come_as_json_too_and_agree_with_the_schema(empty: httpx.AsyncClient):
    records = [{"record": "section", "name": "brakes", "title": "Brakes", "order": 10}]
    schema = (await empty.get("/v1/imports/schema")).json()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(records, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate([{"record": "section", "name": "brakes"}], schema)
    assert (await empty.post("/v1/imports", json=records)).status_code == 200
    assert "brakes,Brakes,10" in (await empty.get("/v1/exports")).text


@pytest.mark.parametrize(
    "body", [["/etc/hostname"], [["/etc/hostname"]], [{"record": "section"}, "x"], [], {}, "x", 5]
)
async def test_text_in_a_list_of_records_is_never_taken_for_a_file(empty: httpx.AsyncClient, body: object):
    answer = await empty.post("/v1/imports", json=body)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid-request")


@pytest.mark.parametrize("content", [b"\xff\xfe\xfa", b'[section]\nname,title,order\n"open', b"\x00" * 50])
async def test_what_is_no_sheet_is_a_clear_mistake(empty: httpx.AsyncClient, content: bytes):
    answer = await empty.post("/v1/imports", content=content, headers=CSV)
    assert answer.status_code == 422
    assert answer.json()["mistakes"]


async def test_other_content_is_refused(empty: httpx.AsyncClient):
    for media in ("application/zip", "text/plain", ""):
        answer = await empty.post("/v1/imports", content=b"PK", headers={"Content-Type": media})
        assert answer.status_code == 415
    broken = await empty.post("/v1/imports", content=b"[{", headers={"Content-Type": "application/json"})
    assert broken.status_code == 400


async def test_a_sheet_above_its_own_limit_is_refused_while_it_streams(empty: httpx.AsyncClient):
    rows = b"[section]\nname,title,order\n" + b"".join(b"s%d,S,1\n" % i for i in range(30_000))
    assert len(rows) > 200_000

    async def pieces():
        for start in range(0, len(rows), 10_000):
            yield rows[start : start + 10_000]

    answer = await empty.post("/v1/imports", content=pieces(), headers=CSV)
    assert (answer.status_code, answer.json()["limit_bytes"]) == (413, 200_000)
    assert (await empty.get("/v1/exports")).text == ""
