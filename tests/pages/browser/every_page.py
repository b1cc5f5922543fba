"""Every page there is, and a house in which each of them has something to show.

    python -m tests.pages.browser.every_page FOLDER [NAME …]

photographs them: wide and narrow, light, dark and as printed, one PNG a page and form, to be looked at.
"""

import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
from fastapi import FastAPI
from fastapi.routing import APIRoute
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests.pictures.drawn import photograph
from tests.soundness.server import Served, serve

DISCS = "chassis=24PL-018412&fit=QB-3310"
PAGES = {
    "start": "/",
    "ask": "/ask?chassis=24PL-018412",
    "answer": f"/answer?{DISCS}&alternatives=2",
    "impossible": f"/answer?{DISCS}&keep_section=wheels",
    "picture": f"/picture?{DISCS}",
    "order": f"/order?{DISCS}",
    "an order that is not complete": f"/order?{DISCS}&at_most_suppliers=2",
    "order for two": f"/order?{DISCS}&also=chassis%3D16PR-000200%26fit%3DQL-7075",
    "a vehicle that cannot be": f"/order?{DISCS}&another=99-1",
    "fitting": f"/fitting?{DISCS}&hands=2",
    "quotation": f"/quotation?{DISCS}&months=3",
    "check": "/check?chassis=24PL-018412",
    "find": "/find?text=front+discs&chassis=24PL-018412",
    "find without a vehicle": "/find?text=front+discs",
    "half a chassis number": "/answer?chassis=24PL-0184",
    "look-up": "/look-up?text=caliper",
    "component": "/component/QB-3310",
    "vehicle": "/vehicle?chassis=24PL-018412",
    "a vehicle with its sections open": "/vehicle?chassis=24PL-018412&open=all",
    "measure": "/measure?kind=bolt_circle&value=134+mm&within=0.5+mm&kind=bolt_count&value=5&within=",
    "orders": "/orders",
    "builds": "/builds",
    "a build": "/builds/red-van",
    "a build and an order": "/builds/red-van/order/sent",
    "a build's sheet": "/builds/red-van/sheet",
    "specifications": "/specifications",
    "a specification": "/specifications/house-standard",
    "a specification over all variants": "/specifications/house-standard/variants",
    "two versions": "/specifications/house-standard/compare?from=1&to=2",
    "the store": "/store",
    "labels": "/store/labels?of=numbers",
    "reports": "/reports",
    "guide": "/guide",
    "a page of the guide": "/guide/format",
    "a kind of problem": "/problems/unknown-component",
    "sign in": "/signin",
    "problem": "/answer?chassis=99-1",
    "mended": "/answer?chassis=24PL-018412&fit=brake+disc",
    "compare": f"/compare?{DISCS}&alternatives=2",
    "two answers": f"/compare?{DISCS}&other=24PR-000200",
    "history": "/history",
    "a revision": "/history/1",
    "the history of a record": "/history/component/QB-3310",
    "a checked list": "/check?chassis=24PL-018412&list=QB-3310%0AQB-331O",
    "a list that clashes": "/check?chassis=24PL-018412&list=QB-9001%0AQB-9003&fit=QB-9001",
}
SIGNED_IN = {
    "a draft": "/orders/drafted",
    "a sent list": "/orders/sent",
    "a picking list": "/orders/sent/picking",
    "late lists": "/orders?show=late",
    "a number in the store": "/store/at/QB-9001",
    "a count": "/store/count",
    "edit": "/edit",
    "edit a component": "/edit/component/QB-3310",
    "a new fitment": "/edit/fitment",
    "take an edit back": "/edit/revision/2",
    "two revisions compared": "/history/compare?from=1&to=2",
    "a new component like another": "/edit/component?like=QB-3310",
    "import": "/edit/import",
    "flat lists": "/edit/flat",
    "a flat list": "/edit/flat/spares",
    "a mapping": "/edit/flat/spares/mapping",
    "lint": "/lint",
    "report": "/report?chassis=24PL-018412&component=QB-3310&position=brake.front.left",
    "review": "/review",
    "a proposal": "/review/1",
    "webhooks": "/webhooks",
    "a webhook": "/webhooks/{webhook}",
    "pictures": "/pictures/component/QB-3310",
    "a component with pictures": "/component/QB-3310",
    "an answer with pictures": f"/answer?{DISCS}",
}
NO_PAGES = {
    "/edit/effect/{name}": "waits for work that a form began",
    "/livez": "for machines",
    "/metrics": "for machines",
    "/openapi.json": "for machines",
    "/order.{form}": "a file",
    "/orders/{name}/document/{form}": "a file",
    "/orders/{name}/picking.pdf": "a file",
    "/builds/{name}/sheet.pdf": "a file",
    "/quotation.pdf": "a file",
    "/readyz": "for machines",
    "/static/{digest}/{name}": "a file",
    "/store.csv": "a file",
    "/store/labels.pdf": "a file",
    "/suggest/chassis": "for the pages' script",
    "/suggest/component": "for the pages' script",
    "/suggest/wish": "for the pages' script",
}
"""Addresses beside `/v1` that show no page of their own, and why."""
FLAT = "Part No;Description;Model;Price;Supplier\nFL-1;battery;24 vna;1,250;works\n"
HOOK = "https://stock.example/graftbook"


