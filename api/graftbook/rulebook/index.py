"""The look-up tables of a rule book, built once per book and kept with it."""

import weakref
from bisect import bisect
from collections import defaultdict, deque
from collections.abc import Callable, Hashable, Iterable, Mapping
from contextlib import suppress
from dataclasses import fields
from functools import cached_property, wraps
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from graftbook.rulebook.model import (
    ALWAYS,
    Budget,
    Claim,
    Companion,
    Conflict,
    Fitment,
    Flaw,
    Joint,
    RuleBook,
    Side,
    Supply,
    Vehicle,
    When,
)

if TYPE_CHECKING:
    from graftbook.rulebook.scope import Scope

_Named = TypeVar("_Named", bound=Claim)
_Found = TypeVar("_Found")

MOST_REMEMBERED = 500_000
"""Numbers that the remembered chains of supersession hold together."""


MOST_SPOKEN = 4_096
"""Kinds of vehicle of one book of which it is remembered what its records say; then all are forgotten."""


class Keeper(Protocol):
    """A book's index or a vehicle as it stands: what others work out of it is kept as long as it is."""

    notebook: dict[Callable[[Any], Any], Any]


_Keeper = TypeVar("_Keeper", bound=Keeper)


def kept(work_out: Callable[[_Keeper], _Found]) -> Callable[[_Keeper], _Found]:
    """A function that works something out of a book's index or of a scope once, and keeps it there."""

    @wraps(work_out)
    def read(keeper: _Keeper) -> _Found:
        try:
            found: _Found = keeper.notebook[read]
        except KeyError:
            found = keeper.notebook.setdefault(read, work_out(keeper))  # another thread may have been quicker
        return found

    return read


