"""The next best sets that do not dominate each other on price, visible changes and labour.

Each is the best of all sets that can be made of its own parts: nothing in it is to spare. What must only be
worse than the others in something could be made so by a part that nobody asks for.
"""

from dataclasses import dataclass, field, replace
from typing import Any

from graftbook.closure.question import Criterion
from graftbook.closure.search.constrain import Model, Unsolvable
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.problem import Found, Problem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.solve import solve
from graftbook.closure.search.totals import loose_quantities, totals_of, unknown_count, whole_preference
from graftbook.rulebook.scope import Fit

AXES = ("price", "visible", "labour")

MOST_TO_SPARE = 40
"""Sets with something to spare that are passed over in one answer; then no more are looked for."""


@dataclass
class Further:
    """Further sets, best first. `complete`: there are no others, or as many as were asked for were found.

    Of any two of them, and of each and the first, neither is at least as good as the other in
    price, visible changes and labour at once.
    """

    sets: list[Found] = field(default_factory=list)
    complete: bool = False


def undominated(problem: Problem, first: Found, propagation: Propagation, count: int) -> Further:
    """Up to `count` further sets. Fewer, when the deadline comes."""
    further = Further()
    passed_over: list[tuple[Found, Found]] = []
    try:
        while len(further.sets) < count and len(passed_over) < MOST_TO_SPARE:
            found = _another(problem, [first, *further.sets], passed_over, propagation)
            best = of_its_own_parts(problem, found)
            if _alike(problem, found, best):
                further.sets.append(found)
            else:
                passed_over.append((found, best))
        further.complete = len(further.sets) == count
    except Unsolvable:
        further.complete = True
    except OutOfTime:
        pass
    return further


def of_its_own_parts(problem: Problem, found: Found) -> Found:
    """The best of all sets that can be made of a set's own parts. Raises OutOfTime."""
    today = problem.scope.today
    domains = {p: sorted({today.get(p), c}, key=lambda n: n or "") for p, c in found.values.items()}
    return solve(replace(problem, domains=domains), problem.deadline.left()).found


def _alike(problem: Problem, one: Found, other: Found) -> bool:
    return one.values == other.values and loose_quantities(problem, one) == loose_quantities(problem, other)


def _another(
    problem: Problem, known: list[Found], passed_over: list[tuple[Found, Found]], propagation: Propagation
) -> Found:
    """The best set that none of the known dominates, nor it them. Raises Unsolvable and OutOfTime."""
    model = Model(problem, propagation.domains)
    if (ceiling := problem.question.limits.price_at_most) is not None:
        model.add_ceiling(ceiling)
    for one in known:
        _neither_dominates(model, problem, one)
    for found, best in passed_over:
        _pass_over(model, problem, found, best)
    return model.best(problem.deadline.left())


def _pass_over(model: Model, problem: Problem, found: Found, best: Found) -> None:
    """Not this set, which has something to spare; where that is certain, none that has more than `best`."""
    model.model.add_bool_or(model.unlike(found))
    if not _each_change_counts(problem):
        return
    new = [Fit(p, c) for p, c in best.values.items() if c != problem.scope.today.get(p)]
    has_it_all = [~model.literals[fit] for fit in new]
    for place in problem.positions:
        if not any(fit.position == place for fit in new):
            model.model.add_bool_or([*has_it_all, model.literal(problem.scope.today_fit(place))])


def _each_change_counts(problem: Problem) -> bool:
    """Whether a set is always better than one that holds all of it and changes more."""
    order = whole_preference(problem.question.preference)
    before = order[: order.index(Criterion.changes)]
    return set(before) <= {Criterion.irreversible, Criterion.visible}


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
