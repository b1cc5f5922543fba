"""Reading never writes and never takes a writer's lock, whatever is asked, counted at the database itself."""

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from tests.api.test_safety import QUESTIONS
from tests.catalogue.undone import undone_to
from tests.conftest import application, bearer, client_of
from tests.soundness.every_kind import CHASSIS, QUESTION
from tests.soundness.writes import writes_counted

pytestmark = pytest.mark.anyio

WORDS = {
    "chassis": CHASSIS, "kind": "component", "form": "pdf", "id": "1", "booking": "1", "step": "send",
    "list": "tuesday", "listed": "tuesday", "digest": "x",
}  # fmt: skip
NAMED = {
    "/component/{number}": "QB-3310",
    "/v1/components/{number}": "QB-3310",
    "/v1/records/{kind}/{name}": "QB-3310",
    "/v1/records/{kind}/{name}/history": "QB-3310",
    "/edit/component/{number}": "QB-3310",
    **dict.fromkeys((
        "/builds/{name}", "/builds/{name}/order/{listed}", "/builds/{name}/sheet", "/builds/{name}/sheet.pdf",
        "/v1/builds/{name}", "/v1/builds/{name}/events", "/v1/builds/{name}/state", "/v1/builds/{name}/sheet",
        "/v1/builds/{name}/order-lists/{list}",
    ), "red"),
    **dict.fromkeys((
        "/edit/flat/{name}", "/edit/flat/{name}/mapping", "/v1/flat-lists/{name}",
        "/v1/flat-lists/{name}/issue",
    ), "works"),
    "/pictures/{kind}/{name}": "QB-3310",
    "/v1/pictures/of/{kind}/{name}": "QB-3310",
    "/v1/specifications/{name}": "house",
    "/v1/specifications/{name}/comparison": "house",
    "/v1/order-lists/{name}": "tuesday",
    "/v1/order-lists/{name}/differences": "tuesday",
    "/v1/order-lists/{name}/events": "tuesday",
    "/v1/order-lists/{name}/bookings": "tuesday",
    "/orders/{name}": "tuesday",
    "/orders/{name}/document/{form}": "tuesday",
}  # fmt: skip
NEED_A_KEY = (
    "/v1/audit", "/v1/keys", "/v1/stock", "/v1/order-lists", "/orders", "/store", "/edit", "/metrics",
    "/v1/webhooks", "/webhooks", "/v1/flat-lists", "/report", "/lint",
)  # fmt: skip
ASKED = f"chassis={CHASSIS}&fit=QB-3310"
UNKNOWN = "\n".join(f"ZZ-{n}" for n in range(50))
SEARCHES = {
    "/ask": [ASKED],
    "/answer": [ASKED, f"{ASKED}&as_of=1", f"chassis={CHASSIS}&fit=ZZ-1&as_of=1"],
    "/check": [
        f"chassis={CHASSIS}&list=QB-3310",
        f"chassis={CHASSIS}&list=QB-3310&as_of=1",
        f"chassis={CHASSIS}&list={UNKNOWN.replace(chr(10), '%0A')}",
        f"chassis={CHASSIS}&list={UNKNOWN.replace(chr(10), '%0A')}&as_of=1",
    ],
    "/order": [ASKED, f"{ASKED}&as_of=1"],
    "/order.pdf": [ASKED],
    "/fitting": [ASKED, f"{ASKED}&as_of=1"],
    "/quotation": [ASKED],
    "/quotation.pdf": [ASKED],
    "/picture": [ASKED, f"{ASKED}&as_of=1"],
    "/measure": [f"chassis={CHASSIS}&kind=bolt_circle&value=134+mm&within=0.5+mm"],
    "/report": [f"chassis={CHASSIS}&component=QB-3310"],
    "/reports": ["component=QB-3310"],
    "/v1/reports": ["component=QB-3310"],
    "/builds/{name}": ["on=2026-01-01", ""],
    "/v1/builds/{name}/state": ["on=2026-01-01", ""],
    "/v1/upgrades": [f"chassis={CHASSIS}"],
    "/v1/events": ["since=now", "wait=1"],
    "/vehicle": [f"chassis={CHASSIS}"],
    "/look-up": ["words=brake"],
    "/suggest/component": ["text=QB"],
    "/suggest/chassis": ["text=24"],
    "/v1/closures": [ASKED, f"{ASKED}&as_of=1", f"{ASKED}&as_of=2", f"chassis={CHASSIS}&fit=ZZ-1&as_of=1"],
    "/v1/orders": [ASKED, f"{ASKED}&as_of=1"],
    "/v1/compatibility": [f"chassis={CHASSIS}&component=QB-3310&as_of=1", f"chassis={CHASSIS}&component=ZZ"],
    "/v1/components": ["words=brake"],
    "/v1/specifications/{name}/comparison": ["from=1&to=1"],
    "/v1/revisions/compare": ["from=1&to=2"],
}
BODIES: dict[str, dict[str, Any]] = {
    "/v1/closures": QUESTION,
    "/v1/closures/why-not": QUESTION | {"component": "QB-2012"},
    "/v1/closures/what-if": QUESTION | {"other_vehicle": {"chassis": "24PR-009401"}},
    "/v1/checks": {"vehicle": {"chassis": CHASSIS}, "components": ["QB-3310", "ZZ-1", "ZZ-2"]},
    "/v1/compatibility": {
        "questions": [{"component": n, "chassis": CHASSIS} for n in ("QB-3310", "ZZ-1", "ZZ-2")]
    },
    "/v1/orders": QUESTION,
    "/v1/quotations": QUESTION,
    "/v1/fitting-sequences": QUESTION,
    "/v1/measured-parts": {
        "vehicle": {"chassis": CHASSIS},
        "measured": [{"kind": "bolt_circle", "value": "134 mm", "within": "0.5 mm"}],
    },
}
REPORT = {
    "workshop": "North Road", "outcome": "fitted", "chassis": CHASSIS, "component": "QB-3310",
    "position": "brake.front.left",
}  # fmt: skip
OF_TODAY = {"/v1/measured-parts"}
"""Not asked as of the past."""


