"""Taking in what workshops report, and telling how claims stand: each function in one transaction."""

import re
from datetime import date
from typing import Any
from urllib.parse import quote

from graftbook.access.principal import Principal
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.records import PositionRecord, ReportRecord
from graftbook.catalogue.history.snapshots import images, rows_in
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.cursors import read_cursor, write_cursor
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.places import places_of
from graftbook.catalogue.store.standing import (
    claims_borne_on,
    claims_named,
    claims_of_component,
    claims_reported,
    opposed,
)
from graftbook.catalogue.store.titles import kinds_called, titles
from graftbook.database import reading
from graftbook.editing.review.schemas import ProposalOut
from graftbook.editing.review.service import propose_of, require_no_review
from graftbook.http.errors import refused
from graftbook.http.values import GRADE_WORDS
from graftbook.problems import AlreadyExists, InvalidRequest, Unknown, UnknownRecord, pointing_at
from graftbook.process.service import Service
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import name_vehicle
from graftbook.reports import store
from graftbook.reports.documents import grade_document, report_document
from graftbook.reports.schemas import BearingOut, GradeOut, ReportedOut, ReportIn, ReportOut

_KIND_AND_VALUE = re.compile(r"\s*([^\d]*[^\d\s])\s+([\d.<>~+-].*)", re.DOTALL)
MOST_CLAIMS = 2_000
"""Claims with reports that are looked at for those that need an editor."""


def report(service: Service, body: ReportIn, who: str) -> ReportedOut:
    """Take a report in: the catalogue's next revision. The same sent again changes nothing.

    Raises InvalidRequest, the problem of a name that nobody has, AlreadyExists where this workshop has
    reported otherwise of the same on the same day, ImportRefused for what no record may say.
    """
    require_no_review(service)
    record, fields = _record_and_row(service, body)
    name = name_of(record)
    edit = load(service.engine, [fields], who=who, why=_why(record))
    if not edit.ok:
        raise refused(edit)
    with reading(service.source) as session:
        connection = session.connection()
        claims = claims_named(connection, claims_borne_on(connection, name))
        pairs = opposed(connection, record.component) if record.component else []
    bears: list[BearingOut] = [
        {**grade_document(one, pairs), "was": GRADE_WORDS[one.without(name).grade]} for one in claims
    ]
    return {**report_document(name, record), "catalogue_revision": edit.revision or 0, "bears_on": bears}


def propose(service: Service, body: ReportIn, by: Principal) -> ProposalOut:
    """A report as a proposal, for a house that reviews every change. Raises what `report` raises."""
    record, fields = _record_and_row(service, body)
    return propose_of(service, [fields], {}, "report", _why(record), by)


def _record_and_row(service: Service, body: ReportIn) -> tuple[ReportRecord, dict[str, Any]]:
    """The record, and the row that `load` reads."""
    record = _settled_record(service, body)
    fields = record.model_dump(mode="json", exclude_defaults=True)
    name = name_of(record)
    with reading(service.source) as session:
        before = rows_in(images(session.connection(), "report", [name]).get(name))
    if before and before != [fields]:
        sentence = f"There is a report '{name}' already that says otherwise"
        message = f"{sentence}: whoever may edit puts it right at /edit/report/{quote(name)}"
        raise AlreadyExists(message, pointer="/outcome")
    return record, {"record": "report", **fields}


def _why(record: ReportRecord) -> str:
    return f"{record.workshop}: {record.claim or record.component} {record.outcome}"


def _settled_record(service: Service, body: ReportIn) -> ReportRecord:
    """The record with every name as the catalogue writes it."""
    if not (body.build or body.chassis):
        raise InvalidRequest("Give the chassis number, or the name of the build", pointer="/chassis")
    if bool(body.claim) == bool(body.component):
        raise InvalidRequest(
            "Say what was fitted (`component`), or name a record (`claim`)", pointer="/component"
        )
    on = body.on or date.today()
    if on > date.today():
        raise InvalidRequest(f"{on} has not come yet: report what was seen", pointer="/on")
    given = {"build": body.build, "chassis": body.chassis, "built": body.built, "options": body.options}
    asked = name_vehicle(service, VehicleIn(**{k: v for k, v in given.items() if v}))
    if body.build and body.chassis:
        _require_its_chassis(service, body.build, asked.chassis)
    component = asked.names.component(body.component, "/component") if body.component else ""
    values: dict[str, Any] = {
        "outcome": body.outcome,
        "workshop": body.workshop,
        "on": on,
        "chassis": asked.chassis,
        "component": component,
        "position": _place(service, body, asked.vehicle.variant, component, asked.names.of_book.position),
        "claim": body.claim or "",
        "built": None if asked.estimated else asked.vehicle.built,
        "options": sorted(asked.vehicle.options),
        "measured": [_measure(service, item) for item in body.measured],
        "build": body.build or "",
        "note": body.note.strip(),
    }
    return ReportRecord.model_construct(**values)


