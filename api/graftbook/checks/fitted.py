"""What sits where, read by kind of characteristic; whatever is not recorded is named, never guessed."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Any, Concatenate, Generic, ParamSpec, TypeVar, cast

from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import Component, Fitment, RuleBook, Vehicle
from graftbook.rulebook.sane import sane
from graftbook.rulebook.units import Measure

T = TypeVar("T")
P = ParamSpec("P")

Places = str | tuple[str, ...]
"""A position, or several that may each hold the component that records the value."""

ARITHMETIC = (ArithmeticError, TypeError, ValueError)
"""What a formula raises over figures that it cannot take, such as a division by nothing."""

_IMPOSSIBLE = Measure("", math.nan, math.nan)
"""Stands for a recorded figure that cannot be."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What is recorded of one kind: its name ("bore of X at P"), who records it, what is wrong with it."""

    name: str
    number: str
    measure: Measure
    wrong: str = ""


@dataclass(slots=True)
class Whereabouts:
    """Where something was looked up in a set: at positions, and at whatever records a kind."""

    positions: set[str] = field(default_factory=set)
    kinds: set[str] = field(default_factory=set)

    def add(self, other: "Whereabouts") -> None:
        self.positions |= other.positions
        self.kinds |= other.kinds

    def meets(self, other: "Whereabouts") -> bool:
        """Whether both name a position or a kind."""
        return not (self.positions.isdisjoint(other.positions) and self.kinds.isdisjoint(other.kinds))


@dataclass(slots=True)
class Memory:
    """What was worked out of one set on one vehicle; kept with the book for the vehicle as it stands."""

    found: dict[tuple[Places, str], Recorded | None] = field(default_factory=dict)
    results: dict[object, "Result"] = field(default_factory=dict)
    recorded: dict[str, list[tuple[str, Component, Measure]]] = field(default_factory=dict)


