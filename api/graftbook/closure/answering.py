"""From a question to its answer: scope, reach, propagate, solve, verify, explain."""

from collections.abc import Iterable, Iterator
from contextlib import suppress

from graftbook.closure.answer import Answer, Outcome, Solution
from graftbook.closure.explain.choices import alternatives, undominated
from graftbook.closure.explain.contradictions import MOST_CONTRADICTIONS, Blame, contradictions_of
from graftbook.closure.explain.reasons import Explanation, Unexplained, without_needless
from graftbook.closure.explain.solution import solution_of
from graftbook.closure.explain.ways_out import ways_out_of
from graftbook.closure.question import Limits, Question
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import Solved, solve
from graftbook.closure.verify import RoundedAway
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import Scope, ScopeTooLarge, scope_for


def scope_of(book: RuleBook, question: Question) -> Scope:
    """The book as the question's vehicle sees it."""
    return scope_for(book, question.vehicle, question.fitted, question.on_the_bench)


def answer_question(
    book: RuleBook,
    question: Question,
    deadline: Deadline | None = None,
    *,
    next_bests: bool = True,
    briefly: bool = False,
) -> Answer:
    """The whole answer to a question.

    Always the same for the same question, whatever the order of the book's rows. An answer that is
    not proved says so in its outcome. `deadline` (usually the question's seconds from now) ends the
    proof, the next bests and further sets; explaining an "impossible" may take half as long again.
    `next_bests`: whether each choice is to say what the next best would cost; an order does not ask.
    `briefly`: no next bests, and of an "impossible" the first contradiction alone, without a way out.
    """
    deadline = deadline.afresh() if deadline else Deadline(question.seconds)
    if deadline.passed:
        return Answer(Outcome.not_proved)
    try:
        return _answer(scope_of(book, question), question, deadline, next_bests and not briefly, briefly)
    except ScopeTooLarge:
        return Answer(Outcome.too_large)


def _answer(scope: Scope, question: Question, deadline: Deadline, next_bests: bool, briefly: bool) -> Answer:
    try:
        problem = reach(scope, question, deadline=deadline)
    except OutOfTime:
        return Answer(Outcome.not_proved)
    reached = len(problem.positions)
    try:
        solved = solve(problem, deadline.left())
    except Unsolvable:
        return _impossible(problem, reached, deadline.extended(), briefly)
    except OutOfTime as late:
        return _not_proved(problem, late)
    if not deadline.allows(_changes(problem, solved.found)):
        return Answer(Outcome.not_proved, reached=reached, engine=solved.engine)
    try:
        return _proved_answer(problem, solved, next_bests)
    except (RoundedAway, OutOfTime):
        return Answer(Outcome.not_proved, reached=reached, engine=solved.engine)


def _proved_answer(problem: SearchProblem, solved: Solved, next_bests: bool) -> Answer:
    found, propagation = solved.found, solved.propagation
    explained = Explanation(problem, found)
    others = (
        alternatives(problem, solved, explained.reasons)
        if next_bests and solved.engine != "propagation"
        else {}
    )
    further = undominated(problem, found, propagation, problem.question.alternatives)
    shown = tuple(_further(problem, further.sets, propagation))
    return Answer(
        Outcome.proved,
        solution_of(problem, found, propagation, others, explained),
        others=shown,
        reached=len(problem.positions),
        engine=solved.engine,
        cut_short=problem.deadline.stopped,
        others_asked=problem.question.alternatives,
        others_complete=further.complete and len(shown) == len(further.sets),
        nothing_wished=not problem.question.wishes,
    )


def _further(problem: SearchProblem, sets: Iterable[Found], propagation: Propagation) -> Iterator[Solution]:
    """The further sets laid out; none that cannot be explained, or that only rounding makes possible."""
    for other in sets:
        with suppress(Unexplained, RoundedAway, OutOfTime):
            yield solution_of(problem, other, propagation)


def _impossible(problem: SearchProblem, reached: int, deadline: Deadline, briefly: bool) -> Answer:
    """The proof that no set exists, the contradictions behind it, and the ways out."""
    question, problem.deadline = problem.question, deadline
    try:
        if question.limits != Limits():
            problem = reach(problem.scope, question, limits_as_demands=True, deadline=deadline)
        blame = Blame(problem)
        agreed = not blame.possible(blame.switches)
    except ScopeTooLarge:
        return Answer(Outcome.impossible, reached=reached)
    except OutOfTime:
        agreed = False
    if not agreed:
        # A second way of solving finds a set where the first found none, or did not end: nothing is proved.
        return Answer(Outcome.not_proved, reached=reached, engine="solver")
    blame.problem.deadline = deadline.halfway()
    contradictions, groups = contradictions_of(blame, 1 if briefly else MOST_CONTRADICTIONS)
    blame.problem.deadline, blame.late = deadline, False
    ways, more = ([], False) if briefly else ways_out_of(blame, question, groups)
    return Answer(
        Outcome.impossible,
        contradictions=tuple(contradictions),
        ways_out=tuple(ways),
        more_ways_out=more,
        reached=reached,
        cut_short=deadline.stopped,
    )


def _changes(problem: SearchProblem, found: Found) -> int:
    today = problem.scope.today
    return sum(component != today.get(place) for place, component in found.values.items())


def _not_proved(problem: SearchProblem, late: OutOfTime) -> Answer:
    """What was found in time, without what nobody in it asks for."""
    solution = None
    if late.found is not None and problem.deadline.allows(_changes(problem, late.found)):
        with suppress(RoundedAway, Unexplained, OutOfTime):
            solution = solution_of(problem, without_needless(problem, late.found), late.propagation)
    return Answer(
        Outcome.not_proved,
        solution,
        gap=late.gap if solution else None,
        reached=len(problem.positions),
        engine="solver",
        others_asked=problem.question.alternatives,
    )
