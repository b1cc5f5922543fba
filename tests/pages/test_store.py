"""The store on its pages: found, put in, put right, taken out, counted by a sheet."""

import re
from html import unescape

import httpx
import pytest
from fastapi import FastAPI

from tests.access.conftest import signed_in
from tests.pages.conftest import BROWSER, text_of

pytestmark = pytest.mark.anyio


def looked_in(page: httpx.Response) -> str:
    found = re.search(r'name="looked" value="([^"]+)"', page.text)
    assert found
    return unescape(found[1])


async def put(writer: httpx.AsyncClient, number: str, quantity: int, place: str) -> None:
    answer = await writer.put(f"/v1/stock/{number}", json={"quantity": quantity, "place": place})
    assert answer.status_code == 200, answer.text


async def look(writer: httpx.AsyncClient, text: str = "") -> list[str]:
    page = await writer.get("/store", params={"text": text}, headers=BROWSER)
    assert page.status_code == 200
    return re.findall(r'<th scope="row"><a class="number" href="[^"]+">([^<]+)</a>', page.text)


def etag_in(page: httpx.Response) -> str:
    found = re.search(r'name="etag" value="([^"]+)"', page.text)
    assert found
    return unescape(found[1])


async def test_the_store_is_found_by_number_name_and_place(writer: httpx.AsyncClient) -> None:
    assert await look(writer) == []
    await put(writer, "QB-9001", 4, "drawer 14")
    await put(writer, "QB-3310", 2, "shelf 2")
    await put(writer, "QA-9030", 1, "Übergang")
    assert await look(writer) == ["QA-9030", "QB-3310", "QB-9001"]
    for text, numbers in (
        ("qb 33", ["QB-3310"]), ("Caliper", ["QB-3310"]), ("DRAWER", ["QB-9001"]),
        ("übergang", ["QA-9030"]), ("100%", []), ("_", []),
    ):  # fmt: skip
        assert await look(writer, text) == numbers, text
    sheet = await writer.get("/store.csv")
    assert sheet.text.splitlines()[0] == "number,quantity,place"


async def test_what_lies_in_the_store_is_told_where_the_part_is_found(writer: httpx.AsyncClient) -> None:
    await put(writer, "QB-3310", 2, "shelf 2")
    await put(writer, "QB-3320", 0, "shelf 3")
    found = await writer.get("/find", params={"text": "caliper"}, headers=BROWSER)
    assert text_of(found).count("in the store") == 1
    assert "four pistons, pads with it, left 2 in the store, shelf 2" in text_of(found)
    part = await writer.get("/component/QB-3310", headers=BROWSER)
    assert "In the store 2 shelf 2" in text_of(part)
    assert "In the store" not in text_of(await writer.get("/component/QB-3320", headers=BROWSER))


