"""The first page: the chassis number, and what the house has at work, so that one goes on where one was."""

import time
from typing import Annotated, Any, NotRequired, TypedDict

from fastapi import Query, Request
from starlette.responses import Response

from graftbook.access.guard import MayRead, form_of, require_own_page
from graftbook.builds.service import list_builds, list_specifications
from graftbook.catalogue.finding.gathering import upgrades_of
from graftbook.catalogue.finding.ranking import Entry
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.store.lists import VariantOut, list_variants
from graftbook.catalogue.store.lookup import find_vehicles
from graftbook.database import reading
from graftbook.editing import history
from graftbook.editing.schemas import RevisionOut
from graftbook.orders.lists import overview
from graftbook.pages import in_hand
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import Problem
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import ask_vehicle

router = pages_router()

MOST_VARIANTS = 200
MOST_SHOWN = 8
MOST_LISTED = 200
MOST_ORDERS = 24
Name = Annotated[str, Query(max_length=120)]


class Recent(TypedDict):
    """A vehicle that was in hand, and what it is, where the catalogue knows it."""

    chassis: str
    title: NotRequired[str]


class UpgradeOffered(TypedDict):
    """A named upgrade to begin with."""

    name: str
    title: str
    note: str


class News(TypedDict):
    """What changed in the catalogue since the visit before; None: this is the first."""

    since: int | None
    count: int
    edits: list[RevisionOut]


@router.get("/", dependencies=[MayRead])
def start(request: Request, service: ServiceDep, upgrade: Name = "", specification: Name = "") -> Response:
    """Where to begin: the chassis number, or what is at work. `upgrade`, `specification`: what was chosen
    first and goes with the vehicle that is named next."""
    with reading(service.engine) as session:
        variants, _ = list_variants(session, MOST_VARIANTS, "")
        present = current_revision(session.connection())
        known = upgrades_of(session.connection())
    shown = [{**v, "spans": v["chassis_spans"]} for v in variants if v["chassis_spans"]]
    chosen = PageQuestion.of((("upgrade", upgrade), ("specification", specification)))
    visit = in_hand.visit_of(request, present, int(time.time() // 60))
    response = page(
        request,
        "start.html",
        variants=shown,
        revision=present,
        examples=shown[0]["spans"] if shown else [],
        chosen=chosen,
        chosen_title=next((one.title for one in known if one.name == upgrade), upgrade or specification),
        upgrades=offered(service, known, in_hand.chassis_in_hand(request)),
        recent=recent(service, variants, in_hand.recent_vehicles(request)),
        news=news(service, visit.seen_before, present),
        **at_work(service),
    )
    in_hand.keep(request, response, in_hand.SEEN, visit.kept, in_hand.REMEMBERED_SECONDS)
    return response


def offered(service: Service, known: list[Entry], chassis: str) -> list[UpgradeOffered]:
    """The named upgrades: those of the vehicle in hand, or all where there is none."""
    if chassis:
        try:
            asked = ask_vehicle(service, VehicleIn(chassis=chassis))
        except Problem:  # it left the catalogue: then nothing is known to be for it
            return []
        upgrades = [one for one in asked.names.book().upgrades if one.when.holds(asked.vehicle)]
        return [{"name": one.name, "title": one.title, "note": one.note} for one in upgrades]
    return [{"name": one.name, "title": one.title, "note": one.detail} for one in known]


def recent(service: Service, variants: list[VariantOut], chassis: list[str]) -> list[Recent]:
    """The vehicles that were in hand last, each with its variant's title."""
    titles = {variant["name"]: variant["title"] for variant in variants}
    with reading(service.engine) as session:
        found = find_vehicles(session, [(one, None) for one in chassis])
    return [
        {"chassis": one, "title": titles.get(found[one, None].vehicle.variant, "")}
        if (one, None) in found
        else {"chassis": one}
        for one in chassis
    ]


def news(service: Service, since: int | None, present: int) -> News:
    """The latest edits after a revision, the newest first."""
    if since is None or since >= present:
        return {"since": since, "count": 0, "edits": []}
    edits, _ = history.revisions(service, "", MOST_SHOWN)
    new = [edit for edit in edits if edit["revision"] > since]
    return {"since": since, "count": present - since, "edits": new}


def at_work(service: Service) -> dict[str, Any]:
    """Saved builds, specifications and the order lists that are open."""
    return {
        "builds": list_builds(service.engine, "", MOST_LISTED),
        "specifications": list_specifications(service.engine, "", MOST_LISTED),
        "open_lists": overview.newest_open(service.engine, MOST_ORDERS),
        "first": MOST_SHOWN,
    }


@router.post("/in-hand", dependencies=[MayRead])
async def in_hand_form(request: Request) -> Response:
    """Let the vehicle in hand go, or forget the recent ones as well."""
    require_own_page(request)
    response = gone_to("/")
    if (await form_of(request)).get("do") == "forget":
        in_hand.forget(response)
    else:
        in_hand.let_go(response)
    return response