class Fitted:
    """The components of one vehicle, position by position.

    `sits` is `Solution.today` or `Solution.after`. With `vehicle`, suggestions are limited to
    components whose fitment holds for it. `read` collects every figure read, "bore of X at P" to what
    is written of it; `looked` where it was looked for. What looks up the same finds the same: so what
    is known already of another set of the vehicle, `beside`, is not worked out again where they are alike.
    """

    def __init__(
        self,
        book: RuleBook,
        sits: Mapping[str, str | None],
        vehicle: Vehicle | None = None,
        memory: Memory | None = None,
        beside: "Fitted | None" = None,
    ):
        self.book = book
        self._sits = sits
        self.vehicle = vehicle
        self.read: dict[str, str] = {}
        self.looked = Whereabouts()
        self.memory = memory or Memory()
        self._beside = beside
        self._unlike: tuple[Fitted, Whereabouts] | None = None

    def number(self, position: str) -> str | None:
        """The number of what sits at `position`; None where nothing does."""
        self.looked.positions.add(position)
        return self._sits.get(position)

    def component(self, position: str) -> Component | None:
        """What sits at `position`, or None."""
        number = self.number(position)
        return self.book.components.get(number) if number else None

    def unlike(self, other: "Fitted") -> Whereabouts:
        """The positions that hold something else than in another set of the vehicle, and every kind that what
        sits there records in either."""
        if self._unlike is None or self._unlike[0] is not other:
            mine, theirs = self._sits, other._sits
            positions = {p for p in mine.keys() | theirs.keys() if mine.get(p) != theirs.get(p)}
            there = (
                self.book.components.get(sits.get(p) or "") for sits in (mine, theirs) for p in positions
            )
            kinds = {kind for component in there if component for kind in component.characteristics}
            self._unlike = other, Whereabouts(positions, kinds)
        return self._unlike[1]

    def finds_as(self, other: "Fitted", looked: Whereabouts) -> bool:
        """Whether what was looked up here is the same in another set of the book."""
        return self is other or (self.book is other.book and not looked.meets(self.unlike(other)))

    @contextmanager
    def looking(self) -> Iterator[Whereabouts]:
        """What is looked up meanwhile, apart and in `looked`."""
        before, self.looked = self.looked, Whereabouts()
        try:
            yield self.looked
        finally:
            before.add(self.looked)
            self.looked = before

    def title(self, position: str) -> str:
        """What the position is called, or its name when the book does not know it."""
        place = self.book.positions.get(position)
        return place.title if place else position

    def has(self, position: str) -> bool:
        return self.component(position) is not None

    def quantity(self, position: str) -> int:
        """How many pieces sit at `position`; 0 when it is empty. A newer number sits as the older one did."""
        number = self.number(position)
        if not number:
            return 0
        index = index_of(self.book)
        fitment = index.fitment_by(number, index.own_fitments(position, self._holds))
        return fitment.quantity if fitment else 1

    def _fitments(self, position: str) -> Iterator[Fitment]:
        return filter(self._holds, index_of(self.book).fitments_at.get(position, ()))

    def _holds(self, fitment: Fitment) -> bool:
        return self.vehicle is None or fitment.when.holds(self.vehicle)

    def found(self, places: Places, kind: str) -> Recorded | None:
        """What the first of `places` that records `kind` records of it; every figure is read through here."""
        self.looked.positions.update(_each(places))
        key = (places, kind)
        if key not in self.memory.found:
            known: Mapping[tuple[Places, str], Recorded | None] = {}
            if self._beside and self.unlike(self._beside).positions.isdisjoint(_each(places)):
                known = self._beside.memory.found
            self.memory.found[key] = known[key] if key in known else self._look(places, kind)
        found = self.memory.found[key]
        if found is not None:
            self.read[found.name] = found.measure.written
        return found

    def _look(self, places: Places, kind: str) -> Recorded | None:
        for position in _each(places):
            component = self.component(position)
            if component and kind in component.characteristics:
                name = f"{kind} of {component.number} at {position}"
                of = f"{component.number} ({self.title(position)})"
                return self._gated(kind, component.characteristics[kind], name, component.number, of)
        return None

    def of_the_original(self, position: str, kind: str) -> float:
        """The SI value of what the vehicle had at `position` from new; 0 where nothing sane is recorded."""
        for fitment in self._fitments(position):
            component = self.book.components.get(fitment.component) if fitment.from_new else None
            measure = component.characteristics.get(kind) if component else None
            if measure and measure.si is not None and sane(kind, measure.si):
                return measure.si
        return 0.0

    def found_fact(self, kind: str) -> Recorded | None:
        """What is recorded of the variant itself."""
        variant = self.book.variant
        measure = variant.facts.get(kind)
        if measure is None:
            return None
        name = f"{kind} of variant {variant.name}"
        self.read[name] = measure.written
        return self._gated(kind, measure, name, "", variant.name)

    def _gated(self, kind: str, measure: Measure, name: str, number: str, of: str) -> Recorded:
        if all(end is None or sane(kind, end) for end in (measure.low, measure.high)):
            return Recorded(name, number, measure)
        words = f"{self.kind_title(kind)} of {of} is recorded as {measure.written}, which cannot be"
        return Recorded(name, number, measure, words)

    def kind_title(self, kind: str) -> str:
        known = self.book.kinds.get(kind)
        return known.title if known else kind.replace("_", " ")

    def recorded(self, kind: str) -> list[tuple[str, Component, Measure]]:
        """Every position whose component records `kind`, in name order."""
        self.looked.kinds.add(kind)
        if (found := self.memory.recorded.get(kind)) is None:
            if self._beside and kind not in self.unlike(self._beside).kinds:
                found = self._beside.memory.recorded.get(kind)
            if found is None:
                found = [(p, c, c.characteristics[kind]) for p, c in self._there if kind in c.characteristics]
            self.memory.recorded[kind] = found
        return found

    @cached_property
    def _there(self) -> list[tuple[str, Component]]:
        """Every filled position whose component the book knows, in name order."""
        there = ((p, self.book.components.get(number)) for p, number in sorted(self._sits.items()) if number)
        return [(position, component) for position, component in there if component]

    def known(self, key: object) -> "Result | None":
        """A result that was worked out of this set already, or of the set beside where they are alike."""
        if (found := self.memory.results.get(key)) is None and self._beside is not None:
            found = self._beside.memory.results.get(key)
            if found is not None and not self.finds_as(self._beside, found[2]):
                found = None
        return found

    def candidates(self, position: str, kind: str) -> list[tuple[Component, float]]:
        """Components that fit `position` and record one number of `kind`, cheapest first."""
        found = {}
        for fitment in self._fitments(position):
            component = self.book.components.get(fitment.component)
            measure = component.characteristics.get(kind) if component else None
            if component is None or measure is None or component.supply != "current":
                continue
            if measure.si is not None and sane(kind, measure.si):
                found[component.number] = (component, measure.si)
        unknown = math.inf
        return sorted(
            found.values(), key=lambda c: (unknown if c[0].price is None else c[0].price, c[0].number)
        )


