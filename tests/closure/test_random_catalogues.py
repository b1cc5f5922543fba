"""The closure against brute force, an independent solver and a reachability library.

Hundreds of small random catalogues (`worlds`), every one reproducible from its seed; three times as many with
`--long` (`tests/running.py`).
"""

import random
from dataclasses import replace
from itertools import combinations

import networkx
import numpy
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from graftbook.closure.answer import Answer, Cause, Outcome, Solution
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaw, RemedyFlaws
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.closure.search.totals import score
from graftbook.rulebook.model import Alternative, Companion, Effort, RuleBook
from tests.closure.oracle import Best, Oracle
from tests.closure.read_off import chain, tie_key
from tests.closure.worlds import World
from tests.running import cases


def seeds(first: int, count: int) -> range:
    return range(first, first + cases(count))


def as_best(solution: Solution) -> tuple:
    loose = tuple(sorted((part.component, part.quantity) for part in solution.loose))
    return tuple(sorted(solution.after.items())), loose


def best_set(question: Question, book: RuleBook) -> tuple | None:
    """The closure's set without its explanations: score, what sits where, loose quantities."""
    problem = reach(scope_of(book, question), question)
    try:
        found = solve(problem, 60).found
    except Unsolvable:
        return None
    return score(problem, found), found.values, tie_key(problem, found)


def disagreement(world: World) -> str:
    """Empty when closure and brute force agree on possible, set, loose parts and every figure."""
    book, question = world.book(), world.question()
    best: Best | None = Oracle(book, question).best()
    found = best_set(question, book)
    if best is None or found is None:
        return (
            ""
            if best is None and found is None
            else f"possible: {best is not None}, said {found is not None}"
        )
    figures, values, _ = found
    after = dict(best.after)
    if figures != best.score:
        return f"score {figures}, brute force {best.score}"
    sitting = {p: c for p, c in values.items() if not p.startswith("~")}
    if any(after[p] != c for p, c in sitting.items()):
        return f"set {sitting}, brute force {after}"
    today = Oracle(book, question).today
    if any(after[p] != today[p] for p in after if p not in sitting):
        return "brute force changes what was not reached"
    return ""


@pytest.mark.parametrize("block", range(10))
def test_agrees_with_brute_force_on_cost_and_set(block: int) -> None:
    wrong = {}
    for seed in seeds(block * 1_000_000, 20):
        if problem := disagreement(World(seed)):
            wrong[seed] = problem
    assert not wrong


@pytest.mark.parametrize("block", range(5))
def test_agrees_with_brute_force_where_there_are_more_choices(block: int) -> None:
    wrong = {}
    for seed in seeds(50_000_000 + block * 1_000_000, 8):
        world = World(seed, positions=4, components=4, dense=random.Random(seed).choice([0.5, 1.5, 2.5]))
        if problem := disagreement(world):
            wrong[seed] = problem
    assert not wrong


def test_whole_answers_agree_with_brute_force_and_every_change_leads_back_to_a_wish() -> None:
    engines, changes = set(), 0
    for seed in seeds(7_000_000, 400):
        world = World(seed)
        book, question = world.book(), world.question()
        best, answer = Oracle(book, question).best(), answer_question(book, question)
        assert (answer.outcome is Outcome.impossible) == (best is None), seed
        if best is None:
            assert answer.contradictions, seed
            continue
        assert as_best(answer.solution) == (best.after, best.loose), seed
        engines.add(answer.engine)
        changes += len(answer.solution.changes)
        leads_to_a_wish(answer.solution, seed)
    assert engines >= {"propagation", "elimination"}
    assert changes > 100


def leads_to_a_wish(solution: Solution, seed: int) -> None:
    by_position = {change.position: change for change in solution.changes}
    for change in solution.changes:
        reasons = chain(solution, change.position)
        assert len(reasons) <= len(by_position) + len(solution.loose), seed
        assert reasons[-1].parent == "", seed
        assert reasons[-1].cause in (Cause.wish, Cause.flaw), seed
        if change.because.parent in by_position:
            assert by_position[change.because.parent].depth < change.depth, seed


