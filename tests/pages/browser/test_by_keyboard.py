"""The pages in a real browser: by keyboard, without script, in two tabs, from the wish to the delivery."""

import re
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.pages.browser.conftest import Visit, held_back, sign_in
from tests.soundness.server import Served

DISCS = "/answer?chassis=24PL-018412&fit=QB-3310"


def test_from_a_chassis_number_to_an_answer_without_a_mouse(visit: Visit) -> None:
    page = visit.page
    page.goto("/")
    expect(page.get_by_label("Chassis number", exact=True)).to_be_focused()
    page.keyboard.type("24pl 18412")
    page.keyboard.press("Enter")
    expect(page.get_by_text("24PL-018412").first).to_be_visible()
    page.locator("#fit-1").focus()
    page.keyboard.type("front brake caliper, four", delay=20)
    options = page.get_by_role("option")
    # Not yet one that fewer letters had found.
    expect(options.first).to_contain_text("front brake caliper, four")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.locator("#fit-1").input_value() == "QB-3310"
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    # The same asked again is no step more on the way back.
    with page.expect_response("**/answer?*fit=*"):
        page.locator("#fit-1").fill("qb 3310")
        page.keyboard.press("Escape")
        page.keyboard.press("Enter")
    page.wait_for_url("**fit=qb*as_of=*")
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    first = page.locator(".verdictline").inner_text()
    page.reload()
    assert page.locator(".verdictline").inner_text() == first
    page.go_back()
    expect(page.get_by_role("heading", name="As it stands")).to_be_visible()
    page.go_forward()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    row = page.locator(".set tbody.line", has=page.locator(".choices")).first
    row.locator("summary").first.focus()
    page.keyboard.press("Enter")
    row.get_by_role("link", name=re.compile("^Take this")).first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"%40.*as_of="))  # the choice, number@position, stands in the address


def test_the_set_changes_in_place_and_can_be_undone(visit: Visit) -> None:
    page = visit.page
    page.goto("/answer?chassis=24PL-018412")
    page.evaluate("window.same = true")
    expect(page.get_by_role("heading", name="As it stands")).to_be_visible()
    page.locator(".flaws summary", has_text="Electrical").click()
    flaw = page.locator(".flaws details[open] input[name=remedy]").nth(1)
    name = flaw.get_attribute("value")
    flaw.check()
    moved = page.locator("#moved")
    expect(moved).to_contain_text("came in")
    expect(moved).to_contain_text("changes +1")
    expect(page.locator(".set .line.came").first).to_be_visible()
    assert f"remedy={name}" in page.url
    assert page.locator(f"input[value='{name}']").is_checked()
    moved.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("heading", name="As it stands")).to_be_visible()
    expect(page.locator(f"input[value='{name}']")).not_to_be_checked()
    page.fill("#fit-1", "QB-331099")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=re.compile("no such component"))).to_be_visible()
    page.fill("#fit-1", "QB-3310")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    page.locator("#line-1 > tr:first-child td").nth(1).click()
    expect(page.locator("#line-1 .more")).to_be_visible()
    page.locator(".asking .away").first.click()
    expect(page.get_by_role("heading", name="As it stands")).to_be_visible()
    assert page.evaluate("window.same"), "no page was loaded anew"


def test_a_wish_taken_away_keeps_what_was_ticked_since(visit: Visit) -> None:
    """A tick brings the result alone, so the form's own links are older than it."""
    page = visit.page
    page.goto(DISCS)
    page.locator(".flaws summary", has_text="Electrical").click()
    flaw = page.locator(".flaws details[open] input[name=remedy]").nth(1)
    flaw.check()
    expect(page.locator("#moved")).to_contain_text("came in")
    page.locator(".asking .away").first.click()
    expect(page.locator("#fit-1")).to_have_value("")
    expect(page.locator(".asked")).not_to_contain_text("QB-3310")
    assert "fit=" not in page.url
    assert f"remedy={flaw.get_attribute('value')}" in page.url
    expect(flaw).to_be_checked()


