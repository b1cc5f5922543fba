"""Which of many wishes can be had at all, each for itself, on one vehicle as it stands.

One model of the rules alone, and a switch a wish: sets are asked for that fulfil as many of the wishes
still open as they can, until no set fulfils any of the rest. A set that fulfils several wishes is a set
for each of them, so what is left is proved impossible one by one.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from graftbook.closure.answer import Cause
from graftbook.closure.question import Question, Wish
from graftbook.closure.search.constrain import Model, cp, new_solver
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.search.problem import Demand, SearchProblem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import any_set
from graftbook.rulebook.scope import Scope

SECONDS_A_SET = 0.5
"""What a set gets to fulfil many wishes at once; one that fulfils few is as good a proof."""


def attainable(scope: Scope, wishes: Iterable[Wish], deadline: Deadline) -> set[Wish]:
    """Those of the wishes that some set fulfils; none for a loose part. Raises TooLarge and OutOfTime."""
    wishes = tuple(dict.fromkeys(wishes))
    problem = reach(scope, Question(scope.vehicle, wishes), deadline=deadline)
    if len(wishes) == 1:
        return set(wishes) if any_set(problem) is not None else set()
    asked: dict[str, list[Demand]] = defaultdict(list)
    for demand in problem.demands:
        if demand.cause is Cause.wish:
            asked[demand.name].append(demand)
    rules = replace(problem, demands=[d for d in problem.demands if d.cause is not Cause.wish])
    model = Model(rules, Propagation(rules).run().domains)
    switches = {wish: _switch(model, asked[wish.name]) for wish in wishes}
    had: set[Wish] = set()
    while left := {wish: switches[wish] for wish in wishes if wish not in had}:
        found = _fulfil_more(model, left, problem)
        if not found:
            break
        had |= found
    return had


def _switch(model: Model, demands: list[Demand]) -> Any:
    """A variable that may be true only where every demand of a wish is met."""
    switch = model.model.new_bool_var("")
    for demand in demands:
        when = [literal for fit in demand.when if (literal := model.literal(fit)) is not None]
        if len(when) < len(demand.when):
            continue
        met = [literal for fit in demand.one_of if (literal := model.literal(fit)) is not None]
        model.model.add_bool_or([~switch, *(~literal for literal in when), *met])
    return switch


def _fulfil_more(model: Model, left: dict[Wish, Any], problem: SearchProblem) -> set[Wish]:
    """The wishes that one more set fulfils, as many as it can; none when no set fulfils any."""
    trial = model.model.clone()
    trial.add_bool_or(list(left.values()))
    trial.maximize(sum(left.values()))
    for seconds in (SECONDS_A_SET, problem.deadline.left()):
        problem.deadline.check()
        solver = new_solver(min(seconds, problem.deadline.left()))
        status = solver.solve(trial)
        if status == cp().INFEASIBLE:
            return set()
        if status != cp().UNKNOWN:
            return {wish for wish, switch in left.items() if solver.boolean_value(switch)}
    raise problem.deadline.over()
