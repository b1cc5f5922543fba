"""The next best sets that do not dominate each other on price, visible changes and labour."""

from collections.abc import Iterator
from typing import Any

from api.closure.deadline import OutOfTime
from api.closure.problem import Found, Problem
from api.closure.propagate import Propagation
from api.closure.solve import Model, Unsolvable
from api.closure.totals import totals_of, unknown_count

AXES = ("price", "visible", "labour")


def undominated(problem: Problem, first: Found, propagation: Propagation, count: int) -> Iterator[Found]:
    """Up to `count` further sets, best first.

    Of any two of them, and of each and the first, neither is at least as good as the other in
    price, visible changes and labour at once. Fewer, when the deadline comes.
    """
    found = [first]
    while len(found) <= count:
        try:
            another = _another(problem, found, propagation)
        except (Unsolvable, OutOfTime):
            return
        found.append(another)
        yield another


def _another(problem: Problem, found: list[Found], propagation: Propagation) -> Found:
    """The best set that none of the known dominates, nor it them. Raises Unsolvable and OutOfTime."""
    model = Model(problem, propagation.domains)
    if (ceiling := problem.question.limits.price_at_most) is not None:
        model.add_ceiling(ceiling)
    for known in found:
        _neither_dominates(model, problem, known)
    return model.best(problem.deadline.left())


def _neither_dominates(model: Model, problem: Problem, known: Found) -> None:
    """The set sought is better than a known one on some axis, and worse on some axis."""
    totals = totals_of(problem, known)
    unknown = unknown_count(problem, known)
    better, worse = [], []
    for name in AXES:
        expression, value = _axis(model, name, getattr(totals, name), unknown)
        better.append(_when(model, expression < value))
        worse.append(_when(model, expression > value))
    model.model.add_bool_or(better)
    model.model.add_bool_or(worse)


def _axis(model: Model, name: str, value: int, unknown: int) -> tuple[Any, int]:
    """The axis as one figure, and a known set's value; an unknown price is above all known ones."""
    criteria = model.criteria()
    expression = model.expression(criteria[name])
    if name != "price":
        return expression, value
    above_all = criteria["price"].most + criteria["price"].constant + 1
    return expression + model.expression(criteria["unknown"], above_all), value + unknown * above_all


def _when(model: Model, constraint: Any) -> Any:
    literal = model.model.new_bool_var("")
    model.model.add(constraint).only_enforce_if(literal)
    return literal
