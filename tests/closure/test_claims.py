"""What a set rests on: every claim without which it would be another set, and no other."""

from dataclasses import replace

import pytest

from graftbook.closure.answer import Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.explain.comparing import compare
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaw, Wish
from graftbook.closure.words.phrases import claim_words
from graftbook.closure.words.wording import least_evidence_sentence, rests_on, unconfirmed_sentence
from graftbook.rulebook.model import (
    Budget,
    Comparator,
    Flaw,
    Grade,
    Joint,
    RuleBook,
    Severity,
    Substitute,
    Supersession,
)
from tests.closure.shelf import SEEN, VEHICLE, Shelf, amount, at, clash, needs

LAMP = FitComponent("lamp")


def lamps(**more: object) -> RuleBook:
    """A lamp that takes more than the dynamo gives."""
    shelf = Shelf(dynamo="dynamo alternator", light="candle lamp")
    for number, kind, amps in (("dynamo", "gives", 10), ("alternator", "gives", 40), ("lamp", "takes", 24)):
        shelf.part(number, characteristics={kind: amount(amps, "A")})
    budget = Budget(name="charging", supply_kind="gives", demand_kind="takes", reason="What burns is made.")
    return shelf.add("budgets", replace(budget, **more)).book()


def joined(**more: object) -> RuleBook:
    """A hub that the half shaft of today does not go into."""
    shelf = Shelf(hub="old lamp", shaft="thin thick")
    for number, kind, splines in (
        ("old", "hub", 12),
        ("lamp", "hub", 20),
        ("thin", "shaft", 12),
        ("thick", "shaft", 20),
    ):
        shelf.part(number, characteristics={kind: amount(splines)})
    joint = Joint(
        name="splines", position="hub", kind="hub", comparator=Comparator.equal, other_position="shaft",
        other_kind="shaft", reason="The splines mate.",
    )  # fmt: skip
    return shelf.add("joints", replace(joint, **more)).book()


def apart(**more: object) -> RuleBook:
    """A lamp that may not be with the fuse of today."""
    shelf = Shelf(light="candle lamp", fuse="wire glass")
    return shelf.add("conflicts", replace(clash("fuses", "lamp", "wire"), **more)).book()


def kept(**more: object) -> RuleBook:
    """A horn that stays, and wants a relay, which the lamp takes the place of."""
    shelf = Shelf(horn="horn", relay="relay lamp", spare="none relay2")
    rule = needs("horn rule", "horn", at("relay", "relay"), at("relay2", "spare"), evidence=())
    return shelf.add("companions", replace(rule, **more)).book()


@pytest.mark.parametrize(
    ("make", "rule", "sentence", "said"),
    [
        (lamps, "charging", "alternator at the dynamo rests on no evidence", "What burns is made."),
        (joined, "splines", "thick at the shaft rests on no evidence", "The splines mate."),
        (apart, "fuses", "glass at the fuse rests on no evidence", "Fuses says so."),
        (kept, "horn rule", "relay2 at the spare rests on no evidence", "Horn rule says so."),
    ],
)
def test_a_rule_without_which_it_would_be_another_set_counts(
    make, rule: str, sentence: str, said: str
) -> None:
    found = asked(make(), LAMP)
    assert len(found.changes) == 2
    assert (found.confidence, rests_on(found)) == (
        Grade.none,
        "Rests on claims with no evidence recorded at all (1).",
    )
    told = {unconfirmed_sentence(make(), one): claim_words(make(), one) for one in found.unconfirmed}
    assert told[f"Nobody has confirmed {rule}: {sentence}."] == said
    sure = asked(make(evidence=SEEN), LAMP)
    assert (sure.confidence, sure.unconfirmed) == (Grade.measured, ())


def test_a_rule_that_holds_whatever_is_new_does_not_count() -> None:
    strong = lamps()
    dynamo = replace(strong.components["dynamo"], characteristics={"gives": amount(30, "A")})
    found = asked(replace(strong, components={**strong.components, "dynamo": dynamo}), LAMP)
    assert (len(found.changes), found.confidence, found.unconfirmed) == (1, Grade.measured, ())
    both = asked(joined(), FitComponent("thick"), LAMP)
    assert both.confidence is Grade.none, "either would not go without the other"


def test_two_that_give_where_one_would_do_rest_on_no_budget() -> None:
    book = lamps()
    battery = replace(book.components["candle"], characteristics={"gives": amount(1, "A")})
    less = asked(replace(book, components={**book.components, "candle": battery}), FitComponent("alternator"))
    assert less.unconfirmed == ()


def test_what_remedies_a_flaw_is_a_claim_and_that_the_part_is_gone_is_none() -> None:
    shelf = Shelf(brake="old new", guard="none guard")
    flaw = Flaw(name="leaks", component="old", severity=Severity.severe, symptom="It leaks.")
    other = Substitute(name="old>new", original="old", component="new")
    gone = asked(shelf.add("flaws", flaw).book(), RemedyFlaw("leaks"))
    assert (gone.confidence, gone.unconfirmed) == (Grade.measured, ())

    named = replace(shelf.book(), flaws=(replace(flaw, substitutes=("old>new",)),), substitutes=(other,))
    (one,) = asked(named, RemedyFlaw("leaks")).unconfirmed
    assert claim_words(named, one) == "That new (part new) serves instead of old (part old)."

    held = replace(shelf.book(), flaws=(replace(flaw, add_ons=("guard",)),))
    kept = Question(VEHICLE, (RemedyFlaw("leaks"), FitComponent("old")))
    answer = answer_question(held, kept)
    assert answer.solution is not None
    (one,) = answer.solution.unconfirmed
    assert claim_words(held, one) == "That guard (part guard) remedies this: It leaks."


def test_a_number_in_the_stead_of_an_older_one_rests_on_the_supersession() -> None:
    shelf = Shelf(light="candle lamp").part("lamp2").retire("lamp")
    book = shelf.add("supersessions", Supersession(name="lamp>lamp2", old="lamp", new="lamp2")).book()
    found = asked(book, LAMP)
    assert [change.component for change in found.changes] == ["lamp2"]
    (one,) = found.unconfirmed
    assert (one.claim.name, claim_words(book, one)) == ("lamp>lamp2", "That lamp is now lamp2.")


def test_a_least_grade_names_the_rules_that_are_worth_less() -> None:
    """They bind all the same: a rule that warns is not left out because few have met it."""
    book, measured = lamps(), Limits(evidence_at_least=Grade.measured)
    without, strict = (
        answer_question(book, Question(VEHICLE, (LAMP,), limits)) for limits in (Limits(), measured)
    )
    assert least_evidence_sentence(Grade.measured, compare(without, strict)) == (
        "That everything fitted is worth measured or more costs nothing: the set is the same without. "
        "What it rests on beside is worth less, and binds all the same: charging (no evidence)."
    )
    sure = answer_question(lamps(evidence=SEEN), Question(VEHICLE, (LAMP,), measured))
    assert "worth less" not in least_evidence_sentence(Grade.measured, compare(sure, sure))


def asked(book: RuleBook, *wishes: Wish) -> Solution:
    answer = answer_question(book, Question(VEHICLE, wishes))
    assert answer.solution is not None, answer.contradictions
    return answer.solution
