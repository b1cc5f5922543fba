"""Look-up in the catalogue: components by what one knows of them, and the lists it is made of."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Any, Literal, TypeVar

from fastapi import APIRouter, Path, Query, Request
from pydantic import WithJsonSchema
from sqlmodel import Session
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.search import CharacteristicAsked, Search, find
from graftbook.catalogue.store import lists
from graftbook.catalogue.store.facts import component_facts
from graftbook.catalogue.store.lookup import find_components
from graftbook.database import reading
from graftbook.http.errors import answers, documented
from graftbook.http.fields import Day, Word
from graftbook.http.parameters import Cursor, Limit, page_answer
from graftbook.http.responses import answered, do_nothing, etag_of
from graftbook.http.values import json_bytes
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.lookup import schemas as out
from graftbook.questions.lookup.documents import component_line, component_page
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import ask_vehicle
from graftbook.rulebook.model import Comparator, SeverityWord

router = APIRouter(prefix="/v1", tags=["catalogue"], dependencies=[MayRead])

_ANY = r"[^\x00-\x1f\x7f-\x9f]*"
COMPARED = (
    rf"^{_ANY}[^\s\x00-\x1f\x7f-\x9f]{_ANY} ({'|'.join(Comparator)}) {_ANY}[^\s\x00-\x1f\x7f-\x9f]{_ANY}$"
)
"""A characteristic with its comparator and value, in words."""


_Item = TypeVar("_Item", bound=Mapping[str, object])


def _errors(*further: type[problems.Problem]) -> dict[int | str, dict[str, Any]]:
    return documented(problems.InvalidCursor, problems.InvalidRequest, *further)


@router.get(
    "/components",
    operation_id="findComponents",
    summary="Components by number, words, section, vehicle, origin and characteristic",
    responses=answers(
        out.ComponentsOut,
        problems.InvalidCursor,
        problems.InvalidRequest,
        problems.UnknownCharacteristic,
        problems.UnknownChassis,
        problems.UnknownOption,
        problems.UnknownPosition,
        problems.UnknownSection,
        problems.UnknownVariant,
    ),
)
def find_some(
    request: Request,
    service: ServiceDep,
    number: Annotated[str, Query(max_length=120, description="start of a number, as typed")] = "",
    words: Annotated[str, Query(max_length=200, description="starts of words of number or name")] = "",
    section: Annotated[str, Query(max_length=120)] = "",
    origin: Literal["", "original", "later-model", "modern"] = "",
    supply: Literal["", "current", "superseded", "no longer supplied"] = "",
    position: Annotated[str, Query(max_length=120, description="fits this position")] = "",
    variant: Annotated[str, Query(max_length=120, description="fits this variant")] = "",
    chassis: Annotated[str, Query(max_length=120, description="fits this very vehicle")] = "",
    option: Annotated[list[Word], Query(max_length=100, description="with chassis: an option it has")] = [],
    built: Annotated[Day | None, Query(description="with chassis: the day it was built")] = None,
    characteristic: Annotated[
        list[Annotated[Word, WithJsonSchema({"type": "string", "pattern": COMPARED})]],
        Query(
            max_length=10,
            description="`kind comparator value`, such as `disc_diameter at least 11 in`",
        ),
    ] = [],
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """Everything that is given must hold. In the order of numbers, "9" before "10"."""
    asked = tuple(_characteristic(text) for text in characteristic)
    search = Search(
        number, words, section, origin, supply, position, variant, chassis, tuple(option), built, asked
    )
    with reading(service.engine) as session:
        page = find(session, search, limit=limit or service.settings.page_size, cursor=cursor)
    return page_answer(request, [component_line(line) for line in page.lines], page.next)


def _characteristic(text: str) -> CharacteristicAsked:
    for comparator in Comparator:
        kind, found, value = text.partition(f" {comparator} ")
        if found and kind.strip() and value.strip():
            return CharacteristicAsked(kind.strip(), comparator, value.strip())
    known = ", ".join(Comparator)
    raise problems.InvalidRequest(
        f"'{problems.printable(text)}' is not `kind comparator value`; comparators are {known}",
        pointer="characteristic",
    )


@router.get(
    "/components/{number}",
    operation_id="getComponent",
    summary="One component's page of facts",
    responses=answers(out.ComponentFactsOut, problems.UnknownComponent, unchanged="You have this answer"),
)
def get_component(
    request: Request, service: ServiceDep, number: Annotated[str, Path(max_length=120, examples=["QB-3310"])]
) -> Response:
    """What it replaces, what replaces it, where it fits, what it brings, what it clashes with, its
    flaws, its chain of numbers, and the evidence for each."""
    with reading(service.engine) as session:
        found = find_components(session, number)[0]
        epoch, revision = epoch_of(session.connection()), current_revision(session.connection())

    def make() -> tuple[bytes, bool]:
        with reading(service.engine) as session:
            now = current_revision(session.connection())
            facts = component_facts(session, found)
        return json_bytes(component_page(facts, now, service.settings.currency)), now == revision

    etag = etag_of("component", found, epoch, revision, service.settings.currency)
    return answered(request, service, etag, make, on_hit=do_nothing)


def _list_page(
    request: Request, service: Service, limit: int | None, make: Callable[[Session, int], lists.Listed[_Item]]
) -> Response:
    with reading(service.engine) as session:
        rows, following = make(session, limit or service.settings.page_size)
    return page_answer(request, rows, following)


@router.get(
    "/ranges",
    operation_id="listRanges",
    summary="The ranges",
    responses={200: {"model": out.RangesOut}, **_errors()},
)
def list_ranges(request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = "") -> Response:
    """In name order."""
    return _list_page(request, service, limit, lambda s, n: lists.list_ranges(s, n, cursor))


@router.get(
    "/variants",
    operation_id="listVariants",
    summary="The variants with their chassis spans",
    responses={200: {"model": out.VariantsOut}, **_errors(problems.UnknownRange)},
)
def list_variants(
    request: Request,
    service: ServiceDep,
    range: Annotated[str, Query(max_length=120, description="of this range only")] = "",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In name order."""
    return _list_page(request, service, limit, lambda s, n: lists.list_variants(s, n, cursor, range))


