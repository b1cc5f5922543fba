"""Looking up: a search, its pages, a component, a vehicle; each says what the API says."""

import re
from collections.abc import Callable
from html import unescape

import httpx
import pytest

from tests.conftest import HERE, application, client_of, make_key
from tests.pages.conftest import BROWSER

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"


def text_of(page: httpx.Response) -> str:
    """What a reader sees, roughly: tags out, spaces joined."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page.text)).replace("\u00a0", " ").split())


def numbers_in(page: httpx.Response) -> list[str]:
    """The numbers of the table of what was found, in its order."""
    return re.findall(r'<th scope="row"><a class="number"[^>]*>([^<]+)</a>', page.text)


async def test_nothing_asked_offers_the_sections(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/look-up")
    assert page.status_code == 200
    assert 'href="/look-up?section=brakes"' in page.text
    assert not numbers_in(page)


@pytest.mark.parametrize(
    ("asked", "same"),
    [
        ({"text": "qb 33"}, {"number": "qb 33"}),
        ({"text": "brake disc"}, {"words": "brake disc"}),
        ({"section": "engine", "origin": "modern"}, {"section": "engine", "origin": "modern"}),
        ({"text": "caliper", "chassis": CHASSIS}, {"words": "caliper", "chassis": CHASSIS}),
        ({"position": "brake.master"}, {"position": "brake.master"}),
        ({"supply": "superseded"}, {"supply": "superseded"}),
    ],
)
async def test_a_search_finds_what_the_api_finds(
    browser: httpx.AsyncClient, asked: dict[str, str], same: dict[str, str]
) -> None:
    page = await browser.get("/look-up", params=asked)
    found = (await browser.get("/v1/components", params=same)).json()["items"]
    assert found
    assert numbers_in(page) == [line["number"] for line in found]
    for line in found:
        assert line["name"] in text_of(page)


async def test_the_pages_of_a_search_hold_each_component_once(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/look-up", params={"text": "q"})
    seen, pages = numbers_in(page), 1
    while following := re.search(r'href="([^"]+)" rel="next"', page.text):
        page = await browser.get(unescape(following[1]))
        assert page.status_code == 200
        assert "first page" in page.text
        seen += numbers_in(page)
        pages += 1
    assert pages > 2
    assert len(seen) == len(set(seen)) > 200


@pytest.mark.parametrize("text", ["qb", "disc"])
async def test_a_page_has_as_many_lines_as_the_house_sets(sqlite_demo_url: str, text: str) -> None:
    with application(sqlite_demo_url, page_size=7) as app:
        async with client_of(app, headers=BROWSER) as browser:
            page = await browser.get("/look-up", params={"text": text})
    assert len(numbers_in(page)) == 7
    assert 'rel="next"' in page.text


@pytest.mark.parametrize(
    ("asked", "status", "words"),
    [
        ({"text": "!!"}, 422, "Type letters or digits"),
        ({"chassis": "99ZZ-1"}, 404, "99ZZ-1"),
        ({"text": "q", "cursor": "nonsense"}, 400, "To the first page"),
        ({"section": "brakers"}, 404, "brakes"),
    ],
)
async def test_what_cannot_be_searched_is_told_with_the_form_kept(
    browser: httpx.AsyncClient, asked: dict[str, str], status: int, words: str
) -> None:
    page = await browser.get("/look-up", params=asked)
    assert page.status_code == status
    assert words in text_of(page)
    assert 'role="alert"' in page.text
    assert f'value="{asked.get("text", "")}"' in page.text


async def test_nothing_found_says_so(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/look-up", params={"text": "zeppelin", "section": "brakes"})
    assert "Nothing is recorded that meets all of this." in text_of(page)
    assert 'href="/look-up?text=zeppelin"' in page.text


async def test_what_is_typed_stays_text(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/look-up", params={"text": '"><script>alert(1)</script>'})
    assert "<script>alert" not in page.text


async def test_a_component_tells_all_that_the_api_tells(browser: httpx.AsyncClient) -> None:
    page, known = (
        await browser.get("/component/QB-3310"),
        (await browser.get("/v1/components/QB-3310")).json(),
    )
    shown = text_of(page)
    assert page.status_code == 200
    assert known["component"]["price"] in shown
    assert known["needs"]
    for rule in (*known["needs"], *known["conflicts"]):
        if "reason" in rule:
            assert rule["reason"] in shown
        if "fit" in rule:
            assert rule["fit"] in shown
    for row in known["characteristics"]:
        assert row["value"].replace(" degC", " °C").replace(" .. ", " to ").replace("cm2", "cm²") in shown
    for row in known["evidence"]:
        assert row["reference"] in shown
    for row in known["offers"]:
        assert row["price"] in shown
    assert 'href="/history/component/QB-3310"' in page.text
    assert "/edit/component/" not in page.text, "nobody is signed in"


async def test_every_component_of_the_demo_has_a_page(browser: httpx.AsyncClient) -> None:
    found = (await browser.get("/v1/components", params={"limit": 500})).json()["items"]
    assert len(found) == 500
    for line in found[::7]:
        page = await browser.get(f"/component/{line['number']}")
        assert page.status_code == 200, line["number"]
        assert line["name"].lower() in text_of(page).lower()


async def test_a_number_typed_otherwise_goes_to_its_own_address(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/component/qb 3310", params={"chassis": CHASSIS})
    assert page.history[0].status_code == 303
    assert page.url.path == "/component/QB-3310"
    assert f'value="{CHASSIS}"' in page.text


async def test_an_unknown_number_is_told_with_near_ones(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/component/QB-331O")
    assert page.status_code == 404
    assert 'href="/component/QB-3310"' in page.text


async def test_a_vehicle_tells_its_equipment_flaws_and_remedies(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/vehicle", params={"chassis": "24pl 18412"})
    known = (await browser.get(f"/v1/vehicles/{CHASSIS}")).json()
    shown = text_of(page)
    assert page.status_code == 200
    assert CHASSIS in shown
    assert known["flaws"]
    for flaw in known["flaws"]:
        assert flaw["symptom"].lower() in shown.lower()
        remedied = f"remedy={flaw['flaw'].replace('/', '%2F')}" in page.text
        assert remedied == bool(flaw["remedies"])
    for place in known["fitted"]:
        assert place["component"] is None or place["component"] in shown


async def test_what_a_vehicle_has_alike_on_both_sides_is_one_row(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/vehicle", params={"chassis": CHASSIS})
    shown = text_of(page)
    assert "Front brake, both sides QB-2010 front drum brake" in shown
    assert "QA-1010 QA-1011 rear half shaft, 14 splines, 27 mm, both sides" in shown
    both = re.findall(
        r'href="/answer[^"]*remedy=half-shaft-twists-left&amp;remedy=half-shaft-twists-right"', page.text
    )
    assert both, "one link remedies what ails either hand"


async def test_the_sections_of_a_vehicle_are_folded_and_tell_what_is_in_them(
    browser: httpx.AsyncClient,
) -> None:
    page = await browser.get("/vehicle", params={"chassis": CHASSIS})
    fold = r'<details id="[^"]+" class="insection printed"( open)?>\s*<summary>(.*?)</summary>'
    folds = re.findall(fold, page.text, re.DOTALL)
    assert len(folds) == 10
    assert not any(is_open for is_open, _ in folds)
    brakes = " ".join(re.sub("<[^>]+>", " ", folds[0][1]).replace("\u00a0", " ").split())
    assert re.fullmatch(r"Brakes 1 dangerous 3 severe 4 moderate 3 minor [0-9]+ places fitted", brakes)
    opened = await browser.get("/vehicle", params={"chassis": CHASSIS, "open": "all"})
    assert opened.text.count('class="insection printed" open') == len(folds)
    (link,) = re.findall(r'href="([^"]+)">Open all sections', page.text)
    assert (await browser.get(unescape(link))).text.count('class="insection printed" open') == len(folds)


async def test_flaws_are_counted_as_they_are_listed(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/vehicle", params={"chassis": CHASSIS})
    told = re.findall(r"</span> flaws</dt><dd>([0-9]+)</dd>", page.text)
    listed = page.text.count('<li class="keep"><p><span class="severity')
    assert sum(map(int, told)) == listed


async def test_a_chassis_number_that_nobody_has_is_typed_again_where_it_is_refused(
    browser: httpx.AsyncClient,
) -> None:
    asked = {"chassis": "24PL-O1841299", "fit": "QB-3310"}
    page = await browser.get("/answer", params=asked, headers=BROWSER)
    assert page.status_code == 422
    form = page.text.partition('<form class="field" method="get" action="/answer">')[2].partition("</form>")[
        0
    ]
    assert 'name="chassis" required maxlength="120" value="24PL-O1841299"' in form
    assert '<input type="hidden" name="fit" value="QB-3310">' in form


async def test_a_flaw_on_the_vehicle_page_leads_to_its_answer(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/vehicle", params={"chassis": CHASSIS})
    found = re.search(r'href="(/answer[^"]+remedy=[^"]+)"', page.text)
    assert found
    answer = await browser.get(unescape(found[1]))
    assert answer.status_code == 200
    assert "<h1>" in answer.text


async def test_a_vehicle_without_a_number_goes_to_the_start(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/vehicle")
    assert page.url.path == "/"


@pytest.mark.parametrize(("scope", "may"), [("edit", True), ("read", False)])
async def test_only_an_editor_is_led_to_the_form(demo_copy: Callable[[], str], scope: str, may: bool) -> None:
    headers = {**BROWSER, "Origin": HERE}
    with application(demo_copy()) as app:
        async with client_of(app, headers=headers, follow_redirects=True) as client:
            key = make_key(app.state.service.engine, scope)
            signed_in = await client.post("/signin", data={"key": key, "next": "/component/QB-3310"})
            assert signed_in.status_code == 200
            assert "Sign out" in signed_in.text
            assert ('href="/edit/component/QB-3310"' in signed_in.text) is may
