"""The vehicle that a body names: found by its numbers, with its rule book, its build laid under it; and names
as an asker writes them, settled against that book and the catalogue behind it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import chain
from typing import Any, TypeVar

from graftbook.builds.stored.documents import build_document
from graftbook.catalogue.compiling.book_names import BookNames, BookOutline, names_of, outline_of
from graftbook.catalogue.compiling.queries import book_revision, with_components
from graftbook.catalogue.format.money import minor_units
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.store.lookup import (
    VehicleFound,
    find_flaw,
    find_vehicle,
    numbers_meant,
    numbers_near,
)
from graftbook.closure.question import (
    ClearPosition,
    FitComponent,
    Limits,
    RemedyFlaw,
    RemedyFlaws,
    Wish,
    each_once,
)
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.database import reading
from graftbook.http.values import EFFORT_BY_WORD, GRADE_BY_WORD, SEVERITY_BY_WORD
from graftbook.problems import CatalogueMoved, UnknownComponent, UnknownFlaw, VehicleMismatch, pointing_at
from graftbook.process.service import NotInTime, Service
from graftbook.questions.schemas import LimitsIn, VehicleIn, WishIn
from graftbook.rulebook.model import RuleBook, Upgrade, Vehicle

MOST_NEAR = 20
"""So many unknown numbers of one question are told what is like them: looking costs more than answering."""
LOOKS = 5
"""So often a question is looked up when edits come between its reads."""

_Looked = TypeVar("_Looked")


def of_one_revision(look_up: Callable[[], _Looked]) -> _Looked:
    """What `look_up` finds, looked up again when an edit came between. Raises CatalogueMoved."""
    for _ in range(LOOKS - 1):
        try:
            return look_up()
        except CatalogueMoved:
            continue
    return look_up()


def member(name: str) -> str:
    """A member's name inside a JSON pointer (RFC 6901)."""
    return name.replace("~", "~0").replace("/", "~1")