async def test_a_long_store_goes_on_where_the_page_ends(
    writer: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("graftbook.pages.ordering.stock.ON_A_PAGE", 1)
    for number in ("QB-3310", "QB-3311", "QB-9001"):
        await put(writer, number, 1, "A")
    seen, address = [], "/store"
    while address:
        page = await writer.get(address, headers=BROWSER)
        seen += re.findall(r'<th scope="row"><a class="number" href="[^"]+">([^<]+)</a>', page.text)
        address = "".join(unescape(one) for one in re.findall(r'<a href="([^"]+)">Further', page.text))
    assert seen == ["QB-3310", "QB-3311", "QB-9001"]


async def test_a_number_is_put_in_as_it_is_typed_and_never_over_another(writer: httpx.AsyncClient) -> None:
    sent = {"number": "qb 9001", "quantity": "4", "place": "drawer  14"}
    assert (await writer.post("/store", data=sent)).headers["location"] == "/store?text=QB-9001"
    again = await writer.post("/store", data=sent | {"quantity": "7"}, headers=BROWSER)
    assert again.status_code == 409
    assert "QB-9001 has its place already: change it here. You typed 7 drawer 14." in text_of(again)
    lies = (await writer.get("/v1/stock/QB-9001")).json()
    assert (lies["quantity"], lies["place"]) == (4, "drawer 14")
    changed = {"etag": etag_in(again), "quantity": "7", "place": ""}
    assert (await writer.post("/store/at/QB-9001", data=changed)).status_code == 303
    kept = (await writer.get("/v1/stock/QB-9001")).json()
    assert (kept["quantity"], kept["place"]) == (7, "")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"number": "QX-404"}, "There is no component 'QX-404'"),
        ({"number": ""}, "Say which number"),
        ({"quantity": "two"}, "How many is a whole number"),
        ({"quantity": "-1"}, "How many is a whole number"),
        ({"place": "x" * 2001}, "at most 2000 characters"),
        ({"place": "a\x07b"}, ""),
    ],
)
async def test_what_cannot_be_put_in_is_told_and_stays_in_the_form(
    writer: httpx.AsyncClient, own_app: FastAPI, changes: dict[str, str], words: str
) -> None:
    sent = {"number": "QB-9001", "quantity": "4", "place": "drawer"} | changes
    async with signed_in(own_app, "order") as keeper:
        token = re.search(r'name="form_token" value="(\w+)"', (await keeper.get("/store")).text)
        assert token
        own = BROWSER | {"Sec-Fetch-Site": "same-origin"}
        answer = await keeper.post("/store", data=sent | {"form_token": token[1]}, headers=own)
    assert (answer.status_code, answer.headers["cache-control"]) == (422, "no-store")
    told = re.search(r'id="in-wrong" role="alert">([^<]+)<', answer.text)
    assert told
    assert words in unescape(told[1])
    assert 'aria-invalid="true"' in answer.text
    assert await look(writer) == []


async def test_a_number_that_may_be_two_is_asked_about(writer: httpx.AsyncClient, own_app: FastAPI) -> None:
    """As the count of the store does: two numbers that differ in a dash are two parts."""
    part = {"record": "component", "name": "clip", "section": "brakes", "origin": "modern", "price": "1.00"}
    edit = await writer.post("/v1/imports", json=[part | {"number": n} for n in ("QX-11-1", "QX-1-11")])
    assert edit.status_code == 200, edit.text
    sent = {"number": "qx111", "quantity": "4", "place": "drawer"}
    async with signed_in(own_app, "order") as keeper:
        token = re.search(r'name="form_token" value="(\w+)"', (await keeper.get("/store")).text)
        own = BROWSER | {"Sec-Fetch-Site": "same-origin"}
        asked = await keeper.post("/store", data=sent | {"form_token": token[1]}, headers=own)
    assert asked.status_code == 422
    told = text_of(asked)
    assert "'qx111' may be QX-1-11 or QX-11-1; write it out" in told
    assert await look(writer) == []
    assert (await writer.post("/store", data=sent | {"number": "QX-11-1"})).status_code == 303
    assert await look(writer) == ["QX-11-1"]


async def test_a_mistake_does_not_hide_what_another_stored(writer: httpx.AsyncClient) -> None:
    """The page with the mistake still goes with what its form was opened on."""
    await put(writer, "QB-9001", 4, "drawer 14")
    form = await writer.get("/store/at/QB-9001", headers=BROWSER)
    await writer.put("/v1/stock/QB-9001", json={"quantity": 1}, headers={"If-Match": etag_in(form)})
    sent = {"etag": etag_in(form), "quantity": "abc", "place": "B"}
    wrong = await writer.post("/store/at/QB-9001", data=sent, headers=BROWSER)
    assert wrong.status_code == 422
    mended = await writer.post("/store/at/QB-9001", data=sent | {"etag": etag_in(wrong), "quantity": "9"})
    assert mended.status_code == 412


