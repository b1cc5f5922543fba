"""What a closure says of one variant: asked of the closure itself, so that the two never differ.

A vehicle is looked at for each set of records that can hold together. What cannot be told in time gets
the benefit of the doubt.
"""

from collections.abc import Iterator, Mapping
from functools import cached_property

from api.catalogue.lint_vehicles import vehicles_that_differ
from api.closure.answer import Cause
from api.closure.answering import answer_question
from api.closure.deadline import Deadline, OutOfTime
from api.closure.question import FitComponent, Question, RemedyFlaw, Wish
from api.closure.reach import reach
from api.closure.solve import any_set
from api.rulebook.index import index_of
from api.rulebook.model import Flaw, RuleBook
from api.rulebook.scope import Fit, Scope, TooLarge, scope_for

SECONDS_EACH = 2.0
"""What one wish may take."""


class Looked:
    """The vehicles of one variant that stand for all, and what can be done to them."""

    def __init__(self, book: RuleBook) -> None:
        self.book = book
        self.index = index_of(book)
        self._known: set[str] = set()
        """What a set that was found for something else fits newly."""

    @cached_property
    def scopes(self) -> tuple[Scope, ...]:
        """The book as each of the vehicles sees it."""
        return tuple(scope_for(self.book, vehicle) for vehicle in vehicles_that_differ(self.book))

    def candidates(self) -> Iterator[str]:
        """Every number that may sit somewhere on some vehicle and can be bought, in name order."""
        found = {n for s in self.scopes for p in self.book.positions for n in s.options(p) if n}
        yield from sorted(number for number in found if self.index.is_current(number))

    def at(self, position: str) -> set[str]:
        """Every number that may sit in a position on some vehicle."""
        return {number for scope in self.scopes for number in scope.options(position) if number}

    # Wishing ----------------------------------------------------------------------------------

    def can_be_fitted(self, number: str) -> bool | None:
        """Whether some vehicle can be given it newly; None when each has it, or has no place for it."""
        if number in self._known:
            return True
        asked = list(self._without(number))
        return any(self._possible(s, FitComponent(number)) for s in asked) if asked else None

    def _without(self, number: str) -> Iterator[Scope]:
        for scope in self.scopes:
            fits = scope.serving(number)
            if fits and not any(scope.is_today(fit) for fit in fits):
                yield scope

    def against(self, number: str) -> tuple[str, ...]:
        """The rules that together keep it off the first vehicle that it could be wished for."""
        return self._rules_against(next(self._without(number)), FitComponent(number))

    # Remedying --------------------------------------------------------------------------------

    def flawed(self, flaw: Flaw) -> tuple[str, list[Scope]]:
        """The vehicles that have the flaw: `from new`, or, when none has, `fitted` to them."""
        new = [s for s in self.scopes if s.holds(flaw) and s.today_places(flaw.component)]
        if new:
            return "from new", new
        return "fitted", [other for s in self.scopes if s.holds(flaw) for other in self._fitted_to(s, flaw)]

    def _fitted_to(self, scope: Scope, flaw: Flaw) -> Iterator[Scope]:
        for fitment in self.index.fitments_of.get(flaw.component, ()):
            if scope.holds(fitment):
                fitted = self._with_its_pair(scope, Fit(fitment.position, flaw.component))
                yield scope_for(self.book, scope.vehicle, fitted)

    def _with_its_pair(self, scope: Scope, fit: Fit) -> Mapping[str, str | None]:
        """The component on both sides of a pair, where it goes on both."""
        place = self.book.positions.get(fit.position)
        sides = self.index.pairs[place.pair] if place and place.pair else ()
        held = {f.position for f in self.index.fitments_of[fit.component or ""] if scope.holds(f)}
        return {fit.position: fit.component} | {side: fit.component for side in sides if side in held}

    def can_be_remedied(self, flaw: Flaw, scopes: list[Scope]) -> bool:
        """Whether some of these vehicles can be rid of the flaw."""
        return any(self._possible(scope, RemedyFlaw(flaw.name)) for scope in scopes)

    def against_remedy(self, flaw: Flaw, scope: Scope) -> tuple[str, ...]:
        """The rules that together keep one vehicle from being rid of it."""
        return self._rules_against(scope, RemedyFlaw(flaw.name))

    # Asking -----------------------------------------------------------------------------------

    def _question(self, scope: Scope, wish: Wish) -> Question:
        fitted = {p: c for p, c in scope.today.items() if c != self._from_new(scope).get(p)}
        return Question(scope.vehicle, (wish,), fitted=fitted, seconds=SECONDS_EACH)

    def _from_new(self, scope: Scope) -> Mapping[str, str | None]:
        return scope_for(self.book, scope.vehicle).today

    def _possible(self, scope: Scope, wish: Wish) -> bool:
        question = Question(scope.vehicle, (wish,))
        try:
            found = any_set(reach(scope, question, deadline=Deadline(SECONDS_EACH)))
        except (TooLarge, OutOfTime):
            return True
        if found is not None:
            self._known |= {c for p, c in found.values.items() if c and not scope.is_today(Fit(p, c))}
        return found is not None

    def _rules_against(self, scope: Scope, wish: Wish) -> tuple[str, ...]:
        answer = answer_question(self.book, self._question(scope, wish), next_bests=False)
        parts = answer.contradictions[0].parts if answer.contradictions else ()
        return tuple(dict.fromkeys(part.name for part in parts if part.cause not in (Cause.wish, Cause.flaw)))
