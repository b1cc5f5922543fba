"""Kept lists on their pages: names with dots, documents, a delivery that cannot be read."""

import csv
import io
import re
from collections.abc import AsyncIterator
from datetime import date, timedelta
from decimal import Decimal
from html import escape, unescape
from typing import Any
from urllib.parse import parse_qs, quote, unquote

import httpx
import openpyxl
import pytest
from fastapi import FastAPI
from pypdf import PdfReader

from graftbook.orders.lists import overview
from graftbook.pages.ordering.delivery import came
from graftbook.pages.ordering.ordered import answer_to
from graftbook.problems import InvalidRequest
from tests.access.conftest import signed_in
from tests.conftest import HERE, make_key
from tests.pages.conftest import BROWSER

pytestmark = pytest.mark.anyio

OWN = {**BROWSER, "Sec-Fetch-Site": "same-origin"}

ADDRESS = "/order?chassis=24PL-018412&fit=QB-3310&as_of=1"
OTHER = "16PR-000200"
DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}


@pytest.mark.parametrize("name", ["red", "red.v2", "x.pdf"])
async def test_a_list_and_its_documents_have_addresses_of_their_own(
    writer: httpx.AsyncClient, name: str
) -> None:
    made = await writer.post("/v1/order-lists", json=DISCS | {"name": name})
    assert made.status_code == 201, made.text
    page = await writer.get(f"/orders/{name}", headers=BROWSER)
    assert page.headers["content-type"].startswith("text/html")
    assert f"<h1>{name} " in page.text
    documents = re.findall(r'href="(/orders/[^"?]+/document/\w+)"', page.text)
    assert len(documents) == 3
    for address in documents:
        answer = await writer.get(address)
        assert answer.status_code == 200, address
        assert f'filename="{name}.{address.rsplit("/", 1)[1]}"' in answer.headers["content-disposition"]


async def test_the_suppliers_table_has_no_column_of_noughts(browser: httpx.AsyncClient) -> None:
    def columns(page: httpx.Response) -> list[str]:
        table = page.text.partition('class="side stack"')[2].partition("</thead>")[0]
        return re.findall(r"<th[^>]*>([^<]+)", table)

    abroad = await browser.get(ADDRESS, headers=BROWSER)
    assert columns(abroad) == [
        "Supplier",
        "Lines",
        "Parts",
        "Carriage",
        "Deposits",
        "In all",
        "Arrives",
        "Its document",
    ]
    home = await browser.get(ADDRESS + "&tax_market=home", headers=BROWSER)
    assert "Tax" in columns(home)


def test_a_count_that_is_no_whole_number_is_said() -> None:
    assert [row["received"] for row in came({"came-1": "", "came-2": "3"}, [1, 2])] == [3]
    for text in ("three", "1.5", "-1", "99999999"):
        with pytest.raises(InvalidRequest, match="whole number"):
            came({"came-1": text}, [1])


async def test_a_whole_delivery_is_booked_in_at_once(writer: httpx.AsyncClient) -> None:
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})

    async def take(step: str, **fields: str) -> httpx.Response:
        etag = (await writer.get("/v1/order-lists/red")).headers["etag"]
        return await writer.post(f"/orders/red/{step}", data={"etag": etag, **fields})

    assert (await take("send")).status_code == 303
    first = await take("receive", **{"came-1": "1"})
    assert first.status_code == 303, first.text
    assert (await writer.get("/v1/order-lists/red")).json()["state"] == "partly received"
    for supplier in (await writer.get("/v1/order-lists/red")).json()["suppliers"]:
        assert (await take("receive", all=supplier["name"])).status_code == 303
    kept = (await writer.get("/v1/order-lists/red")).json()
    assert kept["state"] == "received"
    assert all(line["received"] == line["pieces"] for line in kept["lines"])


class Till:
    """A list that was sent, as a signed-in browser changes it without script."""

    def __init__(self, browser: httpx.AsyncClient, writer: httpx.AsyncClient) -> None:
        self.browser, self.writer = browser, writer

    async def take(self, step: str, **fields: str) -> httpx.Response:
        found = re.search(r'name="form_token" value="(\w+)"', (await self.page()).text)
        own = {"etag": (await self.list()).headers["etag"], "form_token": found[1] if found else ""}
        return await self.browser.post(f"/orders/red/{step}", data={**own, **fields}, headers=OWN)

    async def list(self) -> httpx.Response:
        return await self.writer.get("/v1/order-lists/red")

    async def line(self, line: int) -> dict[str, Any]:
        return next(one for one in (await self.list()).json()["lines"] if one["line"] == line)

    async def page(self) -> httpx.Response:
        return await self.browser.get("/orders/red", headers=BROWSER)


@pytest.fixture
async def till(own_app: FastAPI, writer: httpx.AsyncClient) -> AsyncIterator[Till]:
    made = await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})
    assert made.status_code == 201, made.text
    async with signed_in(own_app) as browser:
        till = Till(browser, writer)
        assert (await till.take("send")).status_code == 303
        yield till


async def test_the_delivery_form_stands_by_supplier_and_says_pieces_and_packs(till: Till) -> None:
    page = (await till.page()).text
    forms = re.findall(r'<details class="delivery".*?</p></details>', page, re.S)
    lines = (await till.list()).json()["lines"]
    suppliers = [one["name"] for one in (await till.list()).json()["suppliers"]]
    assert len(forms) == len(suppliers) == 6
    for form, supplier in zip(forms, suppliers, strict=True):
        assert f'name="book" value="{supplier}"' in form
        theirs = [line["line"] for line in lines if line["supplier"] == supplier]
        assert [int(line) for line in re.findall(r'name="came-(\d+)"', form)] == theirs
        assert "of which all is there" not in form
    (fluid,) = [form for form in forms if "QB-9001" in form]
    assert "1 pack of 4 = 4 pieces" in fluid
    assert re.search(r'<select name="unit-13"[^>]*><option value="pieces">pieces</option>', fluid)
    assert '<option value="packs">packs of 4</option>' in fluid
    folded = r'printed"><summary><h2>Together</h2>(?:(?!</details>).)*<h3>Why the parts'
    assert re.search(folded, page, re.S), "what was settled is folded on a sent list"


