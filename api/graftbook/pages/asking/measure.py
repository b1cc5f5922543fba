"""The page of an unknown part: its measures in, what it could be and where it could serve out."""

from typing import Any

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.http.errors import validated
from graftbook.http.parameters import takes
from graftbook.pages.frame import page
from graftbook.pages.in_hand import chassis_in_hand
from graftbook.pages.problems import pages_router
from graftbook.problems import InvalidRequest, Problem, Unknown, VehicleMismatch
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.measuring.schemas import MOST_MEASURES, AskedOut, MeasuredOut, PartMeasuredIn
from graftbook.questions.measuring.service import kinds_to_measure, measured_document

router = pages_router()

SPARE_ROWS = 3
LONGEST = 120
Row = tuple[str, str, str]
"""Kind, value and how far it may be off, as typed."""


@router.get(
    "/measure", dependencies=[MayRead, takes("chassis", "position", many=("kind", "value", "within"))]
)
def measure(request: Request, service: ServiceDep) -> Response:
    """The form, and under it what the measures tell."""
    given = request.query_params
    chassis = given.get("chassis", chassis_in_hand(request)).strip()[:LONGEST]
    position = given.get("position", "").strip()[:LONGEST]
    kinds, values, within = (given.getlist(name)[:MOST_MEASURES] for name in ("kind", "value", "within"))
    count = max(len(kinds), len(values))
    rows = [(_typed_at(kinds, n), _typed_at(values, n), _typed_at(within, n)) for n in range(count)]
    typed = [row for row in rows if row[0] or row[1]]
    document, wrong = (
        _document_or_problem(service, typed, chassis, position) if typed or position else (None, None)
    )
    return page(
        request,
        "measure.html",
        status=wrong.answer_status if wrong else 200,
        chassis=chassis,
        position=position,
        rows=[*typed, *[("", "", "")] * (1 if typed else SPARE_ROWS)],
        kinds=kinds_to_measure(service),
        document=document,
        wrong=wrong,
        each_once=_each_once,
    )


def _typed_at(texts: list[str], n: int) -> str:
    return texts[n].strip()[:LONGEST] if n < len(texts) else ""


def _document_or_problem(
    service: Service, rows: list[Row], chassis: str, position: str
) -> tuple[MeasuredOut | None, Problem | None]:
    body: dict[str, Any] = {
        "measured": [
            {"kind": kind, "value": value, **({"within": within} if within else {})}
            for kind, value, within in rows
        ]
    }
    if chassis:
        body["vehicle"] = {"chassis": chassis}
    if position:
        body["position"] = position
    try:
        return measured_document(service, validated(PartMeasuredIn, body)), None
    except (InvalidRequest, Unknown, VehicleMismatch) as wrong:
        return None, wrong


def _each_once(asked: list[AskedOut]) -> list[AskedOut]:
    """What several joints ask alike, once."""
    return list({(one["kind"], one["asks"]): one for one in asked}.values())
