"""The import parser takes anything: it gives records and listed mistakes, and never an exception.

A short form runs with the suite; `GRAFTBOOK_FUZZ=20000 python -m pytest tests/soundness/test_fuzz_imports.py`
is the long one. `GRAFTBOOK_FUZZ` counts the examples of each test.
"""

import io
import os
import re
import string
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.records import KIND_BY_WORD, KINDS, Record
from graftbook.catalogue.format.sheets import (
    Mistake,
    Place,
    Placed,
    guarded,
    read_sheet,
    unguarded,
    validate,
    write_table,
)
from graftbook.catalogue.format.sources import from_objects
from graftbook.catalogue.format.validation import findings
from graftbook.catalogue.store.to_rows import rows_of
from graftbook.rulebook.units import QUANTITIES, NotAMeasure
from tests.running import cases

EXAMPLES = int(os.environ.get("GRAFTBOOK_FUZZ", cases(60)))
fuzz = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))

KINDS_OF_VALUE = {quantity.replace(" ", "_"): (quantity, ("red", "blue")) for quantity in QUANTITIES}

NASTY = [
    "", " ", "#", "[component]", "[", "]", "[]", "[\x00]", ";", ";;", "a;b", "'", "'=1", "=1+2", "+1",
    "-1", "@x", "\t", "-5 mm", "=HYPERLINK(\"x\")", "yes", "no", "YES", "true", "0", "-0",
    "1e999999999", "1e-999999999", "NaN", "Infinity", "-inf", "9" * 400, "0." + "1" * 400, "1_000",
    "１２", "٣", "\ufeff", "\u200b", "\u202e", "e\u0301", "é", "\x00", "\x85", "\u2028", "\n", "\r",
    "\r\n", "a\nb", '"', '""', "a,b", "1968-02-30", "1968-03-01", "99999-01-01", "0", "24L-000001",
    "24L-9999999999", "master_bore at least 22 mm", "x within .. ..", "1.2 kg", "1.2.3 kg", ". mm",
    "4.5 .. 6 in", "6 .. 4.5 in", "1e99 m", "a" * 30_001, "–5", "−5 mm", "current", "original",
    "direct", "equal", "at least", "severe", "left", "measured", "required",
]  # fmt: skip

words = (
    st.sampled_from(NASTY)
    | st.text(max_size=12)
    | st.text(string.ascii_letters + "0123456789-_. ", max_size=9)
)
columns = sorted({name for kind in KINDS for name in kind.model_fields})


def read(text: str) -> list[Placed | Mistake]:
    return list(read_sheet(io.StringIO(text, newline=""), "sheet.csv"))


def well_told(found: list[Placed | Mistake]) -> None:
    """Every mistake names its file, a line, a field, and says something that can be printed."""
    for item in found:
        assert item.place.file == "sheet.csv"
        assert item.place.line >= 1
        if isinstance(item, Mistake):
            assert item.message
            for text in (item.kind, item.field, item.message):
                text.encode("utf-8")
                assert len(text) < 2_000
        else:
            made(item.record)


def made(record: Record) -> None:
    """What follows the parser takes every record that it gives."""
    assert name_of(record)
    told = list(findings(record))
    assert all(message for _, message in told)
    if not told:
        with suppress(NotAMeasure):
            rows_of(record, KINDS_OF_VALUE)


@st.composite
def sheets(draw: Any) -> str:
    """Sheets that are nearly right: known kinds and columns, and any cell."""
    stream = io.StringIO()
    for _ in range(draw(st.integers(1, 3))):
        kind = draw(st.sampled_from(KINDS))
        names = draw(
            st.lists(st.sampled_from([*kind.model_fields, *kind.model_fields, *columns]), max_size=8)
        )
        stream.write(f"[{kind.kind_of_record}]\n{','.join(names)}\n")
        for _ in range(draw(st.integers(0, 3))):
            cells = draw(st.lists(words, min_size=len(names), max_size=len(names) + 1))
            quoted = draw(st.booleans())
            stream.write(
                ",".join(_quoted(c) if quoted else c for c in cells)
                + draw(st.sampled_from(["\n", "\r\n", "\r"]))
            )
    return stream.getvalue()


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


@fuzz
@given(st.binary(max_size=400) | sheets().map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_give_records_and_mistakes(data: bytes):
    stream = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8", newline="")
    well_told(list(read_sheet(stream, "sheet.csv")))


@fuzz
@given(sheets(), st.integers(0, 500), st.binary(max_size=4))
def test_a_sheet_with_any_bytes_put_in_gives_records_and_mistakes(sheet: str, place: int, extra: bytes):
    data = sheet.encode("utf-8", "surrogatepass")
    data = data[:place] + extra + data[place + len(extra) :]
    for encoding in ("utf-8", "utf-16", "latin-1"):
        stream = io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline="")
        well_told(list(read_sheet(stream, "sheet.csv")))


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | words | st.just(10**4000),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=6,
)


@fuzz
@given(
    st.lists(
        json_values
        | st.fixed_dictionaries(
            {"record": st.sampled_from(list(KIND_BY_WORD)) | json_values},
            optional=dict.fromkeys(columns, json_values),
        ),
        max_size=3,
    )
)
def test_any_json_gives_records_and_mistakes(objects: list[Any]):
    well_told(list(from_objects(objects, "sheet.csv")))


_BY_TYPE: dict[str, list[Any]] = {
    "date": ["1968-03-01", "2026-11-25", "0001-01-01", "9999-12-31"],
    "bool": [True, False, "yes", "no"],
    "int": [0, 1, 7, 1000],
    "Decimal": ["1", "0", "1", "12.50", "0.1", "1e2", "9999999999.99", "0.99999"],
}

