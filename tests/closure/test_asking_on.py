"""Alternatives, "why not", "what if", completeness of a proposed set, and the words."""

import re
from dataclasses import replace
from itertools import combinations

import pytest

from graftbook.checks.verdict import CAUTIONS
from graftbook.closure.answer import Cause, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.complete import check_completeness
from graftbook.closure.criteria import Criterion
from graftbook.closure.explain.choices import MOST_ASKED
from graftbook.closure.explain.comparing import what_if, why_not
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaws
from graftbook.closure.search.totals import changes_are_outranked
from graftbook.closure.words.sentences import (
    BY_WORD,
    CUTTING,
    HEAVY,
    STANDS,
    cautions_for,
    cautions_of,
    instead,
    sentence,
)
from graftbook.closure.words.wording import answer_sentences, because_sentence, comparison_sentences, hours
from graftbook.rulebook.model import Effort, Flaw, Severity, Supersession
from tests.closure.oracle import Oracle
from tests.closure.shelf import VEHICLE, Shelf, at, changes, kits, loose, needs
from tests.closure.worlds import World


def brakes() -> Shelf:
    """Discs need one of three cylinders, and a hub that needs bolts."""
    shelf = Shelf(brake="drum disc", cylinder="old a b c", hub="hub hub2", lamp="lamp lamp2").kit("bolt")
    shelf.part("a", price=900).part("b", price=300).part("c", price=500, visible=True)
    shelf.fits("b", "cylinder", minutes=90).fits("a", "cylinder", minutes=10)
    shelf.add(
        "companions",
        needs("cylinder rule", "disc", at("a", "cylinder"), at("b", "cylinder"), at("c", "cylinder")),
        needs("hub rule", "disc", at("hub2", "hub")),
        needs("bolt rule", "hub2", loose("bolt", 5)),
    )
    return shelf


def asked(*wishes: str, **more) -> Question:
    return Question(VEHICLE, tuple(FitComponent(w) for w in wishes), **more)


def test_a_choice_says_what_the_next_best_would_cost_more() -> None:
    answer = brakes().ask("disc")
    assert changes(answer)["cylinder"] == "b"
    cylinder = next(c for c in answer.solution.changes if c.position == "cylinder")
    assert (cylinder.forced, cylinder.choices) == (False, 3)
    assert cylinder.others[0].component == "a"
    assert cylinder.others[0].difference.figures == {Criterion.price: 600, Criterion.labour: -80}
    assert all(c.forced for c in answer.solution.changes if c.position != "cylinder")


def test_what_has_no_choice_takes_no_turn_from_what_has() -> None:
    """Twenty-four wishes that leave nothing to choose, and one rule with three ways."""
    plain = [f"plain{n:02d}" for n in range(MOST_ASKED)]
    shelf = Shelf(**{name: f"{name}-old {name}-new" for name in plain}, brake="drum disc", cylinder="old a b")
    shelf.add("companions", needs("cylinder rule", "disc", at("a", "cylinder"), at("b", "cylinder")))
    found = shelf.ask("disc", *(f"{name}-new" for name in plain)).solution
    (cylinder,) = [change for change in found.changes if change.position == "cylinder"]
    assert [(other.component, other.outcome) for other in cylinder.others] == [
        ("b", Outcome.proved),
        ("old", Outcome.impossible),
    ]


def test_alternatives_do_not_dominate_each_other() -> None:
    shelf = brakes().part("d", price=950).fits("d", "cylinder")  # as quick as a, and dearer
    shelf.rules["companions"][0] = needs("cylinder rule", "disc", *(at(n, "cylinder") for n in "abcd"))
    answer = shelf.ask("disc", alternatives=5)
    sets = [changes(answer)["cylinder"]] + [s.after["cylinder"] for s in answer.others]
    assert sets == ["b", "a", "c"]
    assert [s.after["cylinder"] for s in shelf.ask("disc", alternatives=1).others] == ["a"]


def test_alternatives_of_random_catalogues_do_not_dominate_each_other() -> None:
    several = 0
    for seed in range(400):
        world = World(seed, dense=0.7)
        book, question = world.book(), replace(world.question(), alternatives=3)

        answer = answer_question(book, question)
        if answer.solution is None:
            continue
        axes = [
            (len(s.totals.unknown_prices), s.totals.price, s.totals.visible, s.totals.labour)
            for s in (answer.solution, *answer.others)
        ]
        several += len(axes) > 1
        for one, other in combinations(axes, 2):
            better = (one[:2] < other[:2], one[2] < other[2], one[3] < other[3])
            worse = (one[:2] > other[:2], one[2] > other[2], one[3] > other[3])
            assert any(better), seed
            assert any(worse), seed
    assert several > 3


def test_why_not_gives_the_difference_or_the_contradiction() -> None:
    book = brakes().book()
    comparison = why_not(book, asked("disc"), "c", "cylinder")
    wanted = {Criterion.visible: 1, Criterion.price: 200, Criterion.labour: -80}
    assert comparison.difference.figures == wanted
    assert [c.component for c in comparison.only_in_other] == ["c"]
    assert [c.component for c in comparison.only_in_one] == ["b"]
    limits = Limits(refuse=frozenset({"c"}))
    comparison = why_not(book, asked("disc", limits=limits), "c", "cylinder")
    assert comparison.other.outcome is Outcome.impossible
    assert any("refuse c" in line for line in comparison_sentences(book, book, comparison))


