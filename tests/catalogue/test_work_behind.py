"""What a fitter undoes on the way brings its bolts and its hours, over the whole demo range.

Common practice, no published source: a self-locking nut locks once, and nobody changes what lies behind a
gearbox in the time that the part itself takes.
"""

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.lint.vehicles import vehicles_that_differ
from graftbook.closure.answer import Outcome, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question, Vehicle
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import scope_for
from tests.closure.sweep import books_of

pytestmark = pytest.mark.one_engine

BOLTS = {"propshaft.rear": "QT-9120", "propshaft.front": "QT-9121"}
BEHIND = ("gearbox", "clutch", "transfer", "engine.unit", "underframe")
"""Where nobody gets to while a propeller shaft is bolted up; of crown wheels each axle's own shaft."""
SECTIONS_LET_IN = {"QC-1010", "QC-2010", "QC-2011"}
"""Under these the vehicle's own underframe stays, and the shafts with it."""
POURED_IN = {"QA-9011"}
"""An oil: the job that opens the axle counts its minutes."""


@pytest.fixture(scope="module")
def books(sqlite_demo: Engine) -> list[RuleBook]:
    return list(books_of(sqlite_demo, ()))


def _wished(book: RuleBook, vehicle: Vehicle, component: str, position: str) -> Solution | None:
    question = Question(vehicle, (FitComponent(component, position),), seconds=60)
    answer = answer_question(book, question, next_bests=False)
    return answer.solution if answer.outcome is Outcome.proved else None


def test_whatever_parts_a_propeller_shaft_brings_its_bolts(books: list[RuleBook]) -> None:
    asked, without = set(), []
    for book in books:
        vehicle = vehicles_that_differ(book)[-1]
        scope = scope_for(book, vehicle)
        for shaft in BOLTS.keys() & book.positions.keys():
            gears = shaft.replace("propshaft", "gears")
            for place in {*BEHIND, gears} & book.positions.keys():
                for number in sorted(
                    set(scope.options(place)) - {None, scope.today[place], *SECTIONS_LET_IN}
                ):
                    solution = _wished(book, vehicle, number, place)
                    if solution is None:
                        continue
                    asked.add(place)
                    if not any(part.component == BOLTS[shaft] for part in solution.loose):
                        without.append((book.variant.name, place, number, shaft))
    assert asked == {*BEHIND, "gears.rear", "gears.front"}
    assert without == []


def test_a_clutch_alone_takes_the_gearbox_down_and_one_with_a_gearbox_does_not(books: list[RuleBook]) -> None:
    seen = set()
    for book in books:
        vehicle = vehicles_that_differ(book)[-1]
        for number in ("QT-7400", "QT-7410"):
            solution = _wished(book, vehicle, number, "clutch")
            if solution is None:
                continue
            down = {part.component for part in solution.loose} & {"QT-9146", "QT-9147"}
            opened = {change.position for change in solution.changes} & {"gearbox", "engine.unit"}
            assert bool(down) != bool(opened), (book.variant.name, number)
            assert down <= {"QT-9147" if book.variant.drive == "four" else "QT-9146"}
            seen.add((bool(down), book.variant.drive))
    assert seen == {(down, drive) for down in (True, False) for drive in ("rear", "four")}


def test_whatever_mends_a_flaw_beside_its_part_says_how_long_it_takes(books: list[RuleBook]) -> None:
    add_ons = {number: book for book in books for flaw in book.flaws for number in flaw.add_ons}
    loose = {number: book.components[number] for number, book in add_ons.items()}
    timed = {number for number, part in loose.items() if part.loose and part.minutes}
    assert {number for number, part in loose.items() if part.loose} - timed == POURED_IN
    assert len(timed) > 15


def test_a_fault_of_one_hand_is_a_fault_of_the_other_where_nothing_tells_them_apart(
    books: list[RuleBook],
) -> None:
    sided = [
        (flaw.name, number)
        for book in books
        for flaw in book.flaws
        for number in flaw.components
        if (twin := book.components[number].twin) in book.components
        and twin not in flaw.components
        and not any(twin in other.components for other in book.flaws)
    ]
    assert sorted(set(sided)) == []
