"""What a small slip in an order's arithmetic would change, each in a world of its own."""

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from graftbook.closure.answer import Because, Cause, Loose
from graftbook.http.values import day_in_words, evidence_for
from graftbook.orders.buying.buying import Order, Terms
from graftbook.orders.buying.model import Offer
from graftbook.orders.buying.not_bought import _way
from graftbook.orders.buying.offers import Why
from graftbook.orders.buying.split_days import DayPrices
from graftbook.orders.buying.splitting import Instead, Split
from graftbook.orders.fitting.jobs import fitting_sequence
from graftbook.orders.fitting.loose import LooseShare, Sharing
from graftbook.orders.fitting.schedule import earliest_finish
from graftbook.orders.fitting.sequence import sequence
from graftbook.orders.lists.deliveries import _booked_before
from graftbook.rulebook.model import Access, Alternative, Companion, Grade
from graftbook.rulebook.units import read_measure
from tests.orders import test_needs as needing
from tests.orders import test_sequence as sequencing
from tests.orders import test_splitting as splitting
from tests.orders.split_worlds import TODAY


def asking(rule: Companion) -> Because:
    return Because(Cause.companion, rule.name, rule, parent="brake")


def test_nobody_finishes_before_the_busiest_section_does() -> None:
    """Three jobs of 15 minutes where one person works at a time: 45, however many hands there are."""
    alone = sequence([sequencing.job(name) for name in ("a", "b", "c")])
    assert earliest_finish(alone, 3, seconds=0).at_least == 45
    assert earliest_finish(alone, 3, room_in=["brakes"], seconds=0).at_least == 15


def test_what_is_only_disconnected_is_not_tightened_again_on_the_road() -> None:
    """It comes off and goes back, so its bolts are tightened again; to disconnect it loosens none of them."""
    book = sequencing.made_book()
    again = replace(book.tightenings[0], again_after=read_measure("50 mile", "length"))
    access = Access(name="a", position="hub", other_position="brake", reason="r")
    for state, told in (("off", True), ("disconnected", False)):
        made = replace(book, tightenings=(again,), accesses=(replace(access, state=state),))
        jobs = fitting_sequence(made, sequencing.VEHICLE, sequencing.hub_only()).jobs
        assert ("again after 50 mile" in jobs) is told, state


@pytest.mark.parametrize(("asked", "of"), [("50 g", "mass"), ("0.3 l", "volume")])
def test_an_amount_of_another_quantity_is_no_amount_of_what_is_in_the_bottle(asked: str, of: str) -> None:
    litre = {"contents_volume": read_measure("1 l", "volume")}
    fluid = needing.part("FLUID", characteristics=litre, loose=True)
    way = Alternative("FLUID", loose=True, amount=read_measure(asked, of), amount_of=of)
    rule = Companion(name="rule", component="CAL-1", reason="fill it", alternatives=(way,))
    (need,) = needing.needs(
        needing.book(fluid, companions=(rule,)),
        needing.solution(loose=(Loose("FLUID", 3, None, asking(rule)),)),
    ).lines
    told = {"mass": (3, ""), "volume": (1, "300 ml")}
    assert (need.quantity, need.amount) == told[of], "pieces stay as the set has them"


def test_the_first_way_to_all_pieces_names_no_more_suppliers_than_it_takes() -> None:
    """Two of three have enough together on the day; the third is not needed for it."""
    offers = [
        Offer(house, "A", price, lead_days=5, stock=3)
        for house, price in (("ash", 9), ("birch", 7), ("cedar", 8))
    ]
    found = splitting.asked(splitting.world_of({"A": 5}, *offers), by=TODAY + timedelta(days=2))
    (missing,) = found.unsupplied
    assert missing.why is Why.none_in_time
    assert [way.offer.supplier for way in missing.first] == ["birch", "cedar"]


def test_a_set_that_holds_fewer_pieces_than_a_rule_names_uses_what_it_holds() -> None:
    """Two numbers that serve alike: the rule speaks of two of each, and the set holds one of this one."""
    book = needing.book(needing.part("CAL-1"), needing.part("SEAL", loose=True))
    way = Alternative("SEAL", loose=True, quantity=2)
    rule = Companion(name="rule", component="CAL-1", reason="r", alternatives=(way,))
    solution = needing.solution(loose=(Loose("SEAL", 1, None, asking(rule)),))
    sharing = Sharing(replace(book, companions=(rule,)), solution, [sequencing.job("brake")])
    assert sharing.shares == {"SEAL": (LooseShare("brake", 1, False, "", None),)}
    assert sharing.alone() == []


def _instead(*, proved: bool) -> Instead:
    return Instead(1, None, 10, ("ash",), date(2026, 3, 9), 0, proved)


WHOLE = Split((), (), {}, True)
DAYS = DayPrices((), True)


@pytest.mark.parametrize(
    ("split", "days", "proved"),
    [
        (WHOLE, None, True),
        (WHOLE, DAYS, True),
        (replace(WHOLE, proved=False), DAYS, False),
        (WHOLE, replace(DAYS, cut_short=True), False),
        (replace(WHOLE, fastest_proved=False), DAYS, False),
        (replace(WHOLE, fastest_proved=True), DAYS, True),
        (replace(WHOLE, instead=(_instead(proved=True), _instead(proved=False))), DAYS, False),
        (replace(WHOLE, instead=(_instead(proved=True),)), DAYS, True),
        (None, None, True),
    ],
)
def test_an_order_is_proved_where_time_had_no_part_in_any_of_it(
    split: Split | None, days: DayPrices | None, proved: bool
) -> None:
    assert Order((), (), (), split, days).proved is proved


@pytest.mark.parametrize(("who", "said"), [("the morning till", " by the morning till"), ("", "")])
def test_a_note_that_was_booked_says_by_whom_where_that_is_known(who: str, said: str) -> None:
    delivery: Any = SimpleNamespace(delivery_note="L-1")
    booking = {"who": who, "at": "2026-03-02T08:00:00", "booking": 4, "list": "red"}
    assert _booked_before(delivery, booking)["sentence"] == (
        f"Delivery note L-1 was booked before, on 2026-03-02{said}: booking 4 of the list red."
    )


@pytest.mark.parametrize(
    ("by", "at_most", "least", "told"),
    [
        (TODAY, 2, True, "By {day} and no sooner all 3 lines can be there, from 1 supplier"),
        (TODAY, 2, False, "By {day} all 3 lines can be there, from 1 supplier"),
        (None, 1, True, "From 1 supplier and no fewer all 3 lines are bought"),
        (None, 1, False, "From 1 supplier all 3 lines are bought"),
    ],
)
def test_what_would_buy_more_says_whether_less_would_do(
    by: date | None, at_most: int, least: bool, told: str
) -> None:
    other = replace(_instead(proved=True), by=by, at_most=at_most, least=least)
    assert _way(other, Terms(at_most=2), 3).startswith(told.format(day=day_in_words(TODAY)))


@pytest.mark.parametrize(
    ("cause", "told"), [(Cause.wish, None), (Cause.limit, None), (Cause.companion, "measured")]
)
def test_a_wish_needs_no_evidence_and_a_rule_tells_its_own(cause: Cause, told: str | None) -> None:
    assert evidence_for(cause, Grade.measured) == told
