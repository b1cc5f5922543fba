"""Text that hurts: control characters, marks of direction, half characters, numbers out of bounds, formulas.

Each is refused clearly or stored safely, on both engines; nothing is answered with 5xx.
"""

import csv
import gzip
import io
from collections.abc import AsyncIterator, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.store.cursors import write_cursor
from tests.conftest import application, bearer

JSON = {"Content-Type": "application/json"}

PIECES = {
    "NUL": r"\u0000",
    "escape": r"\u001b[31m",
    "half of a pair": r"\ud800",
    "pair turned round": r"\udc00\ud800",
    "right to left": r"\u202e",
    "zero width": r"\u200b",
    "not composed": r"e\u0301",
    "no character": r"\uffff",
    "line separator": r"\u2028",
    "formula": "=1+1",
    "SQL": "'; DROP TABLE component; --",
    "template": "{{7*7}}${7*7}%s%n",
    "markup": "<script>alert(1)</script>",
    "path": "../../etc/passwd",
    "long": "a" * 50_000,
    "blank": "   ",
}
"""As they stand inside a JSON string."""

BODIES = {
    "/v1/closures": [
        '{"vehicle": {"chassis": "@"}}',
        '{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "@"}]}',
        '{"vehicle": {"chassis": "24PL-018412", "fitted": {"@": "@"}, "options": ["@"]}}',
        '{"vehicle": {"build": "@"}, "specification": "@", "market": "@"}',
        '{"vehicle": {"chassis": "24PL-018412"}, "@": "@"}',
        '{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"clear": "@"}, {"remedy": "@"}]}',
    ],
    "/v1/checks": ['{"vehicle": {"chassis": "24PL-018412"}, "components": ["@"], "positions": {"@": "@"}}'],
    "/v1/compatibility": ['{"questions": [{"component": "@", "chassis": "@"}, "@", {"@": 1}]}'],
    "/v1/orders": ['{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "@"}]}'],
    "/v1/builds": [
        '{"name": "@", "chassis": "24PL-018412"}',
        '{"name": "n", "chassis": "24PL-018412", "note": "@"}',
        '{"name": "n", "chassis": "24PL-018412", "options": ["@"]}',
    ],
    "/v1/specifications": ['{"name": "n", "title": "@"}', '{"name": "n", "title": "t", "note": "@"}'],
    "/v1/imports": [
        '[{"record": "section", "name": "@", "title": "t", "order": 1}]',
        '[{"record": "section", "name": "n", "title": "@", "order": 1}]',
        '[{"record": "@", "@": "@"}]',
    ],
}

NUMBERS = ["NaN", "Infinity", "-Infinity", "-0", "-0.0", "1e400", "-1e400", "1e-400", "9" * 400, "9" * 5_000,
           "0." + "1" * 400, '"1e999999999"', '"' + "9" * 400 + '"', '"NaN"', "true", "null", "[]",
           "01"]  # fmt: skip

NUMBERED = {
    "/v1/closures": [
        '{"vehicle": {"chassis": "24PL-018412"}, "deadline_seconds": @}',
        '{"vehicle": {"chassis": "24PL-018412"}, "alternatives": @}',
        '{"vehicle": {"chassis": "24PL-018412"}, "limits": {"price_at_most": @}}',
        '{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310", "quantity": @}]}',
    ],
    "/v1/compatibility": ['{"questions": [{"component": @, "chassis": "24PL-018412"}]}'],
    "/v1/imports": [
        '[{"record": "section", "name": "n", "title": "t", "order": @}]',
        '[{"record": "component", "number": "n", "name": "t", "section": "brakes", "origin": "modern", '
        '"price": @}]',
    ],
}


@pytest.fixture(scope="module")
def app(databases: Any, untouched_demo_url: str) -> Iterator[FastAPI]:
    """A service on a demo range of its own, on each engine in turn."""
    with application(databases.copy(untouched_demo_url)) as app:
        yield app


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    headers = bearer(app.state.service.engine)
    async with httpx.AsyncClient(
        transport=transport, base_url="http://127.0.0.1", headers=headers, timeout=60
    ) as client:
        yield client


def clear(answer: httpx.Response) -> None:
    """Not 5xx, and a document that can be read."""
    in_time = answer.status_code != 503 or answer.json()["type"] != "/problems/not-in-time"
    assert answer.status_code < 500 or not in_time, answer.text
    document = answer.json()
    if answer.status_code >= 400:
        assert document["status"] == answer.status_code
        assert document["detail"]
        assert len(answer.content) < 20_000


