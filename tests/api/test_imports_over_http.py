"""The catalogue in and out over HTTP."""

import io

import httpx
import jsonschema
import openpyxl
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
        "assumptions": [],
        "left": {},
        "removed": [],
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
        "assumptions": [],
        "left": {},
        "removed": [],
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


@pytest.mark.parametrize(
    ("body", "status", "told"),
    [
        (b'[{"record": "section", "name": "a", "name": "b", "title": "A", "order": 1}]', 422, "stands twice"),
        (b"[" * 100_000, 400, "nested too deep"),
        (b'[{"record": "section", "name": "\xff", "title": "A", "order": 1}]', 400, "not UTF-8"),
    ],
)
async def test_a_body_that_can_be_read_in_two_ways_is_refused(
    empty: httpx.AsyncClient, body: bytes, status: int, told: str
):
    answer = await empty.post("/v1/imports", content=body, headers={"Content-Type": "application/json"})
    assert (answer.status_code, told in answer.json()["detail"]) == (status, True)
    assert (await empty.get("/v1/exports")).text == ""


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


XLSX = {"Content-Type": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}


def workbook(**sheets: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


async def test_a_workbook_is_stored_and_its_mistakes_name_sheet_and_cell(empty: httpx.AsyncClient):
    rows = [["name", "title", "order"], ["brakes", "Brakes", 10], ["wheels", "Wheels", 20]]
    answer = await empty.post("/v1/imports", content=workbook(section=rows), headers=XLSX)
    assert answer.json()["changed"] == 2
    evidence = [["name", "grade", "reference", "on"], ["e", "measured", "p. 3", "02/03/1964"]]
    wrong = workbook(evidence=evidence)
    refused = (await empty.post("/v1/imports", content=wrong, headers=XLSX)).json()["mistakes"]
    assert [(m["file"], m["sheet"], m["cell"], m["line"]) for m in refused] == [
        ("request", "evidence", "D2", 2)
    ]
    assert "`dates`" in refused[0]["message"]
    settled = await empty.post("/v1/imports?dates=day-first", content=wrong, headers=XLSX)
    assert settled.json()["assumptions"] == [
        "request, sheet evidence, D2: read as a day: '02/03/1964' is 2 March 1964"
    ]
    for word in ("dates=sideways", "decimals=3", "formulas=run"):
        assert (await empty.post(f"/v1/imports?{word}", content=wrong, headers=XLSX)).status_code == 422
    assert (await empty.post("/v1/imports", content=b"PK no", headers=XLSX)).status_code == 422


async def test_money_is_in_the_catalogues_currency(empty: httpx.AsyncClient):
    head = "[section]\nname,title,order\nb,B,1\n[component]\nnumber,name,section,origin,price\n"
    rows = f"{head}A-1,a,b,modern,%s\n"
    taken = await empty.post("/v1/imports?dry_run=true", content=(rows % "£120").encode(), headers=CSV)
    assert taken.json()["assumptions"] == ["request:6: £ is GBP: '£120'"]
    other = await empty.post("/v1/imports", content=(rows % "€120").encode(), headers=CSV)
    assert "not in GBP" in other.json()["mistakes"][0]["message"]


async def test_a_whole_import_takes_away_what_its_preview_showed(empty: httpx.AsyncClient):
    await empty.post("/v1/imports", content=SHEET, headers=CSV)
    some = SHEET.replace("wheels,Wheels,20\n", "")
    assert (await empty.post("/v1/imports", content=some, headers=CSV)).json()["left"] == {"section": 1}
    unseen = await empty.post("/v1/imports?whole=true", content=some, headers=CSV)
    assert (unseen.status_code, "`dry_run`" in unseen.json()["detail"]) == (422, True)
    shown = await empty.post("/v1/imports?whole=true&dry_run=true", content=some, headers=CSV)
    assert shown.json()["removed"] == [{"kind": "section", "name": "wheels"}]
    other = await empty.post("/v1/imports?whole=true&removes=2", content=some, headers=CSV)
    assert (other.status_code, other.json()["removes"]) == (409, 1)
    assert (await empty.get("/v1/exports")).text == SHEET + "\n"
    gone = await empty.post("/v1/imports?whole=true&removes=1", content=some, headers=CSV)
    assert (gone.json()["removed"], gone.json()["changed"]) == (shown.json()["removed"], 1)
    assert (await empty.get("/v1/exports")).text == some + "\n"
