"""Chassis numbers and part numbers as people type them."""

from collections.abc import Callable, Iterable
from datetime import date

import pytest
from sqlalchemy import Engine, delete, insert, select
from sqlmodel import Session

from graftbook.catalogue.finding.gathering import numbers_beginning
from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.lookup import (
    chassis_starting,
    find_components,
    find_vehicle,
    numbers_as_typed,
    numbers_near,
)
from graftbook.catalogue.store.tables import table
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


def _with_spans(engine: Engine, many: int) -> None:
    """Spans of 50 numbers with 50 free behind each: those of 9X have six digits, those of 9XA four and,
    further on, six."""
    days = {"variant": "T2-L", "built_from": date(1960, 1, 1), "built_to": date(1960, 1, 2)}
    rows = [("9X", 1 + 100 * place, 6) for place in range(many)]
    rows += [("9XA", 1 + 100 * place, 4) for place in range(60)]
    rows += [("9XA", 10_001 + 100 * place, 6) for place in range(60)]
    with engine.begin() as connection:
        connection.execute(
            insert(table("chassis_span")),
            [
                {"prefix": prefix, "first_serial": first, "last_serial": first + 49, "digits": digits} | days
                for prefix, first, digits in rows
            ],
        )


def _offered(session: Session, text: str) -> list[str]:
    return [f"{span.first} {span.last}" for span in chassis_starting(session, text, 5)]


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("9x", [f"9X-000{place}01 9X-000{place}50" for place in range(5)]),
        ("9X-2999", ["9X-299901 9X-299950"]),
        ("9X-2998", ["9X-299801 9X-299850"]),
        ("9X-29985", ["9X-299850 9X-299850"]),
        ("9X-299851", []),
        ("9X-123", ["9X-000123 9X-000123", *(f"9X-123{place}01 9X-123{place}50" for place in range(4))]),
        ("9xa 123", ["9XA-0123 9XA-0123", "9XA-1230 9XA-1239"]),
        ("9XA-0123", ["9XA-0123 9XA-0123", "9XA-012301 9XA-012350"]),
        ("9X-3", ["9X-000003 9X-000003"]),
    ],
)
def test_what_a_begun_number_may_become_is_found_among_thousands_of_spans(
    tern: Engine, typed: str, offered: list[str]
) -> None:
    _with_spans(tern, 3_000)
    with reading(tern) as session:
        assert _offered(session, typed) == offered


@pytest.mark.one_engine
def test_a_key_reads_no_more_of_a_catalogue_with_four_times_the_spans(sqlite_tern: Engine) -> None:
    """Steps of the database's own machine, by the hundred."""
    steps: dict[int, int] = {}
    for many in (1_500, 6_000):
        with sqlite_tern.begin() as connection:
            connection.exec_driver_sql("DELETE FROM chassis_span WHERE prefix LIKE '9X%'")
        _with_spans(sqlite_tern, many)
        with reading(sqlite_tern) as session:
            steps[many] = _steps(
                session,
                lambda text, of=session: chassis_starting(of, text, 5),
                ("9", "9x", "9X-1", "9X-14", "9X-149", "9X-0149", "9xa 1"),
            )
    assert 0 < steps[6_000] <= 1.1 * steps[1_500], steps


def _steps(session: Session, ask: Callable[[str], object], texts: Iterable[str]) -> int:
    """The hundreds of steps that SQLite's own machine takes for some texts."""
    driver = session.connection().connection.driver_connection
    assert driver is not None
    counted: list[int] = []
    driver.set_progress_handler(lambda: counted.append(1), 100)
    for text in texts:
        ask(text)
    driver.set_progress_handler(None, 0)
    return len(counted)


@pytest.mark.one_engine
def test_a_key_reads_no_more_of_four_times_the_numbers_that_begin_so(sqlite_tern: Engine) -> None:
    component = table("component")
    steps: dict[int, int] = {}
    for many in (1_000, 4_000):
        with sqlite_tern.begin() as connection:
            connection.execute(delete(component).where(component.c.typed.startswith("ZQ")))
            like = connection.execute(select(component).where(component.c.twin.is_(None))).mappings().first()
            assert like
            numbers = [f"ZQ-{number:05d}" for number in range(many)]
            own = [{"number": one, "typed": as_typed(one), "sort_key": one} for one in numbers]
            connection.execute(insert(component), [{**like, **each} for each in own])
        with reading(sqlite_tern) as session:
            found = numbers_beginning(session.connection(), "ZQ", 3)
            assert found == ["ZQ-00000", "ZQ-00001", "ZQ-00002"]
            steps[many] = _steps(
                session,
                lambda text, of=session: numbers_beginning(of.connection(), text, 16),
                ("ZQ", "ZQ0"),
            )
    assert 0 < steps[4_000] <= 1.1 * steps[1_000], steps


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("TW-9 disc wheel", ["TW-9"]),
        ("tw 9 disc wheel, left", ["TW-9"]),
        ("TW-10 wheel with spokes", ["TW-10"]),
        ("TW 1 0", ["TW-10"]),
        ("TW-11 wheel", ["TW-10"]),
    ],
)
def test_a_number_with_words_behind_it_is_offered(tern: Engine, typed: str, near: list[str]) -> None:
    with reading(tern) as session:
        assert numbers_near(session, typed)[:1] == near
