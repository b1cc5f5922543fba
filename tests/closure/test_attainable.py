"""Which of many wishes can be had, asked together, is what each asked alone gives."""

from collections import Counter

from graftbook.closure.answering import scope_of
from graftbook.closure.question import FitComponent, Question, RemedyFlaw
from graftbook.closure.search.attainable import attainable
from graftbook.closure.search.deadline import NEVER
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import any_set
from graftbook.rulebook.model import Flaw, Severity
from tests.closure.shelf import Shelf
from tests.closure.test_eliminate import questions
from tests.closure.worlds import VEHICLE


def test_on_random_catalogues_together_is_what_each_alone_gives():
    seen: Counter = Counter()
    for seed, book, question in questions(46_000_000, 40):
        scope = scope_of(book, question)
        wishes = [FitComponent(number) for number in sorted(book.components) if scope.serving(number)]
        alone = {wish for wish in wishes if any_set(reach(scope, Question(VEHICLE, (wish,)))) is not None}
        assert attainable(scope, wishes, NEVER) == alone, seed
        for wish in wishes[:3]:
            assert attainable(scope, [wish], NEVER) == alone & {wish}, seed
        seen["had"] += len(alone)
        seen["not"] += len(wishes) - len(alone)
    assert min(seen.values()) > 10, seen


def test_a_flaw_that_nothing_remedies_is_not_had_beside_one_that_something_does():
    flaws = [
        Flaw(name=f"{part} fails", component=part, severity=Severity.severe, symptom="It fails.")
        for part in ("drum", "lamp")
    ]
    shelf = Shelf(brake="drum disc", lamp="lamp").add("flaws", *flaws)
    scope = scope_of(shelf.book(), Question(VEHICLE, ()))
    drum, lamp = (RemedyFlaw(flaw.name) for flaw in flaws)
    assert attainable(scope, [drum, lamp], NEVER) == {drum}
