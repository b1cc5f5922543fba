"""Elimination finds what the solver finds, and prices every alternative as a question of its own would."""

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import FitComponent, Limits, Question
from graftbook.closure.search import concede, eliminate
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.eliminate import Elimination, TooWide, best_by_elimination, breaks_a_sum
from graftbook.closure.search.packing import Table, _read_off
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.propagate import Contradicts, Propagation, Stake
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve, solved_by_model
from graftbook.closure.search.totals import score
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import Fit
from tests.closure.shelf import VEHICLE, Shelf, at, needs
from tests.closure.test_further_sets import branching
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import World


def questions(first: int, count: int) -> Iterator[tuple[int, RuleBook, Question]]:
    """Random questions: of worlds with every kind of rule, and of shelves where choice follows choice."""
    for seed in seeds(first, count):
        if seed % 2:
            yield seed, *branching(seed)
        else:
            world = World(seed, 7, 4)
            yield seed, world.book(), world.question()


def open_problems(first: int, count: int) -> Iterator[tuple[int, SearchProblem, Propagation]]:
    """Those that propagation leaves open."""
    for seed, book, question in questions(first, count):
        problem = reach(scope_of(book, question), question)
        try:
            propagation = Propagation(problem).run()
        except Contradicts:
            continue
        if propagation.best() is None:
            yield seed, problem, propagation


def by_model(problem: SearchProblem, propagation: Propagation) -> Found | None:
    try:
        return solved_by_model(problem, propagation, 60, unique=True)
    except Unsolvable:
        return None


@pytest.mark.parametrize("block", range(4))
def test_the_best_set_is_the_solvers(block: int) -> None:
    settled = 0
    for seed, problem, propagation in open_problems(31_000_000 + block * 1_000, 120):
        found = by_model(problem, propagation)
        result = best_by_elimination(problem, propagation)
        if result is None:
            assert found is None or problem.budgets or problem.question.limits.price_at_most is not None, seed
            continue
        assert found is not None, seed
        assert (result[0].values, result[0].orders) == (found.values, found.orders), seed
        settled += 1
    assert settled > 15


def test_every_alternative_costs_what_the_best_set_with_it_costs() -> None:
    """Each value of each open place, against the solver asked for it alone; pieces are the last figure."""
    priced = impossible = 0
    for seed, problem, propagation in open_problems(32_000_000, 40):
        free = replace(problem, budgets=[], question=replace(problem.question, limits=Limits()))
        try:
            elimination = Elimination(free, propagation)
        except TooWide:
            continue
        if elimination.found() is None:
            continue
        for place, domain in Stake(propagation).domains.items():
            costs = elimination.costs_of(place)
            assert set(costs) == (set(domain) if len(domain) > 1 else set()), seed
            for value, cost in costs.items():
                try:
                    with_it = propagation.with_certain(Fit(place, value)).run()
                    best = by_model(free, with_it)
                except Contradicts:
                    best = None
                assert (cost is None) == (best is None), (seed, place, value)
                if best is None:
                    continue
                assert cost[:-1] == score(free, best), (seed, place, value)
                shown = elimination.found_with(place, value)
                assert shown.values[place] == value, seed
                assert score(free, shown) == score(free, best), (seed, place, value)
                priced += 1
            for value in elimination.without_a_set(place):
                impossible += 1
                assert by_model(free, replaced(propagation, place, value)) is None, (seed, place, value)
    assert priced > 100
    assert impossible > 2


def replaced(propagation: Propagation, place: str, value: str | None) -> Propagation:
    """As wide as the problem, but with this value alone at a place."""
    further = Propagation(propagation.problem)
    further.domains[place] = {value}
    return further


@pytest.mark.parametrize("lead", [0, 2, 4, 9])
def test_a_table_says_the_same_when_a_variable_is_read_off_another(lead: int) -> None:
    """Whether the one that leads stands in the table, before or behind, or not."""
    sizes = {0: 4, 1: 2, 2: 3, 3: 5, 4: 2, 9: 6}
    drawn = np.random.default_rng(20)
    for follower in {1, 2, 3} - {lead}:
        table = Table((0, 1, 2, 3, 4), drawn.integers(0, 99, (2, 4, 2, 3, 5, 2)))
        values = drawn.integers(0, sizes[follower], sizes[lead]).tolist()
        read = _read_off(table, follower, lead, values)
        assert read.variables == tuple(sorted({0, 1, 2, 3, 4, lead} - {follower}))
        for so in itertools.product(*(range(sizes[variable]) for variable in read.variables)):
            said = dict(zip(read.variables, so, strict=True))
            said[follower] = values[said[lead]]
            there = tuple(said[variable] for variable in table.variables)
            assert (read.cells[:, *so] == table.cells[:, *there]).all(), (lead, follower, so)


