"""What an edit of each kind of record is said to do is what comes when all is asked anew."""

from collections.abc import AsyncIterator, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.loading.imports import load
from graftbook.guide.book import FOLDER
from tests.conftest import application, client_of

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

ASKED = {
    "hubs": ("B1-0100", {"fit": "B-201"}),
    "lamp": ("B2-0500", {"fit": "B-250"}),
    "tyres": ("B1-0200", {"fit": "B-220"}),
    "rocking": ("B2-0100", {"remedy_all": "severe"}),
    "old-number": ("B1-0300", {"fit": "B-130"}),
}
"""Build → its chassis number, and what is decided for it."""

Row = dict[str, Any]
EDITS: list[tuple[str, str, Row]] = [
    ("range", "barrow", {"title": "Station barrows"}),
    ("section", "wheels", {"order": 9}),
    ("characteristic_kind", "bolt_circle", {"title": "circle of the studs"}),
    ("evidence", "tried", {"grade": "hearsay"}),
    ("evidence", "bench", {"grade": "hearsay"}),
    ("evidence", "book", {"grade": "hearsay"}),
    ("variant", "B1", {"title": "Barrow, first"}),
    ("chassis_span", "B1", {"built_to": "1959-06-30"}),
    ("position", "lamp", {"title": "lamp in front"}),
    ("position", "brake.block", {"essential": False}),
    ("component", "B-210", {"price": "23.00"}),
    ("component", "B-240", {"visible": True}),
    ("component", "B-210", {"supply": "no longer supplied"}),
    ("component", "B-900", {"minutes": 5}),
    ("characteristic", "B-240:output_current", {"value": "7 A"}),
    ("characteristic", "B-240:output_current", {"value": "8.5 A"}),
    ("fitment", "B-210@wheel.road", {"minutes": 25}),
    ("fitment", "B-210@wheel.road", {"effort": "machining"}),
    ("fitment", "B-220@tyre.road", {"evidence": []}),
    ("fitment", "B-240@charging.machine", {"note": "mind the belt"}),
    ("substitute", "B-101>B-201", {"evidence": []}),
    ("flaw", "bush-runs-dry-left", {"severity": "moderate"}),
    ("flaw", "bush-runs-dry-left", {"symptom": "The hub rocks."}),
    ("companion", "hub-grease-left", {"strength": "advised"}),
    ("companion", "hub-grease-left", {"evidence": []}),
    ("conflict", "wide-tyre-beech-block", {"other_component": "B-131"}),
    ("conflict", "wide-tyre-beech-block", {"evidence": []}),
    ("joint", "rim-tyre", {"evidence": []}),
    ("joint", "hub-wheel-left", {"comparator": "at most"}),
    ("budget", "lighting", {"usable": 0.5}),
    ("budget", "lighting", {"evidence": []}),
    ("supersession", "B-130>>B-131", {"evidence": []}),
    ("precedence", "hub-before-wheel", {"reason": "So it is done."}),
    ("access", "wheel-off-for-hub", {"state": "on stands"}),
    ("tightening", "wheel-nuts", {"torque": "32 .. 36 Nm"}),
    ("upgrade", "ball-hubs", {"title": "hubs with balls"}),
    ("other_word", "generator", {"means": "B-140"}),
    ("outline", "handle", {"bodies": ["flat"]}),
    ("mark", "brake.block@", {"x": 120}),
    ("report", "The Yard", {"outcome": "did not fit"}),
    ("supplier", "porters", {"carriage": "5.00"}),
    ("offer", "porters:B-131", {"price": "5.00"}),
    ("tax", "home", {"rate": 19}),
    ("exchange_rate", "EUR", {"rate": 0.9}),
]
"""Kind, what its name begins with, and what it then says."""

REMOVED = ("flaw", "companion", "conflict", "joint", "budget", "report", "characteristic", "fitment")


@pytest.fixture(scope="module")
def barrows(sqlite_databases: Any) -> Iterator[FastAPI]:
    """The application on the starter range."""
    with application(sqlite_databases.new()) as app:
        assert load(app.state.service.engine, FOLDER.parent / "starter.csv").ok
        yield app


@pytest.fixture(scope="module")
def today() -> dict[str, Row]:
    """Build → what is answered before any edit, asked once: each edit is taken back, and the last test asks
    again."""
    return {}


@pytest.fixture
async def house(barrows: FastAPI, today: dict[str, Row]) -> AsyncIterator[httpx.AsyncClient]:
    """Somebody who may edit, in a house with a build for each question."""
    async with client_of(barrows, scope="edit") as client:
        for name, (chassis, wish) in ASKED.items():
            body = {"name": name, "chassis": chassis, "decided": [wish], "options": ["lamps"]}
            assert (await client.post("/v1/builds", json=body)).status_code in (201, 409)
        for name in ASKED.keys() - today.keys():
            today[name] = await answer(client, name)
        yield client


