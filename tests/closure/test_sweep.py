"""The short form of `python -m tests.closure.sweep`, and that what it counts it can count."""

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import Engine

from graftbook.closure import answering
from graftbook.closure.answer import Answer, Because, Cause, How, Other
from graftbook.closure.answering import answer_question
from graftbook.closure.explain import choices
from graftbook.closure.question import FitComponent, Question
from tests.closure import sweep
from tests.closure.shelf import VEHICLE, Shelf, at, needs
from tests.running import cases

EVERY = 480 // max(1, cases(1))
"""Two questions a variant; the long form: six, and the command all of them."""
SMALL = Path(__file__).parents[1] / "catalogue" / "small.csv"


def test_a_sample_of_the_demo_has_no_failure(sqlite_demo: Engine) -> None:
    swept = sweep.sweep(sqlite_demo, EVERY)
    assert swept.failures == []
    assert swept.counts["variants"] == 14
    assert min(swept.counts["questions"], swept.counts["parts"]) >= 12, swept.counts
    assert swept.counts["further sets"], swept.counts
    assert swept.counts["next bests"] >= 30, swept.counts
    assert swept.counts["cut short"] == 0


def asked() -> tuple[Shelf, Question]:
    shelf = Shelf(brake="drum disc", line="pipe hose wide", lamp="dim bright")
    shelf.part("hose", price=900).fits("wide", "line", minutes=90)
    shelf.add("companions", needs("line rule", "disc", at("hose", "line"), at("wide", "line")))
    return shelf, Question(VEHICLE, (FitComponent("disc"),), alternatives=sweep.FURTHER)


def failures() -> list[str]:
    shelf, question = asked()
    return list(sweep.look(shelf.book(), question, Counter()))


def spoilt(monkeypatch: pytest.MonkeyPatch, spoil) -> list[str]:
    """What the sweep finds when every answer is spoilt."""
    monkeypatch.setattr(sweep, "answer_question", lambda *a, **more: spoil(answer_question(*a, **more)))
    return failures()


def with_first_change(answer: Answer, **other) -> Answer:
    first, *rest = answer.solution.changes
    return replace(answer, solution=replace(answer.solution, changes=(replace(first, **other), *rest)))


def test_a_good_answer_has_none() -> None:
    assert failures() == []


def test_each_kind_of_failure_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    lost = Because(
        Cause.companion, "line rule", needs("line rule", "lamp"), "lamp", how=How.needs, asking="lamp"
    )
    assert any("is no reason" in f for f in spoilt(monkeypatch, lambda a: with_first_change(a, because=lost)))
    itself = (Other("disc"),)
    assert any(
        "is what was chosen" in f for f in spoilt(monkeypatch, lambda a: with_first_change(a, others=itself))
    )
    elsewhere = (Other("bright"),)
    assert any(
        "cannot sit there" in f for f in spoilt(monkeypatch, lambda a: with_first_change(a, others=elsewhere))
    )
    fewer = spoilt(monkeypatch, lambda a: replace(a, others_asked=0, others=()))
    assert any("not why" in f for f in fewer)
    short = spoilt(
        monkeypatch, lambda a: replace(a, solution=replace(a.solution, changes=a.solution.changes[:1]))
    )
    assert any("breaks line rule" in f for f in short)


def test_an_error_and_a_part_to_spare_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_, **__):
        raise RuntimeError("no reason was found for lamp")

    with monkeypatch.context() as here:
        here.setattr(choices._Choices, "ranked", fails)
        assert any("no reason was found for lamp" in f for f in failures())
    shelf, question = asked()
    spare = answer_question(
        shelf.book(), replace(question, wishes=(*question.wishes, FitComponent("bright")))
    )
    assert any("is to spare" in f for f in sweep.wrongs_of(shelf.book(), question, spare.solution))


def test_the_command_ends_with_1_when_something_is_wrong(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    monkeypatch.setattr(answering, "undominated", None)
    assert sweep.main([str(SMALL), "--variant", "T1-R"]) == 1
    told = capsys.readouterr().out
    assert re.search(r"^[1-9]\d* failures in", told, re.MULTILINE), told
    assert "T1-R" in told
    assert "NoneType" in told
