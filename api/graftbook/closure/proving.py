"""Whether a component goes there, proved: the best whole set that holds it, or that there is none.

Compatibility looks no further than what must follow; here a closure with the wish for that component alone,
without limits, settles each best place of which that left something open.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace

from graftbook.closure.answer import Because, Cause, Contradiction, Outcome, Solution
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.compatibility import Compatibility, Fits, Place, best_first
from graftbook.closure.explain.reasons import Unexplained
from graftbook.closure.explain.solution import solution_of
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.closure.verify import RoundedAway
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import RuleBook, Vehicle
from graftbook.rulebook.scope import TooLarge


@dataclass(frozen=True, slots=True)
class Proved:
    """An answer whose best place is proved as far as the deadline let it be.

    `solution`: the best set with it there; None where it sits there today, where what sits there serves for
    it already, where there is no set, and where nothing was proved in time.
    """

    answer: Compatibility
    solution: Solution | None = None


def prove(book: RuleBook, vehicle: Vehicle, answer: Compatibility, deadline: Deadline) -> Proved:
    """The answer with its best place proved: where no set has it, the next place is the best."""
    while answer.places and not deadline.passed:
        best = answer.places[0]
        if best.sits_today or best.verdict is Fits.does_not:
            break
        found = answer_question(book, _wish_for(book, vehicle, best), deadline, next_bests=False)
        if found.outcome is not Outcome.impossible:
            solution = found.solution if found.outcome is Outcome.proved else None
            if solution is not None and not _holds(solution, best):
                solution = _with_it_alone(book, _wish_for(book, vehicle, best), best, deadline)
            if solution is None:
                break
            return Proved(_with_best(answer, replace(best, proved=True)), solution)
        answer = _with_best(answer, _none_with(best, found.contradictions))
    return Proved(answer)


def _wish_for(book: RuleBook, vehicle: Vehicle, place: Place) -> Question:
    at_hand = [] if index_of(book).is_current(place.component) else [place.component]
    wish = FitComponent(place.component, place.position)
    return Question(vehicle, (wish,), on_the_bench=frozenset(at_hand))


def _holds(solution: Solution, place: Place) -> bool:
    """Whether the set has that very component, and not another that serves for it."""
    return any((c.position, c.component) == (place.position, place.component) for c in solution.changes)


def _with_it_alone(book: RuleBook, question: Question, place: Place, deadline: Deadline) -> Solution | None:
    """The best set with that very component, where another that serves for it would be better; None where
    none was found."""
    with suppress(Unsolvable, OutOfTime, TooLarge, Unexplained, RoundedAway):
        problem = reach(scope_of(book, question), question, deadline=deadline)
        problem.domains[place.position] = [place.component]
        solved = solve(problem, deadline.left())
        return solution_of(problem, solved.found, solved.propagation)
    return None


def _none_with(place: Place, contradictions: Iterable[Contradiction]) -> Place:
    against = tuple(part for each in contradictions for part in each.parts if part.cause is not Cause.wish)
    return replace(place, verdict=Fits.does_not, proved=True, against=_each_once(against))


def _each_once(parts: Iterable[Because]) -> tuple[Because, ...]:
    return tuple({(part.cause, part.name): part for part in parts}.values())


def _with_best(answer: Compatibility, best: Place) -> Compatibility:
    places = tuple(sorted((best, *answer.places[1:]), key=best_first))
    return replace(answer, verdict=places[0].verdict, number=places[0].component, places=places)