def test_why_not_takes_the_place_of_a_wish_for_the_same_position() -> None:
    comparison = why_not(brakes().book(), asked("disc", "a"), "b")
    assert comparison.other.outcome is Outcome.proved
    assert comparison.other.solution.after["cylinder"] == "b"


def test_what_if_compares_two_vehicles() -> None:
    book = brakes().book()
    other = replace(asked("disc"), fitted={"hub": "hub2"})
    comparison = what_if(book, asked("disc"), book, other)
    assert [c.position for c in comparison.only_in_one] == ["hub"]
    assert comparison.only_in_other == ()
    assert comparison.difference.figures[Criterion.changes] == -1


# Completeness -------------------------------------------------------------------------------------


def test_a_complete_set_is_complete() -> None:
    proposed = {"brake": "disc", "cylinder": "c", "hub": "hub2"}
    found = check_completeness(brakes().book(), asked("disc"), proposed, {"bolt": 5})
    assert found.complete
    assert found.completed is None
    assert found.surplus == ()


def test_what_is_missing_is_named_and_the_closure_keeps_what_was_proposed() -> None:
    proposed = {"brake": "disc", "cylinder": "a"}
    found = check_completeness(brakes().book(), asked(), proposed)
    assert [(note.cause, note.name) for note in found.missing] == [(Cause.companion, "hub rule")]
    assert changes(found.completed) == {"brake": "disc", "cylinder": "a", "hub": "hub2"}
    assert kits(found.completed) == {"bolt": 5}


def test_a_part_for_a_flaw_of_another_section_than_wished_is_surplus() -> None:
    shelf = brakes()
    flawed = Flaw(name="dim", component="lamp", severity=Severity.severe, symptom="It is dim.")
    shelf.add("flaws", flawed)
    section = shelf.book().positions["lamp"].section
    for wished, surplus in ((section, ()), ("another", ("lamp",))):
        wish = RemedyFlaws(Severity.severe, wished)
        found = check_completeness(shelf.book(), Question(VEHICLE, (wish,)), {"lamp": "lamp2"}, {})
        assert tuple(s.position for s in found.surplus) == surplus, wished


def test_a_loose_part_that_was_proposed_and_no_rule_needs_is_kept_in_its_pieces() -> None:
    proposed, shelf = {"brake": "disc", "cylinder": "a"}, brakes().kit("wax")
    found = check_completeness(shelf.book(), asked(), proposed, {"wax": 2})
    assert kits(found.completed) == {"bolt": 5, "wax": 2}


def test_too_few_loose_parts_and_surplus_are_named() -> None:
    proposed = {"brake": "disc", "cylinder": "b", "hub": "hub2", "lamp": "lamp2"}
    found = check_completeness(brakes().book(), asked("disc"), proposed, {"bolt": 3})
    assert [sentence(brakes().book(), note.ground) for note in found.missing] == [
        "5 of bolt (part bolt) are needed; the set has 3."
    ]
    assert [(s.position, s.component) for s in found.surplus] == [("lamp", "lamp2")]
    found = check_completeness(brakes().book(), asked("disc", "lamp2"), proposed, {"bolt": 7})
    assert [(s.component, s.quantity) for s in found.surplus] == [("bolt", 2)]


def test_what_does_not_fit_clashes() -> None:
    found = check_completeness(brakes().book(), asked(), {"lamp": "disc", "hub": None})
    assert not found.complete
    assert [note.positions for note in found.clashing] == [("hub",), ("lamp",)]


def test_every_answer_is_a_complete_set_and_leaving_out_any_forced_change_is_not() -> None:

    checked = 0
    for seed in range(300):
        world = World(seed)
        book, question = world.book(), world.question()
        if changes_are_outranked(question.preference):
            continue  # then a change may be there for no rule's sake: to make a claim certain
        answer = answer_question(book, question)
        if answer.solution is None:
            continue
        proposed = changes(answer)
        found = check_completeness(book, question, proposed, kits(answer))
        assert found.complete, seed
        assert found.surplus == (), seed
        for change in answer.solution.changes:
            less = {p: c for p, c in proposed.items() if p != change.position}
            assert not check_completeness(book, question, less, kits(answer)).complete, seed
            checked += 1
    assert checked > 50


def test_a_random_set_is_complete_exactly_when_brute_force_says_it_is_valid() -> None:
    verdicts = set()
    for seed in range(150):
        world = World(seed, positions=3)
        book, question = world.book(), replace(world.question(), wishes=(), limits=Limits())
        oracle = Oracle(book, question)
        after = {p: world.random.choice(oracle.can[p]) for p in oracle.places}
        valid = (
            oracle.fixed_rules_hold(after)
            and oracle.loose_demands(after) == []
            and not any(sure for _, sure in oracle.conflicts(after, ()))
        )
        proposed = {p: c for p, c in after.items() if c != oracle.today[p]}
        if oracle.loose_demands(after):
            continue  # loose parts would have to be proposed as well
        assert check_completeness(book, question, proposed).complete is valid, seed
        verdicts.add(valid)
    assert verdicts == {True, False}