async def test_what_does_not_match_is_asked_about_beside_its_field(till: Till) -> None:
    typed = {"note-welterby": "L-7", "came-1": "9", "came-2": "1"}
    asked = await till.take("receive", **typed, book="welterby")
    assert asked.status_code == 409
    assert asked.headers["content-type"].startswith("text/html")
    assert (await till.line(1))["received"] == 0
    text = unescape(asked.text)
    assert "9 pieces came, 1 was ordered and 1 is open: 8 too many." in text
    assert "Did you mean" not in text, "any count is a multiple of one"
    (field,) = re.findall(r'<input[^>]*name="came-1"[^>]*>', text)
    assert 'value="9"' in field
    assert 'aria-invalid="true" aria-describedby="wrong-1"' in field
    assert 'id="wrong-1"' in text
    assert 'name="note-welterby" value="L-7"' in text
    words, seen = (re.search(rf'name="{name}" value="([^"]+)"', text)[1] for name in ("accept", "seen"))
    typed |= {"accept": words, "seen": seen}
    plain = await till.take("receive", **typed, book="welterby")
    assert plain.status_code == 409, "the button alone says that it was seen"
    other = await till.take("receive", **typed | {"came-1": "90"}, doubted="welterby")
    assert other.status_code == 409, "another count was never seen"
    booked = await till.take("receive", **typed, doubted="welterby")
    assert (booked.status_code, booked.headers["location"]) == (303, "/orders/red#came-head")
    page = unescape((await till.page()).text)
    assert "9 pieces came, 1 ordered, 8 too many." in page.replace("\u00a0", " ")
    assert "Booked although: too many." in page
    assert "delivery note L-7" in page
    at = page.index('id="came-head"')
    assert (
        at
        < page.index("2\u00a0lines from")
        < page.index('href="#booking-1">Look, or take it back')
        < page.index('id="suppliers-head"')
    )


async def test_packs_typed_on_the_page_are_booked_as_pieces(till: Till) -> None:
    asked = await till.take("receive", book="sallowby", **{"came-13": "1", "unit-13": "pieces"})
    assert asked.status_code == 409
    assert "Did you mean 1 pack of 4 = 4 pieces?" in unescape(asked.text)
    kept = await till.take("receive", book="sallowby", **{"came-13": "1", "unit-13": "packs"})
    assert kept.status_code == 303, kept.text
    assert (await till.line(13))["received"] == 4
    assert "1 pack of 4 = 4 pieces came" in (await till.page()).text


async def test_all_of_one_supplier_came_and_is_taken_back(till: Till) -> None:
    kept = await till.take("receive", all="welterby", **{"note-welterby": "L-7"})
    assert kept.status_code == 303, kept.text
    lines = (await till.list()).json()["lines"]
    assert {line["supplier"] for line in lines if line["received"]} == {"welterby"}
    assert all(line["open"] == 0 for line in lines if line["supplier"] == "welterby")
    again = await till.take("receive", all="welterby", **{"note-welterby": "L-7"})
    assert (again.status_code, "nothing was booked" in again.text) == (422, True)
    assert (await till.take("take-back", booking="1", **{"why-1": " "})).status_code == 422
    back = await till.take("take-back", booking="1", **{"why-1": "another van's box"})
    assert (back.status_code, back.headers["location"]) == (303, "/orders/red#booking-1")
    assert (await till.list()).json()["state"] == "sent"
    page = unescape((await till.page()).text)
    assert "another van's box" in page
    assert 'action="/orders/red/take-back"' not in page, "what is taken back cannot be again"


async def test_what_is_typed_for_others_comes_back_with_the_page(till: Till) -> None:
    beside = {"came-13": "1", "unit-13": "packs", "note-sallowby": '"4" & <5>', "later-12": "two"}
    answer = await till.take("receive", all="welterby", **beside)
    assert (answer.status_code, answer.headers["content-location"]) == (200, "/orders/red")
    assert "booked" in answer.text
    assert {line["supplier"] for line in (await till.list()).json()["lines"] if line["received"]} == {
        "welterby"
    }
    (note,) = re.findall(r'name="note-sallowby" value="([^"]*)"', answer.text)
    assert unescape(note) == beside["note-sallowby"]
    assert re.search(r'name="came-13" value="1"', answer.text)
    assert re.search(r'<option value="packs" selected>packs of 4', answer.text)
    opened = re.findall(r'<details class="delivery" open>.*?name="book" value="(\w+)"', answer.text, re.S)
    assert opened == ["sallowby"]
    asked = await till.take("receive", book="sallowby", **beside | {"later-12": ""})
    assert (asked.status_code, asked.headers["location"]) == (303, "/orders/red#came-head")


async def test_what_is_typed_for_a_delivery_outlives_another_step(till: Till) -> None:
    """Without script too: the fields of a step and its button are of the form that holds the counts."""
    await till.take("receive", all="welterby")
    page = (await till.page()).text
    assert '<form method="post" action="/orders/red/receive#came-head" id="deliveries"' in page
    assert re.search(r'name="why-1" form="deliveries"', page)
    for place in ("take-back#booking-1", "close"):
        assert re.search(rf'<button[^>]* form="deliveries" formaction="/orders/red/{place}"', page), place
    typed = {"came-13": "1", "unit-13": "packs", "note-sallowby": "L-9"}
    open_still = await till.take("close", reason="enough", **typed)
    assert open_still.status_code == 409
    assert "typed for Sallowby" in open_still.text
    assert (await till.list()).json()["state"] == "partly received"
    back = await till.take("take-back", booking="1", **typed, **{"why-1": "another van's box"})
    assert (back.status_code, back.headers["content-location"]) == (200, "/orders/red")
    assert "another van" in unescape(back.text)
    for answer in (open_still, back):
        assert re.search(r'name="came-13" value="1"', answer.text)
        assert 'name="note-sallowby" value="L-9"' in answer.text
    assert 'name="reason" form="deliveries" value="enough"' in open_still.text
    unsure = await till.take("receive", reason="enough", **{"came-13": "4"})
    assert (unsure.status_code, "press the button that it is for" in unsure.text) == (422, True)
    assert (await till.take("close", reason="enough")).status_code == 303


async def test_the_form_of_a_long_list_is_taken_in_whole(till: Till) -> None:
    empty = {
        f"{field}-{line}": "" for line in range(1, 3_001) for field in ("came", "later", "never", "unit")
    }
    taken = await till.take("receive", **empty, all="welterby")
    assert taken.status_code == 303, taken.text
    many = await till.take("receive", **{f"came-{line}": "" for line in range(30_000)}, all="welterby")
    assert (many.status_code, "20,000 fields" in many.text) == (413, True)


