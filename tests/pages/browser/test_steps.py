"""The steps of an order list in a real browser: taken where one is; what is refused, as without script."""

import re

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

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


def test_who_clicks_twice_keeps_one_order(visit: Visit, served: Served) -> None:
    page = visit.page
    sign_in(page, served)
    page.goto(ANSWER)
    held = held_back(page, "**/order*")
    keep = page.get_by_role("button", name="Keep the order")
    keep.dblclick(delay=30, no_wait_after=True)
    page.wait_for_timeout(300)
    assert [route.request.method for route in held] == ["POST"]
    held[0].abort()


def test_the_second_of_two_clicks_books_nothing_of_the_next_supplier(draft: Page) -> None:
    draft.get_by_role("button", name="Send it", exact=True).click()
    came = draft.get_by_role("button", name="All came")
    came.first.click()
    expect(draft.get_by_role("status").first).to_contain_text("booked")
    one, after = came.first.bounding_box(), came.nth(1).bounding_box()
    assert one
    assert after
    row = after["y"] - one["y"]
    # The next supplier has the longer name: what is told of it takes a line more.
    draft.evaluate("up => window.scrollBy(0, -up)", row + 24)
    one = came.first.bounding_box()
    assert one
    left = came.count() - 1
    at = one["x"] + 10, one["y"] + one["height"] / 2
    draft.mouse.click(*at)
    expect(came).to_have_count(left)
    draft.mouse.click(*at)
    below = draft.evaluate(
        "([x, y]) => document.elementFromPoint(x, y).closest('button')?.textContent ?? ''", at
    )
    assert below.startswith("All came"), "the second click is to fall on a button, else this says nothing"
    draft.wait_for_timeout(700)
    expect(came).to_have_count(left)
    draft.mouse.click(*at)
    expect(came).to_have_count(left - 1)


def test_a_button_that_was_refused_is_not_pressed_for_good(draft: Page) -> None:
    draft.get_by_role("button", name="Send it", exact=True).click()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")
    delivery = draft.locator("details.delivery").first
    delivery.locator("summary").first.click()
    draft.context.clear_cookies()
    # Nothing is sent, as when one goes back to a page that the browser has kept.
    draft.evaluate(
        """() => { HTMLFormElement.prototype.submit = function () {
            document.title = this.querySelector("input[name=all]").name; } }"""
    )
    delivery.get_by_role("button", name="All that is open came").click()
    expect(draft).to_have_title("all")
    expect(draft.locator("input[name=all]")).to_have_count(0)


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
    expect(draft.locator("article.booking")).to_be_focused()
    expect(draft.locator("article.booking")).to_be_in_viewport()
    assert not loads
    draft.reload()
    expect(draft.get_by_role("heading", level=1)).to_contain_text("sent")


def test_what_is_typed_for_another_supplier_stays(draft: Page, loads: list[str]) -> None:
    draft.get_by_role("button", name="Send it", exact=True).click()
    suppliers = draft.locator(".delivery")
    expect(suppliers.nth(1)).to_be_visible()
    for at in (0, 1):
        suppliers.nth(at).locator("summary").first.click()
    typed = suppliers.nth(1).get_by_label("came", exact=False).first
    typed.fill("1")
    suppliers.nth(1).get_by_label("Number of the delivery note").fill("LS 4711")
    suppliers.nth(0).get_by_label("came", exact=False).first.fill("1")
    draft.locator(".came").first.get_by_role("button", name="All came").click()
    expect(draft.get_by_role("status").filter(has_text="booked")).to_be_visible()
    expect(typed).to_have_value("1")
    expect(typed).to_be_visible()
    expect(suppliers.nth(1).get_by_label("Number of the delivery note")).to_have_value("LS 4711")
    draft.get_by_role("link", name="Look, or take it back").click()
    draft.locator("#booking-1 summary").click()
    draft.get_by_label("Why", exact=True).fill("another van's")
    draft.keyboard.press("Enter")
    expect(draft.locator("#booking-1")).to_contain_text("Taken back")
    expect(typed).to_have_value("1")
    suppliers.nth(1).get_by_role("button", name="Book what is typed").click()
    expect(draft.locator("#booking-2 li")).to_have_count(1)
    expect(draft.locator("#booking-2")).to_contain_text("delivery note LS 4711")
    assert loads == []