class BookIndex:
    """Which records of a book speak of a component or a position."""

    def __init__(self, book: RuleBook) -> None:
        self.book = book
        self.scopes: dict[Hashable, Scope] = {}
        """The last scopes asked for; see `scope.scope_for`."""
        self.every_scope: weakref.WeakSet[Scope] = weakref.WeakSet()
        self._spoken: dict[Hashable, tuple[bool, ...]] = {}
        """What `speaks_of` said of the last vehicles."""
        self.notebook: dict[Callable[[Any], Any], Any] = {}
        """What others work out about the book (`kept`)."""
        self.fitments_at: dict[str, list[Fitment]] = defaultdict(list)
        self.fitments_of: dict[str, list[Fitment]] = defaultdict(list)
        for fitment in sorted(book.fitments, key=preferred_fitment):
            self.fitments_at[fitment.position].append(fitment)
            self.fitments_of[fitment.component].append(fitment)
        self.flaws: dict[str, Flaw] = {flaw.name: flaw for flaw in by_name(book.flaws)}
        self.flaws_of: dict[str, list[Flaw]] = defaultdict(list)
        for flaw in self.flaws.values():
            for number in flaw.components:
                self.flaws_of[number].append(flaw)
        self.pairs: dict[str, list[str]] = defaultdict(list)
        for name in sorted(book.positions):
            if pair := book.positions[name].pair:
                self.pairs[pair].append(name)
        self.twins: dict[str, set[str]] = defaultdict(set)
        """Handed twins, whichever of the two records it."""
        for component in book.components.values():
            if component.twin:
                self.twins[component.number].add(component.twin)
                self.twins[component.twin].add(component.number)
        self._index_companions()
        self._index_meetings()
        self._index_supersessions()

    def _index_companions(self) -> None:
        self.companions_of: dict[str, list[Companion]] = defaultdict(list)
        self.companions_met_at: dict[str, list[Companion]] = defaultdict(list)
        self.companions_met_by: dict[str, list[Companion]] = defaultdict(list)
        for rule in by_name(self.book.companions):
            self.companions_of[rule.component].append(rule)
            for position in sorted({a.position for a in rule.alternatives if a.position}):
                self.companions_met_at[position].append(rule)
            for number in sorted({a.component for a in rule.alternatives if not a.position and not a.loose}):
                self.companions_met_by[number].append(rule)

    def _index_meetings(self) -> None:
        """Conflicts by component and by position; joints and budgets by position."""
        self.conflicts_of: dict[str, list[tuple[Conflict, Side, Side]]] = defaultdict(list)
        self.conflicts_at: dict[str, list[tuple[Conflict, Side, Side]]] = defaultdict(list)
        for conflict in by_name(self.book.conflicts):
            for mine, theirs in ((conflict.one, conflict.other), (conflict.other, conflict.one)):
                table = self.conflicts_of if mine.component else self.conflicts_at
                table[mine.component or mine.position].append((conflict, mine, theirs))
        self.joints_at: dict[str, list[Joint]] = defaultdict(list)
        for joint in by_name(self.book.joints):
            self.joints_at[joint.position].append(joint)
            if joint.other_position != joint.position:
                self.joints_at[joint.other_position].append(joint)
        self.positions_of_budget: dict[str, tuple[str, ...]] = {}
        self.budgets_at: dict[str, list[Budget]] = defaultdict(list)
        for budget in by_name(self.book.budgets):
            inside = tuple(
                name
                for name in sorted(self.book.positions)
                if not budget.circuit or self.book.positions[name].circuit == budget.circuit
            )
            self.positions_of_budget[budget.name] = inside
            for name in inside:
                self.budgets_at[name].append(budget)

    def _index_supersessions(self) -> None:
        self._newer: dict[str, set[str]] = defaultdict(set)
        self._same: dict[str, set[str]] = defaultdict(set)
        self._older: dict[str, set[str]] = defaultdict(set)
        for record in self.book.supersessions:
            if record.both_ways:
                self._same[record.old].add(record.new)
                self._same[record.new].add(record.old)
            else:
                self._newer[record.old].add(record.new)
                self._older[record.new].add(record.old)
        self._replaceable: dict[str, set[str]] = {
            new: {old for old in olds if not self.is_current(old)} for new, olds in self._older.items()
        }
        self._onward: dict[str, set[str]] = {
            old: news for old, news in self._newer.items() if not self.is_current(old)
        }
        self._serves: dict[str, tuple[str, ...]] = {}
        self._stands_for: dict[str, tuple[str, ...]] = {}
        self._remembered = 0

    @cached_property
    def today(self) -> dict[str, str | None]:
        """Original equipment where no condition decides it; `conditional` names the rest."""
        return {
            name: next((f.component for f in self.fitments_at.get(name, ()) if f.from_new), None)
            for name in self.book.positions
        }

    @cached_property
    def conditional(self) -> tuple[str, ...]:
        """Positions whose original equipment depends on the single vehicle."""
        return tuple(
            name
            for name in self.book.positions
            if any(f.from_new and f.when != ALWAYS for f in self.fitments_at.get(name, ()))
        )

    @cached_property
    def conditions(self) -> tuple[When, ...]:
        """Everything that a record asks of the single vehicle, each once."""
        records = (getattr(self.book, field.name) for field in fields(self.book))
        claims = (claim for rows in records if isinstance(rows, tuple) for claim in rows)
        return tuple(dict.fromkeys(claim.when for claim in claims if claim.when != ALWAYS))

    def speaks_of(self, vehicle: Vehicle) -> tuple[bool, ...]:
        """Of each condition whether it holds. Nothing else tells vehicles of the variant apart."""
        serials, days = self._bounds
        between = bisect(serials, vehicle.chassis_serial), bisect(days, vehicle.built.toordinal())
        alike = (vehicle.chassis_prefix, between, vehicle.options)
        if (known := self._spoken.get(alike)) is None:
            if len(self._spoken) >= MOST_SPOKEN:
                self._spoken.clear()
            known = self._spoken[alike] = tuple([when.holds(vehicle) for when in self.conditions])
        return known

    @cached_property
    def _bounds(self) -> tuple[list[int], list[int]]:
        """The serials and the days from which on a condition speaks of other vehicles than before."""
        serials, days = set[int](), set[int]()
        for one in self.conditions:
            serials |= {one.chassis_from} if one.chassis_from is not None else set()
            serials |= {one.chassis_to + 1} if one.chassis_to is not None else set()
            days |= {one.built_from.toordinal()} if one.built_from is not None else set()
            days |= {one.built_to.toordinal() + 1} if one.built_to is not None else set()
        return sorted(serials), sorted(days)

    @cached_property
    def loose(self) -> frozenset[str]:
        """Components that sit in no position of any vehicle: fluids, gaskets, kits."""
        named = {a.component for rule in self.book.companions for a in rule.alternatives if a.loose}
        return frozenset(named | {c.number for c in self.book.components.values() if c.loose})

    def is_current(self, number: str) -> bool:
        """Whether the number can be bought."""
        component = self.book.components.get(number)
        return component is not None and component.supply is Supply.current

    def serves(self, number: str) -> tuple[str, ...]:
        """The numbers that satisfy a record naming `number`: itself, then its successors."""
        found = self._serves.get(number)
        if found is None:
            found = (number, *sorted(self.serving_any((number,)) - {number}))
            self._remember(self._serves, number, found)
        return found

    def serving_any(self, numbers: Iterable[str]) -> set[str]:
        """These numbers and all their successors: one walk, however the chains run together."""
        return self._walk(numbers, self._onward)

    def _walk(self, numbers: Iterable[str], steps: Mapping[str, set[str]]) -> set[str]:
        seen = set(numbers)
        waiting = list(seen)
        while waiting:
            at = waiting.pop()
            for table in (self._same, steps):
                for other in table.get(at, ()):
                    if other not in seen:
                        seen.add(other)
                        waiting.append(other)
        return seen

    def own_fitments(self, position: str, holds: Callable[[Fitment], bool]) -> dict[str, Fitment]:
        """The fitments at a position that hold, by component; of two of one component the preferred."""
        own: dict[str, Fitment] = {}
        for fitment in self.fitments_at.get(position, ()):
            if fitment.component not in own and holds(fitment):
                own[fitment.component] = fitment
        return own

    def fitment_by(self, number: str, own: Mapping[str, Fitment]) -> Fitment | None:
        """The fitment by which a number sits where these hold: its own, else the preferred one of the older
        numbers that it serves."""
        if number in own:
            return own[number]
        older = [own[n] for n in self.stands_for(number) if n in own]
        return min(older, key=preferred_fitment, default=None)

    def _remember(self, table: dict[str, tuple[str, ...]], number: str, found: tuple[str, ...]) -> None:
        """Keep a chain for the next time; let all go when long chains have filled the memory."""
        if self._remembered > MOST_REMEMBERED:
            self._serves.clear()
            self._stands_for.clear()
            self._remembered = 0
        self._remembered += len(found)
        table[number] = found

    def stands_for(self, number: str) -> tuple[str, ...]:
        """The numbers that `number` serves: itself, then its predecessors."""
        found = self._stands_for.get(number)
        if found is None:
            found = (number, *sorted(self._walk((number,), self._replaceable) - {number}))
            self._remember(self._stands_for, number, found)
        return found


