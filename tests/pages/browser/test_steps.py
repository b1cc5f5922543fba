"""The steps of an order list in a real browser: taken where one is; what is refused, as without script."""

import re

import httpx
import pytest
from playwright.sync_api import Page, expect

from tests.pages.browser.conftest import Visit, held_back, sign_in
from tests.soundness.server import Served

ANSWER = "/answer?chassis=24PR-000777&fit=QB-3310"


@pytest.fixture
def loads(visit: Visit) -> list[str]:
    """The pages that the browser loads anew."""
    loaded: list[str] = []
    visit.page.on("load", lambda page: loaded.append(page.url))
    return loaded


@pytest.fixture
def draft(visit: Visit, served: Served) -> Page:
    """The page of a draft that was kept from an answer."""
    page = visit.page
    sign_in(page, served)
    page.goto(ANSWER)
    page.get_by_role("button", name="Keep the order").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("draft")
    page.wait_for_load_state()  # a heading may be seen before its page counts as loaded
    return page


def test_an_order_is_kept_in_one_click_under_a_name_that_is_free(draft: Page) -> None:
    name = r"/orders/24PR-000777-QB-3310-\d{4}-\d\d-\d\d"
    expect(draft).to_have_url(re.compile(name))
    first = draft.url
    draft.goto(ANSWER)
    draft.get_by_role("button", name="Keep the order").click()
    expect(draft).to_have_url(re.compile(name + r"-\d+$"))
    assert draft.url != first


def test_a_list_is_sent_booked_and_taken_back_in_place(draft: Page, loads: list[str]) -> None:
    address = draft.url
    loads.clear()
    draft.get_by_role("button", name="Send it", exact=True).click()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")
    assert draft.url == address + "#suppliers-head"
    expect(draft.locator("#suppliers-head")).to_be_focused()
    draft.get_by_role("button", name="All came").first.click()
    expect(draft.get_by_role("status").first).to_contain_text("booked")
    expect(draft.locator("#came-head")).to_be_focused()
    draft.get_by_role("link", name="Look, or take it back").click()
    draft.locator("article.booking summary").first.click()
    draft.get_by_label("Why", exact=True).fill("counted twice")
    draft.get_by_role("button", name="Take it back").click()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")
    expect(draft.locator("article.booking")).to_contain_text("counted twice")
    assert not loads
    draft.reload()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")


def test_what_is_doubted_is_asked_and_what_somebody_else_did_is_told(
    draft: Page, loads: list[str], served: Served
) -> None:
    draft.get_by_role("button", name="Send it", exact=True).click()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")
    loads.clear()
    delivery = draft.locator("details.delivery").first
    delivery.locator("summary").first.click()
    delivery.locator("input[name^=came-]").first.fill("999")
    delivery.get_by_role("button", name="Book what is typed").click()
    expect(draft.get_by_role("alert")).to_contain_text("Nothing is booked yet")
    assert len(loads) == 1
    delivery.locator("input[name^=came-]").first.fill("1")
    delivery.get_by_role("button", name="Book what is typed").click()
    expect(draft.get_by_role("status").first).to_contain_text("booked")
    name = re.findall(r"/orders/([^/#?]+)", draft.url)[0]
    with httpx.Client(base_url=served.address, headers={"Authorization": f"Bearer {served.key}"}) as other:
        etag = other.get(f"/v1/order-lists/{name}").headers["etag"]
        closed = other.post(f"/v1/order-lists/{name}/close", json={"reason": "x"}, headers={"If-Match": etag})
        assert closed.status_code == 200, closed.text
    draft.get_by_role("button", name="All came").first.click()
    expect(draft.get_by_role("main")).to_contain_text("changed")


def test_a_step_that_takes_time_says_so_and_can_be_left(draft: Page, loads: list[str]) -> None:
    loads.clear()
    held = held_back(draft, "**/send")
    draft.get_by_role("button", name="Send it", exact=True).click()
    bar = draft.locator(".waiting")
    expect(bar).to_contain_text("Bringing the list up to date")
    bar.get_by_role("button", name="Stop").click()
    expect(bar).to_contain_text("It may have been stored all the same")
    bar.get_by_role("button", name="Close").click()
    expect(bar).to_have_count(0)
    draft.unroute_all(behavior="ignoreErrors")
    draft.get_by_role("button", name="Send it", exact=True).click()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")
    assert held
    assert not loads
