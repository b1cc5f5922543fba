"""What sits where, read by kind of characteristic; whatever is not recorded is named, never guessed."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from api.rulebook.model import Component, Fitment, RuleBook, Vehicle
from api.rulebook.units import Measure

T = TypeVar("T")

Places = str | tuple[str, ...]
"""A position, or several that may each hold the component that records the value."""


class Fitted:
    """The components of one vehicle, position by position.

    `sits` is `Solution.today` or `Solution.after`. With `vehicle`, suggestions are limited to
    components whose fitment holds for it.
    """

    def __init__(self, book: RuleBook, sits: Mapping[str, str | None], vehicle: Vehicle | None = None):
        self.book = book
        self.sits = sits
        self.vehicle = vehicle
        self._fitments: dict[str, list[Fitment]] = {}
        for fitment in book.fitments:
            if vehicle is None or fitment.when.holds(vehicle):
                self._fitments.setdefault(fitment.position, []).append(fitment)

    def component(self, position: str) -> Component | None:
        """What sits at `position`, or None."""
        number = self.sits.get(position)
        return self.book.components.get(number) if number else None

    def title(self, position: str) -> str:
        """What the position is called, or its name when the book does not know it."""
        place = self.book.positions.get(position)
        return place.title if place else position

    def has(self, position: str) -> bool:
        return self.component(position) is not None

    def quantity(self, position: str) -> int:
        """How many pieces sit at `position`; 0 when it is empty."""
        number = self.sits.get(position)
        if not number:
            return 0
        for fitment in self._fitments.get(position, ()):
            if fitment.component == number:
                return fitment.quantity
        return 1

    def recorded(self, kind: str) -> list[tuple[str, Component, Measure]]:
        """Every position whose component records `kind`, in name order."""
        found = []
        for position in sorted(p for p, number in self.sits.items() if number):
            component = self.component(position)
            if component and kind in component.characteristics:
                found.append((position, component, component.characteristics[kind]))
        return found

    def candidates(self, position: str, kind: str) -> list[tuple[Component, float]]:
        """Components that fit `position` and record one number of `kind`, cheapest first."""
        found = {}
        for fitment in self._fitments.get(position, ()):
            component = self.book.components.get(fitment.component)
            measure = component.characteristics.get(kind) if component else None
            if component and measure and measure.si is not None and component.supply == "current":
                found[component.number] = (component, measure.si)
        unknown = math.inf
        return sorted(
            found.values(), key=lambda c: (unknown if c[0].price is None else c[0].price, c[0].number)
        )


@dataclass
class Reading:
    """One pass over a `Fitted` that remembers what it used and what it missed.

    A missing number reads as NaN, which carries through any arithmetic, so that one pass names
    every missing characteristic. A missing word reads as "".
    """

    fitted: Fitted
    missing: dict[str, str] = field(default_factory=dict)
    used: dict[str, None] = field(default_factory=dict)

    def value(self, places: Places, kind: str) -> float:
        """The single SI value of `kind` at the first of `places` that records it, else NaN."""
        measure = self._find(places, kind)
        if measure is not None and measure.si is not None:
            return measure.si
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
        measure = self._find(places, kind)
        return None if measure is None else measure.si

    def maybe_word(self, places: Places, kind: str) -> str:
        measure = self._find(places, kind)
        return "" if measure is None or measure.text is None else measure.text

    def fact(self, kind: str) -> float:
        """A characteristic of the variant itself, else NaN."""
        measure = self.fitted.book.variant.facts.get(kind)
        if measure is not None and measure.si is not None:
            return measure.si
        self._miss_fact(kind)
        return math.nan

    def fact_word(self, kind: str) -> str:
        measure = self.fitted.book.variant.facts.get(kind)
        if measure is not None and measure.text is not None:
            return measure.text
        self._miss_fact(kind)
        return ""

    def maybe_fact(self, kind: str) -> float | None:
        measure = self.fitted.book.variant.facts.get(kind)
        return None if measure is None else measure.si

    def _find(self, places: Places, kind: str) -> Measure | None:
        for position in _each(places):
            component = self.fitted.component(position)
            if component and kind in component.characteristics:
                self.used[component.number] = None
                return component.characteristics[kind]
        return None

    def _title(self, kind: str) -> str:
        known = self.fitted.book.kinds.get(kind)
        return known.title if known else kind.replace("_", " ")

    def _miss(self, places: Places, kind: str) -> None:
        position = next((p for p in _each(places) if self.fitted.has(p)), next(iter(_each(places))))
        component = self.fitted.component(position)
        where = self.fitted.title(position)
        if component is None:
            self.missing[f"{kind} at {position}"] = f"{self._title(kind)} is not known: no {where} is fitted"
            return
        self.used[component.number] = None
        self.missing[f"{kind} of {component.number} at {position}"] = (
            f"{self._title(kind)} of {component.number} ({where}) is not recorded"
        )

    def _miss_fact(self, kind: str) -> None:
        variant = self.fitted.book.variant.name
        self.missing[f"{kind} of variant {variant}"] = f"{self._title(kind)} of {variant} is not recorded"


def _each(places: Places) -> Iterable[str]:
    return (places,) if isinstance(places, str) else places


@dataclass(frozen=True, slots=True)
class BothSides(Generic[T]):
    """One result today and with the set fitted; None where something was missing."""

    before: T | None
    after: T | None
    missing: tuple[str, ...] = ()
    missing_worded: tuple[str, ...] = ()
    used: tuple[str, ...] = ()


def on_both(before: Fitted, after: Fitted, compute: Callable[[Reading], T]) -> BothSides[T]:
    """Run `compute` on the vehicle as it stands and on the set; `missing` is what the set lacks."""
    was, _ = _run(before, compute)
    now, reading = _run(after, compute)
    return BothSides(was, now, tuple(reading.missing), tuple(reading.missing.values()), tuple(reading.used))


def _run(fitted: Fitted, compute: Callable[[Reading], T]) -> tuple[T | None, Reading]:
    reading = Reading(fitted)
    try:
        result = compute(reading)
    except (ZeroDivisionError, ValueError, OverflowError):
        # A recorded value outside what the formula can take: the same as none.
        result = None
        if not reading.missing:
            reading.missing["usable values"] = "a recorded value is outside what the formula can take"
    if reading.missing or (isinstance(result, float) and not math.isfinite(result)):
        return None, reading
    return result, reading
