"""What the pointer or the cursor rests on is asked for before it is chosen, once, and nothing else is."""

import pytest
from playwright.sync_api import Locator, Page

from tests.pages.browser.conftest import Visit


class Asked:
    """The addresses of the bench that a page fetches."""

    def __init__(self, page: Page) -> None:
        self.all: list[str] = []
        page.on(
            "request",
            lambda request: self.all.append(request.url) if request.resource_type == "fetch" else None,
        )


def flaw(page: Page) -> Locator:
    """A flaw that is not ticked yet."""
    page.evaluate("document.querySelectorAll('.flaws details').forEach(one => one.open = true)")
    box = page.locator(".flaws input[name=remedy]:not(:checked)").first
    box.scroll_into_view_if_needed()
    return box


@pytest.fixture
def bench(visit: Visit) -> tuple[Page, Asked]:
    visit.page.goto("/answer?chassis=24PL-018412&fit=QB-3310")
    return visit.page, Asked(visit.page)


def test_what_the_pointer_rests_on_is_there_at_the_click(bench: tuple[Page, Asked]) -> None:
    page, asked = bench
    box = flaw(page)
    name = box.get_attribute("value")
    with page.expect_response(lambda answer: f"remedy={name}" in answer.url and answer.status == 200):
        box.hover()
    page.mouse.down()
    page.mouse.up()
    page.wait_for_url(f"**remedy={name}**")
    assert page.locator("#moved").inner_text().strip()
    assert [url for url in asked.all if f"remedy={name}" in url and "as_of" not in url] == asked.all[:1]


def test_the_cursor_counts_as_the_pointer_does(bench: tuple[Page, Asked]) -> None:
    page, asked = bench
    box = flaw(page)
    name = box.get_attribute("value")
    with page.expect_response(lambda answer: f"remedy={name}" in answer.url and answer.status == 200):
        box.focus()
    page.keyboard.press("Space")
    page.wait_for_url(f"**remedy={name}**")
    assert len([url for url in asked.all if f"remedy={name}" in url and "as_of" not in url]) == 1


def test_what_is_only_passed_over_is_not_asked_for(bench: tuple[Page, Asked]) -> None:
    page, asked = bench
    flaw(page)
    for box in page.locator(".flaws input[name=remedy]:not(:checked)").all()[:6]:
        box.dispatch_event("pointerover")
    page.locator("h1").first.dispatch_event("pointerover")
    page.wait_for_timeout(400)
    assert asked.all == []
