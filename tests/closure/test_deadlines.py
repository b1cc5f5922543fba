"""A deadline that falls at any look at the clock: an answer comes all the same, and says what it is.

The clock stands still for so many looks and then runs; every number of looks is tried. A solver that has no
time left is stopped at the first set it finds, which may hold what nobody asks for.
"""

import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from itertools import cycle
from typing import Any

import pytest
from fastapi import FastAPI
from ortools.sat.python import cp_model

from graftbook.catalogue.compiling.books import Books
from graftbook.closure.answer import Answer, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.compatibility import Compatibility, compatible
from graftbook.closure.complete import check_completeness
from graftbook.closure.explain.comparing import what_if, why_not
from graftbook.closure.question import Question
from graftbook.closure.search import constrain, solve
from graftbook.closure.search.deadline import Deadline
from graftbook.questions.closures.documents import answer_document
from graftbook.rulebook.model import RuleBook
from graftbook.settings import Settings
from tests.closure.judging import wrong_reasons
from tests.closure.test_further_sets import branching
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import World
from tests.conftest import application, client_of
from tests.running import cases

STEP = 10_000.0
"""Seconds that pass at each look, once the clock runs: every deadline is then over."""


PAST = 1.2
"""Of the asked seconds: the proof is over, and there is time left to lay out what was found."""

SMALL = 64


class Looks:
    """A clock that stands still for `still` looks; then it runs, or goes on to `stops` and stops for good."""

    def __init__(self, still: float, stops: float | None = None) -> None:
        self.still, self.stops, self.count = still, stops, 0

    def __call__(self) -> float:
        self.count += 1
        if self.stops is None:
            return max(0.0, self.count - self.still) * STEP
        return 0.0 if self.count <= self.still else self.stops


class GivesUp:
    """A solver that finds a set, and has no time left to prove that there is no better one."""

    def __init__(self, solver: cp_model.CpSolver) -> None:
        self._solver = solver

    def __getattr__(self, name: str) -> Any:
        return getattr(self._solver, name)

    def solve(self, model: cp_model.CpModel) -> Any:
        self._solver.parameters.stop_after_first_solution = True
        status = self._solver.solve(model)
        return cp_model.FEASIBLE if status == cp_model.OPTIMAL and model.has_objective() else status


Put = Callable[..., Looks]
NEVER = float("inf")


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Put:
    """Puts a clock that stands still for so many looks into every deadline."""
    usual = Deadline.__init__.__defaults__
    real = constrain.new_solver

    def first_found(seconds: float) -> Any:
        solver = real(60.0)
        if seconds <= 0 and constrain.LARGEST_OBJECTIVE == SMALL:  # no care at all; too slow on the demo
            solver.parameters.cp_model_presolve = False
            solver.parameters.search_branching = cp_model.FIXED_SEARCH
        return GivesUp(solver) if seconds <= 0 else solver

    def put(still: float, stops: float | None = None) -> Looks:
        looks = Looks(still, stops)
        defaults = tuple(looks if one is time.monotonic else one for one in usual)
        monkeypatch.setattr(Deadline.__init__, "__defaults__", defaults)
        return looks

    monkeypatch.setattr(solve, "new_solver", first_found)
    return put


def every_look(
    clock: Put, ask: Callable[[], Any], stops: tuple[float | None, ...] = (None,)
) -> Iterator[tuple[int, Any]]:
    """What is answered when the time is up at the first look, at the second, and so on to the last."""
    whole = clock(NEVER)
    ask()
    for still in range(whole.count + 1):
        for stop in stops:
            clock(still, stop)
            yield still, ask()


def wrongs_of(book: RuleBook, question: Question, answer: Answer, whole: bool = True) -> list[str]:
    """What is wrong with the sets of an answer, as the service lays it out."""
    answer_document(book, answer)
    wrong = []
    for solution in (answer.solution, *answer.others) if answer.solution else ():
        proposed = {change.position: change.component for change in solution.changes}
        found = check_completeness(
            book, question, proposed, {part.component: part.quantity for part in solution.loose}
        )
        notes = (*found.missing, *found.clashing, *found.limits_broken)
        wrong += [f"breaks {note.name}" for note in notes]
        wrong += wrong_reasons(book, question, solution) if whole else ()
    return wrong


def small_questions(first: int, count: int) -> Iterator[tuple[int, RuleBook, Question]]:
    for seed in seeds(first, count):
        book, question = branching(seed)
        yield seed, book, replace(question, alternatives=2)
        world = World(seed, dense=(0.7, 1.6)[seed % 2])
        yield seed, world.book(), replace(world.question(), alternatives=2)


@pytest.mark.usefixtures("many_stages", "solver_alone")
def test_at_every_look_the_solver_is_right_in_what_it_tells(clock: Put) -> None:
    seen: Counter = Counter()
    for seed, book, question in small_questions(80_000_000, 4):
        last = None
        stops = (None, question.seconds * PAST)
        for still, answer in every_look(clock, partial(answer_question, book, question), stops):
            clock(NEVER)
            seen[answer.outcome, answer.solution is not None] += 1
            if answer != last:
                assert wrongs_of(book, question, answer) == [], (seed, still)
            last = answer
    assert seen[Outcome.not_proved, True] > 5, seen
    assert seen[Outcome.not_proved, False] > 5, seen


