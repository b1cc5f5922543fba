"""Can this be fitted there at all? The wish for it alone, without limits, put through reach and propagation.

No set is sought: what must follow is followed to its end, and what could cover the budgets at best is added
up. All that any wish could reach is worked out once a vehicle; each wish then costs less than a millisecond.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from graftbook.closure.answer import Because, Cause
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import BudgetUse, Demand, Problem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.search.reach import reach, reach_everything
from graftbook.rulebook.scope import Fit, Scope, TooLarge

MOST_TO_BLAME = 200
"""Demands of which the smallest group that contradicts is looked for."""


class Looked(StrEnum):
    """How far something was looked at."""

    next_step = "next step"
    propagation = "propagation"


@dataclass(frozen=True, slots=True)
class Followed:
    """What must follow from a fit.

    `against`: the rules because of which no set has it; empty when nothing contradicts. `whole`: what is
    certain and today's for the rest is a set that breaks nothing. `left`: what may still sit where.
    """

    looked_at: Looked
    against: tuple[Because, ...] = ()
    whole: bool = False
    left: Propagation | None = None

    def may_be(self, fit: Fit) -> bool:
        """Whether this can still be in a set with it."""
        return self.left is None or self.left.may_be(fit)


def follow(scope: Scope, fit: Fit, deadline: Deadline) -> Followed:
    """What must follow from fitting this; it must be one of the position's options.

    Only the next step counts as looked at when the rest is too large or the deadline comes first.
    """
    try:
        return _followed(_before(scope, fit, deadline), fit, deadline)
    except (TooLarge, OutOfTime):
        return Followed(Looked.next_step)


def _before(scope: Scope, fit: Fit, deadline: Deadline) -> Propagation:
    """What is certain on the vehicle before the fit is. That of the last vehicle stays with the book; what
    lies on the bench is asked for too seldom."""
    if scope.on_the_bench:
        wish = FitComponent(fit.component or "", fit.position)
        return Propagation(reach(scope, Question(scope.vehicle, (wish,)), deadline=deadline))
    kept = scope.index.notebook.get("followed")
    if kept is None or kept[0] is not scope:
        kept = (scope, Propagation(reach_everything(scope, deadline)).run())
        scope.index.notebook["followed"] = kept
    return kept[1]


def _followed(before: Propagation, fit: Fit, deadline: Deadline) -> Followed:
    problem = replace(before.problem, deadline=deadline)
    further = before.with_certain(fit)
    further.problem = problem
    try:
        further.run()
    except Contradicts:
        group = _smallest(problem, fit, further.used)
        return Followed(Looked.propagation, tuple(_because(demand) for demand in group))
    if short := next((use for use in problem.budgets if _never_covered(use, further)), None):
        rule = short.budget
        because = Because(Cause.budget, rule.name, rule, grade=rule.grade)
        return Followed(Looked.propagation, (because,))
    return Followed(Looked.propagation, whole=further.as_today_for_the_rest() is not None, left=further)


def _smallest(problem: Problem, fit: Fit, used: list[Demand]) -> list[Demand]:
    """Demands that contradict each other without any one of them to spare."""
    group = list({demand.key: demand for demand in used}.values())
    if len(group) > MOST_TO_BLAME:
        return group[-1:]
    others = [Fit(fit.position, c) for c in problem.domains[fit.position] if c != fit.component]
    for demand in tuple(group):
        fewer = [other for other in group if other is not demand]
        if _contradict(problem, others, fewer):
            group = fewer
    return group


def _contradict(problem: Problem, others: Iterable[Fit], demands: list[Demand]) -> bool:
    try:
        Propagation(replace(problem, demands=demands), others).run()
    except Contradicts:
        return True
    return False


def _because(demand: Demand) -> Because:
    return Because(demand.cause, demand.name, demand.ground, grade=demand.grade)


def _never_covered(use: BudgetUse, propagation: Propagation) -> bool:
    """Whether the budget binds in every set that is left, and nothing that is left covers it."""
    best, touched = use.rest, False
    for position, today in use.today.items():
        gives = [use.contributions[position][c] for c in propagation.domains[position]]
        best += max(gives)
        touched = touched or today not in gives
    return best < 0 and (touched or use.holds_today)
