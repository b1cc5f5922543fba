"""From a question to its answer: scope, reach, propagate, solve, verify, explain."""

from api.closure.alternatives import undominated
from api.closure.answer import Answer, Outcome
from api.closure.choices import next_best
from api.closure.contradiction import Blame, contradictions_of
from api.closure.explain import reasons_of
from api.closure.problem import Problem, TooLarge
from api.closure.propagate import Propagation
from api.closure.question import Question
from api.closure.reach import reach
from api.closure.solution import solution_of
from api.closure.solve import OutOfTime, Unsolvable, solve
from api.closure.wayout import ways_out_of
from api.rulebook.model import RuleBook
from api.rulebook.scope import Scope, scope_for


def scope_of(book: RuleBook, question: Question) -> Scope:
    """The book as the question's vehicle sees it."""
    return scope_for(book, question.vehicle, question.fitted, question.on_the_bench)


def answer_question(book: RuleBook, question: Question) -> Answer:
    """The whole answer to a question.

    Always the same for the same question, whatever the order of the book's rows. An answer that is
    not proved says so in its outcome.
    """
    scope = scope_of(book, question)
    try:
        problem = reach(scope, question)
    except TooLarge:
        return Answer(Outcome.too_large)
    reached = len(problem.positions)
    try:
        found, propagation, engine = solve(problem, question.seconds)
    except Unsolvable:
        return _impossible(scope, question, reached)
    except OutOfTime as late:
        return _not_proved(problem, late)
    reasons = reasons_of(problem, found)
    others = next_best(problem, found, propagation, reasons, question.seconds) if engine == "solver" else {}
    return Answer(
        Outcome.proved,
        solution_of(problem, found, propagation, others),
        others=tuple(
            solution_of(problem, other, propagation)
            for other in undominated(problem, found, propagation, question.alternatives)
        ),
        reached=reached,
        engine=engine,
    )


def _impossible(scope: Scope, question: Question, reached: int) -> Answer:
    """The proof that no set exists, the contradictions behind it, and the ways out."""
    try:
        blame = Blame(reach(scope, question, limits_as_demands=True))
    except TooLarge:
        return Answer(Outcome.impossible, reached=reached)
    if blame.possible(blame.switches):
        # A second way of solving finds a set where the first found none: nothing is proved.
        return Answer(Outcome.not_proved, reached=reached, engine="solver")
    contradictions, groups = contradictions_of(blame)
    ways, more = ways_out_of(blame, question, groups)
    return Answer(
        Outcome.impossible,
        contradictions=tuple(contradictions),
        ways_out=tuple(ways),
        more_ways_out=more,
        reached=reached,
    )


def _not_proved(problem: Problem, late: OutOfTime) -> Answer:
    solution = None
    if late.found is not None:
        solution = solution_of(problem, late.found, Propagation(problem).run())
    reached = len(problem.positions)
    return Answer(Outcome.not_proved, solution, gap=late.gap, reached=reached, engine="solver")
