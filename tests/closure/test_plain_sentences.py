"""Sentences that a fitter reads: who needs what, what goes, and what the next best is."""

from dataclasses import replace

import pytest

from graftbook.closure.answer import Missing, Other, Unconfirmed
from graftbook.closure.criteria import Criterion, Difference
from graftbook.closure.explain.comparing import what_if
from graftbook.closure.question import FitComponent, Question, RemedyFlaws
from graftbook.closure.words import phrases
from graftbook.closure.words.wording import (
    change_sentence,
    comparison_sentences,
    difference_words,
    headline,
    unconfirmed_sentence,
)
from graftbook.rulebook.model import Alternative, Comparator, Kind, Section, Severity, Wanted
from graftbook.rulebook.scope import Fit
from tests.closure.shelf import VEHICLE, Shelf, amount, changes, loose, needs


def _change(answer, position):
    return next(change for change in answer.solution.changes if change.position == position)


def test_what_must_come_off_is_not_said_to_be_needed():
    shelf = Shelf(brake="shoes caliper", valve="residual ?").add(
        "companions", needs("drag rule", "caliper", Alternative(position="valve", empty=True))
    )
    answer = shelf.ask("caliper")
    assert changes(answer) == {"brake": "caliper", "valve": None}
    told = change_sentence(shelf.book(), _change(answer, "valve"))
    assert "The brake needs it gone: drag rule says so." in told
    assert "needs it:" not in told


@pytest.mark.parametrize(
    ("title", "plural"),
    [
        ("feed line and hoses", True),
        ("brake pipes, front", True),
        ("road wheels", True),
        ("injection sensors", True),
        ("step wells and toe board", True),
        ("front brake, left (cylinders and shoes, or caliper)", False),
        ("isolation between steel and aluminium", False),
        ("dynamo or alternator", False),
        ("chassis", False),
    ],
)
def test_the_verb_follows_the_title(title, plural):
    assert phrases.verb(title, "needs", "need") == ("need" if plural else "needs")


def test_one_less_is_said_of_a_measure_and_one_fewer_of_what_is_counted():
    words = difference_words(Difference({Criterion.changes: -1, Criterion.visible: 1}))
    assert words == "1 more visible change and 1 fewer change"


def test_the_highest_severity_has_nothing_worse():
    wish = RemedyFlaws(Severity.dangerous)
    assert phrases.of_wish(wish, Shelf(brake="a").book()) == "You wish every dangerous flaw remedied."
    other = RemedyFlaws(Severity.severe)
    assert phrases.of_wish(other, Shelf(brake="a").book()).endswith("that is severe or worse.")


def test_the_same_part_elsewhere_is_named_with_its_place():
    shelf = Shelf(front="open locker", rear="open locker")
    answer = shelf.ask("locker")
    told = [change_sentence(shelf.book(), change) for change in answer.solution.changes]
    assert len(told) == 1
    (other,) = answer.solution.changes[0].others
    assert (other.component, other.kept, other.way.component) == ("open", True, "locker")
    assert "The next best, keeping open (part open), with locker (part locker) at the " in told[0], told[0]


def test_nothing_wished_is_not_said_to_be_fulfilled():
    answer = Shelf(brake="shoes caliper").ask()
    assert "fulfils this" not in headline(answer)
    assert headline(answer) == "Nothing is wished, so nothing changes."


def test_what_stays_as_today_in_the_next_best_set_is_kept():
    shelf = Shelf(front="open locker", rear="open locker")
    answer = shelf.ask("locker")
    (change,) = answer.solution.changes
    kept = replace(change, others=(Other("open", kept=True),))
    assert "The next best, keeping open (part open): " in change_sentence(shelf.book(), kept)