def test_what_is_typed_while_an_answer_comes_stays(visit: Visit) -> None:
    """The answer brings the form anew: the words half typed stay in it with the cursor where it was, and what
    was chosen is not typed over by them."""
    page = visit.page
    page.goto("/answer?chassis=24PL-018412")
    held = held_back(page, "**/answer?*fit=*")
    page.fill("#fit-1", "QB-3310")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="One more").first.click()
    row = page.locator("input[name=fit]").last
    row.press_sequentially("front kaliper")
    for _ in "kaliper":
        page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(500)
    for route in held:
        route.continue_()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    page.keyboard.type("C")
    page.keyboard.press("Delete")
    assert page.locator("input[name=fit]").evaluate_all(
        "all => all.map(one => one.value).filter(Boolean)"
    ) == [
        "QB-3310",
        "front Caliper",
    ]
    expect(page.get_by_role("option").first).to_be_visible()


@pytest.mark.parametrize("typed_before", [0, 2, 7])
def test_what_is_typed_around_the_coming_of_an_answer_is_asked_on_leaving_its_field(
    visit: Visit, typed_before: int
) -> None:
    """Nothing of it in a row only just added, a half, or the whole; what is half typed is not asked."""
    page = visit.page
    page.goto("/answer?chassis=24PL-018412")
    held: list[Route] = []
    asked: set[tuple[str, ...]] = set()

    def first_waits(route: Route) -> None:
        asked.add(tuple(parse_qs(urlsplit(route.request.url).query)["fit"]))
        held.append(route) if not held else route.continue_()

    page.route("**/answer?*fit=*", first_waits)
    page.locator("#fit-1").press_sequentially("QB-3310")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="One more").first.click()
    page.keyboard.type("QB-7093"[:typed_before])
    held[0].continue_()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    page.keyboard.type("QB-7093"[typed_before:])
    page.keyboard.press("Tab")
    page.wait_for_url("**fit=QB-3310&fit=QB-7093*")
    expect(page.locator(".asked")).to_contain_text("QB-7093")
    assert asked == {("QB-3310",), ("QB-3310", "QB-7093")}


@pytest.mark.parametrize("meanwhile", ["the session ended", "another tab signed in"])
def test_what_was_typed_for_a_session_that_is_no_more_is_there_again(
    visit: Visit, served: Served, meanwhile: str
) -> None:
    page = visit.page
    sign_in(page, served, "/builds")
    page.fill("input[name=name]", "late-van")
    page.fill("input[name=chassis]", "24PL-018412")
    page.context.clear_cookies()
    if meanwhile == "another tab signed in":
        sign_in(page.context.new_page(), served, "/orders")
    page.keyboard.press("Enter")
    if meanwhile == "the session ended":
        expect(page.get_by_text("you come back to the form, with what you typed in it")).to_be_visible()
        page.locator("main").get_by_role("link", name="Sign in").click()
        page.fill("#key", served.key)
        page.keyboard.press("Enter")
    else:
        page.get_by_role("link", name="Back to the page").click()
    expect(page.get_by_role("status")).to_contain_text("it has not been sent")
    expect(page.locator("input[name=name]")).to_have_value("late-van")
    page.locator("input[name=chassis]").press("Enter")
    page.wait_for_url("**/builds/late-van*")
    page.goto("/builds")
    expect(page.locator("input[name=name]")).to_have_value("")
    with served.client() as client:
        client.delete(
            "/v1/builds/late-van", headers={"If-Match": client.get("/v1/builds/late-van").headers["ETag"]}
        )


def _sent_list(served: Served, name: str) -> str:
    """An order list that has gone out; the address of its page."""
    wanted = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "deadline_seconds": 30}
    with served.client() as client:
        made = client.post("/v1/order-lists", json=wanted | {"name": name}).raise_for_status()
        sent = client.post(f"/v1/order-lists/{name}/send", headers={"If-Match": made.headers["etag"]})
        sent.raise_for_status()
    return f"/orders/{name}"