Result = tuple[Any, "Reading", Whereabouts]
"""What was worked out, what that used and missed, and where it looked."""


@dataclass
class Reading:
    """One pass over a `Fitted` that remembers what it used, what it missed and what cannot be.

    A number that is missing or cannot be reads as NaN, which carries through any arithmetic, so that
    one pass names every such characteristic. A missing word reads as "". `missing` and `impossible`
    map a name ("bore of X at P") to what is wrong with it in words.
    """

    fitted: Fitted
    missing: dict[str, str] = field(default_factory=dict)
    impossible: dict[str, str] = field(default_factory=dict)
    used: dict[str, None] = field(default_factory=dict)
    read: dict[str, str] = field(default_factory=dict)

    def value(self, places: Places, kind: str) -> float:
        """The single SI value of `kind` at the first of `places` that records it, else NaN."""
        measure = self._find(places, kind)
        if measure is not None and measure.si is not None:
            return measure.si
        if measure is not _IMPOSSIBLE:
            self._miss(places, kind)
        return math.nan

    def span(self, places: Places, kind: str) -> tuple[float, float]:
        """The SI span of `kind`; (NaN, NaN) when it is not recorded."""
        measure = self._find(places, kind)
        if measure is not None and measure.low is not None and measure.high is not None:
            return measure.low, measure.high
        self._miss(places, kind)
        return math.nan, math.nan

    def word(self, places: Places, kind: str) -> str:
        """The words recorded of `kind`, else ""."""
        measure = self._find(places, kind)
        if measure is not None and measure.text is not None:
            return measure.text
        self._miss(places, kind)
        return ""

    def maybe(self, places: Places, kind: str) -> float | None:
        """Like `value`, but None instead of a miss: for what a component may rightly lack."""
        return _single(self._find(places, kind))

    def maybe_word(self, places: Places, kind: str) -> str:
        measure = self._find(places, kind)
        return "" if measure is None or measure.text is None else measure.text

    def fact(self, kind: str) -> float:
        """A characteristic of the variant itself, else NaN."""
        measure = self._find_fact(kind)
        if measure is not None and measure.si is not None:
            return measure.si
        if measure is not _IMPOSSIBLE:
            self._miss_fact(kind)
        return math.nan

    def fact_word(self, kind: str) -> str:
        measure = self.fitted.book.variant.facts.get(kind)
        if measure is not None and measure.text is not None:
            return measure.text
        self._miss_fact(kind)
        return ""

    def maybe_fact(self, kind: str) -> float | None:
        return _single(self._find_fact(kind))

    def _find(self, places: Places, kind: str) -> Measure | None:
        found = self.fitted.found(places, kind)
        if found is not None:
            self.used[found.number] = None
        return self._possible(found)

    def _find_fact(self, kind: str) -> Measure | None:
        return self._possible(self.fitted.found_fact(kind))

    def _possible(self, found: Recorded | None) -> Measure | None:
        if found is None:
            return None
        self.read[found.name] = found.measure.written
        if not found.wrong:
            return found.measure
        self.impossible[found.name] = found.wrong
        return _IMPOSSIBLE

    def _miss(self, places: Places, kind: str) -> None:
        position = next((p for p in _each(places) if self.fitted.has(p)), next(iter(_each(places))))
        component = self.fitted.component(position)
        where = self.fitted.title(position)
        if component is None:
            self.missing[f"{kind} at {position}"] = (
                f"{self.fitted.kind_title(kind)} is not known: no {where} is fitted"
            )
            return
        self.used[component.number] = None
        self.missing[f"{kind} of {component.number} at {position}"] = (
            f"{self.fitted.kind_title(kind)} of {component.number} ({where}) is not recorded"
        )

    def _miss_fact(self, kind: str) -> None:
        variant = self.fitted.book.variant.name
        self.missing[f"{kind} of variant {variant}"] = (
            f"{self.fitted.kind_title(kind)} of {variant} is not recorded"
        )

    def take_over(self, other: "Reading") -> None:
        """What another reading of the same vehicle used, missed and found impossible is this one's too."""
        self.missing.update(other.missing)
        self.impossible.update(other.impossible)
        self.used.update(other.used)
        self.read.update(other.read)
        self.fitted.read.update(other.read)

    def does_not_compute(self) -> None:
        """Each figure can be, but not all of them on one vehicle: every one that was read is suspect."""
        read = ", ".join(f"{name}: {written}" for name, written in self.read.items())
        self.impossible.update(
            dict.fromkeys(self.read, f"these figures cannot all be of one vehicle ({read})")
        )
        if not self.read:
            self.missing["usable values"] = "nothing that it could be worked out from is recorded"


