"""The next best of a place is another component that can sit there, or the answer tells the other way."""

from collections import Counter
from dataclasses import replace

import pytest

from graftbook.closure.answer import Change, Other, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import RemedyFlaw
from graftbook.closure.words.wording import other_name
from graftbook.rulebook.model import Budget, Effort, Flaw, Severity
from tests.closure.judging import wrongs_of_next_bests
from tests.closure.oracle import Oracle
from tests.closure.shelf import Shelf, amount, at, loose, needs
from tests.closure.test_further_sets import questions


@pytest.mark.parametrize("block", range(2))
def test_every_next_best_is_another_component_of_that_place_or_another_way(block: int) -> None:
    wrong, seen = {}, Counter()
    for seed, book, question in questions(72_000_000 + block * 1_000_000, 120):
        answer = answer_question(book, replace(question, alternatives=0))
        if answer.solution is None:
            continue
        if found := list(wrongs_of_next_bests(book, question, answer.solution)):
            wrong[seed] = found
        told = [(change, other) for change in answer.solution.changes for other in change.others]
        if told:
            sets = [best for _, best in Oracle(book, question).sets()]
        for change, other in told:
            if other.outcome is Outcome.impossible:
                seen["impossible"] += 1
                if any(dict(best.after)[change.position] == other.component for best in sets):
                    wrong[seed] = (change.position, other)
                continue
            seen["new" if not (other.kept or other.component is None) else "other way"] += 1
            if not any(as_said(change, other, dict(best.after), dict(best.loose)) for best in sets):
                wrong[seed] = (change.position, other)
    assert not wrong, (len(wrong), next(iter(wrong.items())))
    assert min(seen["new"], seen["other way"], seen["impossible"]) > 3, seen


def as_said(change: Change, other: Other, after: dict, kits: dict) -> bool:
    """Whether a set is what a next best says of it."""
    there = {**after, **{"~" + number: number for number in kits}}
    way = other.way
    return after[change.position] == other.component and (
        way is None or there.get(way.place) == way.component
    )


def told(shelf: Shelf, place: str, *wishes: str, **more) -> str:
    """What the next best at a place is called."""
    answer = shelf.ask(*wishes, **more)
    change = next(c for c in answer.solution.changes if c.position == place)
    other, *_ = change.others
    return other_name(shelf.book(), change, other)


def test_a_loose_part_used_instead_is_not_said_to_sit_there() -> None:
    shelf = Shelf(brake="drum disc", line="pipe hose").kit("sleeve", price=9_900)
    shelf.add("companions", needs("line rule", "disc", at("hose", "line"), loose("sleeve")))
    said = told(shelf, "line", "disc", preference=(Criterion.price,))
    assert said == "keeping pipe (part pipe), with sleeve (part sleeve)"


def test_the_same_part_elsewhere_is_the_other_way_and_not_the_next_best_there() -> None:
    shelf = Shelf(front="open locker", rear="shut locker").fits("locker", "rear", minutes=500)
    assert told(shelf, "front", "locker") == "keeping open (part open), with locker (part locker) at the rear"


def test_where_what_asked_gives_way_that_is_told() -> None:
    shelf = Shelf(brake="drum disc", caliper="none one two", line="pipe hose wide")
    shelf.add("companions", needs("caliper rule", "disc", at("one", "caliper"), at("two", "caliper")))
    shelf.add("companions", needs("line rule", "one", at("hose", "line"), at("wide", "line")))
    shelf.part("two", price=900, visible=True).fits("wide", "line", effort=Effort.cutting)
    assert told(shelf, "line", "disc") == "keeping pipe (part pipe), with two (part two) at the caliper"


def test_another_component_of_the_place_is_told_by_itself() -> None:
    shelf = Shelf(brake="drum disc", line="pipe hose wide")
    shelf.part("wide", price=900)
    shelf.add("companions", needs("line rule", "disc", at("hose", "line"), at("wide", "line")))
    assert told(shelf, "line", "disc") == "wide (part wide)"


def lit(gives: dict[str, int], **positions: str) -> Shelf:
    """A lamp that takes 1 today and 9 when it is bright, and what gives for it."""
    shelf = Shelf(lamp="dim bright", **positions)
    for number, units in (("dim", 1), ("bright", 9)):
        shelf.part(number, characteristics={"takes": amount(units)})
    for number, units in gives.items():
        shelf.part(number, characteristics={"gives": amount(units)})
    charge = Budget(name="charge", supply_kind="gives", demand_kind="takes", reason="It must last")
    return shelf.add("budgets", charge)


def choice_at(shelf: Shelf, place: str) -> tuple[bool, int]:
    change = next(c for c in shelf.ask("bright").solution.changes if c.position == place)
    return change.forced, change.choices


def test_a_supply_is_chosen_where_one_at_another_place_could_be_had() -> None:
    gives = {"dynamo": 1, "alternator": 10, "coil": 0, "magneto": 12}
    shelf = lit(gives, one="dynamo alternator", other="coil magneto")
    shelf.part("magneto", price=900)
    assert choice_at(shelf, "one") == (False, 2)
    said = told(shelf, "one", "bright")
    assert said == "keeping dynamo (part dynamo), with magneto (part magneto) at the other"


def test_supplies_that_are_all_needed_are_not_choices_of_each_other() -> None:
    gives = {"dynamo": 1, "alternator": 5, "coil": 0, "magneto": 5}
    shelf = lit(gives, one="dynamo alternator", other="coil magneto")
    assert [choice_at(shelf, place) for place in ("one", "other")] == [(True, 1), (True, 1)]


def test_what_gives_no_more_than_today_is_no_choice() -> None:
    shelf = lit({"dynamo": 1, "worn": 1, "alternator": 10}, one="dynamo worn alternator")
    assert choice_at(shelf, "one") == (True, 1)


def test_another_supply_is_told_where_a_budget_asks() -> None:
    gives = {"dynamo": 1, "alternator": 10, "large": 20, "coil": 0, "magneto": 12}
    shelf = lit(gives, one="dynamo alternator large", other="coil magneto")
    shelf.part("magneto", price=900).fits("large", "one", effort=Effort.cutting)
    assert choice_at(shelf, "one") == (False, 3)
    assert (
        told(shelf, "one", "bright")
        == "keeping dynamo (part dynamo), with magneto (part magneto) at the other"
    )


def test_where_a_flaw_was_to_go_its_add_on_is_told() -> None:
    shelf = Shelf(pump="weak strong", guard="- shield ?")
    shelf.part("shield", price=900)
    flaw = Flaw(
        name="leaks", component="weak", severity=Severity.severe, symptom="It leaks", add_ons=("shield",)
    )
    shelf.add("flaws", flaw)
    answer = shelf.ask(RemedyFlaw("leaks"))
    (change,) = answer.solution.changes
    (other,) = change.others
    assert change.position == "pump"
    assert (
        other_name(shelf.book(), change, other)
        == "keeping weak (part weak), with shield (part shield) at the guard"
    )