@router.get(
    "/positions",
    operation_id="listPositions",
    summary="The positions",
    responses={200: {"model": out.PositionsOut}, **_errors(problems.UnknownSection)},
)
def list_positions(
    request: Request,
    service: ServiceDep,
    section: Annotated[str, Query(max_length=120, description="of this section only")] = "",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In name order."""
    return _list_page(request, service, limit, lambda s, n: lists.list_positions(s, n, cursor, section))


@router.get(
    "/flaws",
    operation_id="listFlaws",
    summary="Known flaws with the number of their remedies",
    responses={200: {"model": out.FlawsOut}, **_errors(problems.UnknownComponent)},
)
def list_flaws(
    request: Request,
    service: ServiceDep,
    component: Annotated[str, Query(max_length=120, description="of this component only")] = "",
    at_least: Annotated[SeverityWord, Query(description="least severity")] = "minor",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In name order."""
    return _list_page(
        request, service, limit, lambda s, n: lists.list_flaws(s, n, cursor, component, at_least)
    )


@router.get(
    "/upgrades",
    operation_id="listUpgrades",
    summary="The named upgrades, with what each wishes",
    responses={
        200: {"model": out.UpgradesOut},
        **_errors(
            problems.UnknownChassis,
            problems.UnknownOption,
            problems.UnknownVariant,
            problems.VehicleMismatch,
        ),
    },
)
def list_upgrades(
    request: Request,
    service: ServiceDep,
    variant: Annotated[str, Query(max_length=120, description="those that this variant can have")] = "",
    chassis: Annotated[str, Query(max_length=120, description="those that this very vehicle can have")] = "",
    option: Annotated[list[Word], Query(max_length=100, description="with chassis: an option it has")] = [],
    built: Annotated[Day | None, Query(description="with chassis: the day it was built")] = None,
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """In name order. A question wishes one by its name: `{"upgrade": "front-discs"}`."""
    among = _upgrades_of(service, variant, chassis, option, built)
    search = {"variant": variant, "chassis": chassis, "option": ";".join(option), "built": str(built or "")}
    return _list_page(request, service, limit, lambda s, n: lists.list_upgrades(s, n, cursor, search, among))


def _upgrades_of(
    service: Service, variant: str, chassis: str, options: list[str], built: date | None
) -> set[str] | None:
    """The names of those that a vehicle, or some vehicle of a variant, can have; None: neither is named."""
    if chassis:
        typed = {"chassis": chassis, "variant": variant, "options": options, "built": built}
        given = VehicleIn.model_validate({name: value for name, value in typed.items() if value})
        asked = ask_vehicle(service, given, pointer="")
        return {one.name for one in asked.names.book().upgrades if one.when.holds(asked.vehicle)}
    if options or built:
        raise problems.InvalidRequest(
            "options and the day built are a vehicle's: give `chassis` too", pointer="/chassis"
        )
    return {one.name for one in service.books.book(variant).upgrades} if variant else None
