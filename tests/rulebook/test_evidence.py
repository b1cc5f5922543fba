"""What a claim's evidence is worth when it fitted on some vehicles and did not on others."""

import pytest

from graftbook.rulebook.model import Claim, Evidence, Grade
from tests.closure.shelf import Shelf

BOOK = Evidence("book", Grade.parts_book, "plate 14")


def tried(fitted: int, failed: int) -> Evidence:
    return Evidence("tried", Grade.trial_fitted, "bay 3", fitted=fitted, not_fitted=failed)


TRIED = [(0, 0, False), (1, 0, False), (0, 1, True), (1, 1, True), (2, 1, False), (2, 3, True), (2, 2, True)]
"""Fitted, did not fit, disputed: what failed as often as it fitted is disputed."""


@pytest.mark.parametrize(("fitted", "failed", "disputed"), TRIED)
def test_what_failed_as_often_as_it_fitted_does_not_count(fitted: int, failed: int, disputed: bool) -> None:
    evidence = tried(fitted, failed)
    assert evidence.disputed is disputed
    claim = Claim(name="f", evidence=(evidence,))
    assert claim.grade is (Grade.hearsay if disputed else Grade.trial_fitted)
    both = Claim(name="f", evidence=(BOOK, evidence))
    assert both.grade is (Grade.parts_book if disputed else Grade.trial_fitted)


@pytest.mark.parametrize(("fitted", "failed", "disputed"), TRIED)
def test_an_answer_that_rests_on_it_says_so(fitted: int, failed: int, disputed: bool) -> None:
    shelf = Shelf(brake="drum disc").fits("disc", "brake", evidence=(tried(fitted, failed),))
    found = shelf.ask("disc").solution
    assert found.confidence is (Grade.hearsay if disputed else Grade.trial_fitted)
    assert [unconfirmed.claim.name for unconfirmed in found.unconfirmed] == (
        ["disc@brake"] if disputed else []
    )
    assert found.totals.unconfirmed == (1 if disputed else 0)
