"""What people type is taken as it can only be meant, and said; what can be meant in two ways is asked."""

import pytest

from graftbook.catalogue.format import as_written
from graftbook.catalogue.format.as_written import Unclear
from graftbook.catalogue.format.grid import Place
from graftbook.catalogue.format.reading import SheetReading

HERE = Place("sheet.csv", 7)


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("1964-03-02", "1964-03-02"),
        ("2.3.1964", "1964-03-02"),
        ("02.03.1964", "1964-03-02"),
        ("31/12/1964", "1964-12-31"),
        ("12/31/1964", "1964-12-31"),
        ("5/5/1964", "1964-05-05"),
        ("2 March 1964", "1964-03-02"),
        ("2-Mar-1964", "1964-03-02"),
        ("2nd Mar. 1964", "1964-03-02"),
        ("March 2, 1964", "1964-03-02"),
        ("1964/3/2", "1964-03-02"),
        ("1964-03-02 00:00:00", "1964-03-02"),
    ],
)
def test_days(typed: str, day: str):
    assert as_written.day(typed, SheetReading(), HERE) == day


@pytest.mark.parametrize("left", ["31.2.1964", "1964", "soon", "March 1964", "2 Ma 1964", "1964-03-02 14:00"])
def test_what_is_no_day_is_left_for_the_class_to_refuse(left: str):
    assert as_written.day(left, SheetReading(), HERE) == left


def test_a_day_with_strokes_is_asked_and_the_option_settles_it():
    with pytest.raises(
        Unclear, match=r"2 March 1964 or 3 February 1964.*option `dates`, day-first or month-first"
    ):
        as_written.day("02/03/1964", SheetReading(), HERE)
    assert as_written.day("02/03/1964", SheetReading(dates="day-first"), HERE) == "1964-03-02"
    assert as_written.day("02/03/1964", SheetReading(dates="month-first"), HERE) == "1964-02-03"
    assert as_written.day("31/12/1964", SheetReading(dates="month-first"), HERE) == "1964-12-31"
    with pytest.raises(Unclear, match="points"):
        as_written.day("2.3.1964", SheetReading(dates="month-first"), HERE)


@pytest.mark.parametrize("typed", ["2.3.64", "2/3/64", "2 Mar 64"])
def test_a_century_is_never_guessed(typed: str):
    with pytest.raises(Unclear, match="four digits"):
        as_written.day(typed, SheetReading(dates="day-first"), HERE)


@pytest.mark.parametrize(
    ("typed", "sum_"),
    [
        ("80", "80"),
        ("80.5", "80.5"),
        ("80,00", "80.00"),
        ("£120", "120"),
        ("£ 1,234.50", "1234.50"),
        ("GBP 24", "24"),
        ("1.234,50 £", "1234.50"),
        ("1 234,50", "1234.50"),
        ("1\u202f234\u202f567", "1234567"),
        ("1'234.50", "1234.50"),
        ("1.234.567", "1234567"),
        ("0,125", "0.125"),
        ("24,-", "24"),
        ("-3,50", "-3.50"),
    ],
)
def test_sums_of_money(typed: str, sum_: str):
    assert as_written.money(typed, SheetReading(currency="GBP"), HERE) == sum_


@pytest.mark.parametrize("typed", ["1,234", "1.234", "£1,234"])
def test_thousands_or_decimals_are_asked_and_the_option_settles_it(typed: str):
    with pytest.raises(Unclear, match="option `decimals`, point or comma"):
        as_written.money(typed, SheetReading(currency="GBP"), HERE)
    thousands = "comma" if "." in typed else "point"
    assert as_written.money(typed, SheetReading(currency="GBP", decimals=thousands), HERE) == "1234"
    other = "point" if "." in typed else "comma"
    assert as_written.money(typed, SheetReading(currency="GBP", decimals=other), HERE) == "1.234"


@pytest.mark.parametrize(
    "left", ["1,23,4", "12.34.56", "1 2", "1,234.5.6", "free", "1 23,50", "£", "1,2345.6"]
)
def test_what_is_no_number_is_left_for_the_class_to_refuse(left: str):
    assert as_written.money(left, SheetReading(currency="GBP"), HERE) == left