def test_the_order_of_rows_does_not_matter() -> None:
    for seed in seeds(8_000_000, 20):
        world = World(seed)
        question = world.question()
        first = answer_question(world.book(), question)
        second = answer_question(world.book(shuffled=True), question)
        assert first == second, seed


def test_the_same_question_has_the_same_answer() -> None:
    for seed in seeds(8_500_000, 20):
        world = World(seed)
        question, book = world.question(), world.book()
        assert answer_question(book, question) == answer_question(world.book(), question), seed


# The contradiction that is named ----------------------------------------------------------------


def only_named(
    book: RuleBook, question: Question, named: set[tuple[Cause, str]]
) -> tuple[RuleBook, Question]:
    """The book and question with no other wishes, limits and rules than those named."""

    def kept(cause: Cause, records: tuple) -> tuple:
        return tuple(r for r in records if (cause, r.name) in named)

    positions = {
        n: p if (Cause.pair, p.pair) in named else replace(p, pair="") for n, p in book.positions.items()
    }
    smaller = replace(
        book,
        positions=positions,
        companions=kept(Cause.companion, book.companions),
        conflicts=kept(Cause.conflict, book.conflicts),
        joints=kept(Cause.joint, book.joints),
        budgets=kept(Cause.budget, book.budgets),
    )
    wishes = [w for w in question.wishes if (Cause.wish, w.name) in named]
    wishes += [RemedyFlaw(name) for cause, name in named if cause is Cause.flaw]
    names = {name for cause, name in named if cause is Cause.limit}
    old = question.limits
    limits = Limits(
        keep=frozenset(p for p in old.keep if f"limit: keep {p}" in names),
        keep_sections=frozenset(s for s in old.keep_sections if f"limit: keep section {s}" in names),
        refuse=frozenset(c for c in old.refuse if f"limit: refuse {c}" in names),
        effort_at_most=old.effort_at_most if names & set(EFFORT_NAMES.values()) else Effort.cutting,
        price_at_most=old.price_at_most if "limit: price ceiling" in names else None,
        nothing_visible=old.nothing_visible and "limit: nothing visible" in names,
    )
    return smaller, replace(question, wishes=tuple(wishes), limits=limits)


EFFORT_NAMES = {
    Effort.direct: "limit: only direct fitting",
    Effort.with_companions: "limit: no machining, cutting or welding",
    Effort.machining: "limit: nothing cut or welded",
}


def everything(book: RuleBook, question: Question) -> list[tuple[Cause, str]]:
    """Every wish, limit and rule by name."""
    found = [(Cause.wish, w.name) for w in question.wishes]
    found += [(Cause.limit, f"limit: keep {p}") for p in question.limits.keep]
    found += [(Cause.limit, f"limit: keep section {s}") for s in question.limits.keep_sections]
    found += [(Cause.limit, f"limit: refuse {c}") for c in question.limits.refuse]
    found += [(Cause.limit, "limit: price ceiling")] * (question.limits.price_at_most is not None)
    found += [(Cause.limit, "limit: nothing visible")] * question.limits.nothing_visible
    if question.limits.effort_at_most is not Effort.cutting:
        found += [(Cause.limit, EFFORT_NAMES[question.limits.effort_at_most])]
    found += [(Cause.companion, r.name) for r in book.companions]
    found += [(Cause.conflict, r.name) for r in book.conflicts]
    found += [(Cause.joint, r.name) for r in book.joints]
    found += [(Cause.budget, r.name) for r in book.budgets]
    found += [(Cause.pair, pair) for pair in {p.pair for p in book.positions.values()} - {""}]
    return found


