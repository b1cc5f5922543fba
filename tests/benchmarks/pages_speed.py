"""Pages in a real Chromium: the time to first content from a warm service, and the weight over the wire.

The demo range on SQLite, one worker. Each page is visited twice over: from another page of the service, as
people come to it, and as the first page of a browser profile without anything kept, which also starts the
process that shows it. Pages are asked before they are timed, so that the service is warm. The bound is
200 ms to first content, 150 kB for an answer.
"""

import shutil
import statistics
from collections.abc import Iterator

from playwright.sync_api import Browser, Page, sync_playwright

from graftbook.commands.demo import demo_sheets
from tests.benchmarks.loaded import load_all, new_database
from tests.soundness.server import AS_IT_COMES, serve

TIMES = 7
DISCS = "chassis=24PL-018412&fit=QB-3310"
ALL_FLAWS = "chassis=24PL-018412&remedy_all=moderate"
PAGES = {
    "start": "/",
    "ask": "/ask?chassis=24PL-018412",
    "answer, one wish": f"/answer?{DISCS}",
    "answer, every moderate flaw": f"/answer?{ALL_FLAWS}",
    "picture, every moderate flaw": f"/picture?{ALL_FLAWS}",
    "order list, one wish": f"/order?{DISCS}",
    "component": "/component/QB-3310",
}
FIRST_CONTENT = """() => new Promise(done => {
  const seen = () => performance.getEntriesByName('first-contentful-paint')[0];
  if (seen()) done(seen().startTime);
  else new PerformanceObserver(() => { if (seen()) done(seen().startTime); })
    .observe({type: 'paint', buffered: true});
})"""
FIRST_BYTE = "() => performance.getEntriesByType('navigation')[0].responseStart"


def run() -> Iterator[tuple[str, str]]:
    """Rows of what was measured and its figure; one row that says so when there is no browser."""
    program = shutil.which("chromium")
    if program is None:
        yield "there is no program `chromium`", "not measured"
        return
    with new_database() as engine:
        load_all(engine, demo_sheets())
        with serve(str(engine.url), **AS_IT_COMES) as served, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=program,
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            for name, address in PAGES.items():
                yield name, _told(browser, served.address + address)
            browser.close()


def _told(browser: Browser, address: str) -> str:
    other = address[: address.index("/", len("http://"))] + "/look-up"
    _visit(browser, address)
    told = []
    for name, before in (("from another page", other), ("first of a profile", "")):
        visits = [_visit(browser, address, before) for _ in range(TIMES)]
        content, first_byte, weight = (statistics.median(column) for column in zip(*visits, strict=True))
        slowest = max(visit[0] for visit in visits)
        told.append(f"{name} {content:.0f} ms (slowest {slowest:.0f}, first byte {first_byte:.0f})")
    return f"{', '.join(told)}, {weight / 1000:.0f} kB"


def _visit(browser: Browser, address: str, before: str = "") -> tuple[float, float, float]:
    """Milliseconds to first content and to the first byte, bytes over the wire; in a profile that has seen
    the page `before`, or nothing."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    if before:
        page.goto(before)
        page.wait_for_load_state("networkidle")
    sizes = _sizes(page)
    page.goto(address)
    page.wait_for_load_state("networkidle")
    visited = page.evaluate(FIRST_CONTENT), page.evaluate(FIRST_BYTE), sum(sizes)
    context.close()
    return visited


def _sizes(page: Page) -> list[float]:
    """A list that grows by the bytes of each thing the page loads."""
    sizes: list[float] = []
    client = page.context.new_cdp_session(page)
    client.send("Network.enable")
    client.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    return sizes
