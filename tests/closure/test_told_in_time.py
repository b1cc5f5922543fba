"""A document is finished by the end of its deadline, or says that it was not: the clock goes with the work.

Each piece of work takes a second of the clock here, whatever the machine does, so what goes on after the end
is counted.
"""

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from types import ModuleType
from typing import Any

import pytest

from graftbook.checks import set as checks
from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.explain import solution
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaw, RemedyFlaws
from graftbook.closure.search.deadline import Deadline, OutOfTime, Pace
from graftbook.orders import documents as facts
from graftbook.orders.buying.buying import Market, Terms, buy
from graftbook.orders.needs import VehicleSet, needs_of
from graftbook.questions.closures import documents as answers
from graftbook.questions.closures import reasoning
from graftbook.questions.closures.reasoning import Posed, Rendered
from graftbook.rulebook.model import Flaw, RuleBook, Severity
from tests.closure.shelf import VEHICLE, Shelf, at, needs

PLACES = 12


def row() -> RuleBook:
    """A wish for the first brings all the others: twelve changes."""
    shelf = Shelf(**{f"p{n}": f"old{n} new{n}" for n in range(PLACES)})
    shelf.add(
        "companions", *(needs(f"rule {n}", f"new{n - 1}", at(f"new{n}", f"p{n}")) for n in range(1, PLACES))
    )
    shelf.add("flaws", Flaw(name="flaw", component="old0", severity=Severity.severe, symptom="It breaks."))
    return shelf.book()


@dataclass
class Work:
    """A clock on which only work takes time."""

    now: float = 0.0
    done: list[float] = field(default_factory=list)

    def __call__(self) -> float:
        return self.now

    def takes_a_second(self, of: Callable[..., Any]) -> Callable[..., Any]:
        def slow(*given: Any, **more: Any) -> Any:
            self.now += 1
            self.done.append(self.now)
            return of(*given, **more)

        return slow


PIECES: dict[str, tuple[ModuleType, str]] = {
    "each change explained": (solution, "_change"),
    "each change written": (answers, "change_document"),
    "each subject of the arithmetic": (checks, "_subject"),
}
QUESTIONS: dict[str, Callable[[Posed], Rendered]] = {
    "closure": reasoning.closure,
    "why not": lambda posed: reasoning.why_not(posed, "new1", ""),
    "what if": lambda posed: reasoning.what_if(posed, posed),
    "check": lambda posed: reasoning.check(posed, {"p0": "new0"}, {}),
}


