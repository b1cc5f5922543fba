"""What is read off a set that was found: what decides between equal ones, and chains of reasons."""

from graftbook.closure.answer import Because, Solution
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.totals import loose_quantities
from graftbook.rulebook.scope import LOOSE


def tie_key(problem: SearchProblem, found: Found) -> tuple[int, tuple[str, ...], tuple[str, ...]]:
    """Decides between sets that cost the same: fewer loose pieces, then smaller numbers first."""
    pieces = sum(loose_quantities(problem, found).values())
    values = tuple(found.values[place] or "" for place in problem.domains)
    orders = tuple(need.component for _, need in sorted(found.orders.items()))
    return (pieces, values, orders)


def chain(solution: Solution, position: str) -> tuple[Because, ...]:
    """The reasons from a change back to the wish that it follows from, nearest first."""
    by_position = {change.position: change.because for change in solution.changes}
    by_position |= {LOOSE + part.component: part.because for part in solution.loose}
    reasons: list[Because] = []
    while position in by_position and len(reasons) <= len(by_position):
        reasons.append(by_position[position])
        position = reasons[-1].parent
    return tuple(reasons)