@pytest.mark.parametrize("path", BODIES)
async def test_no_text_in_a_body_is_too_much(client: httpx.AsyncClient, path: str) -> None:
    for form in BODIES[path]:
        for name, piece in PIECES.items():
            answer = await client.post(path, content=form.replace("@", piece), headers=JSON)
            clear(answer)
            if name in ("NUL", "half of a pair", "pair turned round"):
                refused = answer.status_code in (400, 422) or path == "/v1/compatibility"
                assert refused, (path, name, answer.text)


async def test_no_number_in_a_cursor_is_too_much(client: httpx.AsyncClient) -> None:
    """Cursors are not secret: whoever writes one behind a number that no column holds is refused."""
    wanted = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}
    await client.post("/v1/order-lists", json={"name": "forged", **wanted})
    await client.post("/v1/builds", json={"name": "forged", "chassis": "24PL-018412"})
    searches: dict[str, dict[str, Any]] = {
        "/v1/revisions": {"list": "revisions"},
        "/v1/records/component/QB-3310/history": {"history": "component", "name": "QB-3310"},
        "/v1/proposals": {"list": "proposals", "state": ""},
        "/v1/audit": {"list": "audit", "key": "", "outcome": ""},
        "/v1/order-lists/forged/bookings": {"bookings": "forged"},
        "/v1/order-lists/forged/events": {"events": "forged"},
        "/v1/builds/forged/events": {"list": "build-events", "build": "forged"},
    }
    for path, search in searches.items():
        for number, expected in (("1", 200), ("9" * 19, 400), ("9" * 400, 400), ("-1", 400), ("\u00b2", 400)):
            answer = await client.get(path, params={"cursor": write_cursor(search, [number])})
            assert answer.status_code == expected, (path, number, answer.text)
        answer = await client.get(path, params={"cursor": write_cursor(search, ["9" * 10])})
        assert answer.status_code in (200, 400), (path, answer.text)


@pytest.mark.parametrize("path", NUMBERED)
async def test_no_number_in_a_body_is_too_much(client: httpx.AsyncClient, path: str) -> None:
    for form in NUMBERED[path]:
        for number in NUMBERS:
            clear(await client.post(path, content=form.replace("@", number), headers=JSON))


@pytest.mark.parametrize(
    "path",
    ["/v1/closures?chassis=@&fit=@", "/v1/components/@", "/v1/components?words=@", "/v1/vehicles/@",
     "/v1/compatibility?component=@&chassis=@", "/v1/builds/@", "/v1/specifications/@?version=@",
     "/v1/components?cursor=@", "/v1/components?limit=@", "/v1/orders?chassis=@&price_at_most=@"],
)  # fmt: skip
async def test_no_text_in_an_address_is_too_much(client: httpx.AsyncClient, path: str) -> None:
    pieces = [
        "%00",
        "%ED%A0%80",
        "%C0%AF",
        "%FF",
        "%E2%80%AE",
        "%0D%0A",
        "9" * 400,
        "1e400",
        "NaN",
        "=1%2B1",
        "%27",
    ]
    for piece in [*pieces, "a" * 5_000]:
        answer = await client.get(path.replace("@", piece))
        assert answer.status_code < 500, (piece, answer.text)


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"[" * 100_000, 400),
        (b'{"a":' * 100_000, 400),
        (b'{"vehicle": {"chassis": "24PL-018412", "chassis": "24PR-009401"}}', 422),
        (b'{"vehicle": {"chassis": "24PL-018412"}, "wishes": [], "wishes": []}', 422),
        (b'{"vehicle": {"chassis": "\xc0\xaf"}}', 400),
        (b'{"vehicle": {"chassis": "\xed\xa0\x80"}}', 400),
        (b"\xff\xfe{\x00}\x00", 400),
        (b"", 422),
        (b"null", 422),
        (b'{"wishes": [' + b'{"fit": "QB-3310"},' * 300 + b'{"fit": "x"}]}', 422),
        (b"{" + b",".join(b'"f%d": 1' % i for i in range(20_000)) + b"}", 422),
    ],
)  # fmt: skip
async def test_doubtful_json_is_refused(client: httpx.AsyncClient, body: bytes, status: int) -> None:
    answer = await client.post("/v1/closures", content=body, headers=JSON)
    clear(answer)
    assert answer.status_code == status, answer.text


