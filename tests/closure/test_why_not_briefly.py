"""A component's price in a closure is the difference that a question of its own would give."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import orjson
import pytest
from fastapi import FastAPI

from graftbook.closure.answer import Outcome
from graftbook.closure.answering import scope_of
from graftbook.closure.explain import comparing
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import NEVER
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.closure.words.wording import comparison_sentences, contradiction_sentences
from graftbook.questions.closures import reasoning
from graftbook.questions.closures.documents import difference_document
from graftbook.questions.closures.reasoning import Posed
from graftbook.questions.closures.why_not import priced
from graftbook.questions.reading import ask
from graftbook.questions.schemas import ClosureIn
from graftbook.rulebook.model import RuleBook
from tests.closure.test_further_sets import branching
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import World

BLAMED = 1
"""Of the impossible ones so many are asked why; of the others it is proved again that they are."""


def asked_after(document: Any) -> Iterator[tuple[str, str]]:
    """What could be asked after: each component that the set has, or could have, at each place."""
    for change in document["set"]["changes"] if document["set"] else ():
        numbers = [change["component"], *(other["component"] for other in change["alternatives"])]
        yield from ((number, change["position"]) for number in numbers if number)


def brief(posed: Posed, number: str, position: str, closure: bytes) -> Any:
    return orjson.loads(reasoning.why_not_briefly(posed, number, position, closure).body)


def wrongs(posed: Posed, number: str, position: str, told: Any, whole: comparing.Comparison) -> Iterator[str]:
    """What a brief answer says otherwise than the whole comparison."""
    book, other = posed.book, whole.other
    said = comparison_sentences(book, book, whole)
    if told["outcome"] != other.outcome.value:
        yield f"outcome {told['outcome']}, not {other.outcome}"
    if told["difference"] != orjson.loads(orjson.dumps(difference_document(whole.difference))):
        yield f"difference {told['difference']}, not {difference_document(whole.difference)}"
    if told["sentences"] != said[: len(told["sentences"])] or not told["sentences"]:
        yield f"{told['sentences']}, not {said}"
    first = contradiction_sentences(book, other.contradictions[0]) if other.contradictions else []
    if told["contradiction"] != first:
        yield f"contradiction {told['contradiction']}, not {first}"
    after = other.solution.after if other.solution else {}
    if other.solution and told["position"] and not told["looked_up"] and told["position"] not in after:
        yield f"no place {told['position']}"


def priced_whole(book: RuleBook) -> RuleBook:
    """The same with a price for every component: an unknown one is compared, not read off."""
    prices = {n: replace(c, price=100 + i) for i, (n, c) in enumerate(sorted(book.components.items()))}
    parts = {n: prices[n] if c.price is None else c for n, c in book.components.items()}
    return replace(book, components=parts)


def worlds(first: int, count: int) -> Iterator[tuple[int, RuleBook, Question]]:
    for seed in seeds(first, count):
        if seed % 2:
            book, question = branching(seed)
        else:
            world = World(seed, 5, 4)
            book, question = world.book(), world.question()
        yield seed, book if seed % 3 == 0 else priced_whole(book), question


def whole_answer(posed: Posed, number: str, position: str) -> comparing.Comparison:
    """Both questions answered: of the differences no next best has a share, so none is asked for."""
    other = comparing.with_component(posed.book, posed.question, number, position)
    return comparing.why_not_briefly(posed.book, posed.question, other, posed.deadline)


@pytest.mark.parametrize("block", range(3))
def test_both_agree_on_random_catalogues(block: int) -> None:
    wrong, seen = {}, Counter()
    for seed, book, question in worlds(81_000_000 + block * 1_000, 60):
        posed = Posed(book, question, "24L-500", False)
        closure = reasoning.closure(posed).body
        anywhere = [(number, "") for number in sorted(book.components)[:3]]
        for number, position in [*asked_after(orjson.loads(closure)), *anywhere]:
            told = brief(posed, number, position, closure)
            whole = whole_answer(posed, number, position)
            seen[told["looked_up"], told["outcome"]] += 1
            if found := list(wrongs(posed, number, position, told, whole)):
                wrong[seed] = (number, position, told["looked_up"], found)
    assert not wrong, (len(wrong), next(iter(wrong.items())))
    assert min(seen[True, "proved"], seen[False, "proved"], seen[False, "impossible"]) > 20, seen
    assert seen[True, "impossible"], seen


@pytest.mark.one_engine
@pytest.mark.parametrize("wish", [{"fit": "QB-3310"}, {"remedy_all": "severe"}], ids=["discs", "severe"])
def test_every_alternative_of_the_demo_costs_what_a_question_of_its_own_gives(
    app: FastAPI, wish: dict[str, str]
) -> None:
    service = app.state.service
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [wish], "deadline_seconds": 30.0}
    body = ClosureIn.model_validate(asked)
    posed = ask(service, body).posed(service.settings.currency, NEVER)
    closure = reasoning.closure(posed).body
    seen, wrong = Counter(), []
    one = comparing.answer_question(posed.book, posed.question, briefly=True)
    document = orjson.loads(closure)
    for number, position in dict.fromkeys(asked_after(document)):
        known = priced(posed.book, posed.question, number, position, document)
        other = comparing.with_component(posed.book, posed.question, number, position)
        if known and known.more is None and seen[True, "impossible"] >= BLAMED:
            seen[True, "impossible"] += 1
            with pytest.raises(Unsolvable):
                solve(reach(scope_of(posed.book, other), other), 30.0)
            continue
        told = brief(posed, number, position, closure)
        whole = comparing.why_not_briefly(posed.book, posed.question, other, posed.deadline, one)
        seen[told["looked_up"], told["outcome"]] += 1
        wrong += [(number, position, one) for one in wrongs(posed, number, position, told, whole)]
    assert not wrong, (len(wrong), wrong[0])
    assert min(seen[True, "proved"], seen[True, "impossible"]) > 15, seen


def test_what_is_priced_is_looked_up_and_nothing_is_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    def solved(*_: Any, **__: Any) -> None:
        raise AssertionError("this was solved")

    read_off = 0
    for seed in range(1, 90, 2):
        book, question = branching(seed)
        posed = Posed(priced_whole(book), question, "24L-500", False)
        closure = reasoning.closure(posed).body
        places = {w.position for w in question.wishes if isinstance(w, FitComponent)}
        with monkeypatch.context() as patched:
            patched.setattr(comparing, "answer_question", solved)
            for change in (orjson.loads(closure)["set"] or {"changes": ()})["changes"]:
                for other in change["alternatives"]:
                    known = other["outcome"] == "proved" and other["difference"].get("price", "0") is not None
                    if other["component"] and known and change["position"] not in places:
                        told = brief(posed, other["component"], change["position"], closure)
                        assert told["looked_up"]
                        assert told["difference"] == other["difference"]
                        read_off += 1
    assert read_off > 5


def test_of_a_question_without_a_set_the_other_is_told() -> None:
    shelf_book, question = branching(3)
    number = sorted(shelf_book.components)[0]
    limits = {"refuse": frozenset(w.component for w in question.wishes if isinstance(w, FitComponent))}
    nothing = replace(question, limits=replace(question.limits, **limits))
    posed = Posed(shelf_book, nothing, "24L-500", False)
    closure = reasoning.closure(posed).body
    assert orjson.loads(closure)["outcome"] == Outcome.impossible.value
    told = brief(posed, number, "", closure)
    whole = comparing.why_not(shelf_book, nothing, number)
    assert told["asked"] == "impossible"
    assert list(wrongs(posed, number, "", told, whole)) == []
