"""Lines of an answer that stand only under a condition: each is there when it is so, and not otherwise."""

from dataclasses import replace

from api.closure import phrases
from api.closure.wording import answer_sentences, costs
from tests.closure.shelf import Shelf, clash


def test_each_other_good_set_has_its_line_and_its_cost():
    shelf = Shelf(brake="drum disc")
    answer = shelf.ask("disc")
    told = answer_sentences(shelf.book(), replace(answer, others=(answer.solution, answer.solution)))
    cost = costs(answer.solution.totals)
    found = [line for line in told if line.startswith("Another good set")]
    assert found == [f"Another good set (2): {cost}", f"Another good set (3): {cost}"]


def test_only_two_wishes_for_one_place_are_told_as_more_than_one():
    shelf = Shelf(brake="drum disc", axle="dead").add("conflicts", clash("hub", "disc", "dead"))
    lines = answer_sentences(shelf.book(), shelf.ask("disc"))
    assert "You wish disc (part disc)." in lines
    assert not [line for line in lines if "more than one" in line]
    two = Shelf(brake="drum disc other")
    assert phrases.one_only(two.book(), "brake") in answer_sentences(two.book(), two.ask("disc", "other"))


def test_what_fits_only_other_vehicles_is_told_with_the_place_that_was_asked():
    book = Shelf(brake="drum disc").book()
    anywhere, there = (phrases.not_this_vehicle(book, "disc", place) for place in ("", "brake"))
    assert anywhere.endswith(" fits only with another chassis number, date or option.")
    assert there.endswith(" fits at the brake only with another chassis number, date or option.")
    assert phrases.no_fitment(book, "disc", "").endswith(" fits this vehicle.")
    assert phrases.no_fitment(book, "disc", "brake").endswith(" fits the brake on this vehicle.")


def test_a_ceiling_is_raised_for_a_price_that_is_known_and_more_is_accepted_for_one_that_is_not():
    assert phrases.raise_ceiling(12_000, (), 10_000) == "raise the ceiling to 120.00"
    unknown = phrases.of_unknown(("QB-1",))
    both = phrases.raise_ceiling(12_000, ("QB-1",), 10_000)
    assert both == f"raise the ceiling to 120.00 and accept {unknown}"
    assert phrases.raise_ceiling(10_000, ("QB-1",), 10_000) == f"accept {unknown}"