def impossible_cases(first: int, count: int) -> list[tuple[int, RuleBook, Question, Answer]]:
    found = []
    seed = first
    while len(found) < cases(count):
        seed += 1
        world = World(seed, positions=3, dense=1.2)
        book, question = world.book(), world.question()
        if any(isinstance(w, RemedyFlaws) for w in question.wishes):
            continue  # its flaws are switches of their own; see test_impossible
        answer = answer_question(book, question)
        if answer.outcome is Outcome.impossible:
            found.append((seed, book, question, answer))
    return found


def test_the_contradiction_named_is_enough_and_none_is_smaller() -> None:
    sizes = []
    for seed, book, question, answer in impossible_cases(9_000_000, 25):
        contradiction = answer.contradictions[0]
        named = {(part.cause, part.name) for part in contradiction.parts}
        assert Oracle(*only_named(book, question, named)).best() is None, seed
        assert contradiction.smallest, seed
        sizes.append(len(named))
        for group in combinations(everything(book, question), len(named) - 1):
            assert Oracle(*only_named(book, question, set(group))).best() is not None, (seed, group)
    assert max(sizes) >= 3
    assert min(sizes) == 1


def test_contradictions_share_no_wish_and_no_limit() -> None:
    several = 0
    for seed, _, _, answer in impossible_cases(9_500_000, 40):
        given = [
            {(p.cause, p.name) for p in c.parts if p.cause in (Cause.wish, Cause.limit)}
            for c in answer.contradictions
        ]
        several += len(given) > 1
        for one, other in combinations(given, 2):
            assert not one & other, seed
    assert several


def test_every_way_out_leads_out_and_giving_up_less_does_not() -> None:
    checked = 0
    for seed, book, question, answer in impossible_cases(9_700_000, 30):
        for way in answer.ways_out:
            up = {(part.cause, part.name) for part in way.gives_up}
            kept = set(everything(book, question)) - up
            assert Oracle(*only_named(book, question, kept)).best() is not None, (seed, up)
            for one in up:
                assert Oracle(*only_named(book, question, kept | {one})).best() is None, (seed, one)
            checked += 1
    assert checked > 30


# Independent solver and library -------------------------------------------------------------------


def all_of_book(seed: int) -> tuple[RuleBook, Question, networkx.DiGraph]:
    """A catalogue whose rules all have one alternative, and the graph of what brings what."""
    chance = random.Random(seed)
    world = World(seed, positions=12, components=2, dense=0)
    graph = networkx.DiGraph()
    companions = []
    for i in range(18):
        one, other = chance.sample(world.places, 2)
        graph.add_edge(one, other)
        alternative = (Alternative(f"c{other}1", other),)
        companions.append(
            Companion(name=f"r{i}", component=f"c{one}1", reason="needs", alternatives=alternative)
        )
    world.companions = companions
    world.supersessions, world.flaws, world.conflicts, world.joints, world.budgets = [], [], [], [], []
    world.fitments = [
        replace(f, from_new=f.component.endswith("0"), when=type(f.when)())
        for f in world.fitments
        if f.component in world.at[f.position]
    ]
    world.positions = {n: replace(p, pair="", essential=True) for n, p in world.positions.items()}
    world.components = {n: replace(c, supply=type(c.supply)("current")) for n, c in world.components.items()}
    start = chance.choice(world.places)
    graph.add_node(start)
    wish = FitComponent(f"c{start}1", start)
    return world.book(), replace(world.question(), wishes=(wish,), limits=Limits(), fitted={}), graph


def test_plain_all_of_rules_agree_with_reachability() -> None:
    for seed in seeds(10_000_000, 70):
        book, question, graph = all_of_book(seed)
        answer = answer_question(book, question)
        start = question.wishes[0].position
        assert answer.engine == "propagation"
        changed = {change.position for change in answer.solution.changes}
        assert changed == {start} | networkx.descendants(graph, start), seed


