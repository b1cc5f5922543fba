"""What is machined, cut or welded counts, whether it sits in a position or is ordered loose."""

import pytest

from graftbook.closure.answer import Answer, Outcome
from graftbook.closure.compatibility import Fits, compatible
from graftbook.closure.complete import check_completeness
from graftbook.closure.question import FitComponent, Limits, Question, RemedyFlaw
from graftbook.closure.verify import InternalError, verify
from graftbook.closure.words.sentences import CUTTING, cautions_for, compatibility_sentence, instead
from graftbook.closure.words.wording import answer_sentences, costs, loose_sentence
from graftbook.rulebook.model import Effort, Flaw, RuleBook, Severity
from graftbook.rulebook.scope import scope_for
from tests.closure.shelf import VEHICLE, Shelf, at, blamed, changes, kits, loose, needs

MACHINED = {"effort": Effort.machining, "minutes": 15}
WELDED = {"effort": Effort.cutting, "minutes": 40, "note": "sensors off first"}
NOT_CUT = Limits(effort_at_most=Effort.machining)


def sensor(exhaust: str = "old") -> Shelf:
    """A sensor that needs a boss to weld in, or where there is one the exhaust `new`."""
    shelf = Shelf(sensor="none probe", exhaust=exhaust).kit("boss", price=5, **WELDED)
    return shelf.add("companions", needs("boss", "probe", at("new", "exhaust"), loose("boss", 2)))


def said(shelf: Shelf, answer: Answer) -> str:
    return "\n".join(answer_sentences(shelf.book(), answer))


def test_a_loose_part_to_weld_in_cannot_be_put_back() -> None:
    shelf = sensor()
    answer = shelf.ask("probe")
    assert answer.solution.totals.irreversible == 1
    assert answer.solution.totals.cut == ("boss",)
    assert answer.solution.totals.labour == 10 + 2 * 40
    assert costs(answer.solution.totals).startswith("1 change, 1 cannot be put back (boss), nothing shows.")
    (part,) = answer.solution.loose
    assert (part.effort, part.minutes) == (Effort.cutting, 80)
    sentence = loose_sentence(shelf.book(), part)
    assert "It needs cutting or welding and cannot be put back. Note: sensors off first." in sentence
    assert CUTTING in cautions_for(shelf.book(), answer.solution.changes, answer.solution.loose)


def test_what_can_be_put_back_is_preferred_to_welding_a_loose_part_in() -> None:
    assert changes(sensor("old new").ask("probe")) == {"sensor": "probe", "exhaust": "new"}


@pytest.mark.parametrize("most", [Effort.direct, Effort.with_companions, Effort.machining])
def test_no_limit_on_the_work_lets_a_loose_part_to_weld_in_through(most: Effort) -> None:
    shelf = sensor()
    answer = shelf.ask("probe", limits=Limits(effort_at_most=most))
    assert answer.outcome is Outcome.impossible
    (names,) = blamed(answer)
    assert {"wish: fit probe", "boss"} < names
    assert any(name.startswith("limit: ") for name in names)
    way = next(way for way in answer.ways_out if instead(shelf.book(), way) == "accept cutting or welding")
    assert way.totals.cut == ("boss",)
    assert "1 cannot be put back (boss)" in said(shelf, answer)


def test_the_limit_on_the_work_is_what_forces_another_way() -> None:
    cheapest = sensor("old new").part("new", visible=True)
    answer = cheapest.ask("probe", limits=NOT_CUT)
    assert changes(answer) == {"sensor": "probe", "exhaust": "new"}
    assert answer.engine == "propagation"


def test_machining_is_told_and_forbidden_by_the_lower_limit() -> None:
    shelf = sensor().part("boss", **MACHINED)
    answer = shelf.ask("probe", limits=NOT_CUT)
    assert costs(answer.solution.totals).startswith(
        "1 change, nothing cut or welded, 1 part machined (boss), nothing shows."
    )
    refused = shelf.ask("probe", limits=Limits(effort_at_most=Effort.with_companions))
    assert instead(shelf.book(), refused.ways_out[0]) == "accept machining"


def test_a_fitment_that_is_machined_is_told_too() -> None:
    shelf = Shelf(head="old new").fits("new", "head", effort=Effort.machining)
    assert "nothing cut or welded, 1 part machined (new)" in costs(shelf.ask("new").solution.totals)


def test_a_wished_and_a_remedying_loose_part_count_alike() -> None:
    shelf = Shelf(tank="old").kit("patch", **WELDED)
    shelf.add(
        "flaws",
        Flaw(name="rust", component="old", severity=Severity.severe, symptom="rust", add_ons=("patch",)),
    )
    for wish in (FitComponent("patch", quantity=3), RemedyFlaw("rust")):
        answer = shelf.ask(wish)
        assert kits(answer)["patch"] in (1, 3)
        assert answer.solution.totals.irreversible == 1, wish
        assert shelf.ask(wish, limits=NOT_CUT).outcome is Outcome.impossible, wish


def test_the_checker_refuses_what_the_limit_forbids() -> None:
    book = sensor().book()
    scope = scope_for(book, VEHICLE)
    question = Question(VEHICLE, (FitComponent("probe"),))
    verify(scope, question, {"sensor": "probe"}, {"boss": 2})
    limited = Question(VEHICLE, (FitComponent("probe"),), NOT_CUT)
    with pytest.raises(InternalError, match="nothing cut or welded"):
        verify(scope, limited, {"sensor": "probe"}, {"boss": 2})


def checked(book: RuleBook, limits: Limits):
    question = Question(VEHICLE, (FitComponent("probe"),), limits)
    return check_completeness(book, question, {"sensor": "probe"}, {"boss": 2})


def test_a_proposed_set_tells_the_work_of_its_loose_parts() -> None:
    found = checked(sensor().book(), NOT_CUT)
    assert [note.name for note in found.limits_broken] == ["limit: nothing cut or welded"]
    assert (found.complete, found.cut, found.machined) == (False, ("boss",), ())
    assert checked(sensor().book(), Limits()).complete


def test_what_its_companion_must_be_welded_for_fits_after_work() -> None:
    book = sensor().book()
    found = compatible(book, VEHICLE, "probe", "sensor")
    assert (found.verdict, found.places[0].effort) == (Fits.after_work, Effort.cutting)
    assert "after cutting or welding" in compatibility_sentence(book, found)
    either = compatible(sensor("old new").book(), VEHICLE, "probe", "sensor")
    assert (either.verdict, either.places[0].effort) == (Fits.with_companions, Effort.direct)
