"""No catalogue holds a worker or eats its memory: each of the worst is asked in a process of its own."""

import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.complete import check_completeness
from graftbook.closure.explain.comparing import why_not
from graftbook.closure.question import FitComponent, Question
from graftbook.rulebook.scope import Scope, ScopeTooLarge
from tests.closure.shelf import VEHICLE, Shelf, at, needs
from tests.soundness import worst

AT_ONCE = 2
SECONDS = 1.0
"""The deadline here; `python -m tests.soundness.worst` gives each two seconds."""
ENDLESS = {
    "dense_conflicts", "three_sat", "long_cycle_of_choices", "many_candidates", "subset_sum",
    "many_loose_parts", "many_flaws", "budgets_over_all", "random_conflicts", "pigeons", "mesh_of_joints",
    "mesh_not_recorded", "great_pair",
}  # fmt: skip
LESS_SECONDS = 0.3
"""What these get, which use up whatever they are given: that they stop is seen of a short one as well."""


def seconds_for(name: str) -> float:
    """The deadline of one of the worst."""
    return LESS_SECONDS if name in ENDLESS else SECONDS


@pytest.fixture(scope="module")
def answers() -> dict[str, dict[str, Any]]:
    """What each of the worst costs."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        asked = pool.map(lambda name: worst.ask_apart(name, seconds_for(name)), worst.HOSTILE)
        return dict(zip(worst.HOSTILE, asked, strict=True))


@pytest.mark.parametrize("name", worst.HOSTILE)
def test_the_whole_answer_comes_in_time_and_in_bounds(answers: dict[str, dict[str, Any]], name: str) -> None:
    found = answers[name]
    assert found["processor"] <= seconds_for(name) * worst.MOST_SECONDS_OVER + worst.MOST_SECONDS_MORE, found
    assert found["megabytes"] <= worst.MOST_MEGABYTES, found


@pytest.mark.parametrize("name", worst.HOSTILE)
def test_the_outcome_is_honest(answers: dict[str, dict[str, Any]], name: str) -> None:
    """A set or a contradiction stands behind what is called proved; a cut answer says so."""
    found = answers[name]
    outcome = Outcome(found["outcome"])
    assert (outcome is Outcome.proved) <= found["set"]
    assert (outcome is Outcome.impossible) == bool(found["contradictions"])
    assert outcome is not Outcome.impossible or not found["set"]
    for parts, smallest in zip(found["contradictions"], found["smallest"], strict=True):
        assert 0 < parts <= 60
        assert parts < 60 or not smallest


def test_the_worst_are_hard_enough_to_show_something(answers: dict[str, dict[str, Any]]) -> None:
    assert {answers[name]["outcome"] for name in ENDLESS} == {str(Outcome.not_proved)}
    outcomes = [found["outcome"] for found in answers.values()]
    assert {str(o) for o in Outcome} == set(outcomes), outcomes
    assert any(found["cut_short"] for found in answers.values())


def test_numbers_that_all_stand_for_each_other_are_said_to_be_too_many() -> None:
    book, question = worst.supersession_ring()
    with pytest.raises(ScopeTooLarge):
        Scope(book, question.vehicle).options("p")


def test_an_impossible_question_without_time_is_not_called_proved() -> None:
    shelf = Shelf(a="a0 a1", b="b0 b1").add("companions", needs("r", "a1", at("b9", "b")))
    answer = shelf.ask("a1", seconds=60.0)
    assert answer.outcome is Outcome.impossible
    assert not answer.cut_short
    book, hard = worst.three_sat(60, 6.0)
    late = [answer_question(book, Question(VEHICLE, hard.wishes, seconds=s)) for s in (0.001, 0.05)]
    assert {a.outcome for a in late} <= {Outcome.not_proved, Outcome.impossible}
    assert late[0].outcome is Outcome.not_proved
    assert late[0].solution is None


def test_both_answers_of_a_comparison_share_the_time() -> None:
    book, question = worst.three_sat()
    start = time.process_time()
    compared = why_not(book, Question(VEHICLE, question.wishes, seconds=SECONDS), "c0.1")
    assert time.process_time() - start < SECONDS * worst.MOST_SECONDS_OVER + worst.MOST_SECONDS_MORE
    assert compared.one.outcome is compared.other.outcome is Outcome.not_proved


def test_a_long_row_of_proposed_parts_is_checked_in_time() -> None:
    book, _ = worst.long_row()
    start = time.process_time()
    question = Question(VEHICLE, (FitComponent("c0.0"),), seconds=1.0)
    found = check_completeness(book, question, {f"p{i}": f"c{i}.0" for i in range(1000)})
    assert time.process_time() - start < 1.0 * worst.MOST_SECONDS_OVER + worst.MOST_SECONDS_MORE
    assert not found.complete
    assert not found.surplus