def test_a_rule_that_nobody_has_confirmed_counts_whichever_way_the_set_is_found() -> None:
    """Of three hubs the last alone brings no such rule, each of which today's set meets."""
    shelf = Shelf(brake="drum disc", hub="hub a b c", wheel="wheel")
    shelf.add("companions", needs("r", "disc", at("a", "hub"), at("b", "hub"), at("c", "hub")))
    for hub in "ab":
        shelf.add("companions", needs(f"w{hub}", hub, at("wheel", "wheel"), evidence=()))
    question = Question(VEHICLE, (FitComponent("disc"),), preference=(Criterion.unconfirmed,))
    problem = reach(scope_of(shelf.book(), question), question)
    propagation = Propagation(problem).run()
    found = best_by_elimination(problem, propagation)
    assert found is not None
    for by_way in (found[0], by_model(problem, propagation)):
        assert by_way.values["hub"] == "c"


def test_ties_are_broken_by_place_and_number() -> None:
    """Questions in which several sets cost the same occur, and the solver breaks them the same way."""
    tied = 0
    for seed, problem, propagation in open_problems(33_000_000, 400):
        try:
            elimination = Elimination(problem, propagation)
        except TooWide:
            continue
        if elimination.best is None or not elimination.tables.variable_of:
            continue
        best = min(
            cost for cost in elimination.costs_of(next(iter(elimination.tables.variable_of))).values() if cost
        )
        alike = [
            place
            for place in elimination.tables.variable_of
            if sum(cost == best for cost in elimination.costs_of(place).values()) > 1
        ]
        if alike and not breaks_a_sum(problem, found := elimination.found()):
            tied += 1
            assert by_model(problem, propagation).values == found.values, seed
    assert tied


def test_a_budget_that_the_free_optimum_breaks_is_looked_at() -> None:
    looked = 0
    for seed, problem, propagation in open_problems(34_000_000, 400):
        if not problem.budgets or problem.question.limits.price_at_most is not None:
            continue
        try:
            free = Elimination(problem, propagation).found()
        except TooWide:
            continue
        if free is None or not breaks_a_sum(problem, free):
            continue
        result, found = best_by_elimination(problem, propagation), by_model(problem, propagation)
        assert (result is None) == (found is None), seed
        if result is not None:
            assert result[0].values == found.values, seed
            looked += 1
    assert looked > 3


def test_what_is_too_wide_goes_to_the_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    """And its answers are the same, next bests and totals included."""
    asked = told = 0
    for seed, book, question in questions(35_000_000, 80):
        quick = answer_question(book, question)
        if quick.engine != "elimination":
            continue
        with monkeypatch.context() as narrow:
            narrow.setattr(eliminate, "MOST_CELLS", 0)
            narrow.setattr(concede, "MOST_CONFLICTS", -1)
            slow = answer_question(book, question)
        assert slow.engine == "solver"
        asked += 1
        assert slow.solution.after == quick.solution.after, seed
        assert slow.solution.totals == quick.solution.totals, seed
        for one, other in zip(slow.solution.changes, quick.solution.changes, strict=True):
            assert one.only_one == other.only_one, seed
            priced = [o.difference for o in other.others if o.outcome is Outcome.proved]
            assert [o.difference for o in one.others] == priced[:1], seed
            told += len(priced)
    assert told > 15
    assert asked > 20


@pytest.mark.usefixtures("solver_alone")
def test_the_solver_still_proves_what_elimination_leaves() -> None:
    engines = set()
    for _seed, problem, _propagation in open_problems(36_000_000, 20):
        try:
            engines.add(solve(problem, 60).engine)
        except Unsolvable:
            continue
    assert engines == {"solver"}