def test_a_delivery_that_says_nothing_goes_back_to_its_form_as_it_was_typed(
    visit: Visit, served: Served
) -> None:
    page = visit.page
    sign_in(page, served, "/orders")
    page.goto(_sent_list(served, "nothing-came"))
    notes = page.locator("[name^='note-']")
    supplier = page.locator("details.delivery", has=notes).last
    supplier.evaluate("details => { details.open = true; }")
    supplier.locator("[name^='note-']").fill("L-9")
    supplier.get_by_role("button", name="Book what is typed").click()
    page.get_by_role("link", name="Back to the page").click()
    expect(supplier.locator("[name^='note-']")).to_have_value("L-9")
    expect(supplier.locator("[name^='note-']")).to_be_visible()
    assert notes.evaluate_all("all => all.map(one => one.value)").count("L-9") == 1


def test_a_form_in_which_nothing_is_typed_leads_back_to_its_own_page(visit: Visit, served: Served) -> None:
    """And not to that of a form that was sent before it."""
    page = visit.page
    sign_in(page, served, "/builds")
    page.fill("input[name=name]", "no-such-van")
    page.fill("input[name=chassis]", "24PL")
    page.keyboard.press("Enter")
    expect(page.get_by_text("24PL").first).to_be_visible()
    address = _sent_list(served, "all-came")
    page.goto(address)
    page.context.clear_cookies()
    page.get_by_role("button", name="All came").first.click()
    expect(page.get_by_text("you come back to the form")).to_be_visible()
    expect(page.locator("[data-with-what-was-typed]")).to_be_hidden()
    link = page.locator("main").get_by_role("link", name="Sign in").get_attribute("href")
    assert link is not None
    assert unquote(link) == f"/signin?next={address}"


@pytest.mark.parametrize("then", ["Tab", "Escape", "cleared", "taken"])
def test_suggestions_that_come_late_do_not_open_over_what_is_done_by_then(visit: Visit, then: str) -> None:
    page = visit.page
    page.goto("/check" if then == "Tab" else "/look-up")
    field = page.locator("#chassis" if then == "Tab" else "#text")
    shown = page.get_by_role("option")
    if then == "taken":
        field.press_sequentially("QB-33")
        expect(shown.first).to_be_visible()
    held = held_back(page, "**/suggest/**")
    with page.expect_request("**/suggest/**"):
        field.press_sequentially("10" if then == "taken" else "24PL" if then == "Tab" else "QB-33")
    if then == "cleared":
        field.fill("")
    elif then == "taken":
        shown.first.dispatch_event("mousedown")
    else:
        page.keyboard.press(then)
    page.wait_for_timeout(200)
    for route in held:
        route.continue_()
    page.wait_for_timeout(500)
    expect(shown.locator("visible=true")).to_have_count(0)


def test_a_form_that_is_checked_as_one_types_leaves_the_cursor_where_it_is(
    visit: Visit, served: Served
) -> None:
    page = visit.page
    sign_in(page, served, "/edit/component/QB-3302")
    page.get_by_label("Price", exact=True).fill("61.70")  # another than any test stores
    page.get_by_role("button", name="Check without saving").focus()
    expect(page.locator("#live")).to_contain_text("no mistake")
    assert page.evaluate("document.activeElement.value") == "check"


def test_marked_text_is_typed_over_though_the_answer_came_meanwhile(visit: Visit) -> None:
    page = visit.page
    page.goto("/answer?chassis=24PL-018412")
    held = held_back(page, "**/answer?*fit=*")
    page.fill("#fit-1", "QB-3310")
    page.keyboard.press("Enter")
    page.keyboard.press("Control+A")
    page.wait_for_timeout(200)
    for route in held:
        route.continue_()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    page.keyboard.type("4411")
    expect(page.locator("#fit-1")).to_have_value("4411")