def test_every_kind_of_record_is_edited() -> None:
    assert {kind for kind, _, _ in EDITS} == set(KIND_BY_WORD)


@pytest.mark.parametrize(("kind", "name", "fields"), EDITS, ids=[f"{k} {'-'.join(f)}" for k, _, f in EDITS])
async def test_what_an_edit_is_said_to_do_is_what_it_does(
    house: httpx.AsyncClient, today: dict[str, Row], kind: str, name: str, fields: Row
) -> None:
    name, rows = await record(house, kind, name)
    edit = {"records": [{"record": kind, **row, **fields} for row in rows]}
    await the_effect_is_what_comes(house, today, edit)


@pytest.mark.parametrize("kind", REMOVED)
async def test_what_a_removal_is_said_to_do_is_what_it_does(
    house: httpx.AsyncClient, today: dict[str, Row], kind: str
) -> None:
    tried = 0
    for line in (await house.get(f"/v1/records/{kind}", params={"limit": 5})).json()["items"]:
        removal = {"remove": [{"kind": kind, "name": line["name"]}]}
        tried += await the_effect_is_what_comes(house, today, removal)
    assert tried


async def test_what_was_taken_back_is_answered_as_before(
    house: httpx.AsyncClient, today: dict[str, Row]
) -> None:
    assert {name: await answer(house, name) for name in ASKED} == today


async def record(house: httpx.AsyncClient, kind: str, begins: str) -> tuple[str, list[Row]]:
    lines = (await house.get(f"/v1/records/{kind}", params={"limit": 500})).json()["items"]
    name = next(line["name"] for line in lines if line["name"].startswith(begins))
    return name, (await house.get(f"/v1/records/{kind}/{name}")).json()["rows"]


async def the_effect_is_what_comes(house: httpx.AsyncClient, before: dict[str, Row], edit: Row) -> bool:
    """Propose it, look, accept it, ask everything anew and take it back. False: it is no edit at all."""
    made = await house.post("/v1/proposals", json={"why": "a trial", **edit})
    if made.status_code == 422 and "remove" in edit:
        return False
    assert made.status_code == 201, made.text
    number = made.json()["number"]
    effect = (await house.post(f"/v1/proposals/{number}/effect")).json()
    assert effect["whole"], effect
    decision = {"proposals": [number], "reason": "looked at"}
    accepted = (await house.post("/v1/proposal-decisions/accept", json=decision)).json()
    after = {name: await answer(house, name) for name in ASKED}
    back = await house.post(f"/v1/revisions/{accepted['catalogue_revision']}/take-back")
    assert back.status_code == 200, back.text
    labels = {one["label"] for which in ("impossible", "possible", "changed") for one in effect[which]}
    told = {label.removeprefix("Build ") for label in labels if label.startswith("Build ")}
    assert told == {name for name in ASKED if before[name] != after[name]}, what_differs(
        before, after, effect
    )
    return True


async def answer(house: httpx.AsyncClient, build: str) -> Row:
    """What is answered to a build's question, without what else could have been chosen."""
    found = (await house.post("/v1/closures", json={"vehicle": {"build": build}})).json()
    if found.get("set") is None:
        assert found.get("outcome") == "impossible", found
        return {"outcome": "impossible"}
    told, checks = found["set"], found["checks"]["findings"]
    lines = [{k: line.get(k) for k in LINE} for line in told["changes"]]
    return {
        "changes": sorted(lines, key=lambda line: str(line["position"])),
        "loose": [{k: line.get(k) for k in LINE} for line in told["loose_parts"]],
        "totals": told["totals"],
        "rests on": told["rests_on"],
        **{what: [one["sentence"] for one in told[what]] for what in NOTES},
        "checks": {one["check"]: (one["verdict"], one["sentence"]) for one in checks},
        "cautions": found["cautions"],
    }


LINE = (
    "position", "position_title", "component", "name", "quantity", "effort", "minutes", "price", "visible",
    "why", "also", "evidence",
)  # fmt: skip
NOTES = (
    "flaws_gone", "flaws_left", "flaws_brought", "already_so", "advised", "not_determined", "unconfirmed",
    "contradicted",
)  # fmt: skip


def what_differs(before: Row, after: Row, effect: Row) -> str:
    lines = [
        f"{name} {what}: {str(was[what])[:300]} -> {str(after[name].get(what))[:300]}"
        for name, was in before.items()
        for what in was
        if was[what] != after[name].get(what)
    ]
    told = [(one["label"], one["sentences"]) for one in effect["changed"]]
    return "\n".join([*lines, *map(str, told)])
