"""The search box: what somebody says, as a page and as suggestions while he types."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.database import reading
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.pages.asking.mending import ASKED_BY, MOST_MEANT, searched
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.frame import gone_to, page
from graftbook.pages.in_hand import chassis_in_hand
from graftbook.pages.problems import pages_router
from graftbook.problems import Problem
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.finding.schemas import FoundOut
from graftbook.questions.finding.service import search_document

router = pages_router()

LONGEST = 200
MOST_SHOWN = 40

Text = Annotated[str, Query(max_length=LONGEST)]


@router.get("/find", dependencies=[MayRead, takes("text", "chassis")])
def find(request: Request, service: ServiceDep) -> Response:
    """What a text finds; a chassis number leads to its vehicle at once."""
    text = request.query_params.get("text", "").strip()[:LONGEST]
    chassis = request.query_params.get("chassis", "").strip() or chassis_in_hand(request)
    if text and (vehicle := _vehicle_of(service, text)):
        return gone_to(PageQuestion((("chassis", vehicle),)).address())
    found = searched(service, text, chassis, MOST_SHOWN)
    document = search_document(found) if found else None
    items = [(item, _address(item, chassis)) for item in document["items"]] if document else []
    return page(request, "find.html", text=text, chassis=chassis, document=document, items=items)


def _vehicle_of(service: Service, text: str) -> str:
    """The chassis number that a text is; empty where it is none."""
    if not any(letter.isdigit() for letter in text):
        return ""
    try:
        with reading(service.engine) as session:
            return find_vehicle(session, text).chassis
    except Problem:
        return ""


def _address(item: FoundOut, chassis: str) -> str:
    """The address that wishes what was found; empty where no vehicle is in hand, or where it does not fit."""
    if not chassis or item["fits"] is False:
        return ""
    return PageQuestion((("chassis", chassis),)).adding(ASKED_BY[item["kind"]], item["name"]).address()


@router.get("/suggest/component", dependencies=[MayRead])
def suggest_components(service: ServiceDep, text: Text = "", chassis: Text = "") -> Response:
    """Components as one types; those that fit the vehicle first."""
    found = searched(service, text.strip(), chassis.strip(), MOST_MEANT * 2, begun=True)
    items = search_document(found)["items"] if found else []
    rows = [{"value": item["name"], "words": _words(item)} for item in items if item["kind"] == "component"]
    return json_answer(rows[:MOST_MEANT], headers=KEEP_NOTHING)


@router.get("/suggest/wish", dependencies=[MayRead])
def suggest_wishes(service: ServiceDep, text: Text = "", chassis: Text = "") -> Response:
    """Upgrades and components as one types, for a field of wishes: an upgrade by its title."""
    found = searched(service, text.strip(), chassis.strip(), MOST_MEANT * 2, begun=True)
    items = search_document(found)["items"] if found else []
    rows = [
        {"value": item["title"] if item["kind"] == "upgrade" else item["name"], "words": _words(item)}
        for item in items
        if item["kind"] != "flaw"
    ]
    return json_answer(rows[:MOST_MEANT], headers=KEEP_NOTHING)


def _words(item: FoundOut) -> str:
    kind = "upgrade" if item["kind"] == "upgrade" else item["title"]
    return f"{kind}{' (not on this vehicle)' if item['fits'] is False else ''}"
