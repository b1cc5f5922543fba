"""A rule book seen by one vehicle: what sits where today, and what may sit there.

Nothing is filtered in advance: each position is looked at when a question touches it, so that the
cost of an answer follows what it touches.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from graftbook.rulebook.compare import given, has_all, taken
from graftbook.rulebook.index import BookIndex, index_of
from graftbook.rulebook.model import (
    Alternative,
    Budget,
    Claim,
    Component,
    Fitment,
    Flaw,
    RuleBook,
    Side,
    Vehicle,
    Wanted,
)
from graftbook.rulebook.units import Measure

LOOSE = "~"
"""First character of the place of a loose part; no position's name can start with it."""


LONGEST_KEPT = 200
"""Fits that serve one number, from which they are worked out anew each time instead of kept."""

MOST_NAMES = 1_000_000
"""Numbers whose rules bind at one position, all candidates together."""


class ScopeTooLarge(Exception):
    """More than can honestly be reasoned over."""


class Fit(NamedTuple):
    """A component in a place; None: nothing sits there."""

    position: str
    component: str | None

    @property
    def is_loose(self) -> bool:
        return self.position.startswith(LOOSE)


def loose_fit(number: str) -> Fit:
    """The loose component as something that can be "fitted": it is ordered."""
    return Fit(LOOSE + number, number)


@dataclass(frozen=True, slots=True)
class Option:
    """What may sit in a position.

    `names`: every number whose rules bind for it there, its own first; a successor without a
    fitment of its own stands in its predecessor's stead. `fitment` is None for nothing, and for a
    component that sits there today without any record.
    """

    component: str | None
    fitment: Fitment | None = None
    names: tuple[str, ...] = ()

    @property
    def quantity(self) -> int:
        return self.fitment.quantity if self.fitment else 1


_EMPTY = Option(None)


