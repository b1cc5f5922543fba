"""Many compatibility questions at once: each is answered for itself, and one's mistake is its own."""

from typing import Any

from pydantic import ValidationError

from api.asking.names import of_one_revision
from api.catalogue.lookup import Found, find_components, find_vehicle, numbers_as_typed
from api.catalogue.store import book_revision, with_components
from api.closure.compatibility import Compatibility, Fits, Need, Place, compatible
from api.database import reading
from api.problems import CatalogueMoved, Problem, TooEntangled, UnknownComponent, VehicleMismatch, pointing_at
from api.rulebook.model import RuleBook, Vehicle
from api.rulebook.scope import TooLarge
from api.service import Service
from api.wire.answers import vehicle_document
from api.wire.errors import problem_from_mistakes
from api.wire.questions import CompatibilityIn, CompatibilityQuestionIn
from api.wire.values import EFFORT_WORDS, GRADE_WORDS, evidence_document

Facts = dict[str, Any]


MOST_NEAR = 50
"""So many unknown numbers of one call get near matches: looking for them costs more than answering."""


def answer_batch(service: Service, body: CompatibilityIn) -> Facts:
    """The answers in the order of the questions, all of one revision. Raises CatalogueMoved."""
    return of_one_revision(lambda: Batch(service).answer(body))


class Batch:
    """One call's questions. Vehicles, rule books and numbers are looked up once for all of them."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._vehicles: dict[tuple[str, Any], Found | Problem] = {}
        self._books: dict[str, RuleBook] = {}
        self._seen: set[tuple[str, int | None]] = set()
        self._numbers: dict[str, str] = {}
        self._unknown = 0
        self._answers: dict[tuple[Any, ...], Compatibility] = {}

    def answer(self, body: CompatibilityIn) -> Facts:
        """The answers in the order of the questions. Raises CatalogueMoved when an edit came between."""
        questions = [_validated(question) for question in body.questions]
        self._look_up_numbers([q.component for q in questions if isinstance(q, CompatibilityQuestionIn)])
        results = [self._result(question) for question in questions]
        self._require_one_revision()
        return {
            "catalogue_revision": max((book.revision for book in self._books.values()), default=None),
            "answers": results,
        }

    def _look_up_numbers(self, words: list[str]) -> None:
        with reading(self._service.engine) as session:
            self._numbers = numbers_as_typed(session, list(dict.fromkeys(words)))

    def _result(self, question: CompatibilityQuestionIn | Problem) -> Facts:
        try:
            if isinstance(question, Problem):
                raise question
            return self._answered(question)
        except TooLarge:
            return _not_known(TooEntangled("Too many numbers stand for each other where this one goes"))
        except Problem as problem:
            return _not_known(problem)

    def _answered(self, question: CompatibilityQuestionIn) -> Facts:
        found = self._vehicle(question)
        book = self._book(found.vehicle.variant)
        names = self._service.names_of(book)
        options = frozenset(names.option(w, f"/options/{i}") for i, w in enumerate(question.options))
        v = found.vehicle
        vehicle = Vehicle(v.variant, v.chassis_prefix, v.chassis_serial, v.built, options)
        number = self._number(question.component)
        position = names.position(question.position, "/position") if question.position else ""
        key = (vehicle, number, position)
        if key not in self._answers:
            if number not in book.components:
                book = self._with(book, number)
            self._answers[key] = compatible(book, vehicle, number, position)
        document = compatibility_document(self._answers[key])
        document["vehicle"] = vehicle_document(book, vehicle, found.chassis, found.estimated)
        return document

    def _vehicle(self, question: CompatibilityQuestionIn) -> Found:
        key = (question.chassis, question.built)
        if key not in self._vehicles:
            try:
                with pointing_at("/chassis"), reading(self._service.engine) as session:
                    found = find_vehicle(session, question.chassis, built=question.built)
                    self._vehicles[key] = found
                    self._seen.add((found.vehicle.variant, book_revision(session, found.vehicle.variant)))
            except Problem as problem:
                self._vehicles[key] = problem
        known = self._vehicles[key]
        if isinstance(known, Problem):
            raise known
        variant = known.vehicle.variant
        if question.variant and question.variant.casefold() != variant.casefold():
            message = f"{known.chassis} is a {variant}, not a {question.variant}"
            raise VehicleMismatch(message, pointer="/variant", variant=variant)
        return known

    def _book(self, variant: str) -> RuleBook:
        if variant not in self._books:
            self._books[variant] = self._service.books.book(variant)
        return self._books[variant]

    def _require_one_revision(self) -> None:
        """Vehicles were read before their rule books; neither may have been edited until now."""
        with reading(self._service.engine) as session:
            self._seen |= {(variant, book_revision(session, variant)) for variant in self._books}
        for variant, revision in self._seen:
            if variant in self._books and self._books[variant].revision != revision:
                raise CatalogueMoved

    def _with(self, book: RuleBook, number: str) -> RuleBook:
        with reading(self._service.engine) as session:
            return with_components(session, book, [number])

    def _number(self, word: str) -> str:
        if (number := self._numbers.get(word)) is not None:
            return number
        self._unknown += 1
        if self._unknown > MOST_NEAR:
            raise UnknownComponent(word, pointer="/component")
        with pointing_at("/component"), reading(self._service.engine) as session:
            return find_components(session, word)[0]


def _not_known(problem: Problem) -> Facts:
    return {"verdict": str(Fits.not_known), "sentence": problem.detail, "problem": problem.document()}


def _validated(question: Any) -> CompatibilityQuestionIn | Problem:
    if isinstance(question, CompatibilityQuestionIn):
        return question
    try:
        return CompatibilityQuestionIn.model_validate(question)
    except ValidationError as error:
        return problem_from_mistakes(error.errors())


def compatibility_document(answer: Compatibility) -> Facts:
    """One answer as facts."""
    best = answer.places[0] if answer.places else None
    return {
        "verdict": str(answer.verdict),
        "sentence": answer.sentence,
        "number": answer.number,
        "can_be_bought": answer.obtainable,
        "effort": EFFORT_WORDS[best.effort] if best else None,
        "places": [_place(place) for place in answer.places],
    }


def _place(place: Place) -> Facts:
    return {
        "position": place.position,
        "component": place.component,
        "verdict": str(place.verdict),
        "sits_today": place.sits_today,
        "effort": EFFORT_WORDS[place.effort],
        "minutes": place.minutes,
        "quantity": place.quantity,
        "claim": place.claim or None,
        "evidence": GRADE_WORDS[place.grade],
        "evidence_records": [evidence_document(e) for e in place.evidence],
        "companions": [_need(need) for need in place.needs],
    }


def _need(need: Need) -> Facts:
    return {
        "cause": str(need.cause),
        "name": need.name,
        "sentence": need.sentence,
        "one_of": list(need.components),
        "evidence": GRADE_WORDS[need.grade],
        "possible": need.possible,
    }
