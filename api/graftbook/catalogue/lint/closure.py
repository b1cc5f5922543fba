"""What a closure says of one variant: asked of the closure itself, so that the two never differ.

A vehicle is looked at for each set of records that can hold together. What cannot be told in time gets
the benefit of the doubt.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from contextlib import suppress
from functools import cached_property

from graftbook.catalogue.lint.vehicles import claims_of, vehicles_that_differ
from graftbook.closure.answer import Cause
from graftbook.closure.answering import answer_question
from graftbook.closure.question import Question, Wish
from graftbook.closure.search.attainable import attainable
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.rulebook.index import BookIndex, index_of, kept
from graftbook.rulebook.model import Claim, Fitment, Flaw, RuleBook, When
from graftbook.rulebook.scope import Scope, ScopeTooLarge, scope_for
from graftbook.rulebook.units import Measure

SECONDS_TOGETHER = 20.0
SECONDS_EACH = 2.0
"""What all wishes to one vehicle may take, and one wish where they cannot be looked at together."""


FROM_NEW, FITTED = "from new", "fitted"
"""How a vehicle came by a flawed component."""


class Survey:
    """The vehicles of one variant that stand for all, and what can be done to them."""

    def __init__(self, book: RuleBook) -> None:
        self.book = book
        self.index = index_of(book)

    @cached_property
    def scopes(self) -> tuple[Scope, ...]:
        """The book as each of the vehicles sees it."""
        return tuple(scope_for(self.book, vehicle) for vehicle in vehicles_that_differ(self.book))

    @cached_property
    def at(self) -> Mapping[str, frozenset[str]]:
        """Position → every number that may sit there on some vehicle."""
        return {
            position: frozenset(n for scope in self.scopes for n in scope.options(position) if n)
            for position in self.book.positions
        }

    @cached_property
    def candidates(self) -> list[str]:
        """Every number that may sit somewhere on some vehicle and can be bought, in name order."""
        return sorted(n for n in frozenset[str]().union(*self.at.values()) if self.index.is_current(n))

    def forget(self) -> None:
        """Let go of what was worked out about the vehicles: a scope and what it keeps hold each other."""
        for scope in self.scopes:
            scope.forget()

    def measure(self, number: str, kind: str) -> Measure | None:
        """What is recorded of a component."""
        component = self.book.components.get(number)
        return component.characteristics.get(kind) if component else None

    def places_for(self, number: str) -> list[Scope]:
        """The vehicles that the number can be wished for: it has a place there and is not there today."""
        return [
            scope
            for scope in self.scopes
            if (fits := scope.serving(number)) and not any(scope.is_today(fit) for fit in fits)
        ]

    def flawed(self, flaw: Flaw, *, fitted: bool = True) -> tuple[str, list[Scope]]:
        """The vehicles that have the flaw from new; when none has and `fitted`, with its component fitted."""
        new = [s for s in self.scopes if s.holds(flaw) and s.flawed_today(flaw)]
        if new:
            return FROM_NEW, new
        held = [scope for scope in self.scopes if scope.holds(flaw)] if fitted else []
        return FITTED, [s for scope in held for n in flaw.components for s in self._fitted_to(scope, n)]

    def _fitted_to(self, scope: Scope, number: str) -> Iterator[Scope]:
        for fitment in self.index.fitments_of.get(number, ()):
            if scope.holds(fitment):
                fitted = self.with_its_pair(scope, number, fitment.position)
                yield scope_for(self.book, scope.vehicle, fitted)

    def with_its_pair(self, scope: Scope, number: str, position: str) -> dict[str, str | None]:
        """The component at its position, and on the other side of a pair where it goes on both."""
        place = self.book.positions.get(position)
        sides = self.index.pairs[place.pair] if place and place.pair else ()
        held = {f.position for f in self.index.fitments_of[number] if scope.holds(f)}
        return {place: number for place in (position, *sides) if place == position or place in held}

    def rules_against(self, scope: Scope, wish: Wish) -> tuple[str, ...] | None:
        """The rules that together make one wish impossible; None where that was not found in time."""
        new = scope_for(self.book, scope.vehicle).today
        fitted = {position: c for position, c in scope.today.items() if c != new[position]}
        question = Question(scope.vehicle, (wish,), fitted=fitted, seconds=SECONDS_EACH)
        answer = answer_question(self.book, question, briefly=True)
        if not answer.contradictions:
            return None
        parts = answer.contradictions[0].parts
        rules = (part for part in parts if part.cause not in (Cause.wish, Cause.flaw))
        return tuple(dict.fromkeys(called(part.cause, part.name) for part in rules))


def called(cause: Cause, name: str) -> str:
    """A rule by its name; of a pair, which is no record of its own, what it asks."""
    pair = cause is Cause.pair
    return f"the pair {name}, which takes one component on both sides or its twin" if pair else name


Asked = tuple[Scope, list[Wish]]
"""A vehicle, and what it is asked for."""


class AnyOf(Scope):
    """Vehicles that nothing but places for parts tells apart, as one that has a place for every part that one
    of them has a place for.

    Whatever set one of them can have, it can have too: another place for a part forbids nothing.
    """

    def __init__(self, scopes: Sequence[Scope]) -> None:
        self.vehicles = [scope.vehicle for scope in scopes]
        super().__init__(scopes[0].book, scopes[0].vehicle, scopes[0].today)

    def holds(self, claim: Claim) -> bool:
        """Whether the record speaks of one of the vehicles."""
        return any(map(claim.when.holds, self.vehicles))


def attainable_somewhere(asked: Iterable[tuple[Wish, list[Scope]]]) -> set[Wish]:
    """Those of the wishes that one of the vehicles given with each can have."""
    to_ask: dict[int, Asked] = {}
    for wish, scopes in asked:
        for scope in scopes:
            to_ask.setdefault(id(scope), (scope, []))[1].append(wish)
    had: set[Wish] = set()
    refused: set[Wish] = set()
    for alike in sorted(_alike(to_ask.values()), key=lambda one: -max(len(wishes) for _, wishes in one)):
        left = _still_to_ask(alike, had)
        _ask(left, had, together=any(wish in refused for _, wishes in left for wish in wishes))
        refused.update(wish for _, wishes in left for wish in wishes)
    return had


def _ask(alike: list[Asked], had: set[Wish], together: bool) -> None:
    """Add what one of these vehicles can have; `together`: what none of them can is put aside at once."""
    alike = _still_to_ask(alike, had)
    if together and len(alike) > 1:
        wishes = dict.fromkeys(wish for _, some in alike for wish in some)
        any_of = AnyOf([scope for scope, _ in alike])
        with suppress(ScopeTooLarge, OutOfTime):
            alike = _still_to_ask(
                alike, wishes.keys() - attainable(any_of, wishes, Deadline(SECONDS_TOGETHER))
            )
        any_of.forget()
    if alike:
        first = max(alike, key=lambda one: len(one[1]))
        had |= _attainable(*first)
        alike.remove(first)
        half = len(alike) // 2 if together else 0
        for some in (alike[:half], alike[half:]):
            _ask(some, had, together=True)


def _still_to_ask(asked: Iterable[Asked], settled: AbstractSet[Wish]) -> list[Asked]:
    """What is still to be asked of which vehicle."""
    left = ((scope, [wish for wish in wishes if wish not in settled]) for scope, wishes in asked)
    return [(scope, wishes) for scope, wishes in left if wishes]


def _alike(asked: Iterable[Asked]) -> Iterable[list[Asked]]:
    """Vehicles between which only records differ that give a part its place."""
    groups: dict[Hashable, list[Asked]] = {}
    for scope, wishes in asked:
        holding = frozenset(when for when in _telling_apart(scope.index) if when.holds(scope.vehicle))
        groups.setdefault((holding, frozenset(scope.today.items())), []).append((scope, wishes))
    return groups.values()


@kept
def _telling_apart(index: BookIndex) -> frozenset[When]:
    """What records ask of the single vehicle, but for those that give a part a place and do no more."""
    claims = (claim for claims in claims_of(index.book) for claim in claims)
    return frozenset(c.when for c in claims if not (isinstance(c, Fitment) and _adds(index, c)))


def _adds(index: BookIndex, fitment: Fitment) -> bool:
    """Whether a fitment gives a part a place, and tells nothing of other parts or of how many sit there."""
    number = fitment.component
    alone = index.serves(number) == index.stands_for(number) == (number,)
    others = (f for f in index.fitments_of[number] if f.position == fitment.position)
    return alone and all(f.quantity == fitment.quantity for f in others)


def _attainable(scope: Scope, wishes: list[Wish]) -> set[Wish]:
    try:
        return attainable(scope, wishes, Deadline(SECONDS_TOGETHER))
    except (ScopeTooLarge, OutOfTime):
        return {wish for wish in wishes if _perhaps(scope, wish)}


def _perhaps(scope: Scope, wish: Wish) -> bool:
    try:
        return bool(attainable(scope, [wish], Deadline(SECONDS_EACH)))
    except (ScopeTooLarge, OutOfTime):
        return True
