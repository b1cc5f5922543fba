"""The first page remembers: vehicles, what is at work, what changed; and forgets when it is told to."""

import re
from collections.abc import Awaitable
from http.cookies import SimpleCookie

import httpx
import pytest

from graftbook.pages import in_hand
from tests.conftest import HERE
from tests.pages.conftest import BROWSER, text_of

CHASSIS, OTHER = "24PL-018412", "24PR-000200"
OWN = {"Origin": HERE}


def cookies_of(page: httpx.Response) -> SimpleCookie:
    kept = SimpleCookie()
    for each in (*page.history, page):
        for line in each.headers.get_list("set-cookie"):
            kept.load(line)
    return kept


async def test_vehicles_are_remembered_the_latest_first(browser: httpx.AsyncClient) -> None:
    for chassis in (CHASSIS, OTHER, "24pl 18412"):
        kept = cookies_of(await browser.get("/vehicle", params={"chassis": chassis}))
    assert kept[in_hand.RECENT].value == f"{CHASSIS}.{OTHER}"
    for name in (in_hand.RECENT, in_hand.COOKIE):
        assert kept[name]["httponly"], name
        assert kept[name]["samesite"].lower() == "lax", name
    page = await browser.get("/")
    text = text_of(page)
    assert (
        text.index("Recent vehicles") < text.index(f"{CHASSIS} in hand") < text.index(f"{OTHER} Quillan 24")
    )
    assert f'href="/answer?chassis={OTHER}"' in page.text
    assert page.text.index("autofocus") < page.text.index("Recent vehicles"), "the number stays first"


async def test_the_vehicle_in_hand_is_let_go_and_all_are_forgotten(browser: httpx.AsyncClient) -> None:
    await browser.get("/vehicle", params={"chassis": CHASSIS})
    page = await browser.post("/in-hand", data={"do": "let-go"}, headers=OWN)
    assert page.url.path == "/"
    assert 'class="inhand"' not in page.text
    assert CHASSIS in text_of(page), "it stays among the recent ones"
    assert CHASSIS not in text_of(await browser.post("/in-hand", data={"do": "forget"}, headers=OWN))


