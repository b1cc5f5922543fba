"""The one-step answer "does it fit" never contradicts the whole reasoning of a closure."""

import pytest
from sqlalchemy import Engine

from api.catalogue.books import Books
from api.catalogue.lookup import find_vehicle
from api.closure.answer import Outcome
from api.closure.answering import answer_question
from api.closure.compatibility import Compatibility, Fits, compatible
from api.closure.question import FitComponent, Question
from api.database import reading
from api.rulebook.model import RuleBook, Vehicle
from api.rulebook.scope import Scope

Asked = tuple[RuleBook, Vehicle, dict[str, Compatibility]]
CHASSIS = ("24PL-018412", "16PR-000200")


@pytest.fixture(scope="module", params=CHASSIS)
def asked(request: pytest.FixtureRequest, sqlite_demo: Engine) -> Asked:
    """A rule book, a vehicle, and the answer for every component that the book names."""
    with reading(sqlite_demo) as session:
        vehicle = find_vehicle(session, request.param).vehicle
    book = Books(sqlite_demo).book(vehicle.variant)
    return book, vehicle, {number: compatible(book, vehicle, number) for number in sorted(book.components)}


def test_every_kind_of_answer_occurs(asked: Asked):
    _, _, answers = asked
    assert {answer.verdict for answer in answers.values()} == set(Fits)
    assert all(answer.sentence.endswith(".") for answer in answers.values())


def test_what_does_not_fit_cannot_be_wished_for(asked: Asked):
    book, vehicle, answers = asked
    refused = [number for number, answer in answers.items() if answer.verdict is Fits.does_not]
    assert len(refused) > 20
    for number in refused:
        wish = Question(vehicle, (FitComponent(number),))
        assert answer_question(book, wish).outcome is Outcome.impossible, number


def test_what_fits_by_itself_brings_nothing_else(asked: Asked):
    book, vehicle, answers = asked
    tried = 0
    for number, answer in answers.items():
        if answer.verdict is not Fits.fits or answer.places[0].sits_today or answer.number != number:
            continue
        place = answer.places[0].position
        solution = answer_question(book, Question(vehicle, (FitComponent(number, place),))).solution
        assert solution is not None, number
        pair = book.positions[place].pair
        if not pair:
            # No change at all where a number that stands for it sits there already.
            assert {change.position for change in solution.changes} <= {place}, number
            tried += 1
    assert tried > 20


def test_what_sits_there_today_fits(asked: Asked):
    book, vehicle, _ = asked
    today = {p: c for p, c in Scope(book, vehicle).today.items() if c}
    for position, number in today.items():
        answer = compatible(book, vehicle, number, position)
        assert (answer.verdict, answer.number) == (Fits.fits, number), position
