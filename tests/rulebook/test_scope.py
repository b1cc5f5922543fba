"""A book as one vehicle sees it."""

from dataclasses import fields, replace
from datetime import date
from types import SimpleNamespace

from graftbook.checks.fitted import Fitted
from graftbook.rulebook.index import BookIndex
from graftbook.rulebook.model import Claim, Effort, RuleBook, Supersession, Supply, Vehicle, When
from graftbook.rulebook.scope import MOST_SCOPES, Fit, Scope, scope_for
from tests.closure.shelf import VEHICLE, Shelf

EARLY = replace(VEHICLE, chassis_serial=499)
FROM_500 = When(chassis_prefix="24L", chassis_from=500)
TO_499 = When(chassis_prefix="24L", chassis_to=499)


def test_today_is_original_equipment_on_both_sides_of_a_chassis_break() -> None:
    shelf = Shelf(brake="drum").part("drum2").fits("drum2", "brake", from_new=True, when=FROM_500)
    shelf.fits("drum", "brake", from_new=True, when=TO_499)
    book = shelf.book()
    assert Scope(book, EARLY).today == {"brake": "drum"}
    assert Scope(book, VEHICLE).today == {"brake": "drum2"}
    assert Scope(book, VEHICLE, {"brake": None}).today == {"brake": None}


def test_candidates_can_be_bought_or_lie_on_the_bench_or_are_there() -> None:
    shelf = Shelf(brake="drum gone old new").part("gone", supply=Supply.no_longer_supplied).retire("old")
    book = shelf.part("drum", supply=Supply.no_longer_supplied).book()
    assert list(Scope(book, VEHICLE).options("brake")) == ["drum", "new"]
    assert "gone" in Scope(book, VEHICLE, on_the_bench=frozenset({"gone"})).options("brake")


def test_a_position_empty_today_may_stay_empty() -> None:
    book = Shelf(servo="- servo").book()
    assert set(Scope(book, VEHICLE).options("servo")) == {"servo", None}


def test_of_two_fitments_the_one_of_less_effort_then_less_minutes_counts() -> None:
    shelf = Shelf(brake="drum disc")
    first = shelf.fitments[-1]
    shelf.fitments += [
        replace(first, name="worse", effort=Effort.machining, minutes=1),
        replace(first, name="quicker", minutes=5),
    ]
    assert Scope(shelf.book(), VEHICLE).option(Fit("brake", "disc")).fitment.name == "quicker"


def test_a_chain_of_numbers_is_followed_to_what_can_be_bought() -> None:
    shelf = Shelf(brake="drum a").retire("a").part("b").retire("b").part("c").part("d")
    shelf.add(
        "supersessions", Supersession(name="1", old="a", new="b"), Supersession(name="2", old="b", new="c")
    )
    shelf.add("supersessions", Supersession(name="3", old="c", new="d"))
    scope = Scope(shelf.book(), VEHICLE)
    assert scope.serving("a") == (Fit("brake", "c"),)  # c is current: its own successor is not yet needed
    assert scope.names(Fit("brake", "c")) == ("c", "a", "b")


def test_a_circle_of_supersession_ends() -> None:
    shelf = Shelf(brake="drum a").retire("a").part("b").retire("b")
    shelf.add(
        "supersessions", Supersession(name="1", old="a", new="b"), Supersession(name="2", old="b", new="a")
    )
    assert Scope(shelf.book(), VEHICLE).serving("a") == ()


def test_a_component_fitted_without_record_stays_an_option() -> None:
    scope = Scope(Shelf(brake="drum disc").part("odd").book(), VEHICLE, {"brake": "odd"})
    assert scope.option(Fit("brake", "odd")).fitment is None
    assert scope.is_today(Fit("brake", "odd"))


def test_scopes_are_kept_with_the_book_and_bounded() -> None:
    book = Shelf(brake="drum disc").book()
    assert scope_for(book, VEHICLE) is scope_for(book, VEHICLE)
    for number in range(3 * MOST_SCOPES):
        scope_for(book, VEHICLE, None, frozenset({str(number)}))
    assert len(scope_for(book, VEHICLE).index.scopes) <= MOST_SCOPES


def test_one_kept_scope_is_not_another_with_other_things_on_the_bench_or_fitted() -> None:
    """Asked twice in one process, differing in one thing each time."""
    book = Shelf(brake="drum gone disc").part("gone", supply=Supply.no_longer_supplied).book()
    bare, bench = scope_for(book, VEHICLE), scope_for(book, VEHICLE, None, frozenset({"gone"}))
    assert "gone" not in bare.options("brake")
    assert "gone" in bench.options("brake")
    assert "gone" not in scope_for(book, VEHICLE).options("brake"), "asked again without it"
    fitted = scope_for(book, VEHICLE, {"brake": "disc"})
    assert (bare.today, fitted.today) == ({"brake": "drum"}, {"brake": "disc"})
    assert scope_for(book, VEHICLE, {"brake": None}).today == {"brake": None}
    assert scope_for(book, VEHICLE).today == {"brake": "drum"}, "asked again as it left the works"