good_names = st.text(string.ascii_letters + string.digits, min_size=1, max_size=4) | st.sampled_from(
    ["QB-3310", "a:b/c>d@e+f-g._ h", "0" * 120, "master_bore", "EUR"]
)
good_texts = (
    st.sampled_from([w for w in NASTY if len(w) < 2_000])
    | st.text(max_size=20)
    | st.sampled_from(
        [
            "=1+1",
            "'=x",
            "''@x",
            "-2+3",
            "'-5 mm",
            "-5 mm",
            "+44 20",
            "a\nb",
            "x; y",
            '"q"',
            "—",
            "a\tb",
            "master_bore at least 2 mm",
        ]
    )
)


def _values(kind: type[Record]) -> st.SearchStrategy[dict[str, Any]]:
    """Fields of a kind that have a fair chance of being right."""

    def of(name: str) -> st.SearchStrategy[Any]:
        annotation = str(kind.model_fields[name].annotation)
        if name == "points":
            return st.lists(st.sampled_from(["0 0", "1000 0", "20 30", " 7  9 ", "x"]), max_size=6)
        if name == "measured":
            return st.lists(st.sampled_from(["bore 20 mm", "bore  1 in", "x"]), max_size=3)
        if "list[" in annotation:
            least = int(kind.model_fields[name].is_required())
            return st.lists(good_names | good_texts, min_size=least, max_size=3)
        for word, values in _BY_TYPE.items():
            if word in annotation:
                return st.sampled_from(values)
        if "Literal" in annotation:
            return st.sampled_from(
                [w.strip(" '\"") for w in annotation.split("[", 1)[1].rstrip("]").split(",")]
            )
        if name == "currency":
            return st.sampled_from(["EUR", "USD", "eur", "=EU"])
        if "chassis" in name or name in ("first", "last"):
            return st.sampled_from(["24L-000001", "24L-000900", "A-1"]) | good_names
        return good_names | good_texts

    required = {n: of(n) for n, f in kind.model_fields.items() if f.is_required()}
    optional = {n: of(n) for n, f in kind.model_fields.items() if not f.is_required()}
    return st.fixed_dictionaries(required, optional=optional)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_written_is_read_the_same(kind: type[Record]):
    right = []

    @settings(fuzz, max_examples=max(20, EXAMPLES // 10))
    @given(_values(kind))
    def comes_back(fields: dict[str, Any]) -> None:
        record, mistakes = validate(kind, fields, Place("sheet.csv", 1))
        if record is None:
            assert mistakes
            return
        right.append(record)
        made(record)
        stream = io.StringIO(newline="")
        write_table(stream, kind, [record, record])
        assert list(_records(read(stream.getvalue()))) == [record, record]

    comes_back()
    assert right, "no record that is right was ever tried"


def _records(found: list[Placed | Mistake]) -> Iterator[Record]:
    for item in found:
        assert isinstance(item, Placed), str(item)
        yield item.record


@fuzz
@given(st.text() | good_texts)
def test_what_is_guarded_comes_back_and_starts_no_formula(text: str):
    safe = guarded(text)
    assert unguarded(safe) == text
    assert harmless_to_a_spreadsheet(safe), safe


STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
"""What a spreadsheet may take for the start of a formula, the full-width forms too."""
A_NUMBER = re.compile(r"[+-][0-9][0-9.]*( [\w/%. ]*)?", re.ASCII)


def harmless_to_a_spreadsheet(cell: str) -> bool:
    return not cell or cell[0] not in STARTS or A_NUMBER.fullmatch(cell) is not None


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("rest", ["", "1+1", "cmd|' /C calc'!A0", "A1", "SUM(A1)", "'x", "x\ny"])
def test_every_start_of_a_formula_is_guarded(start: str, rest: str):
    safe = guarded(start + rest)
    assert unguarded(safe) == start + rest
    assert harmless_to_a_spreadsheet(safe), safe
    again = guarded(safe)
    assert unguarded(again) == safe, "what was guarded once is guarded anew"


@pytest.mark.parametrize("number", ["-5", "+5", "-5.25 mm", "-40 degC", "+1.5"])
def test_a_number_with_a_sign_is_left_alone(number: str):
    assert guarded(number) == unguarded(number) == number


def test_one_line_without_an_end_takes_no_memory():
    class Endless(io.RawIOBase):
        given = 0

        def readable(self) -> bool:
            return True

        def readinto(self, buffer: Any) -> int:
            buffer[:] = b"a" * len(buffer)
            self.given += len(buffer)
            return len(buffer)

    endless = Endless()
    (mistake,) = read_sheet(
        io.TextIOWrapper(io.BufferedReader(endless), encoding="utf-8", newline=""), "f.csv"
    )
    assert "at most 500000 characters" in str(mistake)
    assert endless.given < 2_000_000


def test_a_row_that_never_ends_is_one_mistake():
    sheet = "[component]\nnumber,name,section,origin\n" + '"a\n",' * 200_000
    (mistake,) = read(sheet)
    assert "500000 characters" in str(mistake)


def test_very_many_columns_are_one_mistake():
    (mistake,) = read("[component]\n" + ",".join(f"c{i}" for i in range(5_000)) + "\n1,2\n")
    assert "at most 100 columns" in str(mistake)


def test_a_whole_number_of_thousands_of_digits_is_one_mistake():
    fields = {"record": "section", "name": "brakes", "title": "Brakes", "order": 10**5_000}
    (mistake,) = from_objects([fields], "sheet.csv")
    assert isinstance(mistake, Mistake)
    assert mistake.field == "order"
