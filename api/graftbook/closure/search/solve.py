"""The best set of a question: by propagation, elimination, concession, or the solver behind them."""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple

from graftbook.closure.criteria import Criterion
from graftbook.closure.search.concede import Concession, best_by_concession
from graftbook.closure.search.constrain import Model, Unsolvable, cp, new_solver
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.eliminate import Elimination, best_by_elimination, over_the_ceiling
from graftbook.closure.search.packing import TooWide
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.search.tables import Tables
from graftbook.rulebook.scope import Fit


class Solved(NamedTuple):
    """The best set, what propagation alone gives, which engine proved it, and what that knows of others."""

    found: Found
    propagation: Propagation
    engine: str
    elimination: Elimination | None = None
    concession: Concession | None = None


def solve(problem: SearchProblem, seconds: float, without: Iterable[Fit] = (), unique: bool = True) -> Solved:
    """The best set: by propagation alone, else by elimination, by concession, or by the solver.

    `without` are fits that may not be chosen (none of them today's). Where only the cost matters,
    `unique` False leaves ties as they fall. Raises Unsolvable and OutOfTime.
    """
    try:
        propagation = Propagation(problem, without=without).run()
    except Contradicts as contradicts:
        raise Unsolvable from contradicts
    if (found := propagation.best()) is not None:
        return Solved(found, propagation, "propagation")
    try:
        tables = Tables(problem, propagation)
        if (settled := best_by_elimination(problem, propagation, tables)) is not None:
            return Solved(settled[0], propagation, "elimination", settled[1])
        if (conceded := best_by_concession(tables, unique)) is not None:
            return Solved(conceded[0], propagation, "concession", None, conceded[1])
        return Solved(solved_by_model(problem, propagation, seconds, unique), propagation, "solver")
    except OutOfTime as late:
        late.propagation = propagation
        raise


def solved_by_model(problem: SearchProblem, propagation: Propagation, seconds: float, unique: bool) -> Found:
    """The best set by the solver. Raises Unsolvable and OutOfTime."""
    return model_of(problem, propagation).best(seconds, unique)


def model_of(problem: SearchProblem, propagation: Propagation) -> Model:
    """The problem with its price ceiling, as a model. Raises Unsolvable."""
    model = Model(problem, propagation.domains)
    if (ceiling := problem.question.limits.price_at_most) is not None:
        model.add_ceiling(ceiling)
    return model


def best_below(problem: SearchProblem, propagation: Propagation, price_at_most: int, seconds: float) -> Found:
    """The best set of which the known prices come to at most this. Raises Unsolvable and OutOfTime."""
    model = Model(problem, propagation.domains)
    model.add_ceiling_of_known(price_at_most)
    return model.best(seconds, unique=False)


def by_price(problem: SearchProblem) -> SearchProblem:
    """The same problem with price compared before all else."""
    usual = problem.question.preference
    order = (Criterion.price, *(c for c in usual if c is not Criterion.price))
    return replace(problem, question=replace(problem.question, preference=order))


def cheapest(problem: SearchProblem, propagation: Propagation) -> Found | None:
    """The set with fewest prices unknown, and of those the cheapest, whatever the ceiling; None: no set.

    Raises OutOfTime, and TooWide where elimination does not settle it.
    """
    elimination = Elimination(by_price(problem), propagation)
    while elimination.best is not None:
        found = elimination.one_of_the_best()
        if not (broken := elimination.broken_by(found)):
            if any(use.broken(found.values) for use in problem.budgets):
                raise TooWide
            return found
        elimination.look_at(broken)
    return None


def any_set(problem: SearchProblem) -> Found | None:
    """Some set that fulfils the problem, whatever it costs; None when there is none.

    Raises OutOfTime.
    """
    problem.deadline.check()
    try:
        propagation = Propagation(problem).run()
    except Contradicts:
        return None
    if (found := propagation.as_today_for_the_rest()) is not None:
        return found
    if problem.question.limits.price_at_most is not None:
        with suppress(TooWide):
            found = cheapest(problem, propagation)
            return None if found is None or over_the_ceiling(problem, found) else found
    model = model_of(problem, propagation)
    solver = new_solver(problem.deadline.left())
    status = solver.solve(model.model)
    if status == cp().INFEASIBLE:
        return None
    if status == cp().UNKNOWN:
        raise problem.deadline.over()
    return model.read(solver)
