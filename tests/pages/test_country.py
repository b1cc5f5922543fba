"""Dates and numbers as the reader's country writes them; what was recorded stays as it is."""

import re
from datetime import date

import httpx
import pytest

from graftbook.pages.country import COUNTRY_WORDS, Country, converted, day, month, number, refusal, sentence
from tests.pages.conftest import text_of

pytestmark = pytest.mark.anyio

FORMS = {
    Country.british: ("1 March 1968", "March 1968", "12,345.60"),
    Country.american: ("March 1, 1968", "March 1968", "12,345.60"),
    Country.german: ("1. March 1968", "March 1968", "12.345,60"),
    Country.french: ("1 March 1968", "March 1968", "12\u202f345,60"),
    Country.swiss: ("1. March 1968", "March 1968", "12’345.60"),
    Country.iso: ("1968-03-01", "1968-03", "12\u202f345.60"),
}


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize("country", Country)
def test_a_day_a_month_and_a_number(country: Country):
    known = date(1968, 3, 1)
    assert (plain(day(known, country)), plain(month("1968-03-01", country))) == FORMS[country][:2]
    assert number("12,345.60", country) == FORMS[country][2]
    assert country in COUNTRY_WORDS


TOLD = "1,756.38 GBP in all, of them 46.60 GBP for QB-3302 at 22.20 mm, there by 27 December 2026."


def test_in_a_sentence_days_and_sums_are_written_so_and_nothing_else():
    assert sentence(TOLD, Country.british) == TOLD
    german = sentence(TOLD, Country.german)
    assert plain(german) == (
        "1.756,38 GBP in all, of them 46,60 GBP for QB-3302 at 22.20 mm, there by 27. December 2026."
    )
    assert "there by December\u00a027, 2026." in sentence(TOLD, Country.american)
    for recorded in ("268 x 20 mm", "QB-1,234", "31 June 1968", "1.5 l can", "v1,234.5,6"):
        assert sentence(recorded, Country.german) == recorded


def test_a_day_in_a_refusal_is_written_so_and_what_was_typed_stays():
    told = "2026-11-02 has not come yet; '2026-13-01' is no day, “2026-11-02” neither, nor X-2026-11-02."
    assert plain(refusal(told, Country.british)) == told.replace("2026-11-02", "2 November 2026", 1)
    assert refusal(told, Country.american).startswith("November\u00a02, 2026 has")
    assert refusal(told, Country.iso) == told
    assert refusal("2026-02-30", Country.british) == "2026-02-30"


async def test_a_refusal_on_a_page_writes_days_as_the_reader_does(writer: httpx.AsyncClient):
    made = await writer.post("/v1/builds", json={"name": "late", "chassis": "24PL-018412"})
    for on in ("2199-11-02", "1999-11-02"):
        page = await writer.get("/builds/late", params={"on": on}, headers={"Accept": "text/html"})
        (told,) = re.findall('<p class="lead">(.*?)</p>', plain(page.text))
        assert (page.status_code, "-11-02" in told, made.json()["taken_in"] in told) == (422, False, False)
        assert "2 November 2199 has not come" in told or "was taken in on" in told


def test_of_a_measure_only_what_is_converted():
    assert converted("0.874 in (22.20 mm)", Country.german) == "0,874 in (22.20 mm)"
    assert converted("22.20 mm", Country.german) == "22.20 mm"


ORDER = "/order?chassis=24PL-018412&fit=QB-3302"


async def chosen(browser: httpx.AsyncClient, **form: str) -> httpx.Response:
    sent = {"next": ORDER, **form}
    return await browser.post("/units", data=sent, headers={"Sec-Fetch-Site": "same-origin"})


def money_on(page: httpx.Response) -> list[str]:
    return re.findall(r'data-of="(?:In all|Together|Parts)">(?:<b>)?([^<]+)<', page.text)


async def test_a_page_is_written_so_until_something_else_is_chosen(browser: httpx.AsyncClient):
    plainly = await browser.get(ORDER)
    page = await chosen(browser, country="german", units="recorded")
    assert page.url.path == "/order"
    assert re.search(r'value="german" selected', page.text)
    there, here = money_on(plainly), money_on(page)
    swapped = [amount.translate(str.maketrans(",.", ".,")) for amount in there]
    assert any("," in amount for amount in there)
    assert here == swapped
    assert re.search(r"\d+\. December 2026", text_of(page))
    assert not re.search(r"\d [A-Z][a-z]+ember 2026", text_of(page)), "a sentence was left out"
    american = await chosen(browser, country="american", units="recorded")
    assert money_on(american) == there
    assert re.search(r"December \d+, 2026", text_of(american))


@pytest.mark.parametrize("country", ["", "martian", "german; Path=/evil"])
async def test_what_is_no_country_is_not_kept(browser: httpx.AsyncClient, country: str):
    page = await chosen(browser, country=country)
    assert not [name for name in browser.cookies if name == "graftbook_country"]
    assert 'value="british" selected' in page.text


async def test_a_cookie_that_holds_something_else_is_passed_over(browser: httpx.AsyncClient):
    page = await browser.get("/guide", headers={"Cookie": "graftbook_country=<script>"})
    assert 'value="british" selected' in page.text