async def test_no_other_site_lets_it_go(browser: httpx.AsyncClient) -> None:
    foreign = {"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}
    assert (await browser.post("/in-hand", data={"do": "forget"}, headers=foreign)).status_code == 403


@pytest.mark.parametrize("forged", ["<script>.24PL-018412x", "24PL-018412'", "..", "x" * 5000, "24pl-1"])
async def test_a_forged_cookie_shows_nothing(browser: httpx.AsyncClient, forged: str) -> None:
    sent = {"Cookie": f"{in_hand.RECENT}={forged}; {in_hand.COOKIE}={forged}; {in_hand.SEEN}={forged}"}
    page = await browser.get("/", headers=sent)
    assert page.status_code == 200
    assert "Recent vehicles" not in page.text
    assert 'class="inhand"' not in page.text


async def test_more_than_eight_are_not_remembered_and_none_twice(browser: httpx.AsyncClient) -> None:
    many = ".".join([f"24PL-{number:06d}" for number in range(1, 30)] + ["24PL-000001"])
    page = await browser.get("/vehicle?chassis=24PL-018412", headers={"Cookie": f"{in_hand.RECENT}={many}"})
    kept = cookies_of(page)[in_hand.RECENT].value.split(".")
    assert kept == [CHASSIS, *(f"24PL-{number:06d}" for number in range(1, 8))]


class _Asking:
    def __init__(self, seen: str) -> None:
        self.cookies = {in_hand.SEEN: seen}


@pytest.mark.parametrize(
    ("seen", "present", "minute", "before", "kept"),
    [
        ("", 5, 1000, None, "5.5.1000"),
        ("3.5.1000", 5, 1010, 3, "3.5.1010"),  # the same visit
        ("3.5.1000", 7, 1010, 3, "3.7.1010"),
        ("3.5.1000", 7, 1241, 5, "5.7.1241"),  # the next
        ("3.5.1000", 7, 900, 5, "5.7.900"),  # a clock that was put back
        ("8.9.1000", 2, 1010, 2, "2.2.1010"),  # another database under the same address
        ("8.x.1000", 2, 1010, None, "2.2.1010"),
    ],
)
def test_a_visit_knows_what_the_one_before_had_seen(
    seen: str, present: int, minute: int, before: int | None, kept: str
) -> None:
    visit = in_hand.visit_of(_Asking(seen), present, minute)
    assert (visit.seen_before, visit.kept) == (before, kept)


async def test_an_upgrade_waits_for_its_vehicle(browser: httpx.AsyncClient) -> None:
    home = await browser.get("/")
    assert re.search(r'<button[^>]*form="begin" name="upgrade" value="front-discs"', home.text)
    chosen = await browser.get("/answer", params={"chassis": "", "upgrade": "front-discs"})
    assert chosen.url.path == "/"
    assert 'type="hidden" name="upgrade" value="front-discs"' in chosen.text
    assert "Front discs, on which vehicle?" in text_of(chosen)
    await browser.get("/vehicle", params={"chassis": CHASSIS})
    in_hand_now = await browser.get("/")
    assert f'href="/answer?chassis={CHASSIS}&amp;upgrade=front-discs"' in in_hand_now.text
    assert "front-discs-16" in home.text
    assert "front-discs-16" not in in_hand_now.text, "that one is for another generation"


async def test_what_is_at_work_is_on_the_first_page(writer: httpx.AsyncClient) -> None:
    body = {"chassis": CHASSIS, "variant": "24P-21-L", "note": "the baker's"}
    assert (await writer.post("/v1/builds", json=body | {"name": "baker"})).status_code == 201
    standard = {"name": "safe", "title": "Safe brakes", "wishes": [{"fit": "QB-3310"}]}
    assert (await writer.post("/v1/specifications", json=standard)).status_code == 201
    asked = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}], "name": "discs-1"}
    assert (await writer.post("/v1/order-lists", json=asked)).status_code == 201
    page = await writer.get("/", headers=BROWSER)
    text = text_of(page)
    assert "Open orders discs-1 draft" in text
    assert f"Builds baker {CHASSIS} the baker's" in text
    assert "Specifications Safe brakes safe, version 1" in text
    built = await writer.get("/answer?build=baker", headers=BROWSER, follow_redirects=True)
    assert built.status_code == 200
    assert CHASSIS in text_of(built)
    chosen = await writer.get("/?specification=safe", headers=BROWSER)
    assert 'name="specification" value="safe"' in chosen.text
    by_it = await writer.get(
        f"/answer?chassis={CHASSIS}&specification=safe", headers=BROWSER, follow_redirects=True
    )
    assert "QB-3310" in by_it.text


async def test_what_changed_since_is_told_with_who_and_why(writer: httpx.AsyncClient) -> None:
    first = text_of(await writer.get("/", headers=BROWSER))
    assert "since you were here" not in first, "nobody was here before"
    writer.cookies.clear()
    seen = {"Cookie": f"{in_hand.SEEN}=1.1.1"}
    assert "Nothing has changed since you were here" in text_of(await writer.get("/", headers=BROWSER | seen))
    read = await writer.get("/v1/records/component/QB-3310")
    rows = [{n: v for n, v in read.json()["rows"][0].items() if n != "record"} | {"note": "look at the seal"}]
    stored = await writer.put(
        "/v1/records/component/QB-3310", json={"rows": rows}, headers={"If-Match": read.headers["etag"]},
        params={"why": "seals fail"},
    )  # fmt: skip
    assert stored.status_code == 200, stored.text
    page = await writer.get("/", headers=BROWSER | seen)
    assert '<a href="/history/2">seals fail</a>' in page.text
    assert "The catalogue since you were here" in text_of(page)


