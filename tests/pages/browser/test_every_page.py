"""Every page in a real browser: accessible, silent, within its content policy, and light."""

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect

from graftbook.app import create_app
from graftbook.settings import Settings
from tests.pages.browser.conftest import Visit
from tests.pages.browser.every_page import PAGES, SIGNED_IN, furnish, never_visited, signed_in
from tests.soundness.server import Served

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOKS = ["color-contrast", "link-in-text-block", "target-size"]
"""Rules about colours and room: four fifths of what the engine takes, for each element that it looks at."""
OF_LOOKS = {"runOnly": {"type": "rule", "values": LOOKS}, "resultTypes": ["violations"]}
OF_CONTENT = {
    "runOnly": {"type": "tag", "values": TAGS},
    "rules": {name: {"enabled": False} for name in LOOKS},
    "resultTypes": ["violations"],
}
FORMS = {"light, wide": ("light", 1280), "dark, phone": ("dark", 390)}
SEEN_ALREADY = ("a component with pictures", "an answer with pictures")
"""Here each page is seen by who is signed in, in a house that has pictures: as "component" and "answer"."""
ALIKE = 2
OTHERS_ALIKE_AWAY = """most => {
    const told = ['class', 'style', 'type', 'role', 'scope', 'aria-current', 'data-of'];
    const shape = one => one.tagName + [...one.attributes].map(each =>
        each.name + (told.includes(each.name) ? '=' + each.value : ''))
        + '(' + [...new Set([...one.children].map(shape))].sort() + ')';
    const thin = one => {
        const seen = {};
        for (const child of [...one.children]) {
            thin(child);
            const kind = shape(child);
            seen[kind] = (seen[kind] || 0) + 1;
            if (seen[kind] > most) child.remove();
        }
    };
    thin(document.body);
}"""
"""Takes away what looks as its neighbours do: of rows that differ in their words alone, or in how often they
hold the same, a few stay."""
MOST_BYTES = 150_000
OPENED = "document.querySelectorAll('details').forEach(each => { each.open = true; })"


def found_by_axe(page: Page, forms: Iterable[str] = FORMS) -> list[str]:
    """What the engine finds wrong on a screen and on a phone, a line a form, rule and place; also in what is
    folded away at first. What the page says is judged in whole, how it looks by `ALIKE` of what is alike."""
    page.evaluate(OPENED)
    page.evaluate(Axe().axe_script)
    found = list(_found(page, OF_CONTENT, forms))
    page.evaluate(OTHERS_ALIKE_AWAY, ALIKE)
    return [*found, *_found(page, OF_LOOKS, forms)]


def _found(page: Page, rules: dict[str, Any], forms: Iterable[str]) -> Iterator[str]:
    for form in forms:
        scheme, width = FORMS[form]
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        for violation in page.evaluate("rules => axe.run(rules)", rules)["violations"]:
            for node in violation["nodes"][:3]:
                yield f"{form}: {violation['id']}: {node['target']} {node['failureSummary']}"


@pytest.fixture(scope="session")
def ids(served: Served) -> dict[str, str]:
    """A house in which every page has something to show; the ids that addresses name. Furnished once, as the
    service is begun once: a worker that is given tests of other modules between makes a module's anew."""
    with served.client() as client:
        return furnish(client)


@pytest.fixture(scope="module")
def known(chromium: Browser, served: Served) -> Iterator[BrowserContext]:
    """A profile that is signed in."""
    context = signed_in(chromium, served)
    yield context
    context.close()


@pytest.fixture(scope="module")
def visited(known: BrowserContext) -> Visit:
    """One page for all visits: each page anew has to warm up first."""
    return Visit(known.new_page())


def test_every_page_is_visited(served: Served, sqlite_demo_url: str) -> None:
    assert never_visited(create_app(Settings(database_url=sqlite_demo_url))) == set()


@pytest.mark.parametrize("name", [name for name in (*PAGES, *SIGNED_IN) if name not in SEEN_ALREADY])
def test_it_is_silent_fits_and_the_engine_finds_nothing(
    visited: Visit, served: Served, ids: dict[str, str], name: str
) -> None:
    """Looked at once for all of it, since a visit is what takes time."""
    seen_well(visited, served, (PAGES | SIGNED_IN)[name].format(**ids))
    assert found_by_axe(visited.page) == []