def _sent_and_typed_beside(page: Page, served: Served, note: str) -> None:
    """A list is kept and sent; its first two suppliers are open, a count and a note stand at the second."""
    sign_in(page, served)
    page.goto(ANSWER)
    page.get_by_role("button", name="Keep the order").click()
    page.get_by_role("button", name="Send it", exact=True).click()
    suppliers = page.locator(".delivery")
    expect(suppliers.nth(1)).to_be_visible()
    page.wait_for_load_state()
    for at in (0, 1):
        suppliers.nth(at).locator("summary").first.click()
    suppliers.nth(1).get_by_label("came", exact=False).first.fill("1")
    suppliers.nth(1).get_by_label("Number of the delivery note").fill(note)


def test_what_is_typed_for_another_supplier_stays_without_script(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address, java_script_enabled=False)
    page = context.new_page()
    _sent_and_typed_beside(page, served, "LS 4712")
    typed = page.locator(".delivery").nth(1).get_by_label("came", exact=False).first
    page.locator(".delivery").first.get_by_label("came", exact=False).first.fill("999")
    page.locator(".delivery").first.get_by_role("button", name="Book what is typed").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is booked yet")
    expect(typed).to_have_value("1")
    page.locator(".delivery").first.get_by_role("button", name="Book it all the same").click()
    expect(page.get_by_role("status").filter(has_text="1 line")).to_be_visible()
    page.get_by_role("button", name="All came").first.click()
    expect(page.get_by_role("link", name="Look, or take it back")).to_have_attribute("href", "#booking-2")
    page.get_by_role("link", name="Look, or take it back").click()
    page.locator("#booking-2 summary").click()
    page.locator("#why-2").fill("another van's")
    page.locator("#booking-2").get_by_role("button", name="Take it back").click()
    expect(page.locator("#booking-2")).to_contain_text("Taken back")
    expect(typed).to_be_visible()
    expect(typed).to_have_value("1")
    page.locator(".delivery").nth(1).get_by_role("button", name="Book what is typed").click()
    expect(page.locator("#booking-3 li")).to_have_count(1)
    expect(page.locator("#booking-3")).to_contain_text("delivery note LS 4712")
    expect(page).to_have_url(re.compile(r"/orders/[^/]+#came-head$"))
    context.close()


@pytest.mark.parametrize("script", [True, False])
def test_the_enter_key_books_what_is_typed_where_it_is_pressed(
    chromium: Browser, served: Served, script: bool
) -> None:
    context = chromium.new_context(base_url=served.address, java_script_enabled=script)
    page = context.new_page()
    note = f"LS 4713 {script}"
    _sent_and_typed_beside(page, served, note)
    if script:
        page.locator(".delivery").first.get_by_label("came", exact=False).first.fill("1")
    page.locator(".delivery").nth(1).get_by_label("came", exact=False).first.press("Enter")
    expect(page.locator("#booking-1 li")).to_have_count(1)
    expect(page.locator("#booking-1")).to_contain_text(f"delivery note {note}")
    context.close()


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
    draft.wait_for_load_state()
    assert len(loads) == 1, "the browser sent it itself"
    delivery.locator("input[name^=came-]").first.fill("1")
    delivery.get_by_role("button", name="Book what is typed").click()
    expect(draft.get_by_role("status").first).to_contain_text("booked")
    name = re.findall(r"/orders/([^/#?]+)", draft.url)[0]
    with httpx.Client(base_url=served.address, headers={"Authorization": f"Bearer {served.key}"}) as other:
        etag = other.get(f"/v1/order-lists/{name}").headers["etag"]
        closed = other.post(f"/v1/order-lists/{name}/close", json={"reason": "x"}, headers={"If-Match": etag})
        assert closed.status_code == 200, closed.text
    draft.get_by_role("button", name="All came").first.click()
    expect(draft).to_have_url(re.compile("/receive"))
    expect(draft.get_by_role("heading", level=1)).to_contain_text("changed")
    draft.wait_for_load_state()


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
