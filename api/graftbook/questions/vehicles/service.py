"""The vehicle that a body names: found by its numbers, with its rule book, its build laid under it."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from graftbook.builds.stored.documents import build_document
from graftbook.catalogue.compiling.book_names import outline_of
from graftbook.catalogue.compiling.queries import book_revision
from graftbook.catalogue.store.lookup import Found, find_vehicle
from graftbook.closure.question import Wish
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.database import reading
from graftbook.problems import CatalogueMoved, VehicleMismatch, pointing_at
from graftbook.process.reasoning.reasoner import NotInTime
from graftbook.process.state import Service
from graftbook.questions.names import Names, OutlineNames
from graftbook.questions.schemas import VehicleIn, WishIn
from graftbook.rulebook.model import RuleBook, Vehicle


@dataclass(frozen=True, slots=True)
class VehicleAsked:
    """A vehicle as it stands: what is fitted, what lies on the bench, what is decided for it.

    `chassis` is its number as the house writes it; `estimated` says that the day built follows from
    that number alone.
    """

    vehicle: Vehicle
    chassis: str
    estimated: bool
    fitted: dict[str, str | None]
    on_the_bench: frozenset[str]
    decided: tuple[Wish, ...]
    names: Names


def find_with_book(
    service: Service, chassis: str, built: date | None, pointer: str = "", deadline: Deadline = NEVER
) -> tuple[Found, RuleBook]:
    """A vehicle and its rule book, of one revision. Raises UnknownChassis, CatalogueMoved, and NotInTime."""
    with pointing_at(pointer), reading(service.source) as session:
        found = find_vehicle(session, chassis, built=built)
        revision = book_revision(session, found.vehicle.variant)
    try:
        book = service.books.book(found.vehicle.variant, seconds=deadline.very_end())
    except TimeoutError:
        raise NotInTime("The rule book is being read after an edit; ask again, or for longer") from None
    if book.revision != revision:
        raise CatalogueMoved
    return found, book


def ask_vehicle(
    service: Service, body: VehicleIn, pointer: str = "/vehicle", deadline: Deadline = NEVER
) -> VehicleAsked:
    """The vehicle that a body names.

    Raises UnknownBuild, UnknownChassis, VehicleMismatch, CatalogueMoved, NotInTime, and what `Names` raises.
    """
    stands = _with_build(service, body, pointer)
    found, book = find_with_book(
        service, stands.get("chassis", ""), stands.get("built"), f"{pointer}/chassis", deadline
    )
    return _as_it_stands(found, stands, Names(service, book), pointer)


def name_vehicle(service: Service, body: VehicleIn, pointer: str) -> VehicleAsked:
    """The same vehicle for who only settles its names: no rule book is compiled for it.

    Raises UnknownChassis, VehicleMismatch, and what `Names` raises.
    """
    stands = _with_build(service, body, pointer)
    with pointing_at(f"{pointer}/chassis"), reading(service.source) as session:
        found = find_vehicle(session, stands.get("chassis", ""), built=stands.get("built"))
        outline = outline_of(session, found.vehicle.variant)
    return _as_it_stands(found, stands, OutlineNames(service, outline), pointer)


def _as_it_stands(found: Found, stands: dict[str, Any], names: Names, pointer: str) -> VehicleAsked:
    variant = found.vehicle.variant
    if stands.get("variant", variant).casefold() != variant.casefold():
        message = f"{found.chassis} is a {variant}, not a {stands['variant']}"
        raise VehicleMismatch(message, pointer=f"{pointer}/variant", variant=variant)
    return VehicleAsked(
        vehicle=replace(
            found.vehicle, options=names.options(stands.get("options", ()), f"{pointer}/options")
        ),
        chassis=found.chassis,
        estimated=found.estimated,
        fitted=names.fitted(stands.get("fitted", {}), f"{pointer}/fitted"),
        on_the_bench=names.components(stands.get("on_the_bench", ()), f"{pointer}/on_the_bench"),
        decided=names.wishes([WishIn(**wish) for wish in stands.get("decided", ())], f"{pointer}/build"),
        names=names,
    )


def _with_build(service: Service, body: VehicleIn, pointer: str) -> dict[str, Any]:
    """What the body says, laid over what the stored build says."""
    said = body.model_dump(exclude_unset=True, exclude={"build", "on"})
    given = {key: value for key, value in said.items() if value is not None}
    if body.build is None:
        return given
    with pointing_at(f"{pointer}/build"):
        kept = build_document(service.source, body.build, body.on)
    build: dict[str, Any] = {**kept, "built": date.fromisoformat(kept["built"]) if kept["built"] else None}
    if given.get("chassis"):
        build["variant"] = build["built"] = None
    stands = {key: value for key, value in build.items() if value is not None} | given
    stands["fitted"] = build["fitted"] | given.get("fitted", {})
    stands["on_the_bench"] = [*build["on_the_bench"], *given.get("on_the_bench", [])]
    return stands