class Names:
    """Settles names; remembers the numbers that the book itself lacks.

    Every method takes the JSON pointer of what it settles and raises the fitting `Unknown`.
    """

    def __init__(self, service: Service, book: RuleBook) -> None:
        self._book = book
        self._settle_against(service, names_of(book))

    def _settle_against(self, service: Service, of_book: BookNames) -> None:
        self._service = service
        self.of_book = of_book
        self.outside_book: dict[str, None] = {}
        self.flaws_outside_book: set[str] = set()
        """Flaws that are recorded for other variants only."""
        self.outside_book_at = 0
        self._meant: dict[str, str] = {}
        self.unknown: set[str] = set()
        """What was looked for in the whole catalogue, and is no number there."""
        self._looked_near = 0

    @property
    def all_in_book(self) -> bool:
        """Whether the rule book holds every name that was settled so far."""
        return not (self.outside_book or self.flaws_outside_book)

    def book(self) -> RuleBook:
        """The rule book with every component that was named so far. Raises CatalogueMoved.

        Those that the book lacks may change without it, so `outside_book_at` tells the revision.
        """
        if not self.outside_book:
            return self._book
        with reading(self._service.source) as session:
            if book_revision(session, self._book.variant.name) != self._book.revision:
                raise CatalogueMoved
            self.outside_book_at = current_revision(session.connection())
            return with_components(session, self._book, list(self.outside_book))

    def look_up(self, words: Iterable[str]) -> None:
        """Look for those that the book lacks, all at once: so none costs a query of its own."""
        lacking = [word for word in dict.fromkeys(words) if self.of_book.component(word) is None]
        lacking = [word for word in lacking if word not in self._meant and word not in self.unknown]
        if not lacking:
            return
        with reading(self._service.source) as session:
            meant = numbers_meant(session, lacking)
        self._settle(meant)
        self.unknown |= {word for word in lacking if word not in self._meant}

    def _settle(self, meant: Mapping[str, list[str]]) -> None:
        self._meant |= {word: numbers[0] for word, numbers in meant.items()}

    def component(self, word: str, pointer: str) -> str:
        """The number as the catalogue writes it. Raises UnknownComponent."""
        if (known := self.of_book.component(word)) is not None:
            return known
        self.look_up([word])
        if (known := self.of_book.component(word)) is not None:
            return known
        if (number := self._meant.get(word)) is None:
            raise UnknownComponent(word, self._near(word), pointer=pointer)
        self.outside_book.setdefault(number)
        return number

    def _near(self, word: str) -> list[str]:
        self._looked_near += 1
        if self._looked_near > MOST_NEAR:
            return []
        with reading(self._service.source) as session:
            return numbers_near(session, word)

    def components(self, words: Iterable[str], pointer: str) -> frozenset[str]:
        """Several numbers."""
        every = list(words)
        self.look_up(every)
        return frozenset(self.component(word, f"{pointer}/{i}") for i, word in enumerate(every))

    def flaw(self, word: str, pointer: str) -> str:
        """The known flaw's name, whatever variants it is recorded for. Raises UnknownFlaw."""
        try:
            return self.of_book.flaw(word, pointer)
        except UnknownFlaw:
            with reading(self._service.source) as session:
                elsewhere = find_flaw(session, word)
            if elsewhere is None:
                raise
        self.flaws_outside_book.add(elsewhere)
        return elsewhere

    def positions(self, words: Iterable[str], pointer: str) -> frozenset[str]:
        """Several positions."""
        return frozenset(self.of_book.position(word, f"{pointer}/{i}") for i, word in enumerate(words))

    def sections(self, words: Iterable[str], pointer: str) -> frozenset[str]:
        """Several sections."""
        return frozenset(self.of_book.section(word, f"{pointer}/{i}") for i, word in enumerate(words))

    def options(self, words: Iterable[str], pointer: str) -> frozenset[str]:
        """Several options of the variant."""
        return frozenset(self.of_book.option(word, f"{pointer}/{i}") for i, word in enumerate(words))

    def fitted(self, sits: Mapping[str, str | None], pointer: str) -> dict[str, str | None]:
        """Position → component (None: empty)."""
        self.look_up(number for number in sits.values() if number)
        settled: dict[str, str | None] = {}
        for position, number in sits.items():
            here = f"{pointer}/{member(position)}"
            settled[self.of_book.position(position, here)] = number and self.component(number, here)
        return settled

    def wishes(self, wishes: Iterable[WishIn], pointer: str) -> tuple[Wish, ...]:
        """Several wishes, each once."""
        every = list(wishes)
        self.look_up(wish.fit for wish in every if wish.fit)
        settled = (self._wishes(wish, f"{pointer}/{i}") for i, wish in enumerate(every))
        return each_once(chain.from_iterable(settled))

    def upgrade(self, word: str, pointer: str) -> Upgrade:
        """A named upgrade of the variant. Raises UnknownUpgrade."""
        return self.of_book.upgrade(word, pointer)

    def _wishes(self, wish: WishIn, pointer: str) -> tuple[Wish, ...]:
        """The wish, or all that a named upgrade wishes."""
        if wish.upgrade is None:
            return (self._wish(wish, pointer),)
        upgrade = self.upgrade(wish.upgrade, f"{pointer}/upgrade")
        places = (place and self.of_book.position(place, f"{pointer}/upgrade") for _, place in upgrade.fits)
        title = upgrade.title
        fits = (
            FitComponent(part, place, upgrade=title)
            for (part, _), place in zip(upgrade.fits, places, strict=True)
        )
        return (*fits, *(RemedyFlaw(flaw, title) for flaw in upgrade.remedies))

    def _wish(self, wish: WishIn, pointer: str) -> Wish:
        if wish.fit is not None:
            where = self.of_book.position(wish.position, f"{pointer}/position") if wish.position else ""
            return FitComponent(self.component(wish.fit, f"{pointer}/fit"), where, wish.quantity)
        if wish.remedy is not None:
            return RemedyFlaw(self.flaw(wish.remedy, f"{pointer}/remedy"))
        if wish.remedy_all is not None:
            where = self.of_book.section(wish.section, f"{pointer}/section") if wish.section else ""
            return RemedyFlaws(SEVERITY_BY_WORD[wish.remedy_all], where)
        return ClearPosition(self.of_book.position(wish.clear or "", f"{pointer}/clear"))

    def limits(self, limits: LimitsIn, pointer: str) -> Limits:
        """The limits."""
        ceiling = limits.price_at_most
        return Limits(
            keep=self.positions(limits.keep, f"{pointer}/keep"),
            keep_sections=self.sections(limits.keep_sections, f"{pointer}/keep_sections"),
            refuse=self.components(limits.refuse, f"{pointer}/refuse"),
            effort_at_most=EFFORT_BY_WORD[limits.effort_at_most],
            price_at_most=None if ceiling is None else minor_units(ceiling),
            nothing_visible=limits.nothing_visible,
            evidence_at_least=GRADE_BY_WORD[limits.evidence_at_least],
        )


