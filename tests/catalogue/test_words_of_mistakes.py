"""A mistake in a sheet is told as somebody who writes sheets would say it."""

import re

import pytest

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import Place, validate
from graftbook.rulebook.units import NotAMeasure, read_measure

SPAN = {
    "variant": "24P-21-L", "first": "24PL-000001", "last": "24PL-000009", "built_from": "1964-01-01",
    "built_to": "1964-02-01",
}  # fmt: skip
PART = {"number": "X-1", "name": "A part", "section": "brakes", "origin": "modern"}


@pytest.mark.parametrize(
    ("kind", "row", "said"),
    [
        ("chassis_span", SPAN | {"first": "24PL18412"}, "digits and a dash, then the serial: 24PL-018412"),
        (
            "chassis_span",
            SPAN | {"built_to": "sometime"},
            "a day is written year-month-day, such as 1964-01-31",
        ),
        (
            "chassis_span",
            SPAN | {"built_to": "1964"},
            "of a year alone write its first or its last day, such as",
        ),
        ("chassis_span", SPAN | {"built_to": "ca. 1964"}, "such as 1964-01-01"),
        ("chassis_span", SPAN | {"built_to": "0"}, "a day is written year-month-day"),
        ("chassis_span", SPAN | {"built_to": "-86400"}, "a day is written year-month-day"),
        ("chassis_span", SPAN | {"built_to": 86400}, "a day is written year-month-day"),
        ("chassis_span", SPAN | {"built_to": "1964-02-30"}, "a day is written year-month-day"),
        ("component", PART | {"number": "?-1"}, "a name begins with a letter or a digit"),
        ("component", PART | {"twin": "?-1"}, "a name begins with a letter or a digit"),
        ("component", PART | {"price": "12.505"}, "at most 2 digits can stand behind the dot"),
        ("component", PART | {"price": True}, "a number is needed here"),
        (
            "position",
            {"name": "a", "section": "b", "title": "c", "side": "port"},
            "or 'rear' is needed here, or no",
        ),
        ("component", PART | {"price": "dear"}, "a number is needed here, with a dot"),
    ],
)
def test_no_pattern_and_no_type_of_the_program_is_told(kind: str, row: dict[str, str], said: str):
    record, mistakes = validate(KIND_BY_WORD[kind], dict(row), Place("own.csv", 3))
    assert record is None
    (mistake,) = mistakes
    assert said in mistake.message
    assert not re.search(r"pattern|Input|parse|valid", mistake.message)


def test_a_word_that_is_missing_is_told_with_those_that_may_stand_there():
    row = {"name": "a", "title": "b", "generation": "one", "body": "open", "engine": "D1", "drive": "both"}
    row |= {"market": "home", "range": "r"}
    _, (mistake,) = validate(KIND_BY_WORD["variant"], row, Place("own.csv", 3))
    assert mistake.message == "a value is needed here: left or right"


def test_a_figure_without_its_unit_is_asked_for_one():
    with pytest.raises(NotAMeasure, match=r"^a length has a unit: one of: m, mm, "):
        read_measure("5", "length")
    with pytest.raises(NotAMeasure, match=r"^'kg' is not a unit of length; use one of: m, mm, "):
        read_measure("5 kg", "length")


@pytest.mark.parametrize("written", ["2,5 kg", "1,041.90 kg", "2,5 .. 3,5 kg"])
def test_a_comma_in_a_measure_is_told_as_a_comma_and_not_as_a_unit(written: str):
    with pytest.raises(NotAMeasure, match="has a comma; a dot stands before the decimals"):
        read_measure(written, "mass")


def test_a_unit_in_other_capitals_names_the_one_that_may_be_meant():
    with pytest.raises(NotAMeasure, match=r"^'Kg' is not a unit of mass; did you mean 'kg'\?"):
        read_measure("2.5 Kg", "mass")


def test_what_people_say_has_the_letters_of_their_language() -> None:
    kind, place = KIND_BY_WORD["other_word"], Place("own.csv", 3)
    for said in ("Kühler", "boîte d'essieu", "сцепление"):
        record, mistakes = validate(kind, {"said": said, "means": "radiator"}, place)
        assert record is not None, mistakes
    _, (wrong,) = validate(kind, {"said": "!", "means": "radiator"}, place)
    assert "what is said begins with a letter or a digit" in wrong.message