def remembered(work_out: Callable[Concatenate[Reading, P], T]) -> Callable[Concatenate[Reading, P], T]:
    """For a figure that many checks ask for: worked out once of each set, with what it read and missed.

    Its arguments must be hashable, and what it gives must not be changed. What raises is not remembered.
    """

    @wraps(work_out)
    def of(reading: Reading, *args: P.args, **more: P.kwargs) -> T:
        key = (work_out, args, *sorted(more.items()))
        known = reading.fitted.known(key)
        if known is None:
            part = Reading(reading.fitted)
            try:
                with reading.fitted.looking() as looked:
                    known = work_out(part, *args, **more), part, looked
            except ARITHMETIC:
                reading.take_over(part)
                raise
            del part.fitted  # the set holds this; no ring of the two waits for the collector
            reading.fitted.memory.results[key] = known
        reading.take_over(known[1])
        reading.fitted.looked.add(known[2])
        return cast("T", known[0])

    return cast("Callable[Concatenate[Reading, P], T]", of)


def _single(measure: Measure | None) -> float | None:
    if measure is _IMPOSSIBLE:
        return math.nan
    return None if measure is None else measure.si


def _each(places: Places) -> Iterable[str]:
    return (places,) if isinstance(places, str) else places


@dataclass(frozen=True, slots=True)
class BothSides(Generic[T]):
    """One result today and with the set fitted; None where something was missing or cannot be.

    `missing` and `impossible` name characteristics of the set; `wanting` says of both what is wrong.
    """

    before: T | None
    after: T | None
    missing: tuple[str, ...] = ()
    wanting: tuple[str, ...] = ()
    used: tuple[str, ...] = ()
    impossible: tuple[str, ...] = ()


def on_both(before: Fitted, after: Fitted, compute: Callable[[Reading], T]) -> BothSides[T]:
    """Run `compute` on the vehicle as it stands and on the set; what is wanting is of the set."""
    with after.looking() as looked:
        now, reading = _run(after, compute)
    was = now if after.finds_as(before, looked) else _run(before, compute)[0]
    wanting = dict.fromkeys((*reading.missing.values(), *reading.impossible.values()))
    return BothSides(
        was, now, tuple(reading.missing), tuple(wanting), tuple(reading.used), tuple(reading.impossible)
    )


def only_with(value: float, *others: float) -> float:
    """`value`, not determined where one of `others` is not: so what is missing of those is named too."""
    return value if all(map(math.isfinite, others)) else math.nan


def _run(fitted: Fitted, compute: Callable[[Reading], T]) -> tuple[T | None, Reading]:
    reading = Reading(fitted)
    try:
        result = compute(reading)
    except ARITHMETIC:
        result = None
    if reading.missing or reading.impossible:
        return None, reading
    if result is None or not finite(result):
        reading.does_not_compute()
        return None, reading
    return result, reading


def finite(result: object) -> bool:
    """Whether every number in a result is a real one: no NaN, no infinity, no root of less than nothing."""
    if isinstance(result, Mapping):
        return all(finite(part) for part in result.values())
    if isinstance(result, list | tuple):
        return all(finite(part) for part in result)
    return not isinstance(result, complex) and (not isinstance(result, float) or math.isfinite(result))
