"""Two answers side by side: why not this component instead, and what if the vehicle were that one."""

from dataclasses import dataclass, field, replace

from graftbook.closure.answer import Answer, Change, Outcome
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.criteria import Difference
from graftbook.closure.question import FitComponent, Question, Wish, each_once
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.search.totals import difference
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import Scope


@dataclass(frozen=True, slots=True)
class Comparison:
    """The answer as asked (`one`), the other answer, and what differs.

    `difference`: what the other has more; empty when either has no set. Changes are
    the same when position and component are.
    """

    one: Answer
    other: Answer
    difference: Difference = field(default_factory=Difference)
    only_in_one: tuple[Change, ...] = ()
    only_in_other: tuple[Change, ...] = ()


NEITHER = Comparison(Answer(Outcome.not_proved), Answer(Outcome.not_proved))
"""What is told when there was no time for either answer."""


def why_not(
    book: RuleBook,
    question: Question,
    component: str,
    position: str = "",
    deadline: Deadline | None = None,
) -> Comparison:
    """The answer, and the answer when `component` is wished (at `position`, or anywhere it fits).

    A wish for another component at that position gives way to it. When the other answer is
    impossible, its contradictions say why not. `deadline` (usually the question's seconds from now) is of
    both together.
    """
    deadline = deadline or Deadline(question.seconds)
    if deadline.passed:
        return NEITHER
    other = with_component(book, question, component, position)
    return _compare_in_time(book, replace(question, alternatives=0), book, other, deadline)


def with_component(book: RuleBook, question: Question, component: str, position: str) -> Question:
    """The question in which `component` is wished (at `position`, or anywhere it fits) instead."""
    scope = scope_of(book, question)
    places = {position} if position else {fit.position for fit in scope.serving(component)}
    kept = tuple(w for w in question.wishes if not _gives_way(w, places, scope))
    wish = FitComponent(component, position)
    return replace(question, wishes=each_once((*kept, wish)), alternatives=0)


def why_not_briefly(
    book: RuleBook, question: Question, other: Question, deadline: Deadline, one: Answer | None = None
) -> Comparison:
    """The same of the question `with_component`, without next bests, further contradictions and ways out.

    `one`: what is known of the question as asked, where its set makes no difference.
    """
    if deadline.passed:
        return NEITHER
    if one is None:
        one = answer_question(book, replace(question, alternatives=0), deadline.halfway(), briefly=True)
    return compare(one, answer_question(book, other, deadline.within(deadline.left()), briefly=True))


def _gives_way(wish: Wish, places: set[str], scope: Scope) -> bool:
    """Whether a wish can only be fulfilled in the places that another component is to take."""
    if not isinstance(wish, FitComponent):
        return False
    fits = {fit.position for fit in scope.serving(wish.component, wish.position)}
    return bool(fits) and fits <= places


def what_if(
    book: RuleBook,
    question: Question,
    other_book: RuleBook,
    other: Question,
    deadline: Deadline | None = None,
) -> Comparison:
    """The same wishes on another vehicle, or at another revision of the book, within one deadline."""
    return _compare_in_time(book, question, other_book, other, deadline or Deadline(question.seconds))


def _compare_in_time(
    book: RuleBook, question: Question, other_book: RuleBook, other: Question, deadline: Deadline
) -> Comparison:
    """Both answers: the first has half of the time, the second what is left of it."""
    one = answer_question(book, question, deadline.halfway())
    return compare(one, answer_question(other_book, other, deadline.within(deadline.left())))


def compare(one: Answer, other: Answer) -> Comparison:
    """What differs between two answers."""
    if one.solution is None or other.solution is None:
        return Comparison(
            one,
            other,
            only_in_one=one.solution.changes if one.solution else (),
            only_in_other=other.solution.changes if other.solution else (),
        )
    here = {(c.position, c.component) for c in one.solution.changes}
    there = {(c.position, c.component) for c in other.solution.changes}
    return Comparison(
        one,
        other,
        difference(one.solution.totals, other.solution.totals),
        tuple(c for c in one.solution.changes if (c.position, c.component) not in there),
        tuple(c for c in other.solution.changes if (c.position, c.component) not in here),
    )