def addresses_read(app: FastAPI) -> set[str]:
    """The patterns of all addresses beside the API that answer GET."""
    return {
        route.path
        for route in _routes(app)
        if "GET" in (route.methods or ()) and not route.path.startswith("/v1")
    }


def _routes(of: Any) -> Iterator[APIRoute]:
    for route in of.routes:
        if isinstance(route, APIRoute):
            yield route
        elif hasattr(route, "original_router"):
            yield from _routes(route.original_router)


def never_visited(app: FastAPI) -> set[str]:
    """The patterns that no visit here meets, and that are not known as no pages."""
    paths = {address.partition("?")[0] for address in (PAGES | SIGNED_IN).values()}
    left = addresses_read(app) - set(NO_PAGES)
    for path in paths:
        meant = [pattern for pattern in left if re.fullmatch(_expression(pattern), path)]
        left -= set(sorted(meant, key=lambda pattern: pattern.count("{"))[:1])
    return left


def _expression(pattern: str) -> str:
    parts = re.split(r"\{(\w+)(:path)?\}", pattern)
    return "".join(
        re.escape(parts[at]) + ("" if at + 1 == len(parts) else ".+" if parts[at + 2] else "[^/]+")
        for at in range(0, len(parts), 3)
    )


def furnish(client: httpx.Client) -> dict[str, str]:
    """Give a service on the demo range lists, builds, pictures and all else; ids for the addresses."""

    def sent(method: str, path: str, **more: Any) -> httpx.Response:
        answer = client.request(method, path, **more)
        assert answer.is_success, f"{method} {path}: {answer.text}"
        return answer

    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "deadline_seconds": 30}
    sent("PUT", "/v1/stock/QB-9001", json={"quantity": 4, "place": "drawer 14"})
    picture = {"Content-Type": "image/jpeg"}
    sent("POST", "/v1/pictures/of/component/QB-3310", content=photograph(), headers=picture)
    for name in ("drafted", "sent"):
        made = sent("POST", "/v1/order-lists", json=asked | {"note": "ring first", "name": name})
    done = sent("POST", "/v1/order-lists/sent/send", headers={"If-Match": made.headers["etag"]})
    came = {"lines": [{"line": 1, "received": 1}]}
    sent("POST", "/v1/order-lists/sent/receive", json=came, headers={"If-Match": done.headers["etag"]})
    build = {
        "name": "red-van",
        "chassis": "24PL-018412",
        "decided": [{"fit": "QB-3310"}],
        "note": "the baker's",
    }
    sent("POST", "/v1/builds", json=build)
    events = [
        {"what": "fitted", "component": "QB-2066", "position": "brake.servo"},
        {"what": "work", "done": "servo fitted under the floor", "minutes": 95},
    ]
    sent("POST", "/v1/builds/red-van/events", json={"events": events})
    house = {"title": "House standard", "wishes": [{"fit": "QB-3310"}], "variants": ["24P-21-L", "24P-21-R"]}
    kept = sent("POST", "/v1/specifications", json=house | {"name": "house-standard"})
    second = house | {"wishes": [{"fit": "QB-3310"}, {"fit": "QL-7075"}]}
    as_read = {"If-Match": kept.headers["etag"]}
    sent("PUT", "/v1/specifications/house-standard", json=second, headers=as_read)
    sent("PUT", "/v1/house-specification", json={"specification": "house-standard@1"})
    report = {"chassis": "24PL-018412", "component": "QB-3310", "position": "brake.front.left"}
    sent("POST", "/v1/reports", json=report | {"workshop": "North Road", "outcome": "fitted"})
    edited = {"record": "section", "name": "trim", "title": "Trim", "order": 90}
    sent("POST", "/v1/imports", json=[edited])
    proposed = edited | {"title": "Trim and seats"}
    sent("POST", "/v1/proposals", json={"why": "as the parts book has it", "records": [proposed]})
    hook = sent("POST", "/v1/webhooks", json={"url": HOOK}).json()["id"]
    columns = {"number": "Part No", "description": "Description", "fits": "Model", "price": "Price"}
    sent("PUT", "/v1/flat-lists/spares", json={"columns": columns, "section": "engine"})
    text = {"Content-Type": "text/csv"}
    sent("PUT", "/v1/flat-lists/spares/issue?file=march.csv", content=FLAT, headers=text)
    return {"webhook": hook}


