"""A component's page: what the catalogue says of one number, in a reader's order."""

from collections.abc import Iterable, Iterator, Mapping
from functools import partial
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.store.facts import component_facts
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.standing import claims_named, claims_of_component, opposed
from graftbook.catalogue.store.titles import quantities, section_titles, titles
from graftbook.database import reading
from graftbook.http.parameters import takes
from graftbook.orders.stock.store import stock_for
from graftbook.pages.editing.changes import record_address
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import day
from graftbook.pictures.service import pictures_of
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.lookup.documents import component_page
from graftbook.questions.lookup.schemas import Row
from graftbook.reports.documents import grade_document
from graftbook.reports.schemas import GradeOut

router = pages_router()


@router.get("/component/{number:path}", dependencies=[MayRead, takes("chassis")])
def component(request: Request, number: str, service: ServiceDep) -> Response:
    """Everything of one number. A number typed otherwise goes to the address that the house writes."""
    with reading(service.engine) as session:
        found = find_components(session, number)
        if found[0] == number:
            facts = page_facts(service, session, number) | {"at_hand": stock_for(session, [number])}
    if found[0] != number:
        query = f"?{request.url.query}" if request.url.query else ""
        return RedirectResponse(address_of(found[0]) + query, 303)
    chassis = request.query_params.get("chassis", "").strip()
    return page(
        request,
        "component.html",
        others=found[1:],
        chassis=chassis,
        carried=f"?{urlencode({'chassis': chassis})}" if chassis else "",
        own=quote(number, safe=""),
        pictures=pictures_of(service.engine, "component", number),
        **facts,
    )


def address_of(number: str) -> str:
    """A component's page."""
    return "/component/" + quote(number)


def page_facts(service: Service, session: Session, number: str) -> dict[str, Any]:
    """What the page speaks of. Raises UnknownComponent."""
    known = component_page(
        component_facts(session, number), current_revision(session.connection()), service.settings.currency
    )
    rules = {"needs": grouped(known["needs"]), "needed_by": grouped(known["needed_by"])}
    listed = [
        *known["fitments"], *known["replaces"], *known["replaced_by"], *known["needs"], *known["needed_by"],
        *known["conflicts"], *known["flaws"], *known["remedies"], *known["chain"],
    ]  # fmt: skip
    numbers = _of(listed, *_NUMBERS) | {known["component"]["twin"], *known["current_numbers"]} - {""}
    kinds = _of(known["characteristics"], "kind") | _kinds_wanted(listed)
    return {
        "known": known,
        "rules": rules,
        "holds_for": partial(holds_for, ranges=titles(session, r.RangeRecord, _of(listed, "range"))),
        "form_of": form_of,
        "sections": section_titles(session),
        "names": titles(session, r.ComponentRecord, numbers),
        "places": titles(session, r.PositionRecord, _of(listed, "position", "other_position", "at")),
        "kinds": titles(session, r.CharacteristicKindRecord, kinds),
        "quantities": quantities(session, kinds),
        "standing": standing_of(session, number),
        "suppliers": titles(session, r.SupplierRecord, _of(known["offers"], "supplier")),
    }


def standing_of(session: Session, number: str) -> list[GradeOut]:
    """The claims about a component that somebody reported on, or that another record gainsays."""
    connection = session.connection()
    pairs = opposed(connection, number)
    claims = claims_named(connection, claims_of_component(connection, number))
    grades = [grade_document(claim, pairs) for claim in claims]
    return [one for one in grades if one["reports"]["workshops"] or one["opposed_by"]]


_NUMBERS = ("component", "original", "other_component", "fit", "old", "new")


def _of(rows: Iterable[Row], *columns: str) -> set[str]:
    return {row[column] for row in rows for column in columns if row.get(column)}


def _kinds_wanted(rows: Iterable[Row]) -> set[str]:
    """The kinds in wanted values, each written `kind comparator value`."""
    columns = ("having", "other_having")
    return {text.partition(" ")[0] for row in rows for column in columns for text in row.get(column, ())}


def form_of(kind: str, row: Row) -> str:
    """The form in which a record of a kind is edited, found by what it says."""
    return record_address(kind, name_of(r.KIND_BY_WORD[kind].model_validate(row)))


def grouped(rows: list[Row]) -> list[Row]:
    """Companion rules, each with its alternatives: rows of one name are one rule."""
    rules: dict[str, Row] = {}
    for row in rows:
        rule = rules.setdefault(row["name"], {**row, "alternatives": []})
        rule["alternatives"].append(row)
    return list(rules.values())


def holds_for(record: Row, ranges: Mapping[str, str]) -> str:
    """For which vehicles a record holds, in words: `generation 24 or 32; built from 1 October 1976`; `ranges`
    are their titles."""
    words = "; ".join(_conditions(record))
    range_ = record.get("range")
    return words or (f"all of {ranges.get(range_, range_)}" if range_ else "every vehicle")


def _conditions(record: Row) -> Iterator[str]:
    for field, word in _CONDITIONS.items():
        if some := record.get(field):
            yield f"{word} {' or '.join(some)}"
    if record.get("steering"):
        yield f"{record['steering']}-hand drive"
    if record.get("options"):
        yield f"with {' and '.join(record['options'])}"
    if record.get("without"):
        yield f"without {' and '.join(record['without'])}"
    for stem, word, write in (("chassis", "chassis", str), ("built", "built", day)):
        first, last = record.get(f"{stem}_from"), record.get(f"{stem}_to")
        if first or last:
            yield " ".join(
                [word, *(["from", write(first)] if first else []), *(["to", write(last)] if last else [])]
            )


_CONDITIONS = {
    "variants": "variant",
    "generations": "generation",
    "bodies": "body",
    "engines": "engine",
    "drives": "drive",
    "markets": "market",
}
