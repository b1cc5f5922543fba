"""A real service, a real Chromium, and a page that minds what the browser complains of."""

import os
import shutil
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, Route, expect, sync_playwright

from tests.soundness.server import Served, serve

CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
"""The same browser without the parts of it that make windows takes half of its processor time."""
expect.set_options(timeout=30_000)
"""On a machine that others use too, a page may take its time."""
SWITCHES = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--process-per-site"]


@pytest.fixture(scope="session")
def served(sqlite_databases: Any, sqlite_demo_url: str) -> Iterator[Served]:
    """The service on a copy of the demo range."""
    with serve(sqlite_databases.copy(sqlite_demo_url)) as served:
        yield served


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One browser for the tests of a module: its driver keeps an event loop, and others need theirs."""
    if CHROMIUM is None:
        missing = "there is no program `chromium` to visit the pages with"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def kept(chromium: Browser, served: Served) -> Iterator[BrowserContext]:
    """One browser profile for the tests of a module, with a page that stays open: a new one has a process of
    its own that has to warm up, which takes longer than most of what is looked at."""
    context = chromium.new_context(base_url=served.address, viewport={"width": 1280, "height": 900})
    context.set_default_timeout(20_000)
    context.new_page().goto("/signin")
    yield context
    context.close()


@pytest.fixture
def context(kept: BrowserContext, served: Served) -> Iterator[BrowserContext]:
    """A browser profile that is as good as new: what a test left in it is gone before the next."""
    yield kept
    first, *others = kept.pages
    for page in others:
        with suppress(Error):  # closed in the midst of a navigation, a page was once waited for without end
            page.goto("about:blank", timeout=5_000)
            page.close()
    session = kept.new_cdp_session(first)
    session.send("Network.clearBrowserCache")
    session.send("Storage.clearDataForOrigin", {"origin": served.address, "storageTypes": "all"})
    session.detach()


def held_back(page: Page, address: str) -> list[Route]:
    """What a page asks of an address from here on: it waits until the test lets it go."""
    held: list[Route] = []
    page.route(address, lambda route: held.append(route))
    return held


def sign_in(page: Page, served: Served, following: str = "/") -> None:
    """Sign in with the service's key, and be on the page that is wanted then."""
    page.goto(f"/signin?next={following}")
    page.fill("#key", served.key)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{served.address}{following}")


class Visit:
    """A page, and everything that the browser complained of."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", lambda message: self._heard(message.type, message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _heard(self, kind: str, text: str) -> None:
        # The browser notes every answer that is no success; pages of mistakes are such answers.
        if kind in ("error", "warning") and "the server responded with a status of" not in text:
            self.complaints.append(text)


@pytest.fixture
def visit(context: BrowserContext) -> Iterator[Visit]:
    """A page whose console must stay silent and whose content policy must hold."""
    visit = Visit(context.new_page())
    yield visit
    assert visit.complaints == []
