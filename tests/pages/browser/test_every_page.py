"""Every page in a real browser: accessible, silent, within its content policy, and light."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.pages.browser.conftest import Visit
from tests.pictures.drawn import photograph
from tests.soundness.server import Served

DISCS = "chassis=24PL-018412&fit=QB-3310"
PAGES = {
    "start": "/",
    "ask": "/ask?chassis=24PL-018412",
    "answer": f"/answer?{DISCS}&alternatives=2",
    "impossible": f"/answer?{DISCS}&keep_section=wheels",
    "picture": f"/picture?{DISCS}",
    "order": f"/order?{DISCS}",
    "an order that is not complete": f"/order?{DISCS}&at_most_suppliers=2",
    "order for two": f"/order?{DISCS}&also=chassis%3D16PR-000200%26fit%3DQL-7075",
    "a vehicle that cannot be": f"/order?{DISCS}&another=99-1",
    "fitting": f"/fitting?{DISCS}&hands=2",
    "quotation": f"/quotation?{DISCS}&months=3",
    "check": "/check?chassis=24PL-018412",
    "look-up": "/look-up?text=caliper",
    "component": "/component/QB-3310",
    "vehicle": "/vehicle?chassis=24PL-018412",
    "orders": "/orders",
    "the store": "/store",
    "labels": "/store/labels?of=numbers",
    "sign in": "/signin",
    "problem": "/answer?chassis=99-1",
    "mended": "/answer?chassis=24PL-018412&fit=brake+disc",
    "compare": f"/compare?{DISCS}&alternatives=2",
    "two answers": f"/compare?{DISCS}&other=24PR-000200",
    "history": "/history",
    "a revision": "/history/1",
    "the history of a record": "/history/component/QB-3310",
    "a checked list": "/check?chassis=24PL-018412&list=QB-3310%0AQB-331O",
    "a list that clashes": "/check?chassis=24PL-018412&list=QB-9001%0AQB-9003&fit=QB-9001",
}
SIGNED_IN = {
    "a draft": "/orders/drafted",
    "a sent list": "/orders/sent",
    "a picking list": "/orders/sent/picking",
    "late lists": "/orders?show=late",
    "a number in the store": "/store/at/QB-9001",
    "a count": "/store/count",
    "edit": "/edit",
    "edit a component": "/edit/component/QB-3310",
    "a new fitment": "/edit/fitment",
    "import": "/edit/import",
    "pictures": "/pictures/component/QB-3310",
    "a component with pictures": "/component/QB-3310",
    "an answer with pictures": f"/answer?{DISCS}",
}
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
def kept_lists(served: Served) -> None:
    """A draft, a list that was sent and came in part, a number in the store, and a picture."""
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "deadline_seconds": 30}
    body = asked | {"note": "ring first"}
    with served.client() as client:
        client.put("/v1/stock/QB-9001", json={"quantity": 4, "place": "drawer 14"})
        picture = {"Content-Type": "image/jpeg"}
        client.post("/v1/pictures/of/component/QB-3310", content=photograph(), headers=picture)
        for name in ("drafted", "sent"):
            made = client.post("/v1/order-lists", json=body | {"name": name})
            assert made.status_code == 201, made.text
        sent = client.post("/v1/order-lists/sent/send", headers={"If-Match": made.headers["etag"]})
        came = {"lines": [{"line": 1, "received": 1}]}
        as_read = {"If-Match": sent.headers["etag"]}
        received = client.post("/v1/order-lists/sent/receive", json=came, headers=as_read)
        assert received.status_code == 200, received.text


@pytest.fixture(scope="module", params=[(LIGHT, 1280), (DARK, 390)], ids=["light, wide", "dark, phone"])
def measured(request: pytest.FixtureRequest, chromium: Browser, served: Served) -> Iterator[BrowserContext]:
    """A profile in which the engine may put its script into the page, signed in."""
    scheme, width = request.param
    context = chromium.new_context(
        base_url=served.address,
        bypass_csp=True,
        color_scheme=scheme,
        viewport={"width": width, "height": 900},
    )
    page = context.new_page()
    page.goto("/signin")
    page.fill("#key", served.key)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Sign out").wait_for()
    page.close()
    yield context
    context.close()


@pytest.mark.usefixtures("kept_lists")
@pytest.mark.parametrize("name", [*PAGES, *SIGNED_IN])
def test_the_engine_finds_nothing_and_it_fits(measured: BrowserContext, name: str) -> None:
    """On a screen and on a phone; looked at once for both, since a visit is what takes time."""
    page = measured.new_page()
    page.goto((PAGES | SIGNED_IN)[name])
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert found_by_axe(page) == []
    page.close()


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
