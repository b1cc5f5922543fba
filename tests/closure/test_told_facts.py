"""Lines of an answer that stand only under a condition: each is there when it is so, and not otherwise."""

from dataclasses import replace

import pytest

from graftbook.closure.explain import contradictions
from graftbook.closure.explain.contradictions import Blame
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.reach import reach
from graftbook.closure.words import phrases
from graftbook.closure.words.wording import answer_sentences, costs
from graftbook.rulebook.scope import Scope
from tests.closure.shelf import VEHICLE, Shelf, at, clash, needs


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


def test_pieces_are_told_of_a_wish_for_a_loose_part_and_a_place_of_one_that_sits_somewhere():
    book = Shelf(brake="drum disc").kit("bolt").book()
    assert phrases.of_wish(FitComponent("bolt", quantity=3), book) == "You wish 3 × bolt (part bolt)."
    assert phrases.of_wish(FitComponent("bolt"), book) == "You wish bolt (part bolt)."
    assert phrases.of_wish(FitComponent("disc", "brake"), book) == "You wish disc (part disc) at the brake."


def test_where_nothing_but_what_is_there_can_sit_that_is_told():
    """And where something else could, that it will not do."""
    told = []
    for numbers in ("hub ?", "hub hub2 ?"):
        shelf = Shelf(brake="drum disc", hub=numbers).add("conflicts", clash("hub clash", "disc", "hub"))
        shelf.add("companions", needs("hub rule", "disc", at("hub", "hub")))
        told.append(answer_sentences(shelf.book(), shelf.ask("disc")))
    no_other = phrases.no_other(shelf.book(), "hub")
    assert [no_other in lines for lines in told] == [True, False], told


def test_a_contradiction_found_before_the_time_was_up_is_told_and_not_called_the_smallest(
    monkeypatch: pytest.MonkeyPatch,
):
    book = Shelf(brake="drum disc vented", hub="hub hub2").book()
    wishes = tuple(map(FitComponent, ("disc", "hub2", "vented")))

    def blamed() -> tuple[Blame, list, bool]:
        blame = Blame(reach(Scope(book, VEHICLE), Question(VEHICLE, wishes), limits_as_demands=True))
        return blame, *blame.smallest(blame.switches)

    blame, group, proved = blamed()
    assert (len(group), proved, blame.late) == (2, True, False)

    def late(*_given: object, **_more: object) -> None:
        raise OutOfTime

    monkeypatch.setattr(contradictions.LeastMeeting, "group", late)
    blame, in_time, proved = blamed()
    assert (in_time, proved, blame.late) == (group, False, True)
    monkeypatch.setattr(Blame, "_suspects", late)
    blame, in_time, proved = blamed()
    assert (in_time, proved, blame.late) == (blame.switches, False, True)


def test_rules_that_a_set_keeps_are_not_asked_for_one_by_one():
    """Twenty rules of a part that is not there hold in any set without it."""
    places = [f"place{n:02d}" for n in range(20)]
    shelf = Shelf(brake="drum disc vented", **{name: f"{name}-old {name}-new" for name in places})
    shelf.add("companions", *(needs(f"rule {name}", "disc", at(f"{name}-new", name)) for name in places))
    wishes = tuple(map(FitComponent, ("disc", "vented")))
    question = Question(VEHICLE, wishes)
    blame = Blame(reach(Scope(shelf.book(), VEHICLE), question, limits_as_demands=True))
    assert len(blame.switches) > len(places)
    group, proved = blame.smallest(blame.switches)
    assert (len(group), proved) == (2, True)
    assert blame.checks < len(places)