SPOILT = """
<html lang="en"><title>Parts</title><main><h1>Parts</h1><ul></ul></main>
<style> body { background: white; color: black; } button { width: 30px; height: 30px; }
@media (prefers-color-scheme: dark) { .faint { color: #ccc; } }
@media (max-width: 500px) { button { width: 9px; height: 9px; padding: 0; border: 0; margin: 0; } }
</style>
<script>for (let row = 0; row < 12; row++) document.querySelector('ul').insertAdjacentHTML('beforeend',
  `<li><div><button>${row}</button><button>${-row}</button></div>
   <i class="${row === 7 ? 'faint' : ''}">part ${row}</i>
   <input ${row === 11 ? '' : 'aria-label="pieces"'}></li>`)</script>"""


def test_the_engine_finds_what_one_of_many_rows_and_one_form_alone_has(visit: Visit) -> None:
    """A field without a name in the last row, a faint word in the dark, buttons that a thumb cannot hit."""
    visit.page.set_content(SPOILT)
    found = {(form, rule) for form, rule, *_ in (line.split(": ") for line in found_by_axe(visit.page))}
    assert found == {
        ("light, wide", "label"),
        ("dark, phone", "label"),
        ("dark, phone", "color-contrast"),
        ("dark, phone", "target-size"),
    }


@pytest.mark.usefixtures("ids")
@pytest.mark.parametrize("name", ["start", "answer", "order", "a build", "the store", "reports", "sign in"])
def test_who_is_not_signed_in_sees_it_well_too(visit: Visit, served: Served, name: str) -> None:
    seen_well(visit, served, PAGES[name])


SPILT = """[...document.querySelectorAll(
    'main :is(tr:not(:has([rowspan])), li, p, dl, fieldset, section, form)')]
  .filter(each => each.clientHeight && each.scrollHeight > each.clientHeight + 8
    && getComputedStyle(each).overflowY === 'visible').map(each => each.outerHTML.slice(0, 200))"""
"""What is higher than the room that it was given, and so lies over what comes below."""


def seen_well(visit: Visit, served: Served, path: str) -> None:
    """No complaint, nothing from elsewhere, one heading, and it fits at every width, nothing over another."""
    page, asked = visit.page, []
    visit.complaints.clear()
    page.set_viewport_size({"width": 1280, "height": 900})
    with listening(page, lambda request: asked.append(request.url)):
        answer = page.goto(path)
        page.wait_for_load_state("load")
    assert answer is not None
    assert answer.status != 404
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert asked
    assert all(address.startswith(served.address) for address in asked), asked
    assert page.locator("h1").count() == 1
    for width in (390, 1280, 1800):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
        assert page.evaluate(SPILT) == [], width
    page.set_viewport_size({"width": 390, "height": 900})
    page.evaluate(OPENED)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390, "with all that is folded opened"
    assert visit.complaints == []


@contextmanager
def listening(page: Page, heard: Callable[[Request], None]) -> Iterator[None]:
    page.on("request", heard)
    yield
    page.remove_listener("request", heard)


def test_the_content_policy_is_enforced(visit: Visit) -> None:
    visit.page.goto("/")
    ran = visit.page.evaluate(
        """() => { const s = document.createElement('script'); s.textContent = 'window.ran = true';
        document.head.append(s); return window.ran === true; }"""
    )
    assert ran is False
    assert any("Content Security Policy" in complaint for complaint in visit.complaints)
    visit.complaints.clear()


def test_an_answer_of_sixty_parts_is_light(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(base_url=served.address)
    page = context.new_page()
    client = context.new_cdp_session(page)
    client.send("Network.enable")
    sizes: list[float] = []
    client.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto("/answer?chassis=24PL-018412&remedy_all=moderate")
    page.wait_for_load_state("networkidle")
    keys = page.locator(".set .line").evaluate_all("rows => rows.map(row => row.dataset.key)")
    assert len(" ".join(keys).split()) >= 60
    assert 0 < sum(sizes) < MOST_BYTES, sizes
    context.close()


def test_the_readers_units_are_chosen_at_the_foot_and_lead_back_to_what_is_there_now(visit: Visit) -> None:
    """The bench asks in place: where it is by then stands in the address, and not in the form."""
    page = visit.page
    page.goto("/component/QB-3310")
    page.evaluate("history.replaceState(null, '', '/component/QB-3311')")
    page.get_by_label("Measures", exact=True).select_option("imperial")
    page.get_by_role("button", name="Use these", exact=True).click()
    page.wait_for_url("**/component/QB-3311")
    assert page.get_by_label("Measures", exact=True).input_value() == "imperial"
    page.goto("/component/QB-3311#figures")
    expect(page.locator("#figures")).to_contain_text(re.compile(r"\sin \("))
