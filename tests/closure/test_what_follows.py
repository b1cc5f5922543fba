"""What must follow from a fit is looked at where the fit narrows something; it comes out as the whole."""

from collections import Counter

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answer import Cause
from graftbook.closure.compatibility import broken_alone
from graftbook.closure.search.deadline import NEVER
from graftbook.closure.search.possible import MOST_VEHICLES, _before, _before_each, follow
from graftbook.closure.search.problem import BudgetUse, SearchProblem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.search.reach import reach_everything
from graftbook.closure.verify import FinishedSet
from graftbook.database import reading
from graftbook.rulebook.model import RuleBook, Vehicle
from graftbook.rulebook.scope import Fit, Scope
from tests.closure.worlds import VEHICLE, World

Seen = tuple[bool, bool, dict[str, set[str | None]]]
"""Whether something contradicts or is never covered, whether a whole set is known, and what is left."""


def as_the_whole(problem: SearchProblem, fit: Fit) -> Seen:
    """Every demand and every place looked at anew."""
    others = [Fit(fit.position, c) for c in problem.domains[fit.position] if c != fit.component]
    try:
        left = Propagation(problem, others).run()
    except Contradicts:
        return True, False, {}
    if any(_never_covered(use, left) for use in problem.budgets):
        return True, False, {}
    return False, left.as_today_for_the_rest() is not None, left.domains


def _never_covered(use: BudgetUse, left: Propagation) -> bool:
    best, touched = use.rest, False
    for position, today in use.today.items():
        gives = [use.contributions[position][c] for c in left.domains[position]]
        best += max(gives)
        touched = touched or today not in gives
    return best < 0 and (touched or use.holds_today)


def as_followed(scope: Scope, fit: Fit) -> Seen:
    found = follow(scope, fit, NEVER)
    return bool(found.against), found.whole, found.left.domains if found.left else {}


def test_what_a_fit_alone_breaks_is_what_the_checker_says(demo_book: tuple[RuleBook, Vehicle]):
    worlds = [Scope(World(seed).book(), VEHICLE) for seed in range(93_000_000, 93_000_040)]
    causes = Counter[str]()
    for scope in (Scope(*demo_book), *worlds):
        for position in sorted(scope.book.positions):
            for number in scope.options(position):
                fit = Fit(position, number)
                if not scope.is_today(fit):
                    told = [broken for broken, _demand in broken_alone(scope, fit)]
                    assert told == FinishedSet(scope, {position: number}).broken_rules(), fit
                    causes.update(broken.cause for broken in told)
    assert all(causes[cause] for cause in Cause if cause not in _OF_THE_ASKER), causes


_OF_THE_ASKER = {Cause.wish, Cause.limit, Cause.flaw, Cause.fact}


@pytest.mark.parametrize("block", range(2))
def test_on_random_catalogues_it_is_what_the_whole_gives(block: int):
    seen = {"against": 0, "whole": 0, "open": 0}
    for seed in range(92_000_000 + block * 1_000, 92_000_000 + block * 1_000 + 40):
        scope = Scope(World(seed).book(), VEHICLE)
        problem = reach_everything(scope)
        for position in sorted(scope.book.positions):
            for number in scope.options(position):
                against, whole, _left = told = as_followed(scope, Fit(position, number))
                assert told == as_the_whole(problem, Fit(position, number)), (seed, position, number)
                seen["against" if against else "whole" if whole else "open"] += 1
    assert min(seen.values()) > 5, seen


def test_in_the_demo_range_it_is_what_the_whole_gives(demo_book: tuple[RuleBook, Vehicle]):
    scope = Scope(*demo_book)
    fits = [Fit(p, n) for p in sorted(scope.book.positions) for n in scope.options(p)]
    problem = reach_everything(scope)
    for fit in fits[::17]:
        assert as_followed(scope, fit) == as_the_whole(problem, fit), fit


def test_of_the_last_vehicles_it_is_kept_and_of_no_more(demo_book: tuple[RuleBook, Vehicle]):
    book, vehicle = demo_book
    scopes = [Scope(book, vehicle) for _ in range(MOST_VEHICLES + 2)]
    fit = Fit("horn", None)
    first = _before(scopes[0], fit, NEVER)
    assert _before(scopes[0], fit, NEVER) is first
    for scope in scopes[1:]:
        _before(scope, fit, NEVER)
    assert list(_before_each(scopes[0].index)) == scopes[2:]


@pytest.fixture(scope="module")
def demo_book(sqlite_demo: Engine) -> tuple[RuleBook, Vehicle]:
    with reading(sqlite_demo) as session:
        vehicle = find_vehicle(session, "24PL-018412").vehicle
    return Books(sqlite_demo).book(vehicle.variant), vehicle