def test_vehicles_that_no_record_tells_apart_share_a_scope_and_all_are_kept() -> None:
    shelf = Shelf(brake="drum").part("drum2").fits("drum2", "brake", from_new=True, when=FROM_500)
    book = shelf.fits("drum", "brake", from_new=True, when=TO_499).book()
    early, late = scope_for(book, EARLY), scope_for(book, VEHICLE)
    assert early.today != late.today
    assert scope_for(book, replace(EARLY, chassis_serial=1)) is early
    assert scope_for(book, replace(VEHICLE, chassis_serial=9_000)) is late
    assert scope_for(book, EARLY) is early


def test_a_newer_number_sits_by_the_fitment_of_the_best_older_one_wherever_it_is_asked() -> None:
    """The scope and the arithmetic count its pieces alike: by less effort, then less time, then name."""
    shelf = Shelf(lamp="old fair good new").retire("old").retire("fair").retire("good")
    shelf.fits("old", "lamp", quantity=4, from_new=True, effort=Effort.machining)
    shelf.fits("fair", "lamp", quantity=3, minutes=20).fits("good", "lamp", quantity=2, minutes=10)
    shelf.fitments = [fitment for fitment in shelf.fitments if fitment.component != "new"]
    for older in ("old", "fair", "good"):
        shelf.add("supersessions", Supersession(name=f"{older}-new", old=older, new="new"))
    book = shelf.book()
    option = scope_for(book, VEHICLE).options("lamp")["new"]
    assert option.fitment is not None
    assert (option.fitment.component, option.quantity) == ("good", 2)
    for vehicle in (VEHICLE, None):
        assert Fitted(book, {"lamp": "new"}, vehicle).quantity("lamp") == 2
        assert Fitted(book, {"lamp": "old"}, vehicle).quantity("lamp") == 4, "its own comes first"
    assert Fitted(book, {"lamp": "stranger"}, VEHICLE).quantity("lamp") == 1
    assert Fitted(book, {"lamp": None}, VEHICLE).quantity("lamp") == 0


def test_vehicles_are_told_apart_by_options_days_and_numbers() -> None:
    asked = (When(options=frozenset({"heater"})), When(built_from=date(1970, 1, 1)), FROM_500)
    others = (
        replace(VEHICLE, options=frozenset()),
        replace(VEHICLE, built=date(1971, 5, 2)),
        replace(VEHICLE, chassis_serial=499),
    )
    bare = Shelf(brake="drum").book()
    for when, other in zip(asked, others, strict=True):
        told = Shelf(brake="drum").fits("drum", "brake", when=when).book()
        assert scope_for(bare, VEHICLE) is scope_for(bare, other)
        assert scope_for(told, VEHICLE) is not scope_for(told, other)


def test_every_kind_of_record_that_has_a_condition_tells_vehicles_apart() -> None:
    kinds = [kind.name for kind in fields(RuleBook) if isinstance(getattr(Shelf().book(), kind.name), tuple)]
    assert len(kinds) > 8
    for kind in kinds:
        book = SimpleNamespace(book=replace(Shelf().book(), **{kind: (Claim(name="any", when=FROM_500),)}))
        assert BookIndex.conditions.func(book) == (FROM_500,), kind


def test_what_is_said_of_like_vehicles_is_remembered_and_of_no_others() -> None:
    """On both sides of every bound, one vehicle after the other, as a book says it that was asked nothing."""
    days = [date(1965, 6, day) for day in (1, 2, 3, 4)]
    whens = (
        When(chassis_prefix="24L", chassis_from=500, chassis_to=520),
        When(chassis_prefix="24R", chassis_to=510),
        When(built_from=days[1], built_to=days[2]),
        When(built_to=date.max),
        When(options=frozenset({"heater"})),
        When(without=frozenset({"overdrive"})),
    )
    claims = tuple(Claim(name=f"claim {n}", when=when) for n, when in enumerate(whens))
    index = BookIndex(replace(Shelf(brake="drum").book(), substitutes=claims))
    vehicles = [
        Vehicle("24-VAN", prefix, serial, day, frozenset(options))
        for prefix in ("24L", "24R")
        for serial in (499, 500, 510, 511, 520, 521)
        for day in (*days, date.max)
        for options in ((), ("heater",), ("overdrive",), ("heater", "overdrive"))
    ]
    told = [index.speaks_of(vehicle) for vehicle in (*vehicles, *vehicles)]
    assert told == [tuple(when.holds(v) for when in index.conditions) for v in (*vehicles, *vehicles)]
    assert len(set(told)) > 20