def test_an_option_that_a_number_contradicts_is_told():
    with pytest.raises(Unclear, match="decimal comma"):
        as_written.number("24.50", SheetReading(decimals="comma"), HERE)
    with pytest.raises(Unclear, match="decimal point"):
        as_written.number("80,00", SheetReading(decimals="point"), HERE)
    with pytest.raises(Unclear, match="option `decimals` says comma"):
        as_written.measure("24.5 mm", SheetReading(decimals="comma"), HERE)


def test_a_sign_of_another_currency_is_no_sum_of_ours():
    for typed in ("€120", "120 EUR", "$ 5"):
        with pytest.raises(Unclear, match="not in GBP, the catalogue's currency"):
            as_written.money(typed, SheetReading(currency="GBP"), HERE)
    assert as_written.money("€120", SheetReading(currency="GBP"), HERE, "EUR") == "120"
    assert as_written.money("kr 5", SheetReading(currency="SEK"), HERE) == "5"
    with pytest.raises(Unclear, match="the row's currency"):
        as_written.money("£120", SheetReading(currency="GBP"), HERE, "EUR")


def test_of_the_catalogues_own_code_beside_a_sum_nothing_is_told():
    reading = SheetReading(currency="GBP")
    assert as_written.money("12,34 GBP", reading, HERE) == "12.34"
    assert [line.partition(": ")[2] for line in reading.assumptions()] == [
        "a comma is the decimal comma: '12,34' is 12.34"
    ]


def test_the_formats_own_numbers_stay():
    reading = SheetReading()
    for typed in ("0.853", "8.875", "20"):
        assert as_written.number(typed, reading, HERE) == typed
    assert as_written.number("12.0", reading, HERE, places=0) == "12"
    assert reading.assumptions() == []
    with pytest.raises(Unclear, match=r"1000 or 1\.000"):
        as_written.number("1,000", reading, HERE, places=0)


@pytest.mark.parametrize(
    ("typed", "measure"),
    [
        ("1,5 in", "1.5 in"),
        ("34,9mm", "34.9mm"),
        ("4,5 .. 6,25 in", "4.5 .. 6.25 in"),
        ("1'050 mm", "1050 mm"),
        ("1’050,5 .. 1’200 mm", "1050.5 .. 1200 mm"),
        ("5'11 in", "5'11 in"),
        ("master_bore at least 22,2 mm", "master_bore at least 22.2 mm"),
        ("1.234,5 mm", "1234.5 mm"),
        ("22.2 mm", "22.2 mm"),
        ("negative, earthed", "negative, earthed"),
        ("M8,8", "M8,8"),
    ],
)
def test_measures(typed: str, measure: str):
    assert as_written.measure(typed, SheetReading(), HERE) == measure


def test_a_measure_in_thousands_or_not_is_asked():
    with pytest.raises(Unclear, match=r"1234 or 1\.234"):
        as_written.measure("1,234 mm", SheetReading(), HERE)


def test_yes_and_no():
    words = {"TRUE": "yes", "false": "no", "y": "yes", "N": "no", "yes": "yes", "perhaps": "perhaps"}
    for typed, word in words.items():
        assert as_written.yes_no(typed, SheetReading(), HERE) == word


def test_assumptions_are_told_once_each_with_the_first_place():
    reading = SheetReading(currency="GBP")
    for line in (3, 9, 12):
        as_written.money(f"£{line},50", reading, Place("b.xlsx", line, "offer", f"C{line}"))
    as_written.day("2.3.1964", reading, Place("b.csv", 4))
    assert reading.assumptions() == [
        "b.xlsx, sheet offer, C3 and more: £ is GBP: '£3,50', 3 times",
        "b.xlsx, sheet offer, C3 and more: a comma is the decimal comma: '3,50' is 3.50, 3 times",
        "b.csv:4: read as a day: '2.3.1964' is 2 March 1964",
    ]