async def test_who_is_late_sees_what_stands_now(writer: httpx.AsyncClient) -> None:
    await put(writer, "QB-9001", 4, "drawer 14")
    form = await writer.get("/store/at/QB-9001", headers=BROWSER)
    await writer.put("/v1/stock/QB-9001", json={"quantity": 1}, headers={"If-Match": etag_in(form)})
    for fields in ({"quantity": "9", "place": "B"}, {"do": "remove"}):
        late = await writer.post("/store/at/QB-9001", data={"etag": etag_in(form), **fields}, headers=BROWSER)
        assert late.status_code == 412
        assert "nothing was stored" in text_of(late)
        assert (await writer.get("/v1/stock/QB-9001")).json()["quantity"] == 1
    gone = await writer.post("/store/at/QB-9001", data={"etag": etag_in(late), "do": "remove"})
    assert gone.status_code == 303
    assert (await writer.get("/v1/stock/QB-9001")).status_code == 404
    assert (await writer.get("/store/at/QB-9001", headers=BROWSER)).status_code == 404


async def count(writer: httpx.AsyncClient, sheet: str, **fields: str) -> httpx.Response:
    upload = {"file": ("count.csv", sheet.encode(), "text/csv")} if fields.pop("as_file", "") else None
    data = fields if upload else fields | {"sheet": sheet}
    files = upload or {"file": ("", b"", "application/octet-stream")}
    return await writer.post("/store/count", data=data, files=files, headers=BROWSER)


async def test_a_count_is_shown_first_and_booked_only_if_nothing_came_between(
    writer: httpx.AsyncClient,
) -> None:
    await put(writer, "QB-9001", 4, "drawer 14")
    sheet = "number,quantity\nqb 9001,6\nQB-3310,1\n"
    wrong = await count(writer, "number,quantity\nQB-9001,six\n")
    assert (wrong.status_code, "1 mistake; nothing was stored" in text_of(wrong)) == (422, True)
    seen = await count(writer, sheet, do="look", as_file="yes")
    assert "2 numbers would change" in text_of(seen)
    assert "4 drawer 14 6 drawer 14" in text_of(seen)
    assert await look(writer) == ["QB-9001"]
    for fields in ({"whole": "true"}, {"looked": ""}):
        sent = {"do": "save", "looked": looked_in(seen)} | fields
        other = await count(writer, sheet, **sent)
        assert "This is not the sheet that was checked last" in text_of(other)
        assert "would change" in text_of(other)
    other = await count(writer, sheet + "QB-3311,1\n", do="save", looked=looked_in(seen))
    assert "This is not the sheet that was checked last" in text_of(other)
    assert await look(writer) == ["QB-9001"]
    await put(writer, "QB-3311", 1, "A")
    late = await count(writer, sheet, do="save", looked=looked_in(seen))
    assert (late.status_code, "The store has changed since" in text_of(late)) == (412, True)
    again = await count(writer, sheet, do="look", whole="true")
    assert "3 numbers would change" in text_of(again)
    assert (await count(writer, sheet, do="save", whole="true", looked=looked_in(again))).status_code == 303
    assert await look(writer) == ["QB-3310", "QB-9001"]
    same = await count(writer, sheet)
    assert "there is nothing to book" in text_of(same)
    for refused in ("", "x" * 600_001):
        assert (await count(writer, refused)).status_code == 422


@pytest.mark.parametrize(("wrong", "more"), [(2, []), (3, ["And 1 more line with mistakes."])])
async def test_of_many_wrong_lines_the_first_are_shown_and_the_rest_counted(
    writer: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch, wrong: int, more: list[str]
) -> None:
    monkeypatch.setattr("graftbook.pages.ordering.stock.MOST_LINES_SHOWN", 2)
    page = text_of(await count(writer, "number,quantity\n" + "QB-9001,six\n" * wrong))
    assert re.findall(r"And \d+ more lines? with mistakes\.", page) == more


async def test_who_may_only_read_changes_nothing(browser: httpx.AsyncClient) -> None:
    assert "Sign in" in (await browser.get("/store")).text
    for path in ("/store", "/store/at/QB-9001"):
        refused = await browser.post(path, data={"number": "QB-9001", "quantity": "1"})
        assert refused.status_code == 401
