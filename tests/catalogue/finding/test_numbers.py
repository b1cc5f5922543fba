"""Part numbers as people type them: every slip that is understood, and never more readings than bounded."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.catalogue.finding.numbers import (
    MOST_READINGS,
    MOST_TYPED,
    MOST_WIDER,
    looks_like_a_number,
    readings,
    typed_in,
    wider_readings,
    worth_widening,
)

MEANT = "QB3310"


@pytest.mark.parametrize("text", ["QB-3310", "qb 3310", "QB.33.10", "qb/3310", "QB–3310", "ＱＢ３３１０"])
def test_what_people_leave_out_or_add_does_not_count(text: str) -> None:
    assert typed_in(text)[0] == MEANT
    assert readings(text)[0] == MEANT


@pytest.mark.parametrize(
    "text",
    ["QB331O", "QB33I0", "QB33l0", "0B3310", "OB3310", "Q83310", "QB33lO", "BQ3310", "QB3130", "QB3301"],
)
def test_signs_taken_for_one_another_and_neighbours_swapped(text: str) -> None:
    assert MEANT in readings(text)


@pytest.mark.parametrize("text", ["GB3310", "QB3210", "QB310", "QB33310", "QB33100", "QN3310"])
def test_one_key_struck_wrong_too_much_or_too_little(text: str) -> None:
    assert MEANT in wider_readings(text)
    assert MEANT not in readings(text)


@pytest.mark.parametrize(
    "text", ["no. QB-3310", "part QB-3310 please", "QB-3310 left", "two of qb 33 10", "the QB 3310"]
)
def test_a_number_is_found_anywhere_in_a_text(text: str) -> None:
    assert MEANT in typed_in(text)


@pytest.mark.parametrize("text", ["front discs", "", "---", "12"])
def test_words_are_no_numbers(text: str) -> None:
    assert typed_in(text) == []


def test_only_what_is_surely_a_number_is_widened() -> None:
    assert worth_widening(["QB3310", "12VBATTERY", "60A", "3310"]) == ["QB3310"]
    assert looks_like_a_number("qb 3310")
    assert not looks_like_a_number("half shaft 27 splines")


@given(st.text(max_size=400))
def test_readings_are_bounded_whatever_is_typed(text: str) -> None:
    assert len(typed_in(text)) <= MOST_TYPED
    assert len(readings(text)) <= MOST_READINGS
    for typed in typed_in(text):
        assert len(wider_readings(typed)) <= MOST_WIDER


@pytest.mark.parametrize("text", ["O0I1S5B8" * 50, "0" * 1000, "1I" * 12, "A1 " * 500])
def test_hostile_numbers_are_bounded(text: str) -> None:
    assert len(readings(text)) <= MOST_READINGS
    assert len(typed_in(text)) <= MOST_TYPED
    assert all(len(typed) <= 24 for typed in typed_in(text))
