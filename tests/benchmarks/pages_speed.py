"""Pages in a real Chromium: the time to first content from a warm service, weight over the wire, and a tick.

The demo range on SQLite, one worker. Each page is visited twice over: from another page of the service, as
people come to it, and as the first page of a browser profile without anything kept, which also starts the
process that shows it. Pages are asked before they are timed, so that the service is warm. The bound is
150 ms to first content from another page, 150 kB for an answer.

A tick is a flaw ticked on the bench, from the click until its set is painted, asked for the first time and
once it is ready: until the request leaves, until its answer begins, until all of it is there, until it is
painted. Nothing is asked for ahead, as it is where a pointer rests. The bound is 150 ms.
"""

import shutil
import statistics
from collections.abc import Iterator

from playwright.sync_api import Browser, Page, sync_playwright

from graftbook.commands.demo import demo_sheets
from tests.benchmarks.loaded import load_all, new_database
from tests.soundness.server import AS_IT_COMES, serve

TIMES = 15
TICKS = 15
DISCS = "chassis=24PL-018412&fit=QB-3310"
ALL_FLAWS = "chassis=24PL-018412&remedy_all=moderate"
PAGES = {
    "start": "/",
    "ask": "/ask?chassis=24PL-018412",
    "answer, one wish": f"/answer?{DISCS}",
    "answer, every moderate flaw": f"/answer?{ALL_FLAWS}",
    "list check": "/check?chassis=24PL-018412&list=QB-3310",
    "look-up": "/look-up?text=caliper",
    "search": "/find?text=front+discs&chassis=24PL-018412",
    "vehicle": "/vehicle?chassis=24PL-018412",
    "picture, every moderate flaw": f"/picture?{ALL_FLAWS}",
    "order list, one wish": f"/order?{DISCS}",
    "fitting sequence, one wish": f"/fitting?{DISCS}",
    "component": "/component/QB-3310",
    "orders": "/orders",
    "builds": "/builds",
}
FIRST_CONTENT = """() => new Promise(done => {
  const seen = () => performance.getEntriesByName('first-contentful-paint')[0];
  if (seen()) done(seen().startTime);
  else new PerformanceObserver(() => { if (seen()) done(seen().startTime); })
    .observe({type: 'paint', buffered: true});
})"""
TICK = """async (ticks) => {
  const result = document.getElementById('result'), told = [];
  const boxes = [...document.querySelectorAll('.flaws input[name=remedy]:not(:checked)')];
  for (const box of boxes.slice(0, ticks)) {
    performance.clearResourceTimings();
    const painted = new Promise(done => {
      const seen = new MutationObserver(() => {
        if (!document.querySelector('#moved') || result.classList.contains('working')) return;
        seen.disconnect();
        requestAnimationFrame(() => setTimeout(() => done(performance.now())));
      });
      seen.observe(result, {childList: true});
    });
    const began = performance.now();
    box.click();
    const ended = await painted;
    const sent = performance.getEntriesByType('resource').filter(one => one.name.includes('/answer')).at(-1);
    const passed = [began, sent.requestStart, sent.responseStart, sent.responseEnd, ended];
    told.push([ended - began, ...passed.slice(1).map((one, at) => one - passed[at])]);
    await new Promise(done => setTimeout(done, 200));
  }
  return told;
}"""
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
            yield from _ticks(browser, served.address + PAGES["answer, one wish"])
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


def _ticks(browser: Browser, address: str) -> Iterator[tuple[str, str]]:
    """Flaws ticked one after the other, twice: the second time the service has each answer ready."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    for what in ("a tick, asked for the first time", "a tick, ready"):
        page.goto(address)
        page.wait_for_load_state("networkidle")
        took = page.evaluate(TICK, TICKS)
        whole, *parts = (statistics.median(column) for column in zip(*took, strict=True))
        steps = ("before it leaves", "until its answer begins", "until it is there", "until it is painted")
        told = ", ".join(f"{step} {part:.0f}" for step, part in zip(steps, parts, strict=True))
        yield what, f"{whole:.0f} ms (slowest {max(row[0] for row in took):.0f}): {told}"
    page.close()


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
