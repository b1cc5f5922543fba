"""Suggestions as one types: part numbers and chassis numbers; for the script of the pages."""

from typing import Annotated, Any

from fastapi import Query
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.search import Line, Search
from graftbook.catalogue.store.lookup import chassis_starting
from graftbook.database import reading
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.pages.asking.mending import MOST_MEANT, lines_of
from graftbook.pages.problems import pages_router
from graftbook.process.state import ServiceDep

router = pages_router()

Text = Annotated[str, Query(max_length=120)]


@router.get("/suggest/component", dependencies=[MayRead])
def suggest_components(service: ServiceDep, text: Text = "", chassis: Text = "") -> Response:
    """Components whose number or words start so; those that fit the vehicle first."""
    found: dict[str, Line] = {}
    for search in _searches(text.strip(), chassis.strip()):
        if len(found) < MOST_MEANT:
            found |= {line.number: line for line in lines_of(service, search) if line.number not in found}
    rows = [
        {"value": line.number, "words": f"{line.name}{_supply(line)}"}
        for line in list(found.values())[:MOST_MEANT]
    ]
    return json_answer(rows, headers=KEEP_NOTHING)


def _searches(text: str, chassis: str) -> list[Search]:
    if not text:
        return []
    by_vehicle = (
        [Search(number=text, chassis=chassis), Search(words=text, chassis=chassis)] if chassis else []
    )
    return [*by_vehicle, Search(number=text), Search(words=text)]


def _supply(line: Any) -> str:
    return "" if line.supply == "current" else f" ({line.supply})"


@router.get("/suggest/chassis", dependencies=[MayRead])
def suggest_chassis(service: ServiceDep, text: Text = "") -> Response:
    """Spans whose numbers start so, by their first number."""
    with reading(service.engine) as session:
        spans = chassis_starting(session, text, MOST_MEANT)
    rows = [{"value": span.first, "words": f"to {span.last}, {span.title}"} for span in spans]
    return json_answer(rows, headers=KEEP_NOTHING)