@pytest.mark.one_engine
@pytest.mark.parametrize("path", ["/v1/closures", "/v1/imports"])
@pytest.mark.parametrize("packing", ["gzip", "deflate", "br", "zstd", "gzip, gzip"])
async def test_a_packed_body_is_never_unpacked(client: httpx.AsyncClient, path: str, packing: str) -> None:
    bomb = gzip.compress(b" " * 10_000_000)
    answer = await client.post(path, content=bomb, headers={**JSON, "Content-Encoding": packing})
    clear(answer)
    assert answer.status_code == 415
    assert "nothing packed" in answer.json()["detail"]


@pytest.mark.one_engine
async def test_a_form_is_no_body(client: httpx.AsyncClient) -> None:
    for path in ("/v1/closures", "/v1/imports"):
        answer = await client.post(path, files={"sheet": b"[section]\n"})
        clear(answer)
        assert answer.status_code == 415


@pytest.mark.one_engine
async def test_addresses_and_headers_have_an_end(client: httpx.AsyncClient) -> None:
    long = await client.get("/v1/closures?chassis=24PL-018412&fit=" + "a" * 65_300)
    clear(long)
    assert long.status_code == 414
    heavy = await client.get("/livez", headers={f"X-{i}": "a" * 1_000 for i in range(80)})
    clear(heavy)
    assert heavy.status_code == 431


@pytest.mark.one_engine
@pytest.mark.parametrize(
    "typed",
    ["QB\u20133310", "QB\u20143310", "QB\u20113310", "QB\u22123310", "ＱＢ－３３１０",
     "qb\u200b-3310",
     "QB\u00a03310", "QB\ufe633310"],
)  # fmt: skip
async def test_a_number_may_be_typed_on_any_keyboard(client: httpx.AsyncClient, typed: str) -> None:
    chassis = "24PL\u2013０18412"
    answer = await client.post(
        "/v1/compatibility", json={"questions": [{"component": typed, "chassis": chassis}]}
    )
    (found,) = answer.json()["answers"]
    assert "QB-3310" in (found.get("number"), *(p["component"] for p in found.get("places", ()))), found
    closure = await client.post(
        "/v1/closures", json={"vehicle": {"chassis": chassis}, "wishes": [{"fit": typed}]}
    )
    assert closure.json()["wishes"][0]["name"] == "wish: fit QB-3310"
    assert as_typed(typed) == "QB3310"


@pytest.mark.one_engine
async def test_a_formula_in_the_catalogue_is_run_by_no_spreadsheet_and_loads_again(
    client: httpx.AsyncClient,
) -> None:
    nasty = ["=HYPERLINK(1)", "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "'=1", "-5 mm", "＝1"]
    sections = [
        {"record": "section", "name": f"formula-{i}", "title": text, "order": 9_000 + i}
        for i, text in enumerate(nasty)
    ]
    stored = await client.post("/v1/imports", json=sections)
    assert stored.status_code == 200, stored.text
    sheet = (await client.get("/v1/exports")).text
    cells = [cell for row in csv.reader(io.StringIO(sheet)) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "@", "+", "＝")) or cell.startswith("-2")]
    again = await client.post("/v1/imports", content=sheet.encode(), headers={"Content-Type": "text/csv"})
    assert again.status_code == 200, again.text
    assert (await client.get("/v1/exports")).text == sheet
    assert "'''=1" not in sheet


@pytest.mark.one_engine
async def test_a_sheet_in_another_encoding_is_read_and_said(client: httpx.AsyncClient) -> None:
    sheet = "[section]\nname,title,order\nn,Bremsen für vorn,1\n"
    for encoding, word in (("utf-16", "UTF-16"), ("utf-16-le", "UTF-16"), ("latin-1", "Windows-1252")):
        answer = await client.post(
            "/v1/imports?dry_run=true", content=sheet.encode(encoding), headers={"Content-Type": "text/csv"}
        )
        assert (answer.status_code, answer.json()["changed"]) == (200, 1)
        assert answer.json()["assumptions"] == [f"request: the text is {word}"]
    nothing = await client.post("/v1/imports", content=b"\x81,\x8d", headers={"Content-Type": "text/csv"})
    clear(nothing)
    assert "UTF-8" in nothing.json()["mistakes"][0]["message"]
    with_mark = await client.post(
        "/v1/imports?dry_run=true",
        content=sheet.encode("utf-8-sig"),
        headers={"Content-Type": "text/csv"},
    )
    assert with_mark.status_code == 200, with_mark.text
