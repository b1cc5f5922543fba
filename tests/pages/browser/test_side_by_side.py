"""The comparison and the first page in a real browser: without script all of it, with script the rest."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.browser.conftest import Visit, held_back
from tests.soundness.server import Served

CHASSIS, OTHER = "24PL-018412", "24PR-000200"


@pytest.fixture
def plain(chromium: Browser, served: Served) -> Iterator[Page]:
    """A page of a browser that runs no script."""
    context = chromium.new_context(base_url=served.address, java_script_enabled=False)
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


def test_from_home_to_a_comparison_without_script(plain: Page) -> None:
    plain.goto("/")
    plain.get_by_text("more: upgrades").click()
    plain.get_by_role("button", name="Front discs").first.click()
    plain.get_by_label("Chassis number", exact=True).fill("24pl 18412")
    plain.get_by_role("button", name="This vehicle").click()
    plain.get_by_role("link", name="Compare", exact=True).click()
    plain.get_by_label("The same wishes on another vehicle").fill("24pr 200")
    plain.get_by_role("button", name="Lay it beside").first.click()
    expect(plain.get_by_role("heading", name="Two answers side by side")).to_be_visible()
    expect(plain.get_by_role("row", name="Pedal box")).to_contain_text("QB-2072")
    expect(plain.get_by_role("row", name="Pedal box")).to_contain_text("QB-2071")
    plain.get_by_role("link", name="Graftbook").click()
    expect(plain.get_by_role("heading", name="Recent vehicles")).to_be_visible()
    plain.get_by_role("button", name=f"Let {CHASSIS} go").last.click()
    expect(plain.locator(".inhand")).to_have_count(0)
    expect(plain.get_by_role("link", name=CHASSIS, exact=True)).to_be_visible()
    assert plain.locator(":focus").get_attribute("id") == "chassis"


def test_a_pinned_answer_is_laid_beside_the_next(visit: Visit) -> None:
    page = visit.page
    page.set_default_timeout(60_000)
    page.goto(f"/answer?chassis={CHASSIS}&fit=QB-3310")
    page.get_by_role("button", name="Pin", exact=True).click()
    expect(page.get_by_role("button", name="Pinned")).to_have_attribute("aria-pressed", "true")
    page.goto(f"/answer?chassis={OTHER}&fit=QB-3310")
    page.get_by_role("link", name=f"Compare with the pinned {CHASSIS}").click()
    expect(page.get_by_role("heading", name="Two answers side by side")).to_be_visible()
    expect(page.locator(".sums thead")).to_contain_text(CHASSIS)
    assert all(cookie["name"].startswith("graftbook_") for cookie in page.context.cookies())
    assert not any("QB-3310" in cookie["value"] for cookie in page.context.cookies())


def test_the_pin_follows_what_the_bench_puts_in_place(visit: Visit) -> None:
    page = visit.page
    page.set_default_timeout(60_000)
    page.goto(f"/answer?chassis={CHASSIS}&fit=QB-3310")
    page.get_by_role("button", name="Pin", exact=True).click()
    page.get_by_label("Nothing that shows may change").evaluate(
        "box => { box.closest('details').open = true; box.click(); }"
    )
    expect(page).to_have_url(re.compile("nothing_visible=true"))
    link = page.get_by_role("link", name=f"Compare with the pinned {CHASSIS}")
    expect(link).to_be_visible()
    assert "nothing_visible" in (link.get_attribute("href") or "")


WATCHED = """(stopping) => {
    window.said = [];
    const note = () => {
        const bar = document.querySelector(".waiting");
        if (bar) window.said.push([bar.textContent, performance.now() - window.clicked]);
    };
    const all = { childList: true, subtree: true, characterData: true };
    new MutationObserver(note).observe(document.body, all);
    document.addEventListener("click", () => { window.clicked ??= performance.now(); }, true);
    setTimeout(() => document.querySelector(".waiting button")?.click(), stopping);
}"""
"""Notes in the page what the bar says and when, and stops: the driver would wait for the navigation."""


def test_what_takes_time_says_so_and_can_be_stopped(visit: Visit) -> None:
    page = visit.page
    page.goto("/orders")
    held = held_back(page, "**/look-up*")
    page.evaluate(WATCHED, 3000)
    page.get_by_role("link", name="Look up").click(no_wait_after=True)
    page.wait_for_timeout(4000)
    said = page.evaluate("window.said")
    assert said[0][0].startswith("Looking it up …")
    assert said[0][1] >= 499, "from half a second on"
    assert any("1 s" in words for words, _ in said)
    expect(page.locator(".waiting")).to_have_count(0)
    assert page.url.endswith("/orders")
    assert held


def test_what_is_quick_says_nothing(visit: Visit) -> None:
    page = visit.page
    page.goto("/orders")
    page.evaluate("new MutationObserver(() => { window.said = document.querySelector('.waiting'); })"
                  ".observe(document.body, { childList: true })")  # fmt: skip
    page.evaluate("document.addEventListener('click', event => event.preventDefault())")
    page.get_by_role("link", name="Look up").click()
    page.wait_for_timeout(900)
    assert page.evaluate("window.said || null") is None, "it did not lead anywhere"


def test_who_stops_waiting_for_what_was_sent_is_told_that_it_may_be_stored(visit: Visit) -> None:
    page = visit.page
    page.goto("/orders")
    held = held_back(page, "**/orders/discs/send")
    page.evaluate("""() => {
        const form = document.createElement("form");
        form.method = "post";
        form.action = "/orders/discs/send";
        form.append(document.createElement("button"));
        form.lastChild.textContent = "Send it";
        document.querySelector("main").append(form);
    }""")
    page.evaluate(WATCHED, 2000)
    page.get_by_role("button", name="Send it").click(no_wait_after=True)
    page.wait_for_timeout(3000)
    assert page.evaluate("window.said")[0][0].startswith("Bringing the list up to date …")
    bar = page.locator(".waiting")
    expect(bar).to_contain_text("It may have been stored all the same")
    page.keyboard.press("Escape")
    expect(bar).to_have_count(0)
    assert held
