"""Clauses say of every group of wishes, limits and rules what the solver says, and least groups are least."""

import random
from collections import Counter
from itertools import combinations

import pytest

from graftbook.closure.answer import Cause
from graftbook.closure.answering import scope_of
from graftbook.closure.explain.contradictions import GIVEABLE, Blame, LeastMeeting
from graftbook.closure.explain.ways_out import MOST_WAYS, smallest_corrections
from graftbook.closure.question import FitComponent, Limits, Question
from graftbook.closure.search import satisfy, solve
from graftbook.closure.search.constrain import Model, cp, new_solver
from graftbook.closure.search.packing import TooWide
from graftbook.closure.search.problem import CEILING, Found, SearchProblem
from graftbook.closure.search.reach import reach
from graftbook.closure.search.satisfy import Clauses, TooManyReasons
from graftbook.closure.search.solve import any_set
from tests.closure.shelf import Shelf
from tests.closure.test_eliminate import questions
from tests.closure.worlds import VEHICLE


def problems(first: int, count: int):
    for seed, book, question in questions(first, count):
        yield seed, reach(scope_of(book, question), question, limits_as_demands=True)


def fulfils(problem: SearchProblem, found: Found) -> bool:
    """Whether a set fulfils every demand and budget of a problem; what it orders loose meets all alike."""
    values = found.values
    for demand in problem.demands:
        met_by = (*demand.one_of, *(need.fit for need in demand.loose))
        binds = all(problem.true_in(values, fit) for fit in demand.when)
        if binds and not any(problem.true_in(values, fit) for fit in met_by):
            return False
    return not any(use.broken(values) for use in problem.budgets)


def by_solver(problem: SearchProblem) -> bool:
    """Whether there is a set, by the constraint solver alone."""
    model = Model(problem, {place: set(values) for place, values in problem.domains.items()})
    if (ceiling := problem.question.limits.price_at_most) is not None:
        model.add_ceiling(ceiling)
    return bool(new_solver(60).solve(model.model) != cp().INFEASIBLE)


@pytest.mark.parametrize("block", range(2))
def test_a_group_can_hold_where_the_solver_finds_a_set(block: int) -> None:
    seen: Counter = Counter()
    for seed, problem in problems(41_000_000 + block * 1_000, 90):
        chance = random.Random(seed)
        clauses, switches = Clauses(problem), [s for s in problem.switches() if s != CEILING]
        for share in (1.0, 0.9, 0.7, 0.4):
            group = [switch for switch in switches if chance.random() < share]
            part = problem.only(group)
            found = clauses.set_for(group)
            assert (found is not None) == by_solver(part), (seed, group)
            if found is not None:
                assert fulfils(part, found), (seed, group)
            seen[found is not None, bool(part.budgets)] += 1
    assert min(seen[True, False], seen[False, False], seen[True, True]) > 2, seen
    assert seen[False, True]


def test_budgets_that_need_too_many_clauses_are_left_to_the_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(satisfy, "MOST_REASONS", 0)
    left = 0
    for _, problem in problems(42_000_000, 80):
        clauses = Clauses(problem)
        try:
            clauses.set_for([s for s in problem.switches() if s != CEILING])
        except TooManyReasons:
            left += 1
    assert left > 0


def test_the_least_group_is_as_brute_force_finds_it() -> None:
    for seed in range(150):
        chance = random.Random(seed)
        among = [(chance.choice((Cause.wish, Cause.companion)), f"{n}") for n in range(7)]
        least = LeastMeeting(among)
        asked: list[frozenset] = []
        for _ in range(5):
            group = frozenset(chance.sample(among, chance.randint(1, 4)))
            least.must_meet(group)
            asked.append(group)
            fits = (
                (len(pick), sum(s[0] not in GIVEABLE for s in pick))
                for size in range(8)
                for pick in combinations(among, size)
                if all(part & set(pick) for part in asked)
            )
            found = least.group()
            assert all(part & set(found) for part in asked), seed
            assert (len(found), sum(s[0] not in GIVEABLE for s in found)) == min(fits), seed


def test_the_first_of_the_least_groups_comes_first_and_each_once_as_brute_force_says() -> None:
    ended = 0
    for seed in range(60):
        chance = random.Random(seed)
        among = [(chance.choice((Cause.limit, Cause.wish)), f"{n}") for n in range(7)]
        asked = [frozenset(chance.sample(among, chance.randint(1, 3))) for _ in range(chance.randint(1, 4))]
        every = (pick for size in range(8) for pick in combinations(range(7), size))
        meeting = [p for p in every if all(any(among[n] in part for n in p) for part in asked)]
        expected = [p for p in meeting if not any(set(less) < set(p) for less in meeting)]
        least = LeastMeeting(among)
        for part in chance.sample(asked, len(asked)):
            least.must_meet(part)
        for pick in expected[:6]:
            assert least.first_group() == [among[n] for n in pick], seed
            least.must_not_hold([among[n] for n in pick])
        ended += len(expected) <= 6
        if len(expected) <= 6:
            assert least.first_group() is None, seed
    assert 5 < ended < 60


def test_what_can_be_met_by_nothing_has_no_least_group() -> None:
    least = LeastMeeting([(Cause.wish, "a")])
    assert least.first_group() == []
    least.must_meet(())
    assert least.first_group() is None


def test_of_more_ways_out_than_are_told_the_same_six_are_whatever_the_order_of_rows() -> None:
    """Of eight wishes for one place seven must go: of the eight ways those that give up the earliest."""
    numbers = [f"disc{n}" for n in range(8)]
    wishes = tuple(FitComponent(number) for number in numbers)
    told = []
    for order in (numbers, numbers[::-1], random.Random(1).sample(numbers, 8)):
        book = Shelf(brake=" ".join(["drum", *order])).book()
        asked = Question(VEHICLE, tuple(random.Random(len(told)).sample(wishes, 8)))
        blame = Blame(reach(scope_of(book, asked), asked, limits_as_demands=True))
        told.append(smallest_corrections(blame, []))
    names = sorted(wish.name for wish in wishes)
    expected = [[n for n in names if n != kept] for kept in reversed(names)][:MOST_WAYS]
    assert [[[name for _, name in group] for group in groups] for groups, _ in told] == [expected] * 3
    assert all(more for _, more in told)


def test_under_a_price_ceiling_the_cheapest_set_decides(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: Counter = Counter()
    for seed, book, question in questions(43_000_000, 60):
        for ceiling in (0, 4_000, 20_000):
            asked = question.__class__(question.vehicle, question.wishes, Limits(price_at_most=ceiling))
            problem = reach(scope_of(book, asked), asked)
            found = any_set(problem)
            assert (found is not None) == by_solver(problem), (seed, ceiling)
            if found is not None:
                assert fulfils(problem, found), (seed, ceiling)
            seen[found is not None] += 1
    assert min(seen[True], seen[False]) > 5, seen

    def too_wide(*_: object) -> None:
        raise TooWide

    monkeypatch.setattr(solve, "cheapest", too_wide)
    for seed, problem in problems(43_000_000, 10):
        assert (any_set(problem) is not None) == by_solver(problem), seed