def _require_its_chassis(service: Service, build: str, chassis: str) -> None:
    """What is reported of one vehicle never counts for another."""
    its = name_vehicle(service, VehicleIn(build=build)).chassis
    if its != chassis:
        message = f"'{build}' is {its}, not {chassis}: give the build or the chassis number of one vehicle"
        raise InvalidRequest(message, pointer="/chassis")


def _measure(service: Service, item: str) -> str:
    """A kind and its value as a record says it: the kind may be called by its title."""
    if not (read := _KIND_AND_VALUE.fullmatch(item)):
        return item
    with reading(service.source) as session:
        meant = list(kinds_called(session, read[1]))
    return f"{meant[0]} {read[2]}" if len(meant) == 1 else item


def _place(service: Service, body: ReportIn, variant: str, component: str, settle: Any) -> str:
    if body.position:
        return str(settle(body.position, "/position"))
    if not component:
        return ""
    with reading(service.source) as session:
        places = places_of(session.connection(), component, variant)
        called = titles(session, PositionRecord, places[:20])
    if len(places) == 1:
        return places[0]
    where = ", ".join(f"{called[name]} ({name})" for name in places[:20])
    sentence = f"it goes at {where}" if places else f"no record says that it goes on a {variant}"
    raise InvalidRequest(f"Say where {component} was tried: {sentence}", pointer="/position")


def places_for(service: Service, component: str) -> dict[str, str]:
    """Position → title, of the places where a component as typed goes; none for what nobody knows."""
    with reading(service.source) as session:
        try:
            number = find_components(session, component)[0] if component else ""
        except Unknown:
            return {}
        return titles(session, PositionRecord, places_of(session.connection(), number))


def list_reports(
    service: Service, asked: dict[str, str], cursor: str, size: int
) -> tuple[list[ReportOut], str | None]:
    """A page of reports, the latest day first, and the cursor of the next. Raises InvalidCursor.

    Of a `claim`, those that bear on it."""
    search = {"list": "reports", **asked}
    after = read_cursor(cursor, search, 2) if cursor else None
    with reading(service.engine) as session:
        connection = session.connection()
        bearing = claims_named(connection, [asked["claim"]]) if "claim" in asked else []
        only = [one.name for claim in bearing for one in claim.reports] if "claim" in asked else None
        rest = {name: value for name, value in asked.items() if name != "claim"}
        behind = (after[0], after[1]) if after else None
        found = store.reports_after(connection, rest, behind, size + 1, only)
    rows = [report_document(name, record) for name, record in found[:size]]
    last = found[size - 1] if len(found) > size else None
    return rows, write_cursor(search, [last[1].on.isoformat(), last[0]]) if last else None


def grades_of(service: Service, *, claim: str, component: str) -> list[GradeOut]:
    """How a claim stands, or every claim about a component that can be tried.

    Raises UnknownRecord, UnknownComponent.
    """
    with pointing_at("component" if component else "claim"), reading(service.engine) as session:
        connection = session.connection()
        number = find_components(session, component)[0] if component else ""
        names = claims_of_component(connection, number) if component else [claim]
        found = claims_named(connection, names)
        if claim and not found:
            raise UnknownRecord(f"claim '{claim}'", detail=f"There is no claim '{claim}'")
        return [grade_document(one, opposed(connection, number)) for one in found]


def in_doubt(service: Service) -> list[GradeOut]:
    """The claims that a workshop contradicted, those that were lowered most first."""
    with reading(service.engine) as session:
        connection = session.connection()
        found = claims_named(connection, claims_reported(connection, MOST_CLAIMS))
    doubtful = [one for one in found if one.standing.contradicted]
    doubtful.sort(key=lambda one: (one.standing.grade - one.standing.sources, one.name))
    return [grade_document(one) for one in doubtful]
