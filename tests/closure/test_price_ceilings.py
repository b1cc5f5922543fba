"""Why wishes and a price ceiling cannot both hold is found by asking few rules, and is a contradiction."""

from collections import Counter

from sqlalchemy import Engine

from graftbook.closure.answering import scope_of
from graftbook.closure.explain.contradictions import MOST_TOLD, Blame, contradictions_of, told_by_sum
from graftbook.closure.question import FitComponent, Limits, Question
from graftbook.closure.search.problem import CEILING
from graftbook.closure.search.reach import reach
from tests.closure.test_eliminate import questions
from tests.closure.test_satisfy import by_solver
from tests.conftest import book_and_vehicle


def test_on_random_catalogues_what_is_enough_contradicts_and_a_group_told_whole_is_smallest():
    seen: Counter = Counter()
    for seed, book, question in questions(45_000_000, 80):
        asked = question.__class__(question.vehicle, question.wishes, Limits(price_at_most=500))
        problem = reach(scope_of(book, asked), asked, limits_as_demands=True)
        if by_solver(problem):
            continue
        blame = Blame(problem)
        enough = blame._suspects(blame.switches)
        assert not by_solver(problem.only(enough)), seed
        parts, _ = blame.smallest(blame.switches)
        assert not by_solver(problem.only(parts)), seed
        if not told_by_sum(parts):
            assert all(by_solver(problem.only(set(parts) - {part})) for part in parts), seed
        seen["by sum" if told_by_sum(parts) else CEILING in parts] += 1
        seen["left out"] += len(enough) < len(blame.switches)
    assert min(seen[True], seen[False], seen["left out"]) > 5, seen


def test_of_the_demo_range_a_sum_takes_few_sets(sqlite_demo: Engine):
    """Hundreds of rules are reached, and most of them have nothing to do with what the wishes cost."""
    book, vehicle = book_and_vehicle(sqlite_demo, "24PL-018412")
    wishes = (FitComponent("QB-3310"), FitComponent("QF-7000"))
    asked = Question(vehicle, wishes, Limits(price_at_most=300_000))
    blame = Blame(reach(scope_of(book, asked), asked, limits_as_demands=True))
    told, groups = contradictions_of(blame)
    assert [sorted(part.name for part in one.parts) for one in told] == [
        ["limit: price ceiling", "wish: fit QB-3310", "wish: fit QF-7000"]
    ]
    assert len(blame.switches) > 300
    assert len(groups) == 1
    assert blame.checks < 8 * MOST_TOLD