def test_at_every_look_elimination_is_right_in_what_it_tells(clock: Put) -> None:
    """It has no set before it has the best."""
    seen: Counter = Counter()
    for seed, book, question in small_questions(80_000_000, 4):
        last = None
        for still, answer in every_look(clock, partial(answer_question, book, question), (None,)):
            clock(NEVER)
            seen[answer.outcome, answer.solution is not None] += 1
            if answer != last:
                assert wrongs_of(book, question, answer) == [], (seed, still)
            last = answer
    assert seen[Outcome.not_proved, False] > 5, seen
    assert seen[Outcome.proved, True] > 5, seen


@pytest.mark.usefixtures("many_stages")
def test_at_every_look_the_other_questions_are_answered(clock: Put) -> None:
    for seed, book, question in small_questions(80_001_000, 2):
        number = random.Random(seed).choice(sorted(book.components))
        proposed = dict.fromkeys(list(book.positions)[:1])
        asks: list[Callable[[], Any]] = [
            partial(why_not, book, question, number),
            partial(what_if, book, question, book, replace(question, fitted={})),
            partial(check_completeness, book, question, proposed),
            partial(_compatible, book, question, number),
        ]
        for ask in asks:
            last = None
            for still, found in every_look(clock, ask):
                clock(NEVER)
                answer = getattr(found, "one", None) or getattr(found, "completed", None)
                if answer is not None and answer != last:
                    assert wrongs_of(book, question, answer, whole=False) == [], (seed, still)
                last = answer


def _compatible(book: RuleBook, question: Question, number: str) -> Compatibility:
    return compatible(replace(book), question.vehicle, number, deadline=Deadline(10.0))


@pytest.fixture
def many_stages(monkeypatch: pytest.MonkeyPatch) -> None:
    """The criteria are compared in nearly as many steps as there are criteria, as in a large problem."""
    monkeypatch.setattr(constrain, "LARGEST_OBJECTIVE", SMALL)


# The whole service -------------------------------------------------------------------------------

VEHICLE = {"chassis": "24PR-012000"}
WISHED = {"vehicle": VEHICLE, "wishes": [{"fit": "QB-7093"}]}
ENTRIES = {
    "/v1/closures": WISHED | {"alternatives": 1},
    "/v1/closures/why-not": WISHED | {"component": "QB-3310"},
    "/v1/closures/what-if": WISHED | {"other_vehicle": {"chassis": "24PL-018412"}},
    "/v1/orders": WISHED,
    "/v1/quotations": WISHED | {"labour_rate": "58.00"},
    "/v1/checks": {"vehicle": VEHICLE, "components": ["QB-7093"]},
    "/v1/compatibility": {"questions": [VEHICLE | {"component": "QB-7093"}]},
}
LAST_LOOKS = 60
"""Of a question's looks at the clock the last so many come when what can be reached is known."""


@pytest.fixture(scope="module")
def keeps_nothing(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The demo range behind a service that keeps no answers: it reasons each time."""
    with application(sqlite_demo_url, answers_kept=0) as app:
        yield app


@pytest.mark.anyio
@pytest.mark.parametrize("entry", ENTRIES)
async def test_whenever_the_time_is_up_the_service_answers(
    clock: Put, keeps_nothing: FastAPI, entry: str
) -> None:
    seen: Counter = Counter()
    async with client_of(keeps_nothing) as client:
        whole = clock(NEVER)
        of_all = await client.post(entry, json=ENTRIES[entry])
        assert of_all.status_code == 200
        chance = random.Random(entry)
        early = [chance.randrange(whole.count) for _ in range(2)]
        late = [whole.count - chance.randrange(min(LAST_LOOKS, whole.count)) for _ in range(cases(2))]
        past = Settings().seconds_to_reason * PAST
        stops = [(0, None), *zip((*early, *late), cycle((past, None)), strict=False)]
        for still, stop in stops:
            clock(still, stop)
            answer = await client.post(entry, json=ENTRIES[entry])
            assert answer.status_code in (200, 409, 503), (still, answer.text)
            if stop is None and answer.status_code == 200:
                assert answer.json().get("set") is None, "a set was written after the end"
            assert "etag" not in answer.headers or answer.content == of_all.content, still
            seen[answer.status_code] += 1
    assert seen[200], seen


@pytest.mark.anyio
async def test_the_book_of_the_other_vehicle_is_waited_for_no_longer_than_asked(
    keeps_nothing: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[float] = []
    real = Books.book

    def book(books: Books, variant: str, also: Any = (), seconds: float = NEVER) -> RuleBook:
        waited.append(seconds)
        return real(books, variant, also, seconds)

    monkeypatch.setattr(Books, "book", book)
    entry = "/v1/closures/what-if"
    async with client_of(keeps_nothing) as client:
        answer = await client.post(entry, json=ENTRIES[entry] | {"deadline_seconds": 4.0})
    assert answer.status_code == 200
    assert len(waited) == 2
    assert all(seconds < 4.0 * 1.5 + 0.05 for seconds in waited), waited
