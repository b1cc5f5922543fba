"""What can be bought on a day: conversion, dates, taxes, and reads that go by index."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, event

from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.orders.buying.model import Offer
from graftbook.orders.buying.store import (
    converted,
    offered,
    offers_for,
    rates,
    suppliers,
    taxes,
)
from tests.catalogue.sheet import sheet, small

DAY = date(1975, 6, 1)


@pytest.fixture
def tern(engine: Engine) -> Engine:
    more = (
        "[supplier]\nname,title,carriage,carriage_free_from,lead_days\nquay,The Quay,3.25,40,5\n"
        "[offer]\nsupplier,component,price,currency,deposit,valid_from,valid_to\n"
        "quay,TW-9,10.10,USD,3.00,,\nquay,TW-9,9.99,,,1975-06-01,1975-06-30\nquay,TL-1,0.03,DEM,0.10,,\n"
        "[exchange_rate]\ncurrency,rate,valid_from\nDEM,0.5,1975-06-01\nDEM,0.9,1975-06-02\n"
    )
    assert load(engine, [small(), sheet(more)]).ok
    return engine


def test_the_latest_rate_not_after_the_day_counts(tern: Engine) -> None:
    with reading(tern) as session:
        assert rates(session, date(1974, 12, 31)) == {}
        assert rates(session, date(1975, 5, 31)) == {"DEM": Decimal("0.175")}
        assert rates(session, DAY) == {"DEM": Decimal("0.5")}
        assert rates(session, date(1980, 1, 1)) == {"DEM": Decimal("0.9")}


def test_foreign_prices_are_converted_exactly_and_rounded_half_up(tern: Engine) -> None:
    with reading(tern) as session:
        (offer,) = offers_for(session, ["TL-1"], DAY)
    assert (offer.price, offer.deposit, offer.currency) == (2, 5, "DEM"), "3 pfennig at 0.5 are 1.5 pence"


@given(st.integers(0, 10**12), st.integers(1, 10**15))
def test_conversion_agrees_with_whole_numbers(amount: int, rate: int) -> None:
    """Half up on non-negative whole numbers: (2 n + d) // 2 d, which no decimal context can spoil."""
    assert converted(amount, Decimal(rate).scaleb(-8)) == (2 * amount * rate + 10**8) // (2 * 10**8)
    assert Decimal("1.5").quantize(Decimal(1), ROUND_HALF_UP) == 2


def test_an_offer_holds_from_its_first_to_its_last_day_and_the_later_one_counts(tern: Engine) -> None:
    def prices(day: date) -> list[int]:
        with reading(tern) as session:
            return [offer.price for offer in offers_for(session, ["TW-9"], day, "USD")]

    assert prices(date(1975, 5, 31)) == [1010]
    assert prices(date(1975, 6, 1)) == prices(date(1975, 6, 30)) == [999]
    assert prices(date(1975, 7, 1)) == [1010]


def test_an_offer_is_read_as_it_is_recorded(engine: Engine) -> None:
    record = (
        "[supplier]\nname,title,lead_days\nquay,The Quay,5\n"
        "[offer]\nsupplier,component,price,pack,least,lead_days,stock,deposit,valid_from,valid_to,note\n"
        "quay,TW-9,9.99,2,4,3,8,1.50,1975-06-01,1975-06-30,from the shelf\n"
    )
    assert load(engine, [small(), sheet(record)]).ok
    with reading(engine) as session:
        offers = offers_for(session, ["TW-9"], DAY)
    (offer,) = [offer for offer in offers if offer.supplier == "quay"]
    assert offer == Offer("quay", "TW-9", 999, 2, 4, 3, 8, 150, DAY, date(1975, 6, 30), note="from the shelf")


def test_an_offer_without_a_rate_is_told_apart_and_never_guessed(tern: Engine) -> None:
    before = date(1975, 5, 1)
    with reading(tern) as session:
        assert offers_for(session, ["TW-9"], before) == []
        assert offered(session, ["TW-9"], before).without_rate == {"TW-9": {"USD"}}
        assert offered(session, ["TW-9"], before, "USD").without_rate == {}
        early = date(1974, 1, 1)
        assert offered(session, ["TW-10"], early).without_rate == {"TW-10": {"DEM"}}
        assert [o.supplier for o in offers_for(session, ["TW-10"], early)] == ["barrow"]


def test_lead_times_are_the_suppliers_where_the_offer_gives_none(tern: Engine) -> None:
    with reading(tern) as session:
        (clip,) = offers_for(session, ["TC-1"], DAY)
        barrow, overseas = offers_for(session, ["TW-10"], DAY)
    assert (clip.lead_days, clip.pack, clip.least, clip.stock) == (0, 10, 20, 100)
    assert (barrow.lead_days, overseas.lead_days, overseas.stock) == (3, 14, 2)


def test_suppliers_come_with_carriage_and_least_orders(tern: Engine) -> None:
    with reading(tern) as session:
        found = {s.name: (s.carriage, s.carriage_free_from, s.least_order) for s in suppliers(session)}
    assert found == {"barrow": (450, 6000, 1000), "overseas": (1200, None, 0), "quay": (325, 4000, 0)}


def test_taxes_of_a_market_by_section_on_a_day(tern: Engine) -> None:
    with reading(tern) as session:
        assert taxes(session, "home", DAY) == {"": 8, "wheels": Decimal("12.5")}
        assert taxes(session, "home", date(1980, 1, 1)) == {"": 8}
        assert taxes(session, "home", date(1970, 1, 1)) == {}
        assert taxes(session, "moon", DAY) == {}


def test_offers_are_reached_by_index(sqlite_demo: Engine) -> None:
    queries: list[tuple[str, tuple]] = []

    def note(_connection, _cursor, statement: str, parameters: tuple, *_rest) -> None:
        if statement.lstrip().startswith("SELECT"):
            queries.append((statement, parameters))

    event.listen(sqlite_demo, "before_cursor_execute", note)
    with reading(sqlite_demo) as session:
        found = offers_for(session, ["QB-3310", "QB-3302", "QB-9001"], date(2026, 11, 25))
    event.remove(sqlite_demo, "before_cursor_execute", note)
    assert len({offer.component for offer in found}) == 3
    assert len(queries) == 2, "one for the rates, one for the offers, however many numbers"
    with sqlite_demo.connect() as connection:
        for statement, parameters in queries:
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters):
                assert not row.detail.startswith(("SCAN offer", "SCAN supplier")), row.detail


def test_the_demo_has_suppliers_that_differ(sqlite_demo: Engine) -> None:
    day = date(2026, 11, 25)
    with reading(sqlite_demo) as session:
        known = suppliers(session)
        taxed = taxes(session, "home", day)
        numbers = ["QB-3310", "QB-3311", "QB-3302"]
        dearest_to_cheapest = {o.supplier for o in offers_for(session, numbers, day)}
    assert len(known) >= 7
    assert len({(s.carriage, s.carriage_free_from, s.least_order) for s in known}) == len(known)
    assert set(taxed) == {"", "chassis"}
    assert len(dearest_to_cheapest) >= 2
