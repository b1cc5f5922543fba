"""Whatever is said of money is worked out a second time from the set, by code that shares nothing with it."""

import random
import re
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from graftbook.closure.answer import Answer, Cause, Outcome, PriceMissing, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.complete import check_completeness
from graftbook.closure.criteria import Criterion
from graftbook.closure.explain import contradictions
from graftbook.closure.explain.comparing import why_not
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaws
from graftbook.closure.search import solve
from graftbook.closure.search.constrain import Model
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.search.problem import CEILING
from graftbook.closure.words import wording
from graftbook.closure.words.sentences import instead, sentence
from graftbook.questions.closures.documents import answer_document, difference_document
from graftbook.rulebook.model import RuleBook
from tests.closure.oracle import Oracle
from tests.closure.shelf import VEHICLE, Shelf
from tests.closure.test_random_catalogues import everything, only_named, seeds
from tests.closure.worlds import World

SUM = re.compile(r"Parts (?:([\d,]+\.\d\d))?(?: and )?(?:what (.+?) costs?, which is not known)?[,;] labour")
COMPARED = re.compile(r"([\d,]+\.\d\d) (more|less) for parts")
KNOWN = re.compile(
    r"the price of (.+) is not known "
    r"\(the parts of known price cost (?:the same|([\d,]+\.\d\d) (more|less))\)"
)


def half_priced(seed: int, part: float = 0.4, **more) -> tuple[RuleBook, Question, World]:
    """A random catalogue in which a part of the prices is not known, and a question to it."""
    world, chance = World(seed, **more), random.Random(seed)
    world.components = {
        n: replace(c, price=None) if chance.random() < part else c for n, c in world.components.items()
    }
    return world.book(), world.question(), world


def pieces_of(book: RuleBook, question: Question, after: dict, loose: dict) -> Counter:
    """Every piece that is bought, by number."""
    oracle = Oracle(book, question)
    pieces: Counter = Counter(loose)
    for place, number in after.items():
        if number is not None and number != oracle.today[place]:
            pieces[number] += oracle.fitment(place, number).quantity
    return pieces


def money_of(book: RuleBook, question: Question, pieces: Counter) -> tuple[int, dict[str, int]]:
    """Minor units of the known prices, and the pieces of those that are not known."""
    known, unknown = 0, {}
    for number, count in pieces.items():
        price = 0 if number in question.on_the_bench else book.components[number].price
        if price is None:
            unknown[number] = count
        else:
            known += price * count
    return known, unknown


def of_solution(book: RuleBook, question: Question, solution: Solution) -> tuple[int, dict[str, int]]:
    loose = {part.component: part.quantity for part in solution.loose}
    return money_of(book, question, pieces_of(book, question, dict(solution.after), loose))


def minor(text: str) -> int:
    return round(float(text.replace(",", "")) * 100)


def names(text: str) -> set[str]:
    return set(re.split(r", | and ", text))


def told_sum(sentence: str) -> tuple[int, set[str]]:
    """What a sentence says the parts cost."""
    if sentence.endswith("Then nothing needs to change."):
        return 0, set()
    found = SUM.search(sentence)
    assert found, sentence
    return minor(found[1] or "0"), names(found[2]) if found[2] else set()


def assert_sum(said: dict, sentence: str, known: int, unknown: set[str]) -> None:
    assert told_sum(sentence) == (known, unknown)
    assert minor(said["price"]) == known
    assert set(said["unknown_prices"]) == unknown


def test_every_sum_names_what_it_does_not_know() -> None:
    with_unknown = 0
    for seed in seeds(21_000_000, 150):
        book, question, _ = half_priced(seed)
        answer = answer_question(book, replace(question, alternatives=2))
        document = answer_document(book, answer)
        solutions = [s for s in (answer.solution, *answer.others) if s]
        written = [d for d in (document["set"], *document["other_sets"]) if d]
        for solution, said in zip(solutions, written, strict=True):
            known, unknown = of_solution(book, question, solution)
            assert_sum(said["totals"], wording.costs(solution.totals), known, set(unknown))
            with_unknown += bool(unknown)
    assert with_unknown > 20


