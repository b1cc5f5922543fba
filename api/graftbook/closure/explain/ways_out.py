"""Ways out of a contradiction: the least that must be given up or replaced, and what one then gets.

A way out is a smallest group of wishes and limits without which a set exists. Each is solved again
and comes with its totals. Cheapest first: those that give up least, then those that lose no wish,
then by price and number of changes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from graftbook.closure.answer import Because, Cause, Totals, WayOut
from graftbook.closure.explain.contradictions import Blame, because_of, best_totals, by_price, least_meeting
from graftbook.closure.question import (
    FitComponent,
    KeepPosition,
    KeepSection,
    NothingVisible,
    PriceAtMost,
    Question,
    RefuseComponent,
    WorkAtMost,
)
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import CEILING, Problem, Switch
from graftbook.closure.search.reach import reach
from graftbook.closure.words import phrases
from graftbook.rulebook.model import Effort
from graftbook.rulebook.scope import Scope, TooLarge

MOST_WAYS = 6
MOST_REPLACEMENTS = 6
FEWER_FROM = 500
"""Demands of a problem from which only half as many replacements are tried."""


@dataclass(frozen=True, slots=True)
class _Tried:
    """A way out that was solved: what it gives up, what takes its place, what one gets."""

    gives_up: tuple[Because, ...]
    instead: str
    totals: Totals
    wishes_lost: int
    fit: FitComponent | None = None

    @property
    def sort_key(self) -> tuple[int, int, int, int, int, tuple[str, ...], str]:
        t = self.totals
        return (
            len(self.gives_up),
            self.wishes_lost,
            len(t.unknown_prices),
            t.price,
            t.changes,
            tuple(b.name for b in self.gives_up),
            self.instead,
        )


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
    return [WayOut(t.gives_up, t.instead, t.totals, t.totals.changes, t.fit) for t in tried[:MOST_WAYS]], more


def smallest_corrections(blame: Blame, cores: list[frozenset[Switch]]) -> tuple[list[list[Switch]], bool]:
    """Smallest groups of wishes and limits without which the rest can hold; are there more."""
    giveable = blame.giveable
    to_meet = [frozenset(core & frozenset(giveable)) for core in cores]
    found: list[list[Switch]] = []
    try:
        while True:
            group = least_meeting(to_meet, giveable, found, deadline=blame.problem.deadline)
            if group is None:
                return found, False
            if len(found) == MOST_WAYS:
                return found, True
            given_up = set(group)
            kept = [s for s in giveable if s not in given_up]
            if blame.possible([*blame.rules, *kept]):
                found.append(group)
            else:
                to_meet.append(frozenset(blame.core(blame.rules, kept)))
    except OutOfTime:
        return found, True


def _try(problem: Problem, question: Question, group: list[Switch]) -> Iterator[_Tried]:
    """What one gets when the group is given up, and when a wish in it is replaced instead."""
    gives_up = tuple(because_of(problem, switch) for switch in group)
    lost = sum(switch[0] is not Cause.limit for switch in group)
    totals, instead = _without(problem, question, group)
    if totals is not None:
        yield _Tried(gives_up, instead, totals, lost)
    for switch in group:
        if switch[0] is Cause.wish:
            most = MOST_REPLACEMENTS // (1 + (len(problem.demands) >= FEWER_FROM))
            best = _replaced(problem.scope, question, group, switch, most, problem.deadline)
            if best is not None:
                totals, instead, fit = best
                yield _Tried(gives_up, instead, totals, lost - 1, fit)


def _without(problem: Problem, question: Question, group: list[Switch]) -> tuple[Totals | None, str]:
    """Solve without the group; a limit is relaxed no further than needed."""
    given_up = set(group)
    kept = [s for s in problem.switches() if s not in given_up]
    free = problem.only(kept)
    if CEILING in group:
        free = by_price(free)
    totals = best_totals(free)
    if totals is None:
        return None, ""
    words = [_instead(problem, question, switch, totals) for switch in group]
    return totals, "; ".join(word for word in words if word)


def _instead(problem: Problem, question: Question, switch: Switch, totals: Totals) -> str:
    """What giving up a limit or wish means, in words."""
    book = problem.scope.book
    match next((limit for limit in question.limits.each() if (Cause.limit, limit.name) == switch), None):
        case PriceAtMost(minor):
            return phrases.raise_ceiling(totals.price, totals.unknown_prices, minor)
        case WorkAtMost(effort):
            return _more_work(effort, totals)
        case NothingVisible():
            return phrases.ACCEPT_VISIBLE
        case KeepPosition(position):
            return phrases.let_go(phrases.position(book, position))
        case KeepSection(section):
            return phrases.let_go(phrases.section(book, section))
        case RefuseComponent(number):
            return phrases.accept(phrases.component(book, number))
    return phrases.give_up(because_of(problem, switch).sentence)


def _more_work(effort_at_most: Effort, totals: Totals) -> str:
    """The least work that must be accepted beyond a limit, as the set then asks for it."""
    if totals.irreversible:
        both = totals.machined and effort_at_most < Effort.machining
        return phrases.ACCEPT_EVERY_WORK if both else phrases.ACCEPT_CUTTING
    return phrases.ACCEPT_MACHINING if totals.machined else phrases.ACCEPT_WORK


def _replaced(
    scope: Scope, question: Question, group: list[Switch], switch: Switch, most: int, deadline: Deadline
) -> tuple[Totals, str, FitComponent] | None:
    """The best set with another component in the place of a wished one; None when there is none."""
    wish = next((w for w in question.wishes if w.name == switch[1]), None)
    if not isinstance(wish, FitComponent):
        return None
    best: tuple[tuple[int, int, int, str], Totals, str, FitComponent] | None = None
    for position, number in list(_siblings(scope, question, wish))[:most]:
        others = tuple(w for w in question.wishes if w is not wish)
        fit = FitComponent(number, position)
        changed = replace(question, wishes=(*others, fit))
        totals = _solve_changed(scope, changed, {s for s in group if s != switch}, deadline)
        if totals is None:
            continue
        key = (len(totals.unknown_prices), totals.price, totals.changes, number)
        if best is None or key < best[0]:
            words = phrases.fit_instead(scope.book, number, position, wish.component)
            best = (key, totals, words, fit)
    return best[1:] if best else None


def _solve_changed(
    scope: Scope, question: Question, given_up: set[Switch], deadline: Deadline
) -> Totals | None:
    try:
        problem = reach(scope, question, limits_as_demands=True, deadline=deadline)
    except (TooLarge, OutOfTime):
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
