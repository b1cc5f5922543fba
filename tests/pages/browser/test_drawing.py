"""The drawing and the picture in a browser: marks lead to their rows, the page scrolls past the picture."""

import re
from contextlib import suppress

import pytest
from playwright.sync_api import Browser, Page, TimeoutError, expect

from tests.pages.browser.conftest import Visit
from tests.pages.browser.every_page import DISCS
from tests.pages.browser.test_every_page import found_by_axe
from tests.soundness.server import Served

FINGERS_GAP = 24
"""Pixels that what is to be hit has to itself (WCAG 2.2, 2.5.8)."""


@pytest.mark.parametrize("width", [390, 1280])
def test_marks_are_far_enough_apart_to_be_hit(visit: Visit, width: int) -> None:
    page = visit.page
    page.set_viewport_size({"width": width, "height": 900})
    for look in ("", "&look=brakes", "&look=engine"):
        page.goto(f"/answer?{DISCS}{look}")
        page.locator("#drawing").evaluate("panel => { panel.open = true; }")
        nearest = page.evaluate(
            """() => Math.min(...[...document.querySelectorAll('#drawing svg.view')].flatMap((view) => {
              const marks = [...view.querySelectorAll('a > use:first-of-type')];
              const at = marks.map((one) => one.getBoundingClientRect())
                .map((box) => [box.x + box.width / 2, box.y + box.height / 2]);
              return at.flatMap(([x, y], i) => at.slice(0, i).map(([a, b]) => Math.hypot(x - a, y - b)));
            }))"""
        )
        assert nearest >= FINGERS_GAP - 2, look  # a triangle's middle lies a little higher
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_mark_leads_to_its_row_and_a_section_is_seen_nearer_in_place(visit: Visit) -> None:
    page = visit.page
    page.goto(f"/answer?{DISCS}")
    panel = page.locator("#drawing")
    expect(panel.locator("svg.view").first).to_be_hidden()
    panel.locator("summary").click()
    panel.locator("a[href='#line-1']").first.click()
    expect(page.locator("#line-1")).to_be_in_viewport()
    page.evaluate("window.stayed = true")
    panel.get_by_role("link", name="Brakes").click()
    expect(panel.get_by_role("link", name="Brakes")).to_have_attribute("aria-current", "true")
    expect(panel.get_by_role("link", name="Brakes")).to_be_focused()
    assert "look=brakes" in page.url
    assert page.evaluate("window.stayed"), "put in place, not loaded"
    expect(page.locator("#moved")).to_have_count(0)
    panel.locator("a[href^='#flaw-'], a[href^='#stay-']").first.click()
    told = page.url.partition("#")[2]
    assert re.fullmatch(r"(flaw|stay)-\d+", told)
    expect(page.locator(f"#{told}")).to_be_in_viewport()


def test_the_engine_finds_nothing_in_a_section_seen_nearer(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address, bypass_csp=True)
    page = context.new_page()
    page.goto(f"/answer?{DISCS}&look=brakes")
    assert found_by_axe(page, ["light, wide"]) == []
    context.close()


def turned(page: Page, by: int, until: str) -> None:
    """Turn the wheel as a hand does, until the page has taken it: a busy one may miss the first turn."""
    for _ in range(5):
        page.mouse.wheel(0, by)
        with suppress(TimeoutError):
            page.wait_for_function(until, timeout=2_000)
            return
    raise AssertionError(f"the wheel was turned five times, and not {until}")


def test_the_page_scrolls_past_the_picture_and_ctrl_makes_it_larger(visit: Visit) -> None:
    page = visit.page
    page.goto(f"/picture?{DISCS}")
    picture = page.locator(".picture")
    before = picture.locator("svg").get_attribute("width")
    picture.hover(position={"x": 200, "y": 200})
    turned(page, 400, "() => window.scrollY > 100")
    assert picture.locator("svg").get_attribute("width") == before
    assert picture.evaluate("one => getComputedStyle(one).touchAction") == "auto"
    page.keyboard.down("Control")
    page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    expect(picture.locator("svg")).not_to_have_attribute("width", before or "")


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_picture_can_be_read_at_any_width(visit: Visit, width: int) -> None:
    """Sixty parts: letters of ten pixels or more; on a phone the list comes first."""
    page = visit.page
    page.set_viewport_size({"width": width, "height": 900})
    page.goto("/picture?chassis=24PL-018412&remedy_all=moderate")
    high = page.locator(".picture svg").evaluate(
        "one => 12 * one.getBoundingClientRect().width / one.viewBox.baseVal.width"
    )
    assert high >= 10
    tops = [
        page.locator(place).evaluate("one => one.getBoundingClientRect().top")
        for place in ("#list", "#drawn")
    ]
    assert (tops[0] < tops[1]) == (width == 390)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
