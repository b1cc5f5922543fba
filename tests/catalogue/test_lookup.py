"""Chassis numbers and part numbers as people type them."""

from datetime import date

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.lookup import find_components, find_vehicle, numbers_as_typed
from graftbook.database import reading
from graftbook.problems import UnknownChassis, UnknownComponent
from tests.catalogue.sheet import sheet


@pytest.mark.parametrize(
    "typed", ["2L-0501", "2l 501", "2L501", "2l-501", " 2L-0501 ", "2L.0501", "2L/501", "2L-00501"]
)
def test_a_chassis_number_is_found_however_it_is_typed(tern: Engine, typed: str) -> None:
    with reading(tern) as session:
        found = find_vehicle(session, typed)
    assert found.chassis == "2L-0501"
    assert (found.vehicle.variant, found.vehicle.chassis_prefix, found.vehicle.chassis_serial) == (
        "T2-L",
        "2L",
        501,
    )


def test_the_day_is_the_linear_place_in_its_span(tern: Engine) -> None:
    with reading(tern) as session:
        days = [find_vehicle(session, chassis).vehicle.built for chassis in ("1R-0001", "1R-0500", "1R-1000")]
        own = find_vehicle(session, "1R-0500", built=date(1951, 2, 3))
    assert days[0] == date(1950, 1, 1)
    assert days[2] == date(1959, 12, 31)
    whole = (days[2] - days[0]).days
    assert (days[1] - days[0]).days == whole * 499 // 999
    assert own.vehicle.built == date(1951, 2, 3)
    assert not own.estimated


def test_options_are_kept_with_the_vehicle(tern: Engine) -> None:
    with reading(tern) as session:
        assert find_vehicle(session, "2L-1", options=frozenset({"bell"})).vehicle.options == {"bell"}


UNKNOWN = {"2L-0901": "2L-0900", "2L-9999": "2L-0900", "2R-0001": "1R-0001", "1R-0000": "1R-0001"}


@pytest.mark.parametrize("typed", UNKNOWN)
def test_an_unknown_chassis_number_is_told_with_one_like_it(tern: Engine, typed: str) -> None:
    with reading(tern) as session, pytest.raises(UnknownChassis) as problem:
        find_vehicle(session, typed)
    assert UNKNOWN[typed] in problem.value.near


@pytest.mark.parametrize(
    "typed", ["", "-", "---", "12", "1R", "1R-", "-0001", "1R-12345678901234", "١R-٠٠٠١", "1R-0001; x"]
)
def test_what_is_no_chassis_number_is_unknown(tern: Engine, typed: str) -> None:
    with reading(tern) as session, pytest.raises(UnknownChassis):
        find_vehicle(session, typed)


@pytest.mark.parametrize("typed", ["TW-10", "tw10", "TW 10", "t.w.1.0", "Tw/10"])
def test_a_part_number_is_found_however_it_is_typed(tern: Engine, typed: str) -> None:
    with reading(tern) as session:
        assert find_components(session, typed) == ["TW-10"]


def test_numbers_that_differ_in_dashes_only_are_all_given_the_exact_first(tern: Engine) -> None:
    assert load(tern, sheet("[component]\nnumber,name,section,origin\nTW1-0,other,wheels,modern\n")).ok
    with reading(tern) as session:
        assert find_components(session, "tw10") == ["TW-10", "TW1-0"]
        assert find_components(session, "TW1-0") == ["TW1-0", "TW-10"]
        typed = numbers_as_typed(session, ["TW1-0", "tw10", "tb 1", "nothing"])
    assert typed == {"TW1-0": "TW1-0", "tw10": "TW-10", "tb 1": "TB-1"}


def test_an_unknown_number_is_told_with_numbers_like_it(tern: Engine) -> None:
    with reading(tern) as session, pytest.raises(UnknownComponent) as problem:
        find_components(session, "TW-11")
    assert "TW-10" in problem.value.near