def assert_difference(compared, one: tuple, other: tuple) -> bool:
    """Whether the difference is told truly; the answer is whether it could be told at all."""
    (known, unknown), (other_known, other_unknown) = one, other
    added = {n for n, count in other_unknown.items() if count > unknown.get(n, 0)}
    removed = {n for n, count in unknown.items() if count > other_unknown.get(n, 0)}
    said, words = difference_document(compared), wording.difference_words(compared)
    more = other_known - known
    if added or removed:
        assert (said["price"], minor(said["known_price"])) == (None, more)
        assert said["unknown_prices"] == {"added": sorted(added), "removed": sorted(removed)}
        assert not COMPARED.search(words), words
        found = KNOWN.search(words)
        assert found, words
        assert added | removed <= names(found[1].replace(", of which it needs less,", "").replace("of ", ""))
        assert minor(found[2] or "0") * (-1 if found[3] == "less" else 1) == more, words
        return False
    assert minor(said.get("price", "0.00")) == more
    assert not {"known_price", "unknown_prices"} & said.keys()
    found = COMPARED.search(words)
    assert (minor(found[1]) * (-1 if found[2] == "less" else 1) if found else 0) == more, words
    return True


def test_a_comparison_is_told_only_where_every_price_of_it_is_known() -> None:
    told: Counter = Counter()
    for seed in seeds(22_000_000, 120):
        book, question, world = half_priced(seed)
        number = random.Random(seed).choice(world.numbers)
        compared = why_not(book, question, number)
        if compared.one.solution is None or compared.other.solution is None:
            continue
        sides = [of_solution(book, question, s.solution) for s in (compared.one, compared.other)]
        told[assert_difference(compared.difference, *sides)] += 1
    assert told[True] > 10
    assert told[False] > 10


def best_with(book: RuleBook, question: Question, place: str, number: str | None) -> tuple[int, int]:
    """By brute force: known prices, and parts of unknown price, of the best set with a fit there."""
    oracle = Oracle(book, question)
    found = min(
        (pair for pair in oracle.sets() if dict(pair[1].after)[place] == number), key=lambda pair: pair[0]
    )[1]
    return money_of(book, question, pieces_of(book, question, dict(found.after), dict(found.loose)))


def test_an_alternative_is_told_as_brute_force_finds_it() -> None:
    told: Counter = Counter()
    for seed in seeds(23_000_000, 120):
        book, question, _ = half_priced(seed, 0.3, positions=3, components=4)
        question = replace(question, limits=Limits())
        answer = answer_question(book, question)
        for change in answer.solution.changes if answer.solution else ():
            for other in (one for one in change.others if one.outcome is Outcome.proved):
                known, unknown = of_solution(book, question, answer.solution)
                there, missing = best_with(book, question, change.position, other.component)
                assert other.difference.figures.get(Criterion.price, 0) == there - known, seed
                if unknown == missing:
                    assert other.difference.price_is_known, seed
                told[other.difference.price_is_known] += 1
    assert told[True] > 3, told
    assert told[False] > 3, told


def ways_of(answer: Answer):
    """The ways out that only give something up."""
    return [way for way in answer.ways_out if way.fit is None and way.totals]


def test_a_way_out_tells_what_its_set_costs() -> None:
    ceilings: Counter = Counter()
    for seed in seeds(24_000_000, 150):
        book, question, _ = half_priced(seed, positions=3)
        limits = replace(question.limits, price_at_most=random.Random(seed).choice([0, 30, 80]))
        question = replace(question, limits=limits, on_the_bench=frozenset())
        if any(isinstance(w, RemedyFlaws) for w in question.wishes):
            continue
        answer = answer_question(book, question)
        for way in ways_of(answer):
            up = {(part.cause, part.name) for part in way.gives_up}
            kept = set(everything(book, question)) - up
            reduced, left = only_named(book, question, kept)
            dear = (Cause.limit, "limit: price ceiling") in up
            if dear:
                order = (Criterion.price, *(c for c in question.preference if c is not Criterion.price))
                left = replace(left, preference=order)
            best = Oracle(reduced, left).best()
            known, unknown = money_of(
                book, question, pieces_of(reduced, left, dict(best.after), dict(best.loose))
            )
            sentence = wording.way_out_sentence(book, way)
            assert told_sum(sentence)[0] == known, (seed, sentence)
            assert len(told_sum(sentence)[1]) == len(unknown), (seed, sentence)
            if dear and len(up) == 1:
                ceilings[assert_ceiling(instead(book, way), known, told_sum(sentence)[1], limits)] += 1
    assert min(ceilings["sum"], ceilings["unknown"]) > 5, ceilings


def assert_ceiling(instead: str, known: int, unknown: set[str], limits: Limits) -> str:
    """A ceiling is raised to a sum above it, or a price that is not known is accepted, or both."""
    raised = re.search(r"raise the ceiling to ([\d,]+\.\d\d)", instead)
    assert bool(raised) == (known > limits.price_at_most), instead
    if raised:
        assert minor(raised[1]) == known
    accepted = re.search(r"accept what (.+) costs?, which is not known", instead)
    assert (names(accepted[1]) if accepted else set()) == unknown, instead
    return "unknown" if unknown else "sum"