async def test_the_history_is_read_as_pages(writer: httpx.AsyncClient, browser: httpx.AsyncClient) -> None:
    every = text_of(await browser.get("/history"))
    assert "Revision When Who Why" in every
    page = await browser.get("/history/1")
    assert "added" in text_of(page)
    assert re.search(r"\d\d,\d{3} records", text_of(page))
    assert "/edit/" not in page.text.partition("<main")[2], "who may not edit gets no editor's links"
    further = page.text.partition('href="/history/1?cursor=')[2].partition('"')[0]
    assert further
    assert (await browser.get(f"/history/1?cursor={further}")).status_code == 200
    of_one = await browser.get("/history/component/QB-3310")
    assert "added Revision 1" in text_of(of_one)
    assert 'href="/component/QB-3310"' in of_one.text
    assert (await browser.get("/history/99")).status_code == 404
    assert 'href="/history/component/QB-3310"' in (await browser.get("/component/QB-3310")).text


async def test_two_revisions_are_compared(writer: httpx.AsyncClient) -> None:
    def compared(old: int, new: int) -> Awaitable[httpx.Response]:
        return writer.get(f"/history/compare?from={old}&to={new}", headers=BROWSER)

    assert "Compare revision" not in text_of(await writer.get("/history", headers=BROWSER))
    address = "/v1/records/component/QB-3310"
    for price in ("158.20", "160.00"):
        as_read = {"If-Match": (await writer.get(address)).headers["etag"]}
        patch = {"headers": as_read | {"Content-Type": "application/merge-patch+json"}}
        answer = await writer.patch(address, json={"price": price}, params={"why": "list"}, **patch)
        assert answer.status_code == 200, answer.text
    assert (
        'name="from" type="number" min="1" required value="2"'
        in (await writer.get("/history", headers=BROWSER)).text
    )
    whole = text_of(await compared(1, 3))
    assert "changed component QB-3310" in whole
    assert "price 156.40 160.00" in whole
    assert "price 160.00 156.40" in text_of(await compared(3, 1))
    assert "Nothing: it is one revision." in text_of(await compared(3, 3))
    as_read = {"If-Match": (await writer.get(address)).headers["etag"]}
    patch = {"headers": as_read | {"Content-Type": "application/merge-patch+json"}}
    assert (await writer.patch(address, json={"price": "156.40"}, params={"why": "no"}, **patch)).is_success
    back = text_of(await compared(1, 4))
    assert "Nothing: what was changed between them was changed back" in back
    assert (await compared(1, 9)).status_code == 404
    half = await writer.get("/history/compare?from=1", headers=BROWSER)
    assert half.status_code == 422
    assert 'href="/history">What changed in the catalogue</a>' in half.text, "no dead end"


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("24pl", ["24PL-000101", "24PL-010601"]),
        ("24PL-0184", ["24PL-018400"]),
        ("24PL-018412", ["24PL-018412"]),
        ("24 pl 18412", ["24PL-018412"]),
        ("24PL-1841", ["24PL-001841"]),
        ("24PL-01", ["24PL-010000", "24PL-010601"]),
        ("24PL-9", []),
    ],
)
async def test_while_a_number_is_typed_only_what_begins_so_is_offered(
    browser: httpx.AsyncClient, typed: str, offered: list[str]
) -> None:
    rows = (await browser.get("/suggest/chassis", params={"text": typed})).json()
    assert [row["value"] for row in rows] == offered


@pytest.mark.parametrize("path", ["/answer", "/find"])
async def test_half_a_number_is_not_taken_for_another_unseen(browser: httpx.AsyncClient, path: str) -> None:
    asked = {"/answer": "chassis", "/find": "text"}[path]
    page = await browser.get(path, params={asked: "24PL-0184"})
    assert page.url.path == "/answer"
    assert "You typed 24PL-0184, and this is 24PL-000184" in text_of(page)
    for whole in ("24pl 184", CHASSIS, "24pl 18412", "24PL018412"):
        assert "You typed" not in text_of(await browser.get(path, params={asked: whole})), whole
