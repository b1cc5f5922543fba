"""What nobody recorded of the work is not told as no work, nor a clash without the places where it is."""

from dataclasses import replace
from typing import Any

import pytest

from graftbook.closure.criteria import Totals
from graftbook.closure.words.sentences import cautions_by
from graftbook.closure.words.wording import costs
from graftbook.questions.closures.plain_set import note_lines, priced_line

NOTHING = Totals(0, 0, 0, 0, 0, 0, 0)


def fit(minutes: int) -> Any:
    return {"quantity": 1, "price": "40.00", "minutes": minutes, "component": "GT 7"}


@pytest.mark.parametrize(
    ("minutes", "told"),
    [((0,), "40.00       ? min"), ((45,), "40.00      45 min"), ((45, 0), "80.00 at least 45 min")],
)
def test_a_fit_of_unknown_time_is_not_told_as_done_in_no_time(minutes: tuple[int, ...], told: str) -> None:
    (line,) = priced_line("  1. GT 7", [fit(each) for each in minutes])
    assert line.endswith(told)


def test_a_set_of_unknown_time_says_so() -> None:
    assert costs(replace(NOTHING, changes=2)).endswith("labour not recorded.")
    assert costs(replace(NOTHING, changes=2, labour=30)).endswith("labour 30 min.")
    assert costs(NOTHING).endswith("labour 0 h.")


def test_a_clash_is_told_with_the_places_where_it_is() -> None:
    def clash(*positions: str) -> Any:
        return {"sentence": "One voltage on the vehicle.", "missing": [], "positions": list(positions)}

    notes = [clash("charging.machine", "horn"), clash("charging.machine", "starter")]
    assert list(note_lines("CLASHING", notes, where=True))[-1] == (
        "  - One voltage on the vehicle (charging.machine, horn, starter)."
    )
    assert list(note_lines("CLASHING", notes))[-1] == "  - One voltage on the vehicle."


@pytest.mark.parametrize(
    ("title", "told"),
    [
        ("Bremsen", "Brakes hold lives"), ("Circuit de freinage", "Brakes hold lives"),
        ("Lenkung", "steering fault"), ("Kraftstoffanlage", "Fuel burns"), ("Carburant", "Fuel burns"),
        ("Elektrik", "high current"), ("Installation électrique", "high current"),
        ("Rahmen und Puffer", "frame carries everything"), ("Springs", "Springs hold stored force"),
        ("Federung", "Springs hold stored force"), ("Radsätze", "A wheel that comes off kills"),
        ("Achslager", "A wheel that comes off kills"), ("Roues et essieux", "A wheel that comes off kills"),
    ],
)  # fmt: skip
def test_cautions_stand_whatever_language_a_section_is_called_in(title: str, told: str) -> None:
    (caution,) = cautions_by(title)
    assert told in caution
