"""Chassis numbers as a house writes its own: digits alone, or with another sign than a dash between."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.lookup import chassis_starting, find_vehicle, find_vehicles, readings
from graftbook.database import reading
from graftbook.rulebook.units import chassis_number
from tests.catalogue.sheet import SMALL, book_of, exported, sheet

ALONE = SMALL.replace("1R-", "").replace("2L-0", "2")
"""The small catalogue with works numbers 0001 to 1000 and 2001 to 2900, and nothing before them."""


@pytest.fixture
def alone(sqlite_engine: Engine) -> Iterator[Engine]:
    report = load(sqlite_engine, sheet(ALONE))
    assert report.ok, [str(mistake) for mistake in report.mistakes]
    return sqlite_engine


def test_numbers_without_letters_are_chassis_numbers_too(alone: Engine) -> None:
    with reading(alone) as session:
        assert find_vehicle(session, "7").chassis == "0007"
        one = find_vehicle(session, " 2501 ")
        assert (one.chassis, one.vehicle.variant, one.vehicle.chassis_prefix) == ("2501", "T2-L", "")
        assert find_vehicles(session, [("2501", None)])["2501", None].chassis == "2501"
        assert [span.first for span in chassis_starting(session, "2", 5)] == ["0002", "2001", "2501"]
        assert [span.first for span in chassis_starting(session, "250", 5)] == ["0250", "2500", "2501"]
    written = exported(alone)
    assert "T2-L,2001,2500," in written
    assert load(alone, sheet(written)).changed == 0
    book = book_of(alone, "T2-L")
    early, late = (next(f for f in book.fitments if f.name == name) for name in ("early brake", "TB-2@brake"))
    assert (early.when.chassis_prefix, early.when.chassis_to) == ("", 2500)
    assert (late.when.chassis_prefix, late.when.chassis_from) == ("", 2501)


def test_another_sign_than_a_dash_between_is_taken_and_told(sqlite_engine: Engine) -> None:
    slashed = SMALL.replace("1R-0001,1R-1000", "28/0001,28/1000")
    report = load(sqlite_engine, sheet(slashed))
    assert report.ok, [str(mistake) for mistake in report.mistakes]
    assert any("'28/0001' is 28-0001" in told for told in report.assumed), report.assumed
    with reading(sqlite_engine) as session:
        assert find_vehicle(session, "28/0400").chassis == "28-0400"
        assert find_vehicle(session, "28 400").chassis == "28-0400"


def test_what_is_no_chassis_number_says_what_is_one(sqlite_engine: Engine) -> None:
    report = load(sqlite_engine, sheet(SMALL.replace("1R-0001,1R-1000", "1R-A,1R-1000")))
    assert "letters, digits and a dash, then the serial: 24PL-018412, or 1204 alone" in str(
        report.mistakes[0]
    )


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("28/0050", [("28", 50), ("", 280050)]),
        ("1204", [("", 1204)]),
        ("24fl 9401", [("24FL", 9401)]),
        ("2L-0501", [("2L", 501)]),
        ("24PL-018 412", [("24PL018", 412), ("24PL", 18412)]),
    ],
)
def test_how_a_number_may_be_read(typed: str, read: list[tuple[str, int]]) -> None:
    assert readings(typed) == read
    assert all(readings(chassis_number(prefix, serial))[0] == (prefix, serial) for prefix, serial in read)