def addresses(app: FastAPI, *, every: bool) -> Iterator[str]:
    """Every address that answers GET, with what makes it say something: every search of it, or those of today
    and the last."""
    for route in iter_route_contexts(app.routes):
        if "GET" in (route.methods or ()):
            template = str(route.path).replace(":path", "")
            name = NAMED.get(template, "1")
            path = template.format_map({"number": name, "name": name} | WORDS)
            *others, last = SEARCHES.get(template, [""])
            for search in (*(one for one in others if every or "as_of" not in one), last):
                yield f"{path}?{search}" if search else path


@pytest.fixture
async def edited(own_demo_url: str) -> Any:
    """The application on a demo of its own in which a number was changed after revision 1; no work waits."""
    with application(own_demo_url) as app:
        engine = app.state.service.engine
        async with client_of(app) as client:
            await _prepared(client, bearer(engine))
            # A key's last use is noted behind answers.
            app.state.authenticator.write_behind = lambda *_said, **_how: None
            yield app, client, bearer(engine)


async def _prepared(client: httpx.AsyncClient, key: dict[str, str]) -> None:
    record = "/v1/records/component/QB-3310"
    held = await client.get(record)
    dearer = {"rows": [held.json()["rows"][0] | {"price": "99.00"}]}
    for method, path, body, more in (
        ("PUT", record, dearer, {"If-Match": held.headers["etag"]}),
        ("POST", "/v1/builds", {"name": "red", "chassis": CHASSIS, "taken_in": "2025-12-01"}, {}),
        ("POST", "/v1/specifications", {"name": "house", "title": "House"}, {}),
        ("POST", "/v1/order-lists", {"name": "tuesday", **QUESTION}, {}),
        ("PUT", "/v1/house-specification", {"specification": "house@1"}, {}),
        ("POST", "/v1/builds/red/events", {"events": [{"what": "note", "text": "came in"}]}, {}),
        (
            "POST",
            "/v1/proposals",
            {"why": "new", "records": [{"record": "section", "name": "n", "title": "N", "order": 9}]},
            {},
        ),
        ("POST", "/v1/reports", REPORT, {}),
        (
            "PUT",
            "/v1/flat-lists/works",
            {"columns": {"number": "No", "price": "Price"}, "supplier": "welterby"},
            {},
        ),
    ):
        answer = await client.request(method, path, json=body, headers=key | more)
        assert answer.status_code in (200, 201), (path, answer.text)
    issue = "/v1/flat-lists/works/issue?file=works.csv"
    answer = await client.put(
        issue, content=b"No,Price\nQB-3310,9.00\n", headers=key | {"Content-Type": "text/csv"}
    )
    assert answer.status_code == 200, answer.text


async def test_no_question_and_no_page_writes_or_locks(edited: Any, request: pytest.FixtureRequest):
    """Each address, and each kind of question of today and as of the past, each of which takes half a second:
    the long form asks all of them as of each revision."""
    app, client, key = edited
    every = request.config.getoption("--long")
    assert BODIES.keys() == QUESTIONS, "a new question belongs here"
    seen: dict[str, int] = {}
    with writes_counted(app.state.service.engine) as writes:

        async def look(what: str, answer: httpx.Response) -> None:
            seen[what] = answer.status_code
            assert not writes, (what, writes)

        for address in addresses(app, every=every):
            headers = key if address.startswith(NEED_A_KEY) else {}
            await look(address, await client.get(address, headers=headers, follow_redirects=False))
        for path, body in BODIES.items():
            past: list[dict[str, int]] = [{"as_of": 1}, *[{"as_of": 2}] * every]
            for as_of in [{}] if path in OF_TODAY else [{}, *past]:
                await look(f"{path} {as_of}", await client.post(path, json=body | as_of))
        for text in ("QB-3310", UNKNOWN, "QB-3310\n" + "# " + "-" * 6_000):
            await look(
                "/check", await client.post("/check", data={"chassis": CHASSIS, "list": text}, files={})
            )
    assert not [what for what, status in seen.items() if status >= 500]
    well = [what for what, status in seen.items() if status in (200, 303, 307)]
    assert len(well) > 0.8 * len(seen), sorted((s, w) for w, s in seen.items() if w not in well)


async def test_what_writes_is_counted(edited: Any):
    """An edit, and the past as it was looked at once, by undoing it where it stands."""
    app, client, key = edited
    engine = app.state.service.engine
    with writes_counted(engine) as writes:
        await client.post("/v1/builds", json={"name": "blue", "chassis": CHASSIS}, headers=key)
        assert writes
        writes.clear()
        with undone_to(engine, 1):
            pass
        assert writes