def test_a_set_is_one_screen_at_the_counter_and_folded_on_a_phone(visit: Visit) -> None:
    """Twenty changes stand above the edge of a screen, none cut off; a phone shows the sections first, and an
    address that leads to a line opens its own."""
    page = visit.page
    page.set_viewport_size({"width": 1280, "height": 1024})
    page.goto("/answer?chassis=24PL-018412&upgrade=front-discs")
    assert page.locator("[data-total=changes]").get_attribute("data-value") == "20"
    lines = page.locator(".set .line[id]")
    assert lines.last.evaluate("one => one.firstElementChild.getBoundingClientRect().bottom") <= 1024
    assert page.locator(".folds > summary").first.is_hidden()
    for size in (1280, 390):
        page.set_viewport_size({"width": size, "height": 844})
        cut = "cells => cells.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.innerText)"
        assert page.locator(".set .line > tr:first-child > *").evaluate_all(cut) == []
    assert page.evaluate("document.documentElement.scrollHeight") < 4_500, "it was 9,000"
    expect(lines.first).to_be_visible()
    expect(lines.last).to_be_hidden()
    last = lines.last.get_attribute("id")
    page.goto(f"{page.url}#{last}")
    expect(lines.last).to_be_in_viewport()


def test_what_else_could_be_taken_is_read_and_taken_on_a_phone_without_scrolling_aside(visit: Visit) -> None:
    page = visit.page
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(DISCS)
    row = page.locator(".set tbody.line", has=page.locator(".choices")).first
    row.evaluate("one => { one.closest('.folds').open = true; one.querySelector('details').open = true; }")
    choices = row.locator(".choices")
    assert choices.evaluate("one => one.scrollWidth <= one.clientWidth + 1")
    take = choices.get_by_role("link", name=re.compile("^Take this")).first
    take.evaluate("one => one.scrollIntoView({ block: 'center', inline: 'start' })")
    expect(take).to_be_in_viewport(ratio=1)
    expect(choices.locator("td[data-of=Parts]").first).to_be_visible()
    inside = (
        "one => one.getBoundingClientRect().right <= one.closest('.choices').getBoundingClientRect().right"
    )
    assert all(choices.locator("td:visible").evaluate_all(f"all => all.map({inside})"))


def test_the_first_tab_leads_to_the_content_and_focus_shows(visit: Visit) -> None:
    page = visit.page
    page.goto(DISCS)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.locator(".actions a:visible").first.focus()
    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"


def test_a_way_within_the_page_asks_nothing_and_the_way_back_does(visit: Visit) -> None:
    """The set stays as it is under whoever jumps to a line of it, with his focus in it."""
    page = visit.page
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(DISCS)
    page.evaluate("document.getElementById('result').firstElementChild.dataset.stays = 'so'")
    page.locator(".line a[href^='#']").first.click()
    assert "#" in page.url
    page.wait_for_timeout(1_000)
    expect(page.locator("[data-stays]")).to_have_count(1)
    page.locator("a.away").first.click()
    expect(page.locator(".line")).to_have_count(0)
    page.go_back()
    expect(page.locator(".line").first).to_be_visible()


def test_on_a_phone_the_header_shows_where_one_is(visit: Visit) -> None:
    """The names of the pages scroll in one row; the part of the house that a page belongs to is in view."""
    page = visit.page
    page.set_viewport_size({"width": 390, "height": 844})
    for path, name in (
        ("/answer?chassis=24PL-018412", "Ask"),
        ("/history", "Edit"),
        ("/guide/limits", "Guide"),
    ):
        page.goto(path)
        expect(page.locator(".bar nav [aria-current]")).to_have_text(name)
        expect(page.locator(".bar nav [aria-current]")).to_be_in_viewport(ratio=0.9)
    assert page.locator(".bar").evaluate("bar => bar.offsetHeight") < 150, "not a fifth of the screen"