@pytest.fixture(params=PIECES)
def work(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Work:
    clock = Work()
    module, name = PIECES[request.param]
    monkeypatch.setattr(module, name, clock.takes_a_second(getattr(module, name)))
    return clock


def posed(clock: Work, seconds: float) -> Posed:
    question = Question(VEHICLE, (FitComponent("new0"),), seconds=seconds)
    return Posed(row(), question, "24L-500", False, deadline=Deadline(seconds, clock))


def sets_in(document: Any) -> Iterator[Any]:
    """Every set in a document, however deep."""
    if isinstance(document, dict):
        if found := document.get("set"):
            yield found
        for part in document.values():
            yield from sets_in(part)


@pytest.mark.parametrize("kind", QUESTIONS)
def test_no_piece_of_a_document_is_begun_after_the_end(work: Work, kind: str) -> None:
    ask = QUESTIONS[kind]
    at_leisure = ask(posed(work, 1e9))
    assert at_leisure.lasting
    whole = work.now
    assert whole >= min(PLACES, len(checks.SUBJECTS))
    told: set[bool] = set()
    for seconds in (1.0, whole / 4, whole / 2.5, whole):
        work.now, work.done = 0.0, []
        try:
            answer = ask(posed(work, seconds))
        except OutOfTime:
            assert kind == "check"
            found = []
        else:
            found = list(sets_in(json.loads(answer.body)))
            assert answer.lasting == (answer.body == at_leisure.body), seconds
        told.add(bool(found))
        assert all(begun <= seconds * 1.5 + 1 for begun in work.done), (seconds, work.done)
    assert told == {False, True}


def test_what_was_not_written_in_time_is_told_as_not_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Work()
    monkeypatch.setattr(answers, "change_document", clock.takes_a_second(answers.change_document))
    told = reasoning.closure(posed(clock, PLACES / 2))
    document = json.loads(told.body)
    assert (document["outcome"], document["proved"], document["set"]) == ("not proved in time", False, None)
    assert (document["checks"], told.lasting) == (None, False)
    assert told.briefs[0].outcome == document["outcome"]


def test_the_lines_of_an_order_end_with_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    book, clock = row(), Work()
    answer, _ = reasoning.set_only(Posed(book, Question(VEHICLE, (FitComponent("new0"),)), "24L-500", False))
    assert answer.solution is not None
    found = needs_of([VehicleSet("24L-500", book, answer.solution)])
    market = Market(date(2026, 11, 2))
    order = buy(found, market, Terms())
    monkeypatch.setattr(facts, "_line", clock.takes_a_second(facts._line))
    look = Deadline(3.5, clock).check
    with pytest.raises(OutOfTime):
        facts.order_facts(found, order, market, "GBP", look)
    assert len(clock.done) == 4
    assert len(facts.order_facts(found, order, market, "GBP")["lines"]) == PLACES


def test_what_is_told_after_the_end_looks_at_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the book's index nor the vehicle's scope is made for it: of a large book that takes long."""
    book = row()
    wishes = (RemedyFlaw("flaw"), FitComponent("new0"))
    late = Posed(book, Question(VEHICLE, wishes), "24L-500", False, deadline=Deadline(0.0))
    for ask in (QUESTIONS[kind] for kind in ("closure", "why not", "what if")):
        told = ask(late)
        assert not told.lasting
        assert b"not proved in time" in told.body
        assert b"It breaks" in told.body
    assert "_index" not in vars(book)


def test_what_was_proved_is_told_alike_however_late_it_is_written() -> None:
    """An "impossible" that is kept says all of its wishes, also why one asks for nothing."""
    wishes = (FitComponent("new0"), RemedyFlaws(Severity.severe, "trim"))
    question = Question(VEHICLE, wishes, Limits(refuse=frozenset({"new5"})))
    whole = Posed(row(), question, "24L-500", False)
    answer = answer_question(whole.book, question)
    assert answer.outcome is Outcome.impossible
    document, told = reasoning.in_time(whole, answer)
    late = reasoning.in_time(replace(whole, deadline=Deadline(0.0)), answer)
    assert late == (document, told)
    assert [bool(wish["met_already"]) for wish in document["wishes"]] == [False, True]


def test_the_very_end_is_one_moment_for_all_that_wait() -> None:
    clock = Work()
    deadline = Deadline(1.0, clock)
    first = deadline.very_end()
    assert first > 1.5
    clock.now = 1.25
    assert deadline.very_end() == pytest.approx(first - 1.25)
    assert deadline.extended().very_end() == pytest.approx(first - 1.25)
    assert deadline.extended().within(9.0).extended().left() == pytest.approx(0.25)
    clock.now = 10.0
    assert deadline.very_end() == 0.0
    assert Deadline().very_end() == float("inf")


def test_a_machine_that_is_busy_for_a_while_is_not_feared_for_ever() -> None:

    pace, clock = Pace(0.001), Work()
    pace.seconds = 50.0
    deadline = Deadline(1.0, clock)
    refusals = 0
    while not deadline.reserves(500, pace):
        refusals += 1
        assert refusals < 30
    assert refusals > 3
    with pace.timed(1):
        time.sleep(0.05)
    assert pace.seconds < 0.05, "what stands around a single piece is not what a piece takes"
