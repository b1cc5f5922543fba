"""Further sets: each is the best that can be made of its own parts, and every part of it has a reason."""

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import pytest

from graftbook.closure.answer import Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.criteria import DEFAULT_PREFERENCE
from graftbook.closure.question import FitComponent, Limits, Question
from graftbook.rulebook.model import RuleBook
from tests.closure.oracle import Best, Oracle
from tests.closure.shelf import VEHICLE, Shelf, at, loose, needs
from tests.closure.test_random_catalogues import seeds
from tests.closure.test_reasons import Judge, ends_at_what_was_asked, reasons_in
from tests.closure.worlds import World

ASKED = 3
MIXED = ("a", "b", "ab")


def branching(seed: int) -> tuple[RuleBook, Question]:
    """A shelf where every choice brings choices of its own, so that there are many good sets."""
    chance = random.Random(seed)
    names = [f"p{i}" for i in range(5)]
    shelf = Shelf(**{name: f"{name}o {name}a {name}b" + " ?" * chance.randint(0, 1) for name in names})
    shelf.kit("k1", price=chance.randrange(300), minutes=chance.randrange(3) * 10).kit("k2", price=150)
    for name in names:
        for number in (f"{name}a", f"{name}b"):
            price = chance.choice([None, *range(0, 900, 60)])
            shelf.part(number, price=price, visible=chance.random() < 0.3)
            shelf.fits(number, name, minutes=chance.randrange(6) * 10)
    for i in range(chance.randint(3, 6)):
        asking, *others = chance.sample(names, 4)
        ways = [
            at(f"{other}{n}", other) for other in others[: chance.randint(1, 2)] for n in chance.choice(MIXED)
        ]
        ways += [loose(chance.choice(["k1", "k2"]), chance.randint(1, 3))] * chance.randint(0, 1)
        shelf.add("companions", needs(f"rule {i}", f"{asking}{chance.choice('ab')}", *ways))
    wished = [f"p{i}{chance.choice('ab')}" for i in chance.sample(range(5), chance.randint(1, 2))]
    return shelf.book(), Question(VEHICLE, tuple(FitComponent(number) for number in wished))


def best_of_its_own(oracle: Oracle, sets: list, after: dict, kits: set[str]) -> Best:
    """By brute force: the best of all sets that can be made of a set's own parts."""
    own = [
        (key, best)
        for key, best in sets
        if all(number in (oracle.today[p], after[p]) for p, number in best.after)
        and {number for number, _ in best.loose} <= kits
    ]
    return min(own, key=lambda pair: pair[0])[1]


def axes_of(oracle: Oracle, best: Best) -> tuple:
    """Price (unknown ones first), what shows, and labour."""
    usual = Oracle(oracle.book, replace(oracle.q, preference=DEFAULT_PREFERENCE))
    _, visible, _, _, unknown, price, labour, _ = usual.score(dict(best.after), dict(best.loose))
    return (unknown, price), visible, labour


def further_by_brute_force(oracle: Oracle, sets: list, count: int) -> list[Best]:
    """The further sets: one by one the best that has nothing to spare and is no better and no worse
    throughout than those before it."""
    in_order = [best for _, best in sorted(sets, key=lambda pair: pair[0])]
    told = in_order[:1]
    for best in in_order[1:]:
        mine = axes_of(oracle, best)
        known = [list(zip(mine, axes_of(oracle, one), strict=True)) for one in told]
        if not all(any(a < b for a, b in pairs) and any(a > b for a, b in pairs) for pairs in known):
            continue
        own = best_of_its_own(oracle, sets, dict(best.after), {number for number, _ in best.loose})
        if (own.after, own.loose) == (best.after, best.loose):
            told.append(best)
        if len(told) > count:
            break
    return told[1:]


def as_told(oracle: Oracle, solution: Solution) -> tuple:
    loose_parts = tuple(sorted((part.component, part.quantity) for part in solution.loose))
    return tuple((p, solution.after[p]) for p in oracle.places), loose_parts


def questions(first: int, count: int) -> Iterator[tuple[int, RuleBook, Question]]:
    for seed in seeds(first, count):
        book, question = branching(seed)
        yield seed, book, replace(question, alternatives=ASKED)
    for seed in seeds(first + 500_000, count // 2):
        world = World(seed, positions=3 + seed % 2, components=5 - seed % 2, dense=(0.7, 1.6, 3.0)[seed % 3])
        yield seed, world.book(), replace(world.question(), alternatives=ASKED, limits=Limits())


@pytest.mark.parametrize("block", range(2))
def test_the_further_sets_are_those_that_brute_force_finds(block: int) -> None:
    seen: Counter = Counter()
    for seed, book, question in questions(70_000_000 + block * 1_000_000, 40):
        answer = answer_question(book, question, next_bests=False)
        if answer.solution is None:
            continue
        oracle = Oracle(book, question)
        expected = further_by_brute_force(oracle, list(oracle.sets()), ASKED)
        told = [as_told(oracle, solution) for solution in answer.others]
        assert told == [(best.after, best.loose) for best in expected], seed
        assert answer.others_complete, seed
        seen["sets"] += len(told)
        for solution in answer.others:
            every_part_has_a_reason(book, question, solution, seed)
    assert seen["sets"] > 4, seen


def every_part_has_a_reason(book: RuleBook, question: Question, solution: Solution, seed: int) -> None:
    judge, reasons = Judge(book, question, solution), reasons_in(solution)
    assert set(reasons) == set(judge.new), seed
    for place, (first, _) in reasons.items():
        assert judge.is_reason(place, first), (seed, place, first)
        ends_at_what_was_asked(reasons, place, seed)