# Words --------------------------------------------------------------------------------------------


def test_the_answer_in_words() -> None:
    shelf = brakes()
    answer = shelf.ask("disc")
    lines = answer_sentences(shelf.book(), answer)
    assert lines[0] == (
        "Proved: the best of all sets that fulfil this. 3 changes, nothing cut or welded, nothing shows. "
        "Parts 10.00, labour 1 h 50 min."
    )
    assert (
        "The cylinder: b (part b) in place of old. The brake needs it: cylinder rule says so. "
        "Chosen out of 3. The next best, a (part a): 6.00 more for parts and 1 h 20 min less labour." in lines
    )
    assert "5 × bolt (part bolt). The hub needs it: bolt rule says so." in lines
    assert any(line.startswith("Brakes hold lives.") for line in lines)


def test_the_chain_of_reasons_starts_with_the_wish() -> None:
    shelf = brakes()
    answer = shelf.ask("disc")
    reasons = {change.position: change.because for change in answer.solution.changes}
    assert [because_sentence(shelf.book(), reasons[at]) for at in (reasons["hub"].parent, "hub")] == [
        "You wish disc (part disc).",
        "The brake needs it: hub rule says so.",
    ]


def test_two_wishes_for_one_position_are_told_as_such() -> None:
    shelf = brakes()
    lines = answer_sentences(shelf.book(), shelf.ask("a", "b"))
    assert lines[0] == "Impossible, proved: no set fulfils all of this."
    assert "Only one component can sit at the cylinder, and you wish more than one there." in lines


def test_the_way_out_names_what_one_gets() -> None:
    shelf = brakes()
    answer = shelf.ask("disc", limits=Limits(price_at_most=999))
    assert instead(shelf.book(), answer.ways_out[0]) == "raise the ceiling to 10.00"
    shelf.fits("hub2", "hub", effort=Effort.cutting)
    answer = shelf.ask("disc", limits=Limits(effort_at_most=Effort.machining))
    assert instead(shelf.book(), answer.ways_out[0]) == "accept cutting or welding"
    assert answer.ways_out[0].totals.irreversible == 1


def test_a_wish_can_be_replaced_by_another_component() -> None:
    shelf = brakes()
    answer = shelf.ask("c", limits=Limits(nothing_visible=True))
    ways = [instead(shelf.book(), way) for way in answer.ways_out]
    assert "accept visible changes" in ways
    assert "fit b (part b) at the cylinder instead of c" in ways


def test_a_kit_cannot_be_wished_when_it_is_refused() -> None:
    answer = brakes().ask("disc", limits=Limits(refuse=frozenset({"bolt"})))
    assert {part.name for part in answer.contradictions[0].parts} == {
        "wish: fit disc",
        "limit: refuse bolt",
        "hub rule",
        "bolt rule",
    }


def test_cutting_has_its_own_caution() -> None:
    shelf = brakes().fits("disc", "brake", effort=Effort.cutting)
    answer = shelf.ask("disc")
    assert CUTTING in cautions_for(shelf.book(), answer.solution.changes)


@pytest.mark.parametrize(("mass", "told"), [(None, ()), (24.9, ()), (25.0, (HEAVY,)), (170.0, (HEAVY,))])
def test_what_is_heavy_is_lifted_with_tackle(mass: float | None, told: tuple[str, ...]) -> None:
    """An engine has neither a word in its section nor a hazard: its mass says what can hurt."""
    book = brakes().fits("disc", "brake").book()
    heavy = replace(book.components["disc"], mass_kg=mass)
    book = replace(book, components={**book.components, "disc": heavy})
    assert cautions_of(book, (), ("disc",), (), cut=False) == told


@pytest.mark.parametrize("sentence", [*BY_WORD.values(), STANDS, HEAVY, *CAUTIONS.values()])
def test_a_caution_that_speaks_of_a_frame_holds_for_a_body_without_one(sentence: str) -> None:
    assert "frame" not in sentence or re.search(r"\bbody\b", sentence)


def test_hours() -> None:
    assert [hours(m) for m in (0, 45, 60, 580)] == ["0 h", "45 min", "1 h", "9 h 40 min"]


@pytest.mark.parametrize(("successors", "sits"), [(("disc",), "disc"), (("disc", "vented"), "old")])
def test_an_old_number_on_a_list_is_followed_only_where_it_says_which(
    successors: tuple[str, ...], sits: str
) -> None:
    """With two that could stand for it the list stays as it was typed, and is told not to fit."""
    shelf = Shelf(brake="drum disc vented").part("old").retire("old")
    shelf.add("supersessions", *(Supersession(name=n, old="old", new=n) for n in successors))
    found = check_completeness(shelf.book(), Question(VEHICLE, ()), {"brake": "old"})
    assert found.after["brake"] == sits
    assert found.complete is (sits == "disc")
    assert bool(found.clashing) is (sits == "old")