def test_a_contradiction_that_a_missing_price_makes_names_the_part() -> None:
    """Were nothing to pay for what has no price, the contradiction with the ceiling would be none."""
    named: Counter = Counter()
    for seed in seeds(25_000_000, 150):
        book, question, _ = half_priced(seed, positions=3)
        limits = replace(question.limits, price_at_most=random.Random(seed).choice([0, 30, 80]))
        question = replace(question, limits=limits, on_the_bench=frozenset())
        if any(isinstance(w, RemedyFlaws) for w in question.wishes):
            continue
        for contradiction in answer_question(book, question).contradictions:
            group = {(part.cause, part.name) for part in contradiction.parts}
            if CEILING not in group:
                continue
            priced = replace(
                book,
                components={n: replace(c, price=c.price or 0) for n, c in book.components.items()},
            )
            missing = Oracle(*only_named(priced, question, group)).best() is not None
            told = [fact for fact in contradiction.facts if "not known" in sentence(book, fact.ground)]
            assert bool(told) == missing, (seed, contradiction)
            named[missing] += 1
    assert min(named[True], named[False]) > 5, named


# By hand -----------------------------------------------------------------------------------------


def wishing(number: str) -> Question:
    return Question(VEHICLE, (FitComponent(number),))


def two_discs() -> Shelf:
    return Shelf(disc="old plain grooved").part("plain", price=11_690).part("grooved", price=None)


def test_the_next_best_of_unknown_price_is_not_said_to_cost_less() -> None:
    shelf = two_discs()
    compared = why_not(shelf.book(), wishing("plain"), "grooved")
    assert wording.difference_words(compared.difference) == (
        "the parts cannot be compared: the price of grooved is not known "
        "(the parts of known price cost 116.90 less)"
    )
    back = why_not(shelf.book(), wishing("grooved"), "plain")
    assert wording.difference_words(back.difference) == (
        "the parts cannot be compared: the price of grooved, of which it needs less, is not known "
        "(the parts of known price cost 116.90 more)"
    )


@pytest.mark.parametrize("ceiling", [0, 500_000])
def test_a_ceiling_broken_by_an_unknown_price_names_the_part(ceiling: int) -> None:
    shelf = two_discs()
    answer, book = shelf.ask("grooved", limits=Limits(price_at_most=ceiling)), shelf.book()
    assert answer.outcome is Outcome.impossible
    assert "grooved, whose price is not known" in sentence(book, answer.contradictions[0].facts[-1].ground)
    way = next(way for way in answer.ways_out if way.gives_up[0].name == "limit: price ceiling")
    assert instead(book, way) == "accept what grooved costs, which is not known"


def test_an_unknown_price_on_both_sides_is_no_hindrance() -> None:
    shelf = two_discs()
    shelf.positions["pad"] = replace(shelf.positions["disc"], name="pad", title="the pad")
    shelf.part("first").fits("first", "pad", from_new=True)
    shelf.part("dear", price=None).fits("dear", "pad")
    question = wishing("dear")
    compared = why_not(shelf.book(), question, "plain")
    assert wording.difference_words(compared.difference).startswith("1 more change, 116.90 more for parts")
    assert compared.difference.price_is_known


def test_a_checked_list_with_a_part_of_unknown_price_is_told_so_and_not_that_it_is_too_dear() -> None:
    question = Question(VEHICLE, (), Limits(price_at_most=50_000))
    found = check_completeness(two_discs().book(), question, {"disc": "grooved"})
    (broken,) = found.limits_broken
    assert sentence(two_discs().book(), broken.ground) == (
        "You pay at most 500.00 for the parts. The price of grooved (part grooved) is not known."
    )


def test_reading_the_solver_takes_nothing_of_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its first use in a process may come in a short look: what that finds is told all the same."""
    book, question, _ = half_priced(25_000_042, positions=3)
    question = replace(question, limits=replace(question.limits, price_at_most=80), on_the_bench=frozenset())
    now = [0.0]

    class Read(Model):
        def __init__(self, *given: Any) -> None:
            now[0] += 2 * contradictions.SECONDS_EACH
            super().__init__(*given)

    monkeypatch.setattr(solve, "Model", Read)
    answer = answer_question(book, question, Deadline(60.0, clock=lambda: now[0]))
    assert now[0]
    (told,) = (fact for each in answer.contradictions for fact in each.facts)
    assert isinstance(told.ground, PriceMissing)