def test_ask_answer_and_order_work_without_script(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.fill("#chassis", "24PL-018412")
    page.get_by_role("button", name="This vehicle").click()
    page.fill("#fit-1", "QB-3310")
    page.get_by_role("button", name="Answer").click()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()
    page.get_by_role("link", name="Order list").click()
    expect(page.get_by_role("heading", name="What to order")).to_be_visible()
    context.close()


def _completed_by_keyboard(page: Page) -> None:
    """A list typed, and all that it lacks added, by keys alone."""
    page.goto("/check")
    page.focus("#chassis")
    page.keyboard.type("24PL-018412")
    page.keyboard.press("Tab")
    page.keyboard.type("QL-3046\nQL-9035")
    page.get_by_role("button", name="Check the list").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".verdictline")).to_contain_text("Not complete: ")
    assert "Rule: " not in page.locator("main").inner_text(), "a rule is named only on opening"
    assert page.locator("#add-1 .more").is_hidden()
    page.locator("#add-1 summary").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#add-1 .more")).to_contain_text("Rule: ")
    page.get_by_role("button", name="Add all of it to the list").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".verdictline")).to_have_text(
        re.compile("Complete: nothing is missing and nothing clashes")
    )
    assert page.locator("#list").input_value().startswith("QL-3046\nQL-9035\n")
    assert "as_of=" in page.url


def test_a_list_is_completed_by_keyboard(visit: Visit) -> None:
    _completed_by_keyboard(visit.page)


def test_a_list_is_completed_without_script(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address, java_script_enabled=False)
    _completed_by_keyboard(context.new_page())
    context.close()


@pytest.mark.parametrize(
    "address",
    [
        f"{DISCS}&alternatives=2",
        "/check?chassis=24PL-018412&list=QB-3310",
        f"/compare?{DISCS.partition('?')[2]}&other=24PR-000200",
    ],
)
def test_what_is_folded_on_the_screen_is_whole_on_paper(visit: Visit, address: str) -> None:
    page = visit.page
    page.goto(address)
    otherwise = ".noprint, .chain, .counted, .counted *, :has(form), td > details, form details"
    folded = page.locator(f"#main details:not([open], {otherwise})")
    counted = page.locator("#main details.counted:not([open])")
    unseen = """all => all.filter(one => ![...one.children].slice(1).some(part => part.checkVisibility()))
        .map(one => one.querySelector("summary").textContent)"""
    assert len(folded.evaluate_all(unseen)) > 1, "on the screen they are folded"
    page.emulate_media(media="print")
    assert folded.evaluate_all(unseen) == []
    assert counted.count() or address.startswith("/compare")
    assert len(counted.evaluate_all(unseen)) == counted.count(), "what its head counts is not printed"
    counted.evaluate_all("all => all.forEach(one => { one.open = true })")
    assert page.locator("#main details.counted").evaluate_all(unseen) == []
    page.emulate_media(media="screen")


def test_two_tabs_do_not_disturb_each_other(context: BrowserContext) -> None:
    one, two = context.new_page(), context.new_page()
    one.goto(DISCS)
    two.goto("/answer?chassis=24PL-018412&fit=QL-7075")
    one.reload()
    two.reload()
    assert "QB-3310" in one.locator(".asked").inner_text()
    assert "QL-7075" in two.locator(".asked").inner_text()


def test_a_way_out_is_a_button(visit: Visit) -> None:
    page = visit.page
    page.goto(f"{DISCS}&keep_section=wheels")
    expect(page.get_by_role("heading", name="It cannot be, as asked")).to_be_visible()
    page.get_by_role("link", name=re.compile("^Let Wheels")).click()
    expect(page.get_by_role("heading", name="What it becomes")).to_be_visible()


def test_the_picture_lights_what_brings_a_part_and_zooms(visit: Visit) -> None:
    page = visit.page
    page.goto("/picture?chassis=24PL-018412&fit=QB-3310")
    before = page.locator(".picture svg").get_attribute("width")
    page.get_by_role("button", name="Larger").click()
    assert int(page.locator(".picture svg").get_attribute("width") or 0) > int(before or 0)
    page.get_by_role("button", name="All of it").click()
    page.locator("a.box").last.focus()
    assert page.locator(".box.lit").count() >= 2
    assert page.locator(".lines path.lit").count() >= 1