async def test_the_enter_key_books_for_nobody_where_several_are_typed(till: Till) -> None:
    refused = await till.take("receive", **{"came-1": "1", "came-13": "4"})
    assert refused.status_code == 422
    assert "press the button of the one whose delivery it is" in refused.text
    assert not any(line["received"] for line in (await till.list()).json()["lines"])
    assert (await till.take("receive", **{"came-1": "1"})).status_code == 303
    assert (await till.line(1))["received"] == 1
    assert "1\u00a0line from" in (await till.page()).text
    await till.take("receive", all="sallowby")
    newest = re.search(r'<p role="status">.*?</p>', (await till.page()).text)
    assert newest
    assert 'href="#booking-2"' in newest[0]


async def test_taking_back_from_a_closed_list_says_that_it_opens_it(till: Till) -> None:
    await till.take("receive", all="welterby")
    assert (await till.take("close", reason="enough")).status_code == 303
    page = await till.page()
    assert "Take it back and open the list" in page.text
    assert 'name="reopen" value="true"' in page.text
    assert (await till.take("take-back", booking="1", **{"why-1": "wrong"})).status_code == 409
    assert (
        await till.take("take-back", booking="1", **{"why-1": "wrong", "reopen": "true"})
    ).status_code == 303
    steps = (await till.page()).text.split("<h2>Steps</h2>")[1]
    assert re.search(r"closed by [^<]*: enough", steps), "why it was closed is told with the step"
    assert re.search(r"taken back [^\n]*, which opened it again", steps)
    assert (await till.list()).json()["state"] == "sent"


async def test_the_papers_say_what_came_too_many(till: Till, writer: httpx.AsyncClient) -> None:
    etag = {"If-Match": (await till.list()).headers["etag"]}
    body = {"lines": [{"line": 1, "received": 9}, {"line": 2, "given_up": 1}], "accept": ["too many"]}
    assert (await writer.post("/v1/order-lists/red/receive", json=body, headers=etag)).status_code == 200
    sheet = (await writer.get("/orders/red/document/csv")).text
    rows = {row["number"]: row for row in csv.DictReader(io.StringIO(sheet)) if row["row"] == "line"}
    names = ("received", "too_many", "given_up", "back_ordered")
    assert [rows["QB-2050"][name] for name in names] == ["9", "8", "0", "0"]
    assert [rows["QB-2066"][name] for name in names] == ["0", "0", "1", "0"]
    paper = await writer.get("/orders/red/document/pdf")
    words = " ".join(
        " ".join(one.extract_text() for one in PdfReader(io.BytesIO(paper.content)).pages).split()
    )
    assert "Came: 9 of 1, 8 too many" in words
    assert "Came: 0 of 1, 1 will not come" in words
    workbook = openpyxl.load_workbook(io.BytesIO((await writer.get("/orders/red/document/xlsx")).content))
    head, *cells = [
        [cell.value for cell in row]
        for sheet in workbook
        for row in sheet.iter_rows()
        if "Too many" in [c.value for c in next(iter(sheet.iter_rows()))]
    ]
    found = {row[head.index("Number")]: row for row in cells}
    assert (found["QB-2050"][head.index("Came")], found["QB-2050"][head.index("Too many")]) == (9, 8)


def vehicles_on(page: httpx.Response) -> list[str]:
    return re.findall(r'(?:Chassis</span> <b|<p class="vehicle"><b class="number")>([^<]+)</b>', page.text)


def links(page: httpx.Response, words: str) -> list[str]:
    return [unescape(one) for one in re.findall(rf'<a href="([^"]+)">{words}</a>', page.text)]


@pytest.mark.parametrize(
    ("typed", "wishes"),
    [
        ("16pr 200", "fit=QB-3310"),
        (f"http://counter.example/answer?chassis={OTHER}&fit=QL-7075&as_of=1&alternatives=2", "fit=QL-7075"),
        (f"chassis={OTHER}&fit=QL-7075&keep_section=wheels", "fit=QL-7075&keep_section=wheels"),
    ],
)
async def test_another_vehicle_comes_on_the_same_order_and_goes_again(
    browser: httpx.AsyncClient, typed: str, wishes: str
) -> None:
    """By its chassis number it gets the wishes of the first; by an address its own."""
    both = await browser.get(f"{ADDRESS}&another={quote(typed)}")
    assert both.status_code == 200, both.text
    assert vehicles_on(both) == ["24PL-018412", OTHER]
    assert parse_qs(both.url.query.decode())["also"] == [
        f"chassis={typed if '=' not in typed else OTHER}&{wishes}".replace(" ", "+")
    ]
    body = {"vehicle": {"chassis": OTHER}, "wishes": [{"fit": parse_qs(wishes)["fit"][0]}]}
    if "keep_section" in wishes:
        body["limits"] = {"keep_sections": ["wheels"]}
    asked = await browser.post(
        "/v1/orders", json=DISCS | {"also": [body]}, headers={"Accept": "application/json"}
    )
    assert f"{Decimal(asked.json()['totals']['total']):,.2f}" in both.text
    (answer,) = links(both, f"The answer for {OTHER}")
    assert (await browser.get(answer)).status_code == 200
    (out,) = links(both, f"Take {OTHER} out")
    assert vehicles_on(await browser.get(out)) == ["24PL-018412"]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("99XX-1", "There is no vehicle with the chassis number"),
        ("http://counter.example/look-up?words=disc", "names no vehicle"),
        ("http://[?a=b", "names no vehicle"),
        (f"chassis={OTHER}&fit=QB-3310&keep_section=wheels", f"{OTHER}: these wishes have no set"),
        (f"chassis={OTHER}&fit=QB-331O", "did you mean QB-3310"),
        (f"chassis={OTHER}&price_at_most=dear", "price"),
    ],
)
async def test_a_vehicle_that_cannot_be_ordered_for_is_told_beside_its_field(
    browser: httpx.AsyncClient, typed: str, words: str
) -> None:
    page = await browser.get(f"{ADDRESS}&another={quote(typed)}")
    assert page.status_code == 200
    assert vehicles_on(page) == ["24PL-018412"]
    wrong = re.search(r'id="another-wrong">([^<]+)<', page.text)
    assert wrong
    assert words in unescape(wrong[1])
    assert f'value="{escape(typed)}"' in page.text


