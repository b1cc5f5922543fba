"""The search box: what somebody says, as a page and as suggestions while he types."""

from collections.abc import Collection
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Query, Request
from sqlmodel import Session
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.search import lines_of
from graftbook.catalogue.store.lookup import chassis_starting, find_vehicle, numbers_meant
from graftbook.database import reading
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.orders.stock.store import stock_for
from graftbook.pages.asking.mending import ASKED_BY, MOST_MEANT, searched
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.frame import gone_to, page
from graftbook.pages.in_hand import chassis_in_hand
from graftbook.pages.problems import pages_router
from graftbook.problems import Problem
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.finding.schemas import FoundOut
from graftbook.questions.finding.service import search_document
from graftbook.questions.lookup.documents import component_line
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import ask_vehicle

router = pages_router()

LONGEST = 200
MOST_SHOWN = 40
_MOST_WORDS = 3
"""Of a chassis number as it is typed: 24 pl 18412."""

Text = Annotated[str, Query(max_length=LONGEST)]


@router.get("/find", dependencies=[MayRead, takes("text", "chassis")])
def find(request: Request, service: ServiceDep) -> Response:
    """What a text finds. A chassis number in it is the vehicle that the rest is looked for on: alone it leads
    to the vehicle at once, with the name of an upgrade to the answer."""
    text = request.query_params.get("text", "").strip()[:LONGEST]
    typed = request.query_params.get("chassis", "").strip()[:LONGEST]
    with reading(service.engine) as session:
        if text and vehicle_of_text(session, text):
            return gone_to(PageQuestion((("chassis", text),)).address())
        named, rest = _vehicle_and_rest(session, text)
        chassis = vehicle_of_text(session, typed) if typed else chassis_in_hand(request)
    if named:
        if upgrade := _upgrade_called(service, named, rest):
            return gone_to(PageQuestion((("chassis", named), ("upgrade", upgrade))).address())
        return gone_to("/find?" + urlencode({"text": rest, "chassis": named}))
    found = searched(service, text, chassis, MOST_SHOWN)
    document = search_document(found) if found else None
    items = [(item, _address(item, chassis)) for item in document["items"]] if document else []
    numbers = [item["name"] for item, _ in items if item["kind"] == "component"]
    with reading(service.engine) as session:
        lines = {number: component_line(line) for number, line in lines_of(session, numbers).items()}
        at_hand = {one.number: one for one in stock_for(session, numbers)}
    return page(
        request,
        "find.html",
        text=text,
        chassis=chassis,
        nobody=typed if not chassis else "",
        document=document,
        items=items,
        asked_by=ASKED_BY,
        lines=lines,
        at_hand=at_hand,
        vehicle={"chassis": chassis} if typed and chassis else None,
    )


def vehicle_of_text(session: Session, text: str) -> str:
    """The chassis number that a text is; empty where it is none."""
    if not any(letter.isdigit() for letter in text):
        return ""
    try:
        return find_vehicle(session, text, near=False).chassis
    except Problem:
        return ""


def is_for_the_search(service: Service, text: str) -> bool:
    """Whether what was typed as a chassis number is one with something else beside it, the number of a part,
    or words without a figure."""
    beginning = text[:LONGEST]
    with reading(service.engine) as session:
        return (
            not any(letter.isdigit() for letter in beginning)
            or bool(_vehicle_and_rest(session, beginning)[0])
            or bool(numbers_meant(session, [beginning]))
        )


def _vehicle_and_rest(session: Session, text: str) -> tuple[str, str]:
    """The chassis number that a text begins or ends with, in up to three words, and what else it says."""
    words = text.split()
    for count in range(min(_MOST_WORDS, len(words) - 1), 0, -1):
        for own, rest in ((words[:count], words[count:]), (words[-count:], words[:-count])):
            if own[-1][-1].isdigit() and (chassis := vehicle_of_text(session, " ".join(own))):
                return chassis, " ".join(rest)
    return "", ""


def _upgrade_called(service: Service, chassis: str, said: str) -> str:
    """The one upgrade for a vehicle with just this title or other name; empty: none has, or several."""
    asked = ask_vehicle(service, VehicleIn(chassis=chassis))
    plain = " ".join(said.lower().split())
    named = [
        upgrade.name
        for upgrade in asked.names.book().upgrades
        if plain in (name.lower() for name in (upgrade.title, *upgrade.called))
        and upgrade.when.holds(asked.vehicle)
    ]
    return named[0] if len(named) == 1 else ""


def _address(item: FoundOut, chassis: str) -> str:
    """The address that wishes what was found; empty where it does not fit, or no vehicle is known."""
    if item["fits"] is False or not chassis:
        return ""
    return PageQuestion((("chassis", chassis),)).adding(ASKED_BY[item["kind"]], item["name"]).address()


@router.get("/suggest/chassis", dependencies=[MayRead])
def suggest_chassis(service: ServiceDep, text: Text = "") -> Response:
    """What the number may become: a span, by the first number of it that begins so."""
    with reading(service.engine) as session:
        spans = chassis_starting(session, text, MOST_MEANT)
    rows = [
        {
            "value": span.first,
            "words": f"to {span.last}, {span.title}" if span.first != span.last else span.title,
        }
        for span in spans
    ]
    return json_answer(rows, headers=KEEP_NOTHING)


@router.get("/suggest/component", dependencies=[MayRead])
def suggest_components(service: ServiceDep, text: Text = "", chassis: Text = "") -> Response:
    """Components as one types; those that fit the vehicle first."""
    return _suggestions(service, text, chassis, ("component",))


@router.get("/suggest/wish", dependencies=[MayRead])
def suggest_wishes(service: ServiceDep, text: Text = "", chassis: Text = "") -> Response:
    """Upgrades and components as one types, for a field of wishes: an upgrade by its title."""
    return _suggestions(service, text, chassis, ("upgrade", "component"))


def _suggestions(service: Service, text: str, chassis: str, kinds: Collection[str]) -> Response:
    found = searched(service, text.strip(), chassis.strip(), MOST_MEANT * 2, begun=True)
    items = search_document(found)["items"] if found else []
    rows = [
        {"value": item["title"] if item["kind"] == "upgrade" else item["name"], "words": _words(item)}
        for item in items
        if item["kind"] in kinds
    ]
    return json_answer(rows[:MOST_MEANT], headers=KEEP_NOTHING)


def _words(item: FoundOut) -> str:
    kind = "upgrade" if item["kind"] == "upgrade" else item["title"]
    return f"{kind}{' (not on this vehicle)' if item['fits'] is False else ''}"
