"""Every page in a real browser: accessible, silent, within its content policy, and light."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from graftbook.app import create_app
from graftbook.settings import Settings
from tests.pages.browser.conftest import Visit
from tests.pages.browser.every_page import PAGES, SIGNED_IN, furnish, never_visited, signed_in
from tests.soundness.server import Served

WCAG = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
LIGHT, DARK = "light", "dark"
MOST_BYTES = 150_000


def found_by_axe(page: Page) -> list[str]:
    """What the engine finds wrong, a line a rule and place; also in what is folded away at first."""
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    results = Axe().run(page, options=WCAG)
    return [
        f"{violation['id']}: {node['target']} {node['failureSummary']}"
        for violation in results.response["violations"]
        for node in violation["nodes"][:3]
    ]


@pytest.fixture(scope="module")
def ids(served: Served) -> dict[str, str]:
    """A house in which every page has something to show; the ids that addresses name."""
    with served.client() as client:
        return furnish(client)


@pytest.fixture(scope="module", params=[(LIGHT, 1280), (DARK, 390)], ids=["light, wide", "dark, phone"])
def measured(request: pytest.FixtureRequest, chromium: Browser, served: Served) -> Iterator[BrowserContext]:
    """A profile in which the engine may put its script into the page, signed in."""
    scheme, width = request.param
    context = signed_in(
        chromium, served, bypass_csp=True, color_scheme=scheme, viewport={"width": width, "height": 900}
    )
    yield context
    context.close()


def test_every_page_is_visited(served: Served, sqlite_demo_url: str) -> None:
    assert never_visited(create_app(Settings(database_url=sqlite_demo_url))) == set()


@pytest.mark.parametrize("name", [*PAGES, *SIGNED_IN])
def test_the_engine_finds_nothing_and_it_fits(
    measured: BrowserContext, ids: dict[str, str], name: str
) -> None:
    """On a screen and on a phone; looked at once for both, since a visit is what takes time."""
    page = measured.new_page()
    answer = page.goto((PAGES | SIGNED_IN)[name].format(**ids))
    assert answer is not None
    assert answer.status != 404
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert found_by_axe(page) == []
    page.close()


@pytest.mark.usefixtures("ids")
@pytest.mark.parametrize("name", PAGES)
def test_no_complaint_and_nothing_from_elsewhere(visit: Visit, served: Served, name: str) -> None:
    asked: list[str] = []
    visit.page.on("request", lambda request: asked.append(request.url))
    answer = visit.page.goto(PAGES[name])
    visit.page.wait_for_load_state("networkidle")
    assert answer is not None
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert all(address.startswith(served.address) for address in asked), asked
    assert visit.page.locator("h1").count() == 1
    for width in (390, 1280, 1800):
        visit.page.set_viewport_size({"width": width, "height": 900})
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width, width


def test_the_content_policy_is_enforced(visit: Visit) -> None:
    visit.page.goto("/")
    ran = visit.page.evaluate(
        """() => { const s = document.createElement('script'); s.textContent = 'window.ran = true';
        document.head.append(s); return window.ran === true; }"""
    )
    assert ran is False
    assert any("Content Security Policy" in complaint for complaint in visit.complaints)
    visit.complaints.clear()


def test_an_answer_of_sixty_parts_is_light(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address)
    page = context.new_page()
    client = context.new_cdp_session(page)
    client.send("Network.enable")
    sizes: list[float] = []
    client.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto("/answer?chassis=24PL-018412&remedy_all=moderate")
    page.wait_for_load_state("networkidle")
    keys = page.locator(".set .line").evaluate_all("rows => rows.map(row => row.dataset.key)")
    assert len(" ".join(keys).split()) >= 60
    assert 0 < sum(sizes) < MOST_BYTES, sizes
    context.close()


def test_the_readers_units_are_chosen_at_the_foot_and_lead_back_to_what_is_there_now(visit: Visit) -> None:
    """The bench asks in place: where it is by then stands in the address, and not in the form."""
    page = visit.page
    page.goto("/component/QB-3310")
    page.evaluate("history.replaceState(null, '', '/component/QB-3311')")
    page.get_by_label("Measures", exact=True).select_option("imperial")
    page.get_by_role("button", name="Use these", exact=True).click()
    page.wait_for_url("**/component/QB-3311")
    assert page.get_by_label("Measures", exact=True).input_value() == "imperial"
    assert " in (" in page.locator("#figures").inner_text().replace("\u00a0", " ")
