"""No cell is run by a spreadsheet.

The starts that make a formula are those of OWASP's page on CSV injection (equals, plus, minus, at, tab,
carriage return), with their full-width forms.
"""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.catalogue.format.cells import plain_cell, write_rows

OWASP_STARTS = ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.parametrize("start", OWASP_STARTS)
def test_what_could_start_a_formula_is_made_text(start: str):
    cell = plain_cell(start + "HYPERLINK(1)")
    assert not cell.startswith(OWASP_STARTS)
    assert "HYPERLINK(1)" in cell, "nothing of the text is lost"


@given(st.text())
def test_no_text_starts_a_formula(text: str):
    cell = plain_cell(text)
    is_number = cell.removeprefix("-").replace(".", "", 1).isdecimal()
    assert is_number or not (cell.startswith(OWASP_STARTS) or cell.lstrip().startswith(OWASP_STARTS))


@pytest.mark.parametrize(
    ("value", "cell"), [(-12, "-12"), ("-3.50", "-3.50"), (None, ""), (7, "7"), ("-3+4", "'-3+4")]
)
def test_numbers_stay_numbers(value: object, cell: str):
    assert plain_cell(value) == cell


@given(st.lists(st.lists(st.text(), min_size=2, max_size=2)))
def test_every_row_comes_back(rows: list[list[str]]):
    back = list(csv.reader(io.StringIO(write_rows(("a", "b"), rows), newline="")))
    assert back == [["a", "b"], *[[plain_cell(cell) for cell in row] for row in rows]]
