"""Ways out of a contradiction: the least that must be given up or replaced, and what one then gets.

A way out is a smallest group of wishes and limits without which a set exists. Each is solved again
and comes with its totals. Cheapest first: those that give up least, then those that lose no wish,
then by price and number of changes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from graftbook.closure.answer import Because, Cause, WayOut
from graftbook.closure.criteria import Totals
from graftbook.closure.explain.contradictions import Blame, LeastMeeting, because_of, best_totals
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import CEILING, SearchProblem, Switch
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import by_price
from graftbook.rulebook.scope import Scope, ScopeTooLarge

MOST_WAYS = 6
MOST_REPLACEMENTS = 6
FEWER_FROM = 500
"""Demands of a problem from which only half as many replacements are tried."""


@dataclass(frozen=True, slots=True)
class _Tried:
    """A way out that was solved: what it gives up, what one gets, and what takes the place of which wish."""

    gives_up: tuple[Because, ...]
    totals: Totals
    wishes_lost: int
    fit: FitComponent | None = None
    replaced: FitComponent | None = None

    @property
    def sort_key(self) -> tuple[int, int, int, int, int, tuple[str, ...], tuple[str, str]]:
        t = self.totals
        return (
            len(self.gives_up),
            self.wishes_lost,
            len(t.unknown_prices),
            t.price,
            t.changes,
            tuple(b.name for b in self.gives_up),
            (self.fit.component, self.fit.position) if self.fit else ("", ""),
        )

    def way_out(self) -> WayOut:
        return WayOut(self.gives_up, self.totals, self.fit, self.replaced)


def ways_out_of(
    blame: Blame, question: Question, core_parts: list[frozenset[Switch]]
) -> tuple[list[WayOut], bool]:
    """The ways out, cheapest first, and whether there are more, or may be: not all were looked at in time."""
    groups, more = smallest_corrections(blame, core_parts)
    tried: list[_Tried] = []
    for group in groups:
        found = list(_try(blame.problem, question, group))
        tried.extend(found)
        more = more or not found
    tried.sort(key=lambda way: way.sort_key)
    more = more or len(tried) > MOST_WAYS
    return [way.way_out() for way in tried[:MOST_WAYS]], more


def smallest_corrections(blame: Blame, cores: list[frozenset[Switch]]) -> tuple[list[list[Switch]], bool]:
    """Smallest groups of wishes and limits without which the rest can hold; are there more.

    In this order, whatever way they were found: the smaller first; of equals that with the earliest limit,
    by kind and name, then the earliest wish. So the ones that are told do not depend on the order of rows.
    """
    giveable = sorted(blame.giveable, key=lambda switch: (switch[0] is not Cause.limit, switch))
    least = LeastMeeting(giveable)
    for core in cores:
        least.must_meet(core & frozenset(giveable))
    found: list[list[Switch]] = []
    try:
        while True:
            blame.problem.deadline.check()
            group = least.first_group()
            if group is None:
                return found, False
            if len(found) == MOST_WAYS:
                return found, True
            given_up = set(group)
            kept = [s for s in giveable if s not in given_up]
            if blame.possible([*blame.rules, *kept]):
                found.append(group)
                least.must_not_hold(group)
            else:
                least.must_meet(blame.core(blame.rules, kept))
    except OutOfTime:
        return found, True


def _try(problem: SearchProblem, question: Question, group: list[Switch]) -> Iterator[_Tried]:
    """What one gets when the group is given up, and when a wish in it is replaced instead."""
    gives_up = tuple(because_of(problem, switch) for switch in group)
    lost = sum(part.cause is not Cause.limit for part in gives_up)
    totals = _without(problem, group)
    if totals is not None:
        yield _Tried(gives_up, totals, lost)
    for switch, part in zip(group, gives_up, strict=True):
        if isinstance(part.ground, FitComponent):
            most = MOST_REPLACEMENTS // (1 + (len(problem.demands) >= FEWER_FROM))
            rest = {s for s in group if s != switch}
            best = _best_instead(problem.scope, question, rest, part.ground, most, problem.deadline)
            if best is not None:
                totals, fit = best
                yield _Tried(gives_up, totals, lost - 1, fit, part.ground)


def _without(problem: SearchProblem, group: list[Switch]) -> Totals | None:
    """Solve without the group; a limit is relaxed no further than needed."""
    given_up = set(group)
    kept = [s for s in problem.switches() if s not in given_up]
    free = problem.only(kept)
    if CEILING in group:
        free = by_price(free)
    return best_totals(free)


def _best_instead(
    scope: Scope, question: Question, rest: set[Switch], wish: FitComponent, most: int, deadline: Deadline
) -> tuple[Totals, FitComponent] | None:
    """The best set with another component in place of a wished one and `rest` given up; None without one."""
    best: tuple[tuple[int, int, int, str], Totals, FitComponent] | None = None
    for position, number in list(_siblings(scope, question, wish))[:most]:
        others = tuple(w for w in question.wishes if w != wish)
        fit = FitComponent(number, position)
        totals = _solve_changed(scope, replace(question, wishes=(*others, fit)), rest, deadline)
        if totals is None:
            continue
        key = (len(totals.unknown_prices), totals.price, totals.changes, number)
        if best is None or key < best[0]:
            best = (key, totals, fit)
    return best[1:] if best else None


def _solve_changed(
    scope: Scope, question: Question, given_up: set[Switch], deadline: Deadline
) -> Totals | None:
    try:
        problem = reach(scope, question, limits_as_demands=True, deadline=deadline)
    except (ScopeTooLarge, OutOfTime):
        return None
    return best_totals(problem.only([s for s in problem.switches() if s not in given_up]))


def _siblings(scope: Scope, question: Question, wish: FitComponent) -> Iterator[tuple[str, str]]:
    """Other components that fit where the wished one does (or was meant to), newly fitted."""
    served = scope.index.serves(wish.component)
    wished = {w.component for w in question.wishes if isinstance(w, FitComponent)}
    positions = {fit.position for fit in scope.serving(wish.component)}
    positions |= {f.position for f in scope.index.fitments_of.get(wish.component, ())}
    for position in sorted({wish.position} if wish.position else positions):
        for number in scope.options(position):
            if number is None or number in served or number in wished:
                continue
            if scope.today.get(position) not in scope.index.serves(number):
                yield position, number