def milp_price(world: World, book: RuleBook, question: Question) -> float | None:
    """The least price by HiGHS, for catalogues of fitments, companions and conflicts only."""
    oracle = Oracle(book, question)
    fits = [(p, c) for p in oracle.places for c in oracle.can[p]]
    column = {fit: i for i, fit in enumerate(fits)}
    rows, low, high = [], [], []

    def row(weights: dict, least: float, most: float) -> None:
        line = numpy.zeros(len(fits))
        for fit, weight in weights.items():
            line[column[fit]] += weight
        rows.append(line)
        low.append(least)
        high.append(most)

    for p in oracle.places:
        row({(p, c): 1 for c in oracle.can[p]}, 1, 1)
    for rule in book.companions:
        a = rule.alternatives
        places = [(p, c) for p, c in fits if c == rule.component]
        for fit in places:
            met = {(x.position, x.component): 1 for x in a if (x.position, x.component) in column}
            if oracle.today[fit[0]] != fit[1] or any(oracle.today[p] == c for p, c in met):
                row({**met, fit: met.get(fit, 0) - 1}, 0, numpy.inf)
    for clash in book.conflicts:
        for one in [f for f in fits if f[1] == clash.one.component]:
            for other in [f for f in fits if f[1] == clash.other.component]:
                as_today = oracle.today[one[0]] == one[1] and oracle.today[other[0]] == other[1]
                if one[0] != other[0] and not as_today:
                    row({one: 1, other: 1}, 0, 1)
    for wish in question.wishes:
        row({(p, c): 1 for p, c in fits if c == wish.component}, 1, numpy.inf)
    prices = [
        0 if c is None or oracle.today[p] == c else book.components[c].price * oracle.fitment(p, c).quantity
        for p, c in fits
    ]
    found = milp(
        numpy.array(prices, float),
        integrality=numpy.ones(len(fits)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(numpy.array(rows), low, high),
    )
    return None if found.status == 2 else round(found.fun)


def plain_world(seed: int) -> World:
    """Too many positions for brute force; only what the milp above models."""
    chance = random.Random(seed)
    world = World(seed, positions=12, components=3, dense=0)
    world.supersessions, world.flaws, world.joints, world.budgets = [], [], [], []
    world.positions = {n: replace(p, pair="") for n, p in world.positions.items()}
    world.fitments = [f for f in world.fitments if f.component in world.at[f.position]]
    world.components = {
        n: replace(c, price=chance.randrange(1, 90), supply=type(c.supply)("current"))
        for n, c in world.components.items()
    }
    places = world.places

    def alternative() -> Alternative:
        p = chance.choice(places)
        return Alternative(chance.choice(world.at[p]), p)

    world.companions = [
        Companion(
            name=f"r{i}",
            component=chance.choice(world.at[chance.choice(places)]),
            reason="needs",
            alternatives=tuple(alternative() for _ in range(chance.choice([1, 2, 3]))),
        )
        for i in range(22)
    ]
    world.numbers = [c for numbers in world.at.values() for c in numbers]
    world.conflicts = [
        c
        for c in world._conflicts()
        if c.one.component in world.numbers and c.other.component in world.numbers
    ]
    world.conflicts = [
        replace(c, one=replace(c.one, position=""), other=replace(c.other, position=""), when=type(c.when)())
        for c in world.conflicts
    ]
    return world


def test_price_agrees_with_an_independent_solver() -> None:
    solved, engines = 0, set()
    for seed in seeds(11_000_000, 100):
        world = plain_world(seed)
        book = world.book()
        chance = random.Random(seed)
        wishes = tuple(FitComponent(world.at[p][1]) for p in chance.sample(world.places, 3))
        question = replace(
            world.question(),
            wishes=wishes,
            limits=Limits(),
            fitted={},
            on_the_bench=frozenset(),
            preference=(Criterion.price,),
        )
        problem = reach(scope_of(book, question), question)
        try:
            result = solve(problem, 60)
            found, engine = result.found, result.engine
        except Unsolvable:
            found, engine = None, ""
        expected = milp_price(world, book, question)
        assert (found is None) == (expected is None), seed
        if found is not None:
            assert score(problem, found)[1] == expected, seed
            solved += 1
            engines.add(engine)
    assert solved > 20
    assert engines >= {"propagation", "elimination"}
