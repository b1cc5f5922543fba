"""What is said of where a number goes: whom a fitment is for, and how much comes with it."""

from datetime import date

import pytest

from graftbook.closure.compatibility import compatible
from graftbook.closure.words.sentences import _when, compatibility_sentence
from graftbook.rulebook.model import When
from tests.closure.shelf import VEHICLE, Shelf, at, needs


@pytest.mark.parametrize(
    ("when", "said"),
    [
        (When(), "every vehicle of it"),
        (When(chassis_prefix="24PL", chassis_from=100, chassis_to=900), "chassis 24PL from 100 to 900"),
        (When(chassis_prefix="24PL", chassis_to=900), "chassis 24PL to 900"),
        (When(built_from=date(1964, 3, 2)), "built from 1964-03-02"),
        (
            When(built_to=date(1966, 1, 1), options=frozenset({"overdrive"})),
            "built to 1966-01-01, with overdrive",
        ),
        (When(without=frozenset({"postal", "heater"})), "without heater, postal"),
    ],
)
def test_whom_a_fitment_is_for(when: When, said: str):
    assert _when(when) == said


@pytest.mark.parametrize(
    ("rules", "said"), [(1, "1 rule asks for other parts with it"), (2, "2 rules ask for")]
)
def test_how_many_rules_ask_for_more(rules: int, said: str):
    shelf = Shelf(brake="drum disc", hub="plain splined", pipe="steel copper")
    shelf.add("companions", *[
        needs(f"rule {n}", "disc", at(part, place))
        for n, (place, part) in enumerate([("hub", "splined"), ("pipe", "copper")][:rules])
    ])  # fmt: skip
    book = shelf.book()
    assert said in compatibility_sentence(book, compatible(book, VEHICLE, "disc"))