def preferred_fitment(fitment: Fitment) -> tuple[int, int, str]:
    """Of two fitments that both hold: less effort, then less minutes, then name."""
    return (fitment.effort, fitment.minutes, fitment.name)


def by_name(records: Iterable[_Named]) -> list[_Named]:
    """Records in name order, so that no answer depends on the order of rows."""
    return sorted(records, key=lambda record: record.name)


def flaw_of(book: RuleBook, name: str) -> Flaw | None:
    """A known flaw by its name; no index is built for it."""
    index: BookIndex | None = book.__dict__.get("_index")
    return index.flaws.get(name) if index else next((f for f in book.flaws if f.name == name), None)


ASKED_STILL = 6
"""Of so many books that are kept no more what was worked out is left alone: questions are at work on them."""
_retired: deque["weakref.ref[RuleBook]"] = deque()
_RETIRED = "_retired"


def retire(book: RuleBook) -> None:
    """Forget, some books later, what was worked out about a book that is kept no more: it holds the book,
    which holds it, and such a ring stays until the collector walks everything, while every thread stands
    still. Whoever still asks has it worked out again, and that is forgotten in its turn."""
    object.__setattr__(book, _RETIRED, True)
    if "_index" in book.__dict__:
        _retired.append(weakref.ref(book))
    while len(_retired) > ASKED_STILL:
        with suppress(IndexError):  # another thread may have been quicker
            if (old := _retired.popleft()()) is not None:
                _forget(old)


def _forget(book: RuleBook) -> None:
    index: BookIndex | None = book.__dict__.pop("_index", None)
    if index:
        with suppress(RuntimeError):  # another thread makes one more just now
            for scope in index.every_scope:
                scope.forget()
        index.scopes, index.notebook = {}, {}


def index_of(book: RuleBook) -> BookIndex:
    """The book's index, built at its first use."""
    found = book.__dict__.get("_index")
    if found is None:
        found = BookIndex(book)
        object.__setattr__(book, "_index", found)
        if _RETIRED in book.__dict__:
            retire(book)
    return found