class OutlineNames(Names):
    """Settles names without a rule book, which is compiled only where the book must say which of several
    numbers is meant, or is asked for."""

    def __init__(self, service: Service, outline: BookOutline) -> None:
        self._settle_against(service, BookNames.of_outline(outline))
        self._variant = outline.variant

    def book(self) -> RuleBook:
        """The rule book with every component that was named so far. Raises CatalogueMoved."""
        self._open_the_book()
        return super().book()

    def upgrade(self, word: str, pointer: str) -> Upgrade:
        """A named upgrade of the variant. Raises UnknownUpgrade."""
        self._open_the_book()
        return super().upgrade(word, pointer)

    def _settle(self, meant: Mapping[str, list[str]]) -> None:
        if any(len(numbers) > 1 for numbers in meant.values()):
            self._open_the_book()
        super()._settle(meant)

    def _open_the_book(self) -> None:
        self._book = self._service.books.book(self._variant)
        self.of_book = names_of(self._book)


def combined(limits: Iterable[Limits]) -> Limits:
    """Several limits at once: whatever one of them forbids is forbidden."""
    every = list(limits)
    ceilings = [each.price_at_most for each in every if each.price_at_most is not None]
    return Limits(
        keep=frozenset().union(*(each.keep for each in every)),
        keep_sections=frozenset().union(*(each.keep_sections for each in every)),
        refuse=frozenset().union(*(each.refuse for each in every)),
        effort_at_most=min(each.effort_at_most for each in every),
        price_at_most=min(ceilings, default=None),
        nothing_visible=any(each.nothing_visible for each in every),
        evidence_at_least=max(each.evidence_at_least for each in every),
    )


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
) -> tuple[VehicleFound, RuleBook]:
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
    return _vehicle_asked(found, stands, Names(service, book), pointer)


def name_vehicle(service: Service, body: VehicleIn) -> VehicleAsked:
    """The same vehicle for who only settles its names: no rule book is compiled for it.

    Raises UnknownChassis, VehicleMismatch, and what `Names` raises.
    """
    stands = _with_build(service, body, "")
    with pointing_at("/chassis"), reading(service.source) as session:
        found = find_vehicle(session, stands.get("chassis", ""), built=stands.get("built"))
        outline = outline_of(session, found.vehicle.variant)
    return _vehicle_asked(found, stands, OutlineNames(service, outline), "")


def _vehicle_asked(found: VehicleFound, stands: dict[str, Any], names: Names, pointer: str) -> VehicleAsked:
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
    fields = body.model_dump(exclude_unset=True, exclude={"build", "on"})
    given = {key: value for key, value in fields.items() if value is not None}
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