def test_what_was_chosen_says_what_the_next_best_is_or_why_there_is_none():
    shelf = Shelf(brake="shoes disc drum")
    change = replace(_change(shelf.ask("disc"), "brake"), forced=False, choices=2, others=())
    only = change_sentence(shelf.book(), replace(change, only_one=True))
    assert only.endswith("Chosen out of 2: with the other not all of your wishes can be fulfilled.")
    of_three = change_sentence(shelf.book(), replace(change, choices=3, only_one=True))
    assert of_three.endswith("with any of the others not all of your wishes can be fulfilled.")
    assert "Chosen out of" not in change_sentence(shelf.book(), change), "nobody looked at the next best"


def test_advice_ends_as_a_sentence():
    shelf = Shelf(brake="shoes disc").kit("wax")
    rule = needs("wax rule", "disc", loose("wax"))
    assert phrases.advice(shelf.book(), rule).endswith("wax rule says so.")


def test_advice_without_a_number_names_the_position():
    shelf = Shelf(brake="shoes disc", servo="small large")
    strong = Wanted("servo_ratio", Comparator.at_least, amount(1.8))
    rule = needs("servo rule", "disc", Alternative(position="servo", having=(strong,)))
    assert phrases.advice(shelf.book(), rule) == "The servo: servo rule says so."


def test_a_claim_says_what_is_claimed():
    shelf = Shelf(brake="shoes disc").kit("wax")
    rule = needs("wax rule", "disc", loose("wax"), evidence=())
    book = shelf.fits("disc", "brake", evidence=()).add("companions", rule).book()
    asked = Unconfirmed(rule, "brake", "disc")
    assert phrases.claim_words(book, asked) == "Wax rule says so."
    assert unconfirmed_sentence(book, asked) == (
        "Nobody has confirmed wax rule: disc at the brake rests on no evidence."
    )
    fits = Unconfirmed(book.fitments[-1], "brake", "disc")
    assert phrases.claim_words(book, fits) == "That disc (part disc) fits the brake."
    assert unconfirmed_sentence(book, fits) == (
        "Nobody has confirmed that disc fits the brake: it rests on no evidence."
    )


def test_a_section_is_called_by_its_title():
    book = replace(Shelf(brake="a").book(), sections={"brakes": Section("brakes", "Brakes and hubs", 1)})
    wish = RemedyFlaws(Severity.severe, "brakes")
    assert phrases.of_wish(wish, book).endswith(" severe or worse in Brakes and hubs.")


def test_what_is_not_recorded_is_called_by_its_titles():
    kinds = {
        "output": Kind("output", "output of the machine", "current"),
        "drawn": Kind("drawn", "load", "current"),
    }
    book = replace(Shelf(lamp="bulb").book(), kinds=kinds)
    either = Missing(("output", "drawn"), Fit("lamp", "bulb"))
    assert phrases.missing(book, either) == "output of the machine or load of bulb (part bulb) at the lamp"


def test_what_is_no_longer_done_on_another_vehicle_is_told_by_the_book_of_the_first():
    """The other vehicle has no such place and no such part: its own book could give neither a name."""
    here, there = Shelf(brake="drum disc", lamp="lamp lamp2"), Shelf(brake="drum disc")
    asked = Question(VEHICLE, (FitComponent("disc"), FitComponent("lamp2")))
    other = Question(VEHICLE, (FitComponent("disc"),))
    compared = what_if(here.book(), asked, there.book(), other)
    told = comparison_sentences(here.book(), there.book(), compared)
    assert [line for line in told if line.startswith("No longer: ")] == [
        "No longer: The lamp: lamp2 (part lamp2) in place of lamp. You wish lamp2 (part lamp2)."
    ]


def test_the_only_other_one_and_several_others_are_told_apart():
    book = Shelf(lamp="bulb lantern torch beacon").book()
    alone = phrases.none_will_do(book, "lamp", ("lantern",))
    assert alone.startswith("The only other component for")
    assert "lantern (part lantern)" in alone
    two = phrases.none_will_do(book, "lamp", ("lantern", "torch"))
    assert two.startswith("None of the other 2 components for")
    assert two.endswith("(lantern, torch).")
    assert phrases.none_will_do(book, "lamp", ("a", "b", "c", "d")).endswith("(a, b, c, …).")
