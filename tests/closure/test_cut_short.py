"""An answer in which time had a part says so, however little of the time was left when it ended.

A solver gives up a moment before its time is over. The clock here stands still for so many looks, then goes
on to that moment and stops for good: no deadline is ever over.
"""

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from graftbook.closure.answer import Answer, Cause, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.complete import Completeness, check_completeness
from graftbook.closure.explain.comparing import Comparison, what_if, why_not
from graftbook.closure.explain.contradictions import Blame
from graftbook.closure.search import constrain, solve
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.problem import CEILING, Switch
from graftbook.questions.closures.reasoning import lasting
from tests.closure.test_deadlines import NEVER, GivesUp, Looks, Put
from tests.closure.test_further_sets import branching
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import World

SECONDS = 60.0
BEFORE = 0.001
"""Seconds that are left when the clock stops."""
STOPS = (SECONDS / 2 - BEFORE, SECONDS - BEFORE, 1.5 * SECONDS - BEFORE, 10_000.0)
"""Before the end of half of it, of all, of what an "impossible" takes to be explained; and after."""


MOST_LOOKS = 25
"""At so many of an answer's looks at the clock it stops, or at each where there are fewer."""


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Put:
    """Puts such a clock into every deadline; a solver with next to no time left gives up."""
    usual, real = Deadline.__init__.__defaults__, constrain.new_solver

    def hurried(seconds: float) -> Any:
        return GivesUp(real(SECONDS)) if seconds <= BEFORE * 2 else real(SECONDS)

    def put(still: float, stops: float = 0.0) -> Looks:
        stopping = Looks(still, stops)
        defaults = tuple(stopping if one is time.monotonic else one for one in usual)
        monkeypatch.setattr(Deadline.__init__, "__defaults__", defaults)
        return stopping

    for module in (constrain, solve):
        monkeypatch.setattr(module, "new_solver", hurried)
    return put


def parts_of(found: Answer | Comparison | Completeness) -> list[Answer]:
    if isinstance(found, Comparison):
        return [found.one, found.other]
    return [found] if isinstance(found, Answer) else [found.completed] if found.completed else []


def is_lasting(found: Answer | Comparison | Completeness) -> bool:
    return all(map(lasting, parts_of(found))) and not getattr(found, "cut_short", False)


def not_said(clock: Put, ask: Callable[[], Any], seen: Counter) -> list[tuple[int, float]]:
    """Where the time was up and the answer is another one, and does not say why."""
    counting = clock(NEVER)
    whole = ask()
    assert is_lasting(whole), "with all the time of the world nothing is cut short"
    wrong, looks = [], range(counting.count + 1)
    for still in looks if len(looks) <= MOST_LOOKS else random.Random(len(looks)).sample(looks, MOST_LOOKS):
        for stops in STOPS:
            clock(still, stops)
            found = ask()
            seen["whole" if found == whole else "cut"] += 1
            if found != whole and is_lasting(found):
                wrong.append((still, stops))
    return wrong


def outcomes_of_next_bests(answer: Answer) -> set[Outcome]:
    return {other.outcome for change in answer.solution.changes for other in change.others}


@pytest.mark.usefixtures("solver_alone")
def test_a_next_best_that_is_not_proved_is_told_as_cut_short(clock: Put) -> None:
    unproved = []
    for seed in seeds(81_000_000, 12):
        book, question = branching(seed)
        question = replace(question, seconds=SECONDS)
        counting = clock(NEVER)
        assert not answer_question(book, question).cut_short
        for still in range(counting.count // 3, counting.count, 4):
            clock(still, SECONDS - BEFORE)
            answer = answer_question(book, question)
            if answer.outcome is Outcome.proved and Outcome.not_proved in outcomes_of_next_bests(answer):
                unproved.append(answer)
    assert unproved
    assert all(answer.cut_short for answer in unproved)


@pytest.mark.parametrize("first", range(3))
def test_whatever_is_not_the_whole_answer_says_so(clock: Put, first: int) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in seeds(81_000_000 + first * 1_000, 2):
        chosen, question = branching(seed)
        world = World(seed, dense=(0.7, 1.6)[seed % 2])
        for book, asked in ((chosen, question), (world.book(), world.question())):
            asked = replace(asked, alternatives=2, seconds=SECONDS)
            if found := not_said(clock, partial(answer_question, book, asked), seen):
                wrong[seed] = found
    assert not wrong
    assert min(seen["whole"], seen["cut"]) > 5, seen


def test_the_other_questions_say_so_too(clock: Put) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in seeds(81_010_000, 2):
        book, question = branching(seed)
        question = replace(question, seconds=SECONDS)
        number = random.Random(seed).choice(sorted(book.components))
        proposed = {place.name: f"{place.name}a" for place in list(book.positions.values())[:2]}
        asks = {
            "why not": partial(why_not, book, question, number),
            "what if": partial(what_if, book, question, book, replace(question, fitted={})),
            "check": partial(check_completeness, book, question, proposed),
        }
        for name, ask in asks.items():
            if found := not_said(clock, ask, seen):
                wrong[seed, name] = found
    assert not wrong
    assert min(seen["whole"], seen["cut"]) > 5, seen


@pytest.mark.parametrize("step", ["_suspects", "possible", "core"])
def test_a_contradiction_whose_time_ends_at_any_step_is_told_as_far_as_it_is_known(step: str) -> None:
    """The first two of these were 500 where an order's question had a price ceiling."""

    class Late(Blame):
        def __init__(self) -> None:
            self.late = False

    def late(*_asked: object) -> None:
        raise OutOfTime

    among: list[Switch] = [CEILING, (Cause.wish, "one")]
    blame = Late()
    for name, made in {"_suspects": lambda held: held, "possible": lambda _held: False, step: late}.items():
        setattr(blame, name, made)
    assert blame.smallest(among) == (among, False)
    assert blame.late
