"""Bar codes against another writer's table, and read back by a reader of our own."""

import io
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab.graphics.barcode import code128

from graftbook.orders.papers.barcode import QUIET, WIDTHS, bars, can_be_written, modules
from graftbook.orders.papers.labels import ACROSS, DOWN, Label, labels_pdf
from graftbook.orders.papers.picking import NO_PLACE, by_place, picking_pdf
from graftbook.orders.papers.text import REPLACEMENT
from tests.orders.facts import made_order

texts = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=30)


def read(text_bars: tuple[tuple[int, int], ...], wide: int) -> str:
    """What a reader makes of bars: widths by sixes, by another program's table, the check summed."""
    known = {
        "".join(str("abcd".index(sign.lower()) + 1) for sign in pattern): value
        for value, pattern in code128._patterns.items()
        if isinstance(value, int)
    }
    edges = [edge for at, width in text_bars for edge in (at, at + width)]
    assert edges[0] == wide - edges[-1] == QUIET
    widths = "".join(str(after - before) for before, after in pairwise(edges))
    assert widths.endswith("2331112")
    values = [known[widths[at : at + 6]] for at in range(0, len(widths) - 7, 6)]
    start, *letters, check = values
    assert start == 104
    assert (start + sum(place * value for place, value in enumerate(letters, 1))) % 103 == check
    return "".join(chr(value + 32) for value in letters)


def test_the_table_is_that_of_another_writer() -> None:
    theirs = {value: pattern for value, pattern in code128._patterns.items() if isinstance(value, int)}
    for value, widths in enumerate(WIDTHS):
        assert "".join(str("abcd".index(sign.lower()) + 1) for sign in theirs[value]) == widths, value
    assert len(set(WIDTHS)) == 106
    assert all(sum(map(int, widths)) == 11 for widths in WIDTHS)


@given(texts)
def test_what_is_written_is_read_back(text: str) -> None:
    assert read(bars(text), modules(text)) == text


@pytest.mark.parametrize("text", ["", "Regal Ü", "a\nb", "\x7f"])
def test_what_has_no_sign_is_refused(text: str) -> None:
    assert not can_be_written(text)
    with pytest.raises(ValueError, match="no sign"):
        bars(text)


def test_labels_fill_sheet_after_sheet_and_one_too_long_says_so() -> None:
    made = [Label(f"drawer {place}", "QB-9001", f"drawer {place}") for place in range(ACROSS * DOWN + 1)]
    made.append(Label("x" * 60, "", "x" * 60))
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(labels_pdf(made))).pages]
    assert len(pages) == 2
    assert "drawer 23" in pages[0]
    assert "drawer 24" in pages[1]
    assert sum(page.count("No bar code") for page in pages) == 1
    assert labels_pdf(made) == labels_pdf(made)
    assert len(PdfReader(io.BytesIO(labels_pdf([]))).pages) == 1


def test_what_is_picked_stands_by_place_and_what_has_none_last() -> None:
    parts = [
        {"number": number, "name": number.lower(), "quantity": 2, "place": place}
        for number, place in (("B", "shelf 2"), ("C", ""), ("A", "shelf 2"), ("D", "shelf 10"))
    ]
    found = [(place, [part["number"] for part in those]) for place, those in by_place(parts)]
    assert found == [("shelf 2", ["A", "B"]), ("shelf 10", ["D"]), (NO_PLACE, ["C"])]
    text = PdfReader(io.BytesIO(picking_pdf({**made_order(1), "from_stock": parts}))).pages[0].extract_text()
    assert text.index("shelf 2") < text.index("shelf 10") < text.index(NO_PLACE)
    assert REPLACEMENT not in text, "each line has a box that can be ticked"
    assert len(re.findall(r"\[__\]", text)) == len(parts)