def signed_in(chromium: Browser, served: Served, **profile: Any) -> BrowserContext:
    """A browser profile that is signed in with the service's key."""
    context = chromium.new_context(base_url=served.address, **profile)
    page = context.new_page()
    page.goto("/signin")
    page.fill("#key", served.key)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Sign out").wait_for()
    page.close()
    return context


FORMS: dict[str, dict[str, Any]] = {
    "390-dark": {"viewport": {"width": 390, "height": 844}, "color_scheme": "dark"},
    "820-light": {"viewport": {"width": 820, "height": 1180}, "color_scheme": "light"},
    "1280-light": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "light"},
    "1800-dark": {"viewport": {"width": 1800, "height": 1000}, "color_scheme": "dark"},
    "paper": {"viewport": {"width": 794, "height": 1123}, "color_scheme": "light"},
}


def photographs(folder: Path, names: list[str]) -> None:
    """Each page in each form, whole, as `folder/form/page.png`."""
    from graftbook.catalogue.loading.imports import load
    from graftbook.commands.demo import demo_sheets
    from graftbook.database import make_engine, migrate
    from tests.pages.browser.conftest import CHROMIUM, SWITCHES

    with tempfile.TemporaryDirectory() as own:
        url = f"sqlite:///{own}/demo.sqlite3"
        engine = make_engine(url)
        migrate(engine)
        assert load(engine, demo_sheets(), who="house", why="the demo range").ok
        engine.dispose()
        with serve(url) as served, sync_playwright() as playwright:
            with served.client() as client:
                ids = furnish(client)
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
            for form, profile in FORMS.items():
                context = signed_in(browser, served, **profile)
                page = context.new_page()
                if form == "paper":
                    page.emulate_media(media="print")
                (folder / form).mkdir(parents=True, exist_ok=True)
                for name, address in (PAGES | SIGNED_IN).items():
                    if not names or name in names:
                        page.goto(address.format(**ids))
                        page.wait_for_load_state("networkidle")
                        page.screenshot(path=folder / form / f"{name.replace(' ', '-')}.png", full_page=True)
                context.close()
            browser.close()


if __name__ == "__main__":
    photographs(Path(sys.argv[1]), sys.argv[2:])
