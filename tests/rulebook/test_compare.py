"""How recorded values are compared."""

import pytest

from graftbook.rulebook.compare import agrees, has_all
from graftbook.rulebook.model import Comparator, Wanted
from graftbook.rulebook.units import read_measure

LENGTH = "length"


@pytest.mark.parametrize(
    ("one", "comparator", "other", "verdict"),
    [
        ("22 mm", Comparator.at_least, "22 mm", True),
        ("1 in", Comparator.equal, "25.4 mm", True),
        ("25.3 mm", Comparator.equal, "1 in", False),
        ("22.20 mm", Comparator.equal, "22.21 mm", False),
        ("22.21 mm", Comparator.at_most, "22.20 mm", False),
        ("22.20 mm", Comparator.at_least, "22.21 mm", False),
        ("0.874 in", Comparator.equal, "22.1996 mm", True),
        ("5 in", Comparator.within, "4.5 .. 6 in", True),
        ("6.5 in", Comparator.within, "4.5 .. 6 in", False),
        ("5 .. 6 in", Comparator.within, "4.5 .. 6 in", True),
        ("4 .. 6 in", Comparator.within, "4.5 .. 6 in", False),
        ("4 .. 6 in", Comparator.at_least, "5 in", False),
        ("5 in", Comparator.at_most, "4 .. 6 in", False),
        ("4 in", Comparator.at_most, "4 .. 6 in", True),
    ],
)
def test_lengths_compare_in_si_and_spans_by_their_worse_end(one, comparator, other, verdict) -> None:
    assert agrees(read_measure(one, LENGTH), comparator, read_measure(other, LENGTH)) is verdict


def test_a_margin_is_in_si() -> None:
    one, other = read_measure("12 mm", LENGTH), read_measure("10 mm", LENGTH)
    assert agrees(one, Comparator.at_least, other, 0.002) is True
    assert agrees(one, Comparator.at_least, other, 0.0021) is False
    assert agrees(one, Comparator.equal, other, 0.002) is True


def test_missing_and_unlike_values_are_not_determined() -> None:
    words = read_measure("flared", "text")
    assert agrees(None, Comparator.equal, words) is None
    assert agrees(read_measure("1 mm", LENGTH), Comparator.equal, words) is None
    assert agrees(words, Comparator.at_least, words) is None


def test_one_failure_outweighs_a_missing_value() -> None:
    want = [
        Wanted("bore", Comparator.at_least, read_measure("22 mm", LENGTH)),
        Wanted("stroke", Comparator.at_least, read_measure("22 mm", LENGTH)),
    ]
    assert has_all({"stroke": read_measure("20 mm", LENGTH)}, want) is False
    assert has_all({"stroke": read_measure("24 mm", LENGTH)}, want) is None