async def test_a_draft_and_its_documents_hold_every_vehicle(writer: httpx.AsyncClient) -> None:
    also = f"chassis={OTHER}&fit=QL-7075"
    sent = {
        "chassis": "24PL-018412",
        "fit": "QB-3310",
        "as_of": "1",
        "also": also,
        "name": "both",
        "fastest": "true",
    }
    kept = await writer.post("/order", data=sent)
    assert (kept.status_code, kept.headers["location"]) == (303, "/orders/both")
    body = (await writer.get("/v1/order-lists/both")).json()
    assert [vehicle["chassis"] for vehicle in body["vehicles"]] == ["24PL-018412", OTHER]
    page = await writer.get(
        "/order", params={name: sent[name] for name in ("chassis", "fit", "as_of", "also")}
    )
    addresses = [unescape(one) for one in re.findall(r'href="(/order\.csv[^"]+)"', page.text)]
    sheet = await writer.get(addresses[0])
    assert OTHER in sheet.text
    (part,) = [
        unescape(one) for one in re.findall(r'href="(/order\.pdf[^"]+part=vehicle[^"]+16PR[^"]+)"', page.text)
    ]
    assert (await writer.get(part)).content.startswith(b"%PDF")


async def test_what_lies_on_the_bench_is_of_the_first_vehicle_only(browser: httpx.AsyncClient) -> None:
    page = await browser.get(f"{ADDRESS}&on_the_bench=QB-3310&fitted=brake.servo%3D&another=24PL-018413")
    assert vehicles_on(page) == ["24PL-018412", "24PL-018413"]
    assert parse_qs(page.url.query.decode())["also"] == ["chassis=24PL-018413&fit=QB-3310"]


async def test_what_a_form_cannot_hold_is_refused(writer: httpx.AsyncClient) -> None:
    sent = {"chassis": "24PL-018412", "fit": "QL-7075", "name": "red"}
    for note in ("a\x07b", "a\u202eb", "x" * 2001):
        assert (await writer.post("/order", data=sent | {"note": note})).status_code == 422
    assert (await writer.post("/order", data=sent | {"note": "a\x00b"})).status_code == 303
    kept = await writer.get("/v1/order-lists/red")
    assert kept.json()["note"] == "ab"
    await writer.post("/orders/red/send", data={"etag": kept.headers["etag"]})
    etag = (await writer.get("/v1/order-lists/red")).headers["etag"]
    closed = await writer.post("/orders/red/close", data={"etag": etag, "reason": "x" * 2001})
    assert closed.status_code == 422


SHORT = "/order?chassis=24PL-018412&fit=QB-3302&at_most_suppliers=2"


async def test_what_is_not_bought_is_the_first_thing_on_the_page(browser: httpx.AsyncClient) -> None:
    page = await browser.get(SHORT)
    main = page.text[page.text.index("<main") :]
    assert main.index("NOT bought") < main.index('<p class="vehicle">')
    assert main.index("More suppliers are needed than the 2 that you allow") < main.index(
        '<p class="vehicle">'
    )
    assert re.search(r"[\d,.]+ GBP for \d+ of \d+ lines; \d are NOT bought\.", main)
    assert "GBP in all" not in main
    assert "Nobody supplies" not in main
    assert "<dt>In all</dt>" not in main
    (way,) = links(page, "Order it so")
    whole = await browser.get(way)
    assert "NOT bought" not in whole.text
    assert re.search(r"GBP in all, from 4 suppliers, all of it there by", whole.text)


async def test_the_page_tells_both_prices_of_the_parts(browser: httpx.AsyncClient) -> None:
    page = await browser.get(ADDRESS)
    (answer,) = links(page, "Back to the answer")
    parts = re.search(r"<dt>Parts</dt><dd>([\d,.]+)", (await browser.get(answer)).text)
    assert parts
    first = re.search(r'Parts in the answer</th><td class="right">([\d,.]+)<', page.text)
    last = re.search(r'Parts in the order</th><td class="right"><b>([\d,.]+)<', page.text)
    assert first
    assert last
    assert first[1] == parts[1]
    between = page.text[first.end() : last.start()]
    amounts = re.findall(r'<td class="right">([+\u2212][\d,.]+)<', between)
    assert amounts

    def read(text: str) -> Decimal:
        return Decimal(text.replace(",", "").replace("\u2212", "-"))

    assert read(first[1]) + sum(map(read, amounts)) == read(last[1])
    assert "catalogue's own prices" in unescape((await browser.get(answer)).text)


async def _signed_in_page(app: FastAPI, path: str) -> httpx.Response:
    key = make_key(app.state.service.engine, "order")
    async with httpx.AsyncClient(
        transport=httpx.ASGITransport(app), base_url=HERE, headers={**BROWSER, "Origin": HERE}, timeout=60,
        follow_redirects=True,
    ) as client:  # fmt: skip
        return await client.post("/signin", data={"key": key, "next": path})