class Scope:
    """The book, the vehicle, what it has fitted today, and what lies on the asker's bench."""

    def __init__(
        self,
        book: RuleBook,
        vehicle: Vehicle,
        fitted: Mapping[str, str | None] | None = None,
        on_the_bench: frozenset[str] = frozenset(),
    ) -> None:
        self.book = book
        self.vehicle = vehicle
        self.index: BookIndex = index_of(book)
        self.on_the_bench = on_the_bench
        self._fitted = {p: c for p, c in (fitted or {}).items() if p in book.positions}
        self.today: dict[str, str | None] = dict(self.index.today)
        for position in self.index.conditional:
            self.today[position] = self._from_new(position)
        self.today.update(self._fitted)
        self._sitting = frozenset(self.today.values())
        self._options: dict[str, dict[str | None, Option]] = {}
        self._serving: dict[str, tuple[Fit, ...]] = {}
        self._places: dict[str, tuple[Fit, ...]] = {}
        self._positions: dict[str, tuple[str, ...]] = {}
        self._nets: dict[str, dict[str, float]] = {}
        self.notebook: dict[Callable[[Any], Any], Any] = {}
        """What others work out about this vehicle as it stands (`kept`)."""
        self.index.every_scope.add(self)

    def forget(self) -> None:
        """Let go of what others worked out, which holds this scope: nobody keeps it any more."""
        self.notebook = {}

    def with_on_the_bench(self, number: str) -> "Scope":
        """The same vehicle with one component more on the bench."""
        return Scope(self.book, self.vehicle, self._fitted, self.on_the_bench | {number})

    def _from_new(self, position: str) -> str | None:
        fitments = self.index.fitments_at[position]
        return next((f.component for f in fitments if f.from_new and self.holds(f)), None)

    def holds(self, claim: Claim) -> bool:
        """Whether the record speaks of this vehicle."""
        return claim.when.holds(self.vehicle)

    def component(self, number: str | None) -> Component | None:
        """The component's record; None for nothing and for a number that the book does not hold."""
        return self.book.components.get(number) if number else None

    def measure(self, number: str | None, kind: str) -> Measure | None:
        """A recorded characteristic; None when it is not recorded."""
        component = self.component(number)
        return component.characteristics.get(kind) if component else None

    def obtainable(self, number: str) -> bool:
        """It can be bought today, or the asker has it."""
        return number in self.on_the_bench or self.index.is_current(number)

    def today_fit(self, position: str) -> Fit:
        """What sits there today."""
        return Fit(position, self.today.get(position))

    def is_today(self, fit: Fit) -> bool:
        return self.today.get(fit.position) == fit.component

    # What may sit where ---------------------------------------------------------------------

    def options(self, position: str) -> dict[str | None, Option]:
        """Everything that may sit in the position on this vehicle, by component number.

        Today's is always among them; nothing (None) where the position need not be filled.
        """
        found = self._options.get(position)
        if found is None:
            found = self._options[position] = self._find_options(position)
        return found

    def _find_options(self, position: str) -> dict[str | None, Option]:
        if position.startswith(LOOSE):
            number = position[len(LOOSE) :]
            return {None: _EMPTY, number: Option(number, None, self.index.stands_for(number))}
        today = self.today.get(position)
        place = self.book.positions.get(position)
        own = self.index.own_fitments(position, self.holds)
        wanted = [n for n in sorted(self.index.serving_any(own)) if n == today or self.obtainable(n)]
        options: dict[str | None, Option] = {}
        after: dict[tuple[str, ...], set[str]] = {}
        names = 0
        for number in wanted:
            options[number] = option = self._option(number, own, after)
            names += len(option.names)
            if names > MOST_NAMES:
                raise ScopeTooLarge(f"too many numbers stand for each other at {position}")
        if today is not None and today not in options:
            options[today] = self._option(today, own, after)
        if today is None or place is None or not place.essential:
            options[None] = _EMPTY
        return options

    def _option(
        self, number: str, own: Mapping[str, Fitment], known: dict[tuple[str, ...], set[str]]
    ) -> Option:
        """`known` remembers which numbers come after the same older ones."""
        if number in own:
            return Option(number, own[number], (number,))
        older = tuple(n for n in self.index.stands_for(number) if n in own)
        if not older:
            return Option(number, None, (number,))
        fitment = self.index.fitment_by(number, own)
        if (after := known.get(older)) is None:
            after = known[older] = self.index.serving_any(older)
        between = {n for n in self.index.stands_for(number) if n != number and n not in own and n in after}
        return Option(number, fitment, (number, *sorted({*older, *between})))

    def option(self, fit: Fit) -> Option:
        """The option behind a fit. Raises KeyError when that cannot sit there."""
        return self.options(fit.position)[fit.component]

    def names(self, fit: Fit) -> tuple[str, ...]:
        """Every number whose rules bind for what sits there; empty for nothing."""
        option = self.options(fit.position).get(fit.component)
        if option is None:
            return (fit.component,) if fit.component else ()
        return option.names

    def positions_of(self, number: str) -> tuple[str, ...]:
        """Positions where the number may sit, in name order."""
        if not self.obtainable(number) and number not in self._sitting:
            return ()
        known = self._positions.get(number)
        if known is None:
            found = {p for p, c in self._fitted.items() if c == number}
            for older in self.index.stands_for(number):
                found.update([f.position for f in self.index.fitments_of.get(older, ())])
            known = tuple(sorted([p for p in found if number in self.options(p)]))
            if len(known) <= LONGEST_KEPT:
                self._positions[number] = known
        return known

    def serving(self, number: str, position: str = "") -> tuple[Fit, ...]:
        """Every fit that satisfies a record naming `number` (at `position`, or anywhere)."""
        if position:
            options = self.options(position)
            return tuple(Fit(position, n) for n in self.index.serves(number) if n in options)
        found = self._serving.get(number)
        if found is None:
            fits = [Fit(p, n) for n in self.index.serves(number) for p in self.positions_of(n)]
            found = tuple(sorted(fits))
            if len(found) <= LONGEST_KEPT:
                self._serving[number] = found
        return found

    def places(self, number: str, position: str = "") -> tuple[Fit, ...]:
        """Every fit for which the rules that name `number` bind."""
        if position:
            return tuple(fit for fit in self.serving(number, position) if number in self.names(fit))
        found = self._places.get(number)
        if found is None:
            fits = self.serving(number)
            found = tuple(fit for fit in fits if number in self.names(fit))
            if len(found) <= LONGEST_KEPT:
                self._places[number] = found
        return found

    def today_places(self, number: str, position: str = "") -> list[Fit]:
        """Those of `places` that are there today, without following the number to its successors."""
        return [
            fit
            for fit in self._today_by_number.get(number, ())
            if position in ("", fit.position) and number in self.names(fit)
        ]

    @cached_property
    def _today_by_number(self) -> dict[str, list[Fit]]:
        """What sits where today, by every number that it may stand for."""
        found: dict[str, list[Fit]] = defaultdict(list)
        for position, component in sorted(self.today.items()):
            for number in self.index.stands_for(component) if component else ():
                found[number].append(Fit(position, component))
        return dict(found)

    def loose_servers(self, number: str) -> tuple[str, ...]:
        """The obtainable numbers of a loose component."""
        return tuple(n for n in self.index.serves(number) if self.obtainable(n))

    # What satisfies what --------------------------------------------------------------------

    def meeting(self, alternative: Alternative) -> tuple[Fit, ...]:
        """The fits that satisfy an alternative; none for a loose one."""
        if alternative.loose:
            return ()
        position = alternative.position
        if alternative.empty:
            return (Fit(position, None),) if None in self.options(position) else ()
        if alternative.having:
            return tuple(fit for fit in self._filled(position) if self.has(fit, alternative.having))
        return self.serving(alternative.component, position)

    def satisfies(self, fit: Fit, alternative: Alternative) -> bool:
        """Whether this fit is one of those of `meeting`, asked from its own side."""
        if alternative.loose or alternative.position not in ("", fit.position):
            return False
        if fit.component not in self.options(fit.position):
            return False
        if alternative.empty:
            return fit.component is None
        if fit.component is None:
            return False
        if alternative.having:
            return self.has(fit, alternative.having) is True
        return alternative.component in self.index.stands_for(fit.component)

    def _filled(self, position: str) -> list[Fit]:
        return [Fit(position, n) for n in self.options(position) if n is not None]

    def has(self, fit: Fit, having: Iterable[Wanted]) -> bool | None:
        """Whether the component has the wanted values; None when one is not recorded."""
        component = self.component(fit.component)
        return has_all(component.characteristics, having) if component else None

    def on_side(self, side: Side) -> dict[Fit, bool]:
        """The fits on one side of a conflict: True surely, False when a value is not recorded."""
        if side.component:
            fits = dict.fromkeys(self.places(side.component, side.position), True)
            if not side.position:
                fits.update((loose_fit(n), True) for n in self.index.serves(side.component))
            return fits
        found = {fit: self.has(fit, side.having) for fit in self._filled(side.position)}
        return {fit: verdict is True for fit, verdict in found.items() if verdict is not False}

    def flaws(self, fit: Fit) -> list[Flaw]:
        """The known flaws that this component has there on this vehicle, in name order."""
        found = {f.name: f for n in self.names(fit) for f in self.index.flaws_of.get(n, ()) if self.holds(f)}
        return [found[name] for name in sorted(found)]

    def has_flaw(self, fit: Fit, flaw: Flaw) -> bool:
        """Whether what sits there is one of the components that the flaw is recorded of."""
        return not set(flaw.components).isdisjoint(self.names(fit))

    def flawed_today(self, flaw: Flaw) -> list[Fit]:
        """The places where one of the flaw's components sits today, each once."""
        return list(dict.fromkeys(fit for n in flaw.components for fit in self.today_places(n)))

    def contribution(self, budget: Budget, fit: Fit) -> float | None:
        """Usable supply less demand of what sits there, in SI; None when neither kind is recorded.

        A span counts with its worse end: least supply, greatest demand.
        """
        if fit.component is None:
            return 0.0
        component = self.component(fit.component)
        recorded = component.characteristics if component else {}
        gives, takes = given(recorded, budget.supply_kind), taken(recorded, budget.demand_kind)
        if gives is None and takes is None:
            return None
        option = self.options(fit.position).get(fit.component)
        return ((gives or 0.0) * budget.usable - (takes or 0.0)) * (option.quantity if option else 1)

    def nets_today(self, budget: Budget) -> dict[str, float]:
        """Position of the budget → contribution of what sits there today, 0 where none is recorded."""
        found = self._nets.get(budget.name)
        if found is None:
            positions = self.index.positions_of_budget[budget.name]
            found = self._nets[budget.name] = {
                p: self.contribution(budget, self.today_fit(p)) or 0.0 for p in positions
            }
        return found


MOST_SCOPES = 64


def scope_for(
    book: RuleBook,
    vehicle: Vehicle,
    fitted: Mapping[str, str | None] | None = None,
    on_the_bench: frozenset[str] = frozenset(),
) -> Scope:
    """The scope of a vehicle, or of one before it that no record tells from it: the last ones are kept with
    the book.
    """
    index = index_of(book)
    key = (index.speaks_of(vehicle), frozenset((fitted or {}).items()), on_the_bench)
    found = index.scopes.pop(key, None) or Scope(book, vehicle, fitted, on_the_bench)
    index.scopes[key] = found
    if len(index.scopes) > MOST_SCOPES:
        with suppress(KeyError, RuntimeError):  # another thread may have been quicker
            index.scopes.pop(next(iter(index.scopes))).forget()
    return found