def test_from_a_key_to_a_delivery(visit: Visit, served: Served) -> None:
    page = visit.page
    page.goto("/order?chassis=24PL-018412&fit=QL-7075")
    page.get_by_role("link", name="Sign in").first.click()
    page.fill("#key", "graftbook_wrong")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).not_to_have_text("What to order")
    page.goto("/signin?next=/order%3Fchassis%3D24PL-018412%26fit%3DQL-7075")
    page.fill("#key", served.key)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What to order")).to_be_visible()
    page.fill("#name", "browser-list")
    page.get_by_role("button", name="Keep as a draft").click()
    expect(page.get_by_role("heading", name=re.compile("browser-list"))).to_contain_text("draft")
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_role("heading", name=re.compile("browser-list"))).to_contain_text("sent")
    _book_too_many_of_all(page)
    expect(page.get_by_role("heading", name=re.compile("browser-list"))).to_contain_text("received")
    page.get_by_role("button", name="Close it").click()
    expect(page.get_by_role("heading", name=re.compile("browser-list"))).to_contain_text("closed")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("link", name="Sign in")).to_be_visible()


def _book_too_many_of_all(page: Page) -> None:
    """Of each supplier in turn: typed, doubted, and booked all the same."""
    for place in range(page.locator("details.delivery").count()):
        form = page.locator("details.delivery").nth(place)
        form.locator("summary").first.focus()
        page.keyboard.press("Enter")
        for field in form.locator("input[name^=came-]").all():
            field.fill("99")
        form.get_by_role("button", name="Book what is typed").click()
        expect(page.get_by_role("alert")).to_contain_text("Nothing is booked yet")
        page.get_by_role("button", name="Book it all the same").click()
        expect(page.get_by_role("alert")).to_have_count(0)


def test_another_vehicle_comes_on_the_list_by_keyboard(visit: Visit) -> None:
    page = visit.page
    page.goto("/order?chassis=24PL-018412&fit=QL-7075")
    page.locator("summary", has_text="another vehicle").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Another vehicle in the same order").focus()
    page.keyboard.type("16pr 200")
    page.keyboard.press("Enter")
    expect(page.locator("p.vehicle .number")).to_have_text(["24PL-018412", "16PR-000200"])
    out = page.get_by_role("link", name="Take 16PR-000200 out")
    out.focus()
    page.keyboard.press("Enter")
    expect(page.locator("p.vehicle .number")).to_have_text(["24PL-018412"])
    page.go_back()
    expect(page.locator("p.vehicle .number")).to_have_text(["24PL-018412", "16PR-000200"])


def test_the_store_is_kept_by_keyboard(visit: Visit, served: Served) -> None:
    page = visit.page
    page.goto("/signin?next=/store")
    page.fill("#key", served.key)
    page.keyboard.press("Enter")
    page.get_by_label("Number", exact=True).focus()
    page.keyboard.type("qa 9030")
    page.keyboard.press("Tab")
    page.keyboard.type("4")
    page.keyboard.press("Tab")
    page.keyboard.type("tray 3")
    page.keyboard.press("Enter")
    line = page.get_by_role("row", name=re.compile("QA-9030"))
    expect(line).to_contain_text("tray 3")
    line.get_by_role("link", name="Change QA-9030").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Pieces").select_text()
    page.keyboard.type("6")
    page.keyboard.press("Enter")
    expect(line).to_contain_text("6")
    page.get_by_role("link", name="Count it by a sheet").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Or the sheet itself").focus()
    page.keyboard.type("number,quantity\nQA-9030,7")
    look = page.get_by_role("button", name="Check the sheet")
    look.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="1 number would change")).to_be_visible()
    page.get_by_role("button", name="Book the count").focus()
    page.keyboard.press("Enter")
    expect(line).to_contain_text("7")