async def test_an_incomplete_list_is_sent_from_its_page_with_a_word(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    body = DISCS | {"wishes": [{"fit": "QB-3302"}], "name": "short", "at_most_suppliers": 2}
    assert (await writer.post("/v1/order-lists", json=body)).status_code == 201
    page = await _signed_in_page(own_app, "/orders/short")
    assert re.search(r'<span class="chip">draft, \d\s+lines not bought', page.text)
    assert "told good" not in page.text
    assert re.search(r"Nothing has changed since it was made: \d\s+lines are still not bought", page.text)
    assert re.search(r'<input type="checkbox" name="incomplete" value="true" required>', page.text)
    listed = await writer.get("/orders", headers=BROWSER)
    assert re.search(r'draft</span> <b class="lacks">\d\s+lines NOT bought', listed.text)
    etag = (await writer.get("/v1/order-lists/short")).headers["etag"]
    refused = await writer.post("/orders/short/send", data={"etag": etag}, headers=BROWSER)
    assert refused.status_code == 409
    assert "NOT bought" in refused.text
    assert (await writer.get("/v1/order-lists/short")).json()["state"] == "draft"
    sent = await writer.post("/orders/short/send", data={"etag": etag, "incomplete": "true"})
    assert sent.status_code == 303
    page = await _signed_in_page(own_app, "/orders/short")
    assert re.search(r'<span class="chip">sent, \d\s+lines not bought', page.text)
    assert re.search(r"sent by .*, without Q", page.text)


async def test_a_quotation_page_begins_with_what_its_sum_is_without(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/quotation?chassis=24PL-018412&fit=QB-3310&fit=QB-7098")
    main = unescape(page.text[page.text.index("<main") :])
    assert main.index("QB-7098 (") < main.index('class="vehicle"')
    assert "lines is NOT bought" in main
    (total,) = re.findall(r'<p class="lead"><b>([\d,.]+ GBP)</b> together', main)
    assert f"<b>{total}</b></td>" in main, "the sum stands first, and under the table"


async def test_terms_of_a_quotation_that_cannot_be_are_told_beside_their_fields(
    browser: httpx.AsyncClient,
) -> None:
    asked = "/quotation?chassis=24PL-018412&fit=QB-3302&as_of=1"
    usual = await browser.get(asked + "&labour_rate=61.50")
    page = await browser.get(asked + "&labour_rate=61.50&allowance=ten&months=-3&first_part=200")
    assert (usual.status_code, page.status_code) == (200, 422)
    assert [_field(page, name) for name in ("labour_rate", "allowance", "months", "first_part")] == [
        "61.50", "ten", "-3", "200",
    ]  # fmt: skip
    told = dict(re.findall(r'<span class="help wrong" id="wrong-(\w+)">([^<]+)</span>', page.text))
    assert told == {
        "allowance": "Per cent are a number with at most two decimals, such as 10 or 12.50",
        "months": "It must be at least 0",
        "first_part": "It must be at most 100",
    }
    assert "3 terms" in page.text.replace("&nbsp;", " ").replace("\xa0", " ")
    assert "The sums stand with 10 % of allowance" in page.text
    (total,) = re.findall(r'<p class="lead"><b>([\d,.]+ GBP)</b>', usual.text)
    assert f"<b>{total}</b>" in page.text, "the sums are those of the usual terms"
    document = unescape(re.findall(r'href="(/quotation\.pdf[^"]+)"', page.text)[0])
    assert parse_qs(document.partition("?")[2])["allowance"] == ["10"]
    wish = await browser.get("/quotation?chassis=24PL-018412&fit=QX-0000&as_of=1&months=-3")
    assert "QX-0000" in wish.text
    assert "Do you mean" in wish.text or "There is no component" in wish.text


async def test_figures_are_taken_with_a_decimal_comma(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/quotation?chassis=24PL-018412&fit=QB-3302&as_of=1&labour_rate=61,50")
    assert (page.status_code, _field(page, "labour_rate")) == (200, "61.50")
    ceiling = "/answer?chassis=24PL-018412&fit=QB-3302&as_of=1&price_at_most="
    taken = await browser.get(ceiling + "1.500,50", follow_redirects=True)
    assert (taken.status_code, _field(taken, "price_at_most")) == (200, "1500.50")
    either = await browser.get(ceiling + "1,500", follow_redirects=True)
    assert either.status_code == 422, "a point or thousands: nobody knows"


async def test_a_step_sent_from_a_page_that_is_old_changes_nothing(writer: httpx.AsyncClient) -> None:
    """The etag is the form's own: a draft that a colleague changed meanwhile does not go out."""
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})
    old = (await writer.get("/v1/order-lists/red")).headers["etag"]
    noted = await writer.put("/v1/order-lists/red/note", json={"note": "wait"}, headers={"If-Match": old})
    assert noted.status_code == 200, noted.text
    (line,) = [one["line"] for one in noted.json()["lines"] if one["number"] == "QB-2090"]
    for step, fields in (
        ("send", {}), ("recompute", {}), ("discard", {}),
        ("substitute", {"line": str(line), "number": "QB-7090"}),
    ):  # fmt: skip
        late = await writer.post(f"/orders/red/{step}", data={"etag": old, **fields}, headers=BROWSER)
        assert late.status_code == 412, (step, late.text)
        assert '<a class="button" href="/orders/red">Back to the page</a>' in late.text, "a next step"
    (cylinder,) = [one["line"] for one in noted.json()["lines"] if one["number"] == "QB-2050"]
    fields = {"etag": noted.headers["etag"], "line": str(cylinder), "number": "QB-3050"}
    refused = await writer.post("/orders/red/substitute", data=fields, headers=BROWSER)
    assert (refused.status_code, "Back to the page" in refused.text) == (409, True)
    assert "is needed as well now" in refused.text, "what else would change"
    draft = await writer.get("/v1/order-lists/red")
    assert (draft.json()["state"], draft.json()["note"]) == ("draft", "wait")
    sent = await writer.post("/orders/red/send", data={"etag": draft.headers["etag"]})
    assert sent.status_code == 303
    for step, fields in (
        ("receive", {"came-1": "1"}), ("close", {"reason": "x"}),
        ("take-back", {"booking": "1", "why-1": "x"}),
    ):  # fmt: skip
        data = {"etag": draft.headers["etag"], **fields}
        late = await writer.post(f"/orders/red/{step}", data=data, headers=BROWSER)
        expected = (404, 412) if step == "take-back" else (412,)
        assert late.status_code in expected, (step, late.text)
    kept = (await writer.get("/v1/order-lists/red")).json()
    assert (kept["state"], kept["newest_booking"]) == ("sent", None)


async def test_each_supplier_shows_its_own_lines_and_no_other(browser: httpx.AsyncClient) -> None:
    page = (await browser.get(ADDRESS)).text
    facts = (await browser.post("/v1/orders", json=DISCS)).json()
    assert len(facts["suppliers"]) > 2
    for supplier in facts["suppliers"]:
        head = re.escape(f'colspan="8">{supplier["title"]} ')
        (section,) = re.findall(rf'{head}.*?(?=<details class="folds">|</section>)', page, re.S)
        theirs = [line["number"] for line in facts["lines"] if line["supplier"] == supplier["name"]]
        assert theirs
        assert re.findall(r'<a class="number"[^>]*>([^<]+)</a>', section) == theirs


def _rows(page: str) -> list[str]:
    return page.split('<tbody class="line"')[1:]


async def test_suppliers_stand_side_by_side_for_a_line_and_one_is_chosen(browser: httpx.AsyncClient) -> None:
    page = (await browser.get(ADDRESS)).text
    line = next(row for row in _rows(page) if "What each supplier asks" in row)
    assert line.count("this order") == 1
    rows = re.findall(r"<tr><td>([^<]+)</td>", line)
    assert len(rows) == len(set(rows)) > 1
    number = re.search(r'<a class="number"[^>]*>([^<]+)<', line)[1]
    address = re.search(r'href="([^"#]*buy_from=[^"#]*)#line-', line)[1]
    chosen = (await browser.get(unescape(address))).text
    (there,) = [row for row in _rows(chosen) if f">{number}</a>" in row]
    assert "You chose the supplier of this line" in there
    assert f'name="buy_from" value="{number}=' in chosen, "the forms carry it, and so does what is kept"
    back = re.search(r'href="([^"]*)">Take it where the whole costs least', there)[1]
    assert "buy_from" not in back


async def test_what_will_not_come_is_not_open(till: Till) -> None:
    """Given up by a booking: the form asks for it no more, and all that is open is without it."""
    (line,) = [one for one in (await till.list()).json()["lines"] if one["number"] == "QB-9001"]
    number = str(line["line"])
    assert (
        await till.take("receive", book="sallowby", **{f"came-{number}": "", f"never-{number}": "4"})
    ).status_code == 303
    told = await till.line(line["line"])
    assert (told["given_up"], told["open"]) == (4, 0)
    assert (await till.take("receive", all="sallowby")).status_code == 303
    assert (await till.line(line["line"]))["received"] == 0


KEPT = {"chassis": "24PL-018412", "fit": "QB-3302", "as_of": "1"}


async def _keep(writer: httpx.AsyncClient, **fields: str) -> httpx.Response:
    return await writer.post("/order", data=KEPT | fields, headers=BROWSER)


def _field(page: httpx.Response, name: str) -> str:
    found = re.search(rf'<input[^>]* name="{name}"[^>]* value="([^"]*)"', page.text)
    assert found, name
    return unescape(found[1])


async def test_an_order_is_kept_under_the_name_that_is_suggested_and_the_second_under_the_next(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    address = "/order?chassis=24PL-018412&fit=QB-3302"
    page = await _signed_in_page(own_app, address)
    name = _field(page, "name")
    assert re.fullmatch(r"24PL-018412-QB-3302-\d{4}-\d\d-\d\d", name)
    assert page.text.index('name="suggested"') < page.text.index('<p class="vehicle">'), "on top"
    same = {"name": name, "suggested": _field(page, "suggested")}
    first, second = await _keep(writer, **same), await _keep(writer, **same, note="ring first")
    assert (first.status_code, first.headers["location"]) == (303, f"/orders/{name}")
    assert (second.status_code, second.headers["location"]) == (303, f"/orders/{name}-2")
    assert (await writer.get(f"/v1/order-lists/{name}-2")).json()["note"] == "ring first"
    assert _field(await _signed_in_page(own_app, address), "name") == f"{name}-3"


async def test_an_answer_is_kept_as_an_order_in_one_click(
    writer: httpx.AsyncClient, own_app: FastAPI, browser: httpx.AsyncClient
) -> None:
    address = "/answer?chassis=24PL-018412&fit=QB-3302"
    assert "Keep the order" not in (await browser.get(address)).text, "nobody is signed in who may"
    page = (await _signed_in_page(own_app, address)).text
    form = page[page.rindex("<form", 0, page.index("Keep the order")) : page.index("Keep the order")]
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    assert fields.keys() == {"form_token", "chassis", "fit", "as_of"}
    first, second = [await writer.post("/order", data=fields, headers=BROWSER) for _ in range(2)]
    name = f"24PL-018412-QB-3302-{date.today().isoformat()}"
    assert (first.status_code, first.headers["location"]) == (303, f"/orders/{name}")
    assert (second.status_code, second.headers["location"]) == (303, f"/orders/{name}-2")
    nothing = await writer.post("/order", data=fields | {"name": ""}, headers=BROWSER)
    assert nothing.status_code == 422, "a name that is asked for and not given"


@pytest.mark.parametrize("path", ["/answer", "/order"])
async def test_who_is_signed_out_over_an_order_comes_back_to_its_question(
    own_app: FastAPI, browser: httpx.AsyncClient, writer: httpx.AsyncClient, path: str
) -> None:
    page = await _signed_in_page(own_app, f"{path}?chassis=24PL-018412&fit=QB-3302")
    action = unescape(re.findall(r'<form method="post" action="(/order[^"]*)"', page.text)[0])
    refused = await browser.post(action, data=KEPT, headers=BROWSER)
    assert refused.status_code == 401
    following = re.findall(r'class="button" href="/signin\?next=([^"]+)"', refused.text)[0]
    back = unquote(unescape(following))
    assert back.startswith("/order?chassis=24PL-018412&fit=QB-3302")
    assert "Mend the question" not in refused.text, "nothing is wrong with it"
    assert "Keep as a draft" in (await _signed_in_page(own_app, back)).text
    kept = await writer.post(action, data=KEPT | {"by": "2030-01-01"}, headers=BROWSER)
    assert kept.status_code == 303, kept.text


async def test_where_there_is_nothing_to_buy_no_list_is_offered(own_app: FastAPI) -> None:
    stands = await _signed_in_page(own_app, "/answer?chassis=24PL-018412")
    assert "Order list" in stands.text
    assert "Keep the order" not in stands.text
    empty = await _signed_in_page(own_app, "/order?chassis=24PL-018412")
    assert "There is nothing to buy." in empty.text
    assert "Keep as a draft" not in empty.text


async def test_an_order_that_an_edit_changed_meanwhile_is_told_and_not_kept(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    await _edit(writer, "component/QB-2010", {"price": "3.00"})
    same = await _keep(writer, name="same", suggested="x")
    assert same.status_code == 303, same.text[same.text.find("<main") :]
    await _edit(writer, "companion/QB-3302%2Fbolts", {"quantity": 7})
    for typed in ({}, {"name": "red", "suggested": "x", "note": "ring <first>"}):
        told = await _keep(writer, **typed)
        assert told.status_code == 409, told.headers
        assert "Nothing is kept yet." in told.text
        assert re.search(r"QB-9021 \([^)]+\): [^<]*pieces \d+, now \d+", told.text), told.text
    assert (await writer.get("/v1/order-lists/red")).status_code == 404
    async with signed_in(own_app) as browser:
        page = await browser.get("/orders/same", headers=BROWSER)
        own = KEPT | {"name": "red", "suggested": "x", "note": "ring <first>"}
        own["form_token"] = _field(page, "form_token")
        again = await browser.post("/order", data=own, headers=OWN)
        assert (_field(again, "name"), _field(again, "note")) == ("red", "ring <first>")
        own["as_of"] = _field(again, "as_of")
        kept = await browser.post("/order", data=own, headers=OWN)
        assert (kept.status_code, kept.headers["location"]) == (303, "/orders/red")


async def _edit(writer: httpx.AsyncClient, record: str, fields: dict[str, Any]) -> None:
    address = f"/v1/records/{record}"
    as_read = {"If-Match": (await writer.get(address)).headers["etag"]}
    patch = as_read | {"Content-Type": "application/merge-patch+json"}
    answer = await writer.patch(address, json=fields, params={"why": "measured"}, headers=patch)
    assert answer.status_code == 200, answer.text
    asked = {"vehicle": DISCS["vehicle"], "wishes": [{"fit": "QB-3302"}], "deadline_seconds": 30.0}
    for as_of in ({}, {"as_of": 1}):  # both books are read, however busy the machine is
        assert (await writer.post("/v1/closures", json=asked | as_of)).is_success


async def test_an_order_is_kept_and_sent_in_one_go_unless_lines_are_not_bought(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    whole = await _signed_in_page(own_app, "/order?chassis=24PL-018412&fit=QB-3302")
    assert "Keep and send" in whole.text
    assert "Graftbook writes to nobody" in whole.text, "it says what sending does"
    assert "Keep and send" not in (await _signed_in_page(own_app, SHORT)).text
    answer = await _keep(writer, name="whole", suggested="x", do="send")
    assert answer.headers["location"] == "/orders/whole#suppliers-head"
    assert (await writer.get("/v1/order-lists/whole")).json()["state"] == "sent"
    short = await _keep(writer, name="short", suggested="x", do="send", at_most_suppliers="2")
    assert short.headers["location"] == "/orders/short"
    kept = (await writer.get("/v1/order-lists/short")).json()
    assert (kept["state"], kept["complete"]) == ("draft", False), "nothing goes out short without a word"


async def test_a_name_that_is_taken_or_cannot_be_is_told_beside_its_field_and_nothing_is_lost(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    assert (await _keep(writer, name="red", suggested="x")).status_code == 303
    async with signed_in(own_app) as browser:
        page = await browser.get("/orders/red", headers=BROWSER)
        own = KEPT | {"suggested": "x", "form_token": _field(page, "form_token")}
        taken = await browser.post("/order", data=own | {"name": "red", "note": "ring <first>"}, headers=OWN)
        blank = await browser.post("/order", data=own | {"name": "the red van"}, headers=OWN)
        long = await browser.post("/order", data=own | {"name": "van", "note": "y" * 2001}, headers=OWN)
    assert (taken.status_code, blank.status_code, long.status_code) == (422, 422, 422)
    assert "There is a list red already. red-2 is free." in taken.text
    assert (_field(taken, "name"), _field(taken, "note")) == ("red-2", "ring <first>")
    assert 'aria-invalid="true" aria-describedby="name-wrong"' in taken.text
    assert "What to order" in taken.text
    assert "no spaces" in blank.text
    assert "no spaces" not in long.text
    assert "at most 2,000 characters" in long.text
    assert "at most 2,000 characters" not in blank.text
    lists = (await writer.get("/v1/order-lists")).json()["items"]
    assert [one["name"] for one in lists] == ["red"]


async def test_ones_own_lists_are_those_that_ones_key_made(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    await _keep(writer, name="theirs", suggested="x")
    async with signed_in(own_app) as browser:
        page = await browser.get("/orders/theirs", headers=BROWSER)
        own = KEPT | {"form_token": _field(page, "form_token"), "name": "own", "suggested": "x"}
        assert (await browser.post("/order", data=own, headers=OWN)).status_code == 303
        mine = await browser.get("/orders?show=mine", headers=BROWSER)
    assert re.findall(r'<th scope="row"><a href="/orders/([^"]+)"', mine.text) == ["own"]
    assert "Mine" not in (await writer.get("/orders", headers=BROWSER)).text, "nobody is signed in"


async def test_days_are_chosen_by_a_click_and_suppliers_have_their_own_documents(
    browser: httpx.AsyncClient,
) -> None:
    page = await browser.get(ADDRESS)
    facts = (await browser.post("/v1/orders", json=DISCS)).json()
    addresses = [
        unescape(one)
        for one in re.findall(r'<a class="button quiet" href="(/order\?[^"]+by=[^"]+)">', page.text)
    ]
    assert len(addresses) == len(facts["price_of_days"]) - 1 > 0, "all but the one that is shown"
    assert page.text.index("Which day costs what") < page.text.index('id="lines-head"')
    sooner = await browser.get(addresses[0])
    assert parse_qs(sooner.url.query.decode())["by"] == [facts["price_of_days"][0]["by"]]
    assert "Every day that there is" in sooner.text
    for supplier in facts["suppliers"]:
        for form in ("pdf", "csv"):
            (part,) = re.findall(
                rf'href="(/order\.{form}[^"]+part=supplier%3A{supplier["name"]})"', page.text
            )
            assert (await browser.get(unescape(part))).status_code == 200


async def test_a_kept_list_shows_its_wishes_and_leads_back_to_its_answer(
    writer: httpx.AsyncClient, browser: httpx.AsyncClient
) -> None:
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red", "by": "2030-01-01"})
    page = await writer.get("/orders/red", headers=BROWSER)
    assert "You wish QB-3310" in page.text
    (answer,) = links(page, "Back to the answer")
    assert parse_qs(answer.partition("?")[2]) == {
        "chassis": ["24PL-018412"], "fit": ["QB-3310"],
        "as_of": [str((await writer.get("/v1/order-lists/red")).json()["catalogue_revision"])],
    }  # fmt: skip
    assert (await writer.get(answer, headers=BROWSER)).status_code == 200


def test_the_address_of_an_answer_names_stored_builds_and_specifications() -> None:
    asked = {"vehicle": {"build": "red van"}, "wishes": [{"fit": "QB-3310"}], "specification": "house@2"}
    assert answer_to(asked, 4) == "/answer?build=red+van&fit=QB-3310&specification=house%402&as_of=4"
    assert answer_to({"vehicle": {"chassis": "24PL-1"}, "market": "home"}, 4) is None, "no address says it"


async def test_a_draft_is_thrown_away_after_a_second_look_and_that_is_said(
    writer: httpx.AsyncClient, own_app: FastAPI
) -> None:
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})
    page = await _signed_in_page(own_app, "/orders/red")
    assert "<summary>Throw it away</summary>" in page.text
    assert "Yes, throw red away" in page.text
    assert "Graftbook writes to nobody" in page.text
    etag = (await writer.get("/v1/order-lists/red")).headers["etag"]
    gone = await writer.post("/orders/red/discard", data={"etag": etag}, headers=BROWSER)
    assert gone.headers["location"] == "/orders?gone=red"
    assert (
        "The draft red is thrown away." in (await writer.get(gone.headers["location"], headers=BROWSER)).text
    )


async def test_sending_leads_to_each_suppliers_document(writer: httpx.AsyncClient) -> None:
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})
    kept = await writer.get("/v1/order-lists/red")
    sent = await writer.post("/orders/red/send", data={"etag": kept.headers["etag"]}, headers=BROWSER)
    assert sent.headers["location"] == "/orders/red#suppliers-head"
    page = await writer.get("/orders/red", headers=BROWSER)
    assert "each gets its own document" in page.text
    for supplier in kept.json()["suppliers"]:
        assert f"/orders/red/document/pdf?part=supplier%3A{supplier['name']}" in page.text


async def test_the_lists_are_filtered_by_what_is_open_late_and_ones_own(
    writer: httpx.AsyncClient, own_app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a-draft", "b-sent", "c-closed"):
        made = await writer.post("/v1/order-lists", json=DISCS | {"name": name})
        if name != "a-draft":
            made = await writer.post(
                f"/v1/order-lists/{name}/send", headers={"If-Match": made.headers["etag"]}
            )
    closed = {"If-Match": made.headers["etag"]}
    await writer.post("/v1/order-lists/c-closed/close", json={"reason": "enough"}, headers=closed)

    async def shown(show: str) -> list[str]:
        page = await _signed_in_page(own_app, f"/orders?show={show}")
        return re.findall(r'<th scope="row"><a href="/orders/([^"]+)"', page.text)

    assert await shown("") == ["a-draft", "b-sent", "c-closed"]
    assert await shown("open") == ["a-draft", "b-sent"]
    assert await shown("late") == []
    assert await shown("mine") == [], "another key made them"
    (due,) = {one["due"] for one in (await writer.get("/v1/order-lists")).json()["items"] if one["due"]}
    monkeypatch.setattr(overview, "date", _Later(date.fromisoformat(due) + timedelta(days=1)))
    assert await shown("late") == ["b-sent"]
    listed = (await writer.get("/v1/order-lists", params={"show": "late"})).json()["items"]
    assert [one["name"] for one in listed] == ["b-sent"]
    assert listed[0]["wishes"] == [
        "You wish QB-3310 (front brake caliper, four pistons, pads with it, left)."
    ]
    theirs = (await writer.get("/v1/order-lists", params={"made_by": listed[0]["made_by"]})).json()["items"]
    assert len(theirs) == 3
    assert (await writer.get("/v1/order-lists", params={"made_by": "nobody"})).json()["items"] == []


class _Later:
    def __init__(self, day: date) -> None:
        self._day = day

    def today(self) -> date:
        return self._day


async def test_a_list_is_late_by_what_is_open_and_by_the_day_that_was_promised_anew(
    till: Till,
) -> None:
    lines = (await till.list()).json()["lines"]
    first = min(lines, key=lambda line: line["arrives"])
    short = (await till.writer.get("/v1/order-lists")).json()["items"][0]
    assert short["due"] == first["arrives"]
    same_day = [line for line in lines if line["arrives"] == first["arrives"]]
    rows = [
        {"line": line["line"], "back_ordered": line["pieces"], "promised": "2031-05-06"} for line in same_day
    ]
    booked = await till.writer.post(
        "/v1/order-lists/red/receive",
        json={"lines": rows},
        headers={"If-Match": (await till.list()).headers["etag"]},
    )
    assert booked.status_code == 200, booked.text
    short = (await till.writer.get("/v1/order-lists")).json()["items"][0]
    assert short["due"] == min(line["arrives"] for line in lines if line not in same_day)


async def test_what_lies_in_the_store_is_picked_by_place_and_labelled(writer: httpx.AsyncClient) -> None:
    for number, place in (("QB-9001", "drawer 14"), ("QB-9010", "Regal \u00dc"), ("QA-9041", "drawer 14")):
        put = await writer.put(f"/v1/stock/{number}", json={"quantity": 9, "place": place})
        assert put.status_code == 200, put.text
    made = await writer.post("/v1/order-lists", json=DISCS | {"name": "red", "wishes": [{"fit": "QB-3302"}]})
    assert {part["number"] for part in made.json()["from_stock"]} == {"QB-9001", "QB-9010", "QA-9041"}
    page = unescape((await writer.get("/orders/red/picking", headers=BROWSER)).text)
    assert "<h1>Picking list of red <" in page, "on paper too"
    assert page.index("Regal \u00dc") < page.index("drawer 14") or page.index("drawer 14") < page.index(
        "QA-9041"
    )
    assert "Picking list</a>" in (await writer.get("/orders/red", headers=BROWSER)).text
    paper = await writer.get("/orders/red/picking.pdf", headers=BROWSER)
    text = "".join(one.extract_text() for one in PdfReader(io.BytesIO(paper.content)).pages)
    assert "drawer 14" in text
    labels = (await writer.get("/store/labels", headers=BROWSER)).text
    assert labels.count("<svg") == 1
    assert 'aria-label="Bar code of drawer 14"' in labels
    assert "No bar code" in labels
    numbers = (await writer.get("/store/labels?of=numbers&text=drawer", headers=BROWSER)).text
    assert re.findall(r'aria-label="Bar code of ([^"]+)"', numbers) == ["QA-9041", "QB-9001"]
    sheet = await writer.get("/store/labels.pdf?of=numbers", headers=BROWSER)
    assert "QB-9010" in PdfReader(io.BytesIO(sheet.content)).pages[0].extract_text()


async def test_the_front_discs_order_is_two_pages(writer: httpx.AsyncClient) -> None:
    body = DISCS | {"wishes": [{"fit": "QB-3302"}], "name": "24PL-018412-QB-3302-2026-11-29"}
    facts = (await writer.post("/v1/order-lists", json=body)).json()
    assert len(facts["lines"]) > 20
    paper = await writer.get(f"/orders/{body['name']}/document/pdf", headers=BROWSER)
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages]
    assert len(pages) == 2
    text = re.sub(r"\s+", "", "".join(pages))
    assert text.count("Brakesholdlives") == 1
    assert all(line["number"] in text for line in facts["lines"])
