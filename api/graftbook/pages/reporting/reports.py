"""Reporting how it went, what workshops reported, and which claims that puts in doubt."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import MayOrder, MayRead, Orderer, form_of
from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.records_beside import OutcomeWord
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.editing.review.service import ON
from graftbook.http.errors import validated
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.frame import gone_to, page
from graftbook.pages.in_hand import chassis_in_hand
from graftbook.pages.problems import pages_router
from graftbook.pages.words import told_of
from graftbook.problems import Problem
from graftbook.process.state import Service, ServiceDep
from graftbook.reports import service as reports
from graftbook.reports.schemas import ReportIn

router = pages_router()

FIELDS = (
    "workshop", "outcome", "on", "chassis", "build", "component", "position", "claim", "options", "measured",
    "note",
)  # fmt: skip
LISTS = ("options", "measured")
ON_A_PAGE = 50
OUTCOMES: dict[OutcomeWord, str] = {
    "fitted": "It fitted",
    "fitted after work": "It fitted after work that the record does not speak of",
    "did not fit": "It did not fit",
}


@router.get("/reports", dependencies=[MayRead, takes("component", "claim", "workshop", "build", "after")])
def listed(request: Request, service: ServiceDep) -> Response:
    """The claims in doubt, and what was reported, the latest day first."""
    query = request.query_params
    asked = {name: query[name] for name in ("component", "claim", "workshop", "build") if query.get(name)}
    rows, following = reports.list_reports(service, asked, query.get("after", ""), ON_A_PAGE)
    with reading(service.engine) as session:
        places = titles(session, r.PositionRecord, {row["report"].get("position", "") for row in rows})
    return page(
        request,
        "reports.html",
        places=places,
        asked=asked,
        rows=rows,
        following=f"/reports?{urlencode(asked | {'after': following})}" if following else "",
        doubtful=reports.in_doubt(service) if not asked else [],
    )


@router.get("/report", dependencies=[MayOrder, takes(*FIELDS)])
def form(request: Request, service: ServiceDep) -> Response:
    """The form, filled in with what the address says."""
    given = {name: request.query_params.get(name, "") for name in FIELDS}
    given["on"] = given["on"] or date.today().isoformat()
    given["chassis"] = given["chassis"] or ("" if given["build"] else chassis_in_hand(request))
    return _form(request, service, given)


def _form(
    request: Request, service: Service, given: Mapping[str, str], status: int = 200, **facts: Any
) -> Response:
    return page(
        request,
        "report.html",
        status=status,
        headers=KEEP_NOTHING,
        given=given,
        places=reports.places_for(service, given["component"]),
        outcomes=OUTCOMES,
        **({"notice": "", "taken": None} | facts),
    )


@router.post("/report")
async def send(request: Request, service: ServiceDep, workshop: Orderer) -> Response:
    """Take it in, and say what it does to the grades."""
    sent = await form_of(request)
    return await run_in_threadpool(_send, request, service, sent, workshop.who)


def _send(request: Request, service: Service, sent: Mapping[str, str], who: str) -> Response:
    given = {name: sent.get(name, "").strip() for name in FIELDS}
    body: dict[str, Any] = {name: value for name, value in given.items() if value and name not in LISTS}
    body |= {name: [item.strip() for item in given[name].split(";") if item.strip()] for name in LISTS}
    try:
        report = validated(ReportIn, body)
        if service.settings.review == ON:
            made = reports.propose(service, report, request.state.principal)
            return gone_to(f"/review/{made['number']}?done=proposed")
        taken = reports.report(service, report, who)
    except Problem as problem:
        return _form(request, service, given, problem.answer_status, notice=told_of(problem))
    return _form(request, service, given, taken=taken)
