"""Journeys in a real Chromium: what a counter hand, a builder and an editor do, in keys, clicks and loads.

A key is one that is pressed (something pasted is two), a click one of the mouse, a load a page that the
browser loads anew; the first page counts, signing in does not. Seconds are those of the machine, without
thinking.
Before: a front-disc order for a typed chassis number took 29 keys, 6 clicks and 7 loads until it was sent,
with one part swapped on the way; scrolling to the forms was not counted.
"""

import re
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from graftbook.commands.demo import demo_sheets
from tests.benchmarks.loaded import load_all, new_database
from tests.conftest import make_key
from tests.soundness.server import AS_IT_COMES, serve

PASTING = 2
CHASSIS = "24fl 9402"
LIST = "QL-3046\nQL-9035"


@dataclass(slots=True)
class Counts:
    """What somebody had to do."""

    keys: int = 0
    clicks: int = 0
    loads: int = 0


class Journey:
    """A page, and what is done on it by hand."""

    def __init__(self, page: Page) -> None:
        self.page, self.counts = page, Counts()
        self._begun = time.perf_counter()
        page.on("load", lambda _: self._loaded())

    @property
    def seconds(self) -> float:
        return time.perf_counter() - self._begun

    def _loaded(self) -> None:
        self.counts.loads += 1

    def open(self, address: str) -> None:
        """The page where it begins, as a bookmark opens it."""
        self.page.goto(address)

    def type(self, text: str) -> None:
        """Type into whatever has the focus, once it has: a hand is not as quick as to lose its first key."""
        self.page.wait_for_function(
            "document.hasFocus() && document.activeElement.matches('input, textarea')"
        )
        self.counts.keys += len(text)
        self.page.keyboard.type(text)

    def press(self, key: str) -> None:
        """One key, or several held together."""
        self.counts.keys += 1 + key.count("+")
        self.page.keyboard.press(key)

    def paste(self, text: str) -> None:
        """Paste into whatever has the focus."""
        self.counts.keys += PASTING
        self.page.keyboard.insert_text(text)

    def click(self, what: Locator) -> None:
        self.counts.clicks += 1
        what.click()

    def button(self, name: str) -> None:
        self.click(self.page.get_by_role("button", name=name, exact=True))

    def link(self, name: str | re.Pattern[str]) -> None:
        self.click(self.page.get_by_role("link", name=name).first)

    def sees(self, heading: str | re.Pattern[str]) -> None:
        """Nothing is done before the page has what it came for."""
        expect(self.page.get_by_role("heading", name=heading).first).to_be_visible()


def counter(journey: Journey) -> None:
    """Front discs for a chassis number, from the first page to a sent order."""
    _front_discs(journey)
    _to_a_sent_order(journey)


def counter_in_one_breath(journey: Journey) -> None:
    """The same, with number and words typed into the first field."""
    journey.open("/")
    journey.type(f"{CHASSIS} front discs")
    journey.press("Enter")
    journey.sees("What it becomes")
    _to_a_sent_order(journey)


def counter_searching(journey: Journey) -> None:
    """The same by the box in the header, the vehicle told when it is asked for."""
    page = journey.page
    journey.open("/look-up")
    journey.click(page.locator("#search"))
    journey.type("front discs")
    journey.press("Enter")
    journey.sees(re.compile("^Found for"))
    journey.type(CHASSIS)
    journey.click(page.get_by_role("button", name="Fit it").first)
    journey.sees("What it becomes")
    _to_a_sent_order(journey)


def counter_swapping(journey: Journey) -> None:
    """The same, and one part swapped for another on the way."""
    page = journey.page
    _front_discs(journey)
    row = page.locator(".set tbody.line", has=page.locator(".choices")).first
    before = page.locator("[data-total=parts]").get_attribute("data-value")
    journey.click(row.locator("summary").first)
    journey.click(row.get_by_role("link", name=re.compile("^Take this")).first)
    expect(page.locator("[data-total=parts]")).not_to_have_attribute("data-value", before or "")
    _to_a_sent_order(journey)


def _front_discs(journey: Journey) -> None:
    journey.open("/")
    journey.type(CHASSIS)
    journey.click(journey.page.get_by_role("button", name="Front discs", exact=True).first)
    journey.sees("What it becomes")


def _to_a_sent_order(journey: Journey) -> None:
    journey.button("Keep the order")
    journey.sees("Send it")
    journey.button("Send it")
    journey.sees(re.compile(r"\bsent$"))


def builder(journey: Journey) -> None:
    """A list of parts checked, and all that it lacks added, until it is complete."""
    page = journey.page
    journey.open("/check")
    journey.type(CHASSIS)
    journey.press("Tab")
    journey.paste(LIST)
    journey.button("Check the list")
    expect(page.locator(".verdictline")).to_contain_text("Not complete: ")
    journey.button("Add all of it to the list")
    expect(page.locator(".verdictline")).to_contain_text("Complete: nothing is missing")


def editor(journey: Journey) -> None:
    """A new price for a number, its effect looked at before it is kept."""
    page = journey.page
    journey.open("/")
    journey.type("QB-3302")
    journey.press("Enter")
    journey.link("change the price of QB-3302")
    expect(page.get_by_label("Price", exact=True)).to_be_focused()
    journey.type("64.10")
    journey.click(page.locator("#why"))
    journey.type("list of December")
    journey.button("Show the effect")
    journey.sees("The effect")
    journey.button("Save")
    journey.sees(re.compile("^Stored as revision"))


JOURNEYS: dict[str, Callable[[Journey], None]] = {
    "counter: front discs to a sent order": counter,
    "counter: the same, number and words in one breath": counter_in_one_breath,
    "counter: the same, by the search in the header": counter_searching,
    "counter: the same, one part swapped": counter_swapping,
    "builder: a list checked and completed": builder,
    "editor: a price changed, its effect looked at": editor,
}


def signed_in(browser: Browser, address: str, key: str) -> Page:
    """A page of a browser profile that is signed in and has seen nothing else."""
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 900})
    context.set_default_timeout(30_000)
    page = context.new_page()
    page.goto("/signin")
    page.fill("input[name=key]", key)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{address}/")
    page.close()
    return context.new_page()


def travelled(page: Page, travel: Callable[[Journey], None]) -> Journey:
    """A journey, travelled."""
    journey = Journey(page)
    travel(journey)
    page.wait_for_load_state()  # what is looked for may be seen before its page counts as loaded
    return journey


def run() -> Iterator[tuple[str, str]]:
    """A row a journey; one that says so when there is no browser."""
    program = shutil.which("chromium")
    if program is None:
        yield "there is no program `chromium`", "not measured"
        return
    with new_database() as engine:
        load_all(engine, demo_sheets())
        key = make_key(engine)
        with serve(str(engine.url), **AS_IT_COMES) as served, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=program,
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            for name, travel in JOURNEYS.items():
                for _ in ("cold", "warm"):
                    journey = travelled(signed_in(browser, served.address, key), travel)
                counts = journey.counts
                yield (
                    name,
                    f"{counts.keys} keys, {counts.clicks} clicks, {counts.loads} loads, "
                    f"{journey.seconds:.1f} s warm",
                )
            browser.close()
