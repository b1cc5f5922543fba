"""Many compatibility questions at once: each is answered for itself, and one's mistake is its own."""

from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from pydantic import ValidationError

from graftbook.catalogue.compiling.book_names import names_of
from graftbook.catalogue.compiling.queries import Strangers, book_revisions, with_components
from graftbook.catalogue.history.as_of import texts_in
from graftbook.catalogue.store.lookup import (
    VehicleFound,
    find_components,
    find_vehicle,
    find_vehicles,
    numbers_as_typed,
)
from graftbook.closure.answer import Solution
from graftbook.closure.compatibility import ChangeNeeded, Compatibility, Fits, FittingPlace, compatible, prove
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.words.sentences import cautions_of, compatibility_sentence, sentence
from graftbook.database import reading
from graftbook.http.errors import problem_from_mistakes
from graftbook.http.values import EFFORT_WORDS, GRADE_WORDS, evidence_for
from graftbook.problems import (
    CatalogueMoved,
    Problem,
    TooEntangled,
    UnknownComponent,
    UnknownVariant,
    VehicleMismatch,
    pointing_at,
)
from graftbook.process.service import Service
from graftbook.questions.closures.documents import because_document, vehicle_document
from graftbook.questions.compatibility.schemas import (
    CompatibilityAnswerOut,
    CompatibilityListOut,
    EvidenceOut,
    LookedWord,
    NeedOut,
    PlaceOut,
    SetPartOut,
)
from graftbook.questions.reading import present_revision
from graftbook.questions.schemas import CompatibilityIn, CompatibilityQuestionIn
from graftbook.questions.vehicles.service import of_one_revision
from graftbook.rulebook.model import Effort, Evidence, RuleBook, Vehicle
from graftbook.rulebook.scope import ScopeTooLarge

MOST_NEAR = 50
"""So many unknown numbers of one call get near matches, and so many chassis numbers: looking for them costs
more than answering."""


def answer_batch(service: Service, body: CompatibilityIn) -> CompatibilityListOut:
    """The answers in the order of the questions, all of one revision: the one that the body names.

    Raises CatalogueMoved, UnknownRevision, TooFarBack.
    """
    if body.as_of is None:
        return _settled(service, body).answers()
    if body.as_of <= present_revision(service):
        batch = _settled(service, body)
        if batch.says_the_same_at(body.as_of) or present_revision(service) == body.as_of:
            return batch.answers()
    with service.at(body.as_of, texts_in(body.model_dump())) as then:
        batch = _settled(then, body)
    return batch.answers()


def _settled(service: Service, body: CompatibilityIn) -> "Batch":
    def settle() -> Batch:
        batch = Batch(service)
        batch.settle(body)
        return batch

    return of_one_revision(settle)


@dataclass(frozen=True, slots=True, eq=False)
class FitAsked:
    """A question whose names are settled; the same one is there once."""

    vehicle: Vehicle
    number: str
    position: str
    found: VehicleFound

    def by_vehicle(self) -> tuple[Any, ...]:
        """Sorts what is asked of like vehicles together."""
        v = self.vehicle
        return (v.variant, sorted(v.options), v.chassis_prefix, v.chassis_serial, v.built, self.number)


class Batch:
    """One call's questions. Vehicles, rule books and numbers are looked up once for all of them."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._vehicles: dict[tuple[str, Any], VehicleFound | Problem] = {}
        self._books: dict[str, RuleBook] = {}
        self._seen: set[tuple[str, int | None]] = set()
        self._numbers: dict[str, str] = {}
        self._unknown = self._strangers = 0
        self._answers: dict[FitAsked, Compatibility | Problem] = {}
        self._sets: dict[FitAsked, list[SetPartOut]] = {}
        self._proof = False
        self._every: list[FitAsked | Problem] = []
        self._settled_already: dict[Hashable, FitAsked] = {}
        self._verdicts_only, self._most_near = False, MOST_NEAR
        self._beyond: dict[FitAsked, RuleBook] = {}
        """The rule book with the component asked for, where it holds no record of it."""

    def settle(self, body: CompatibilityIn) -> None:
        """Look up whatever the questions name. Raises CatalogueMoved when an edit came between."""
        self._verdicts_only = body.detail == "verdict"
        self._proof = body.proof
        self._most_near = 0 if self._verdicts_only else MOST_NEAR
        questions = [_question_or_problem(question) for question in body.questions]
        named = [q for q in questions if isinstance(q, CompatibilityQuestionIn)]
        self._look_up_numbers([q.component for q in named])
        self._look_up_vehicles(dict.fromkeys((q.chassis, q.built) for q in named))
        self._every = [self._settled_or_problem(question) for question in questions]
        self._beyond = self._with_others()
        self._require_one_revision()

    def says_the_same_at(self, revision: int) -> bool:
        """Whether no later edit can have touched what was looked up: books alone, every name in them."""
        known = all(isinstance(one, FitAsked) for one in self._every) and not self._beyond
        return known and all(book.revision <= revision for book in self._books.values())

    def answers(self) -> CompatibilityListOut:
        """The answers in the order of the questions; the catalogue is not looked at any more."""
        self._reason([one for one in self._every if isinstance(one, FitAsked)])
        if self._proof:
            self._prove()
        return {
            "catalogue_revision": max((book.revision for book in self._books.values()), default=None),
            "answers": [self._result(one) for one in self._every],
            "cautions": self._cautions(),
        }

    def _cautions(self) -> list[str]:
        """What the work of every answer calls for, each once: of each number where it goes best."""
        fitted: dict[int, tuple[RuleBook, list[FittingPlace]]] = {}
        for asked, answer in self._answers.items():
            if isinstance(answer, Compatibility) and answer.places:
                best, book = answer.places[0], self._holding(asked)
                if not best.sits_today and best.verdict is not Fits.does_not:
                    fitted.setdefault(id(book), (book, []))[1].append(best)
        found: list[str] = []
        for book, places in fitted.values():
            sections = {book.positions[place.position].section for place in places}
            cut = any(place.effort is Effort.cutting for place in places)
            found += cautions_of(book, sections, sorted({place.component for place in places}), (), cut=cut)
        return list(dict.fromkeys(found))

    def _look_up_numbers(self, words: list[str]) -> None:
        with reading(self._service.source) as session:
            self._numbers = numbers_as_typed(session, list(dict.fromkeys(words)))

    def _look_up_vehicles(self, asked: Iterable[tuple[str, Any]]) -> None:
        """All that some span holds at once; the others are looked for one by one, with what is like them."""
        with reading(self._service.source) as session:
            self._vehicles |= find_vehicles(session, asked)
            variants = {
                one.vehicle.variant for one in self._vehicles.values() if isinstance(one, VehicleFound)
            }
            self._seen |= set(book_revisions(session, variants).items())
        try:
            self._books |= self._service.books.books(sorted(variants))
        except UnknownVariant:  # it was there a moment ago
            raise CatalogueMoved from None

    def _settled_or_problem(self, question: CompatibilityQuestionIn | Problem) -> "FitAsked | Problem":
        if isinstance(question, Problem):
            return question
        try:
            return self._settled(question)
        except Problem as problem:
            return problem.kept()

    def _settled(self, question: CompatibilityQuestionIn) -> "FitAsked":
        found = self._vehicle(question)
        book = self._book(found.vehicle.variant)
        names = names_of(book)
        options = frozenset(names.option(w, f"/options/{i}") for i, w in enumerate(question.options))
        number = self._number(question.component)
        position = names.position(question.position, "/position") if question.position else ""
        key = (found.chassis, found.estimated, found.vehicle.built, options, number, position)
        if (known := self._settled_already.get(key)) is None:
            vehicle = replace(found.vehicle, options=options) if options else found.vehicle
            known = self._settled_already[key] = FitAsked(vehicle, number, position, found)
        return known

    def _reason(self, every: "list[FitAsked]") -> None:
        """Answer each once, vehicle by vehicle: of the last one most is known."""
        deadline = Deadline(self._service.settings.seconds_to_reason)
        for asked in sorted(set(every), key=FitAsked.by_vehicle):
            try:
                self._answers[asked] = self._compatible(asked, deadline)
            except ScopeTooLarge:
                self._answers[asked] = TooEntangled(
                    "Too many numbers stand for each other where this one goes"
                )

    def _compatible(self, asked: "FitAsked", deadline: Deadline) -> Compatibility:
        return compatible(self._holding(asked), asked.vehicle, asked.number, asked.position, deadline)

    def _prove(self) -> None:
        """Prove what is open, question by question, as far as the time for reasoning goes."""
        deadline = Deadline(self._service.settings.seconds_to_reason)
        with self._service.turn(deadline):
            for asked, answer in list(self._answers.items()):
                if isinstance(answer, Compatibility):
                    proved = prove(self._holding(asked), asked.vehicle, answer, deadline)
                    self._answers[asked] = proved.answer
                    self._sets[asked] = _set(proved.solution) if proved.solution else []

    def _result(self, asked: "FitAsked | Problem") -> CompatibilityAnswerOut:
        if isinstance(asked, Problem):
            return _not_known(asked)
        answer = self._answers[asked]
        if isinstance(answer, Problem):
            return _not_known(answer)
        document = _verdict_document(answer) if self._verdicts_only else self._document(asked, answer)
        return {**document, "set": self._sets[asked]} if asked in self._sets else document

    def _document(self, asked: "FitAsked", answer: Compatibility) -> CompatibilityAnswerOut:
        found, book = asked.found, self._holding(asked)
        vehicle = vehicle_document(book, asked.vehicle, found.chassis, found.estimated)
        return {**compatibility_document(book, answer), "vehicle": vehicle}

    def _vehicle(self, question: CompatibilityQuestionIn) -> VehicleFound:
        key = (question.chassis, question.built)
        if key not in self._vehicles:
            try:
                with pointing_at("/chassis"), reading(self._service.source) as session:
                    near = self._strangers < self._most_near
                    found = find_vehicle(session, question.chassis, built=question.built, near=near)
                    self._vehicles[key] = found
                    self._seen |= set(book_revisions(session, [found.vehicle.variant]).items())
            except Problem as problem:
                self._strangers += 1
                self._vehicles[key] = problem.kept()
        known = self._vehicles[key]
        if isinstance(known, Problem):
            raise known.kept()
        variant = known.vehicle.variant
        if question.variant and question.variant.casefold() != variant.casefold():
            message = f"{known.chassis} is a {variant}, not a {question.variant}"
            raise VehicleMismatch(message, pointer="/variant", variant=variant)
        return known

    def _book(self, variant: str) -> RuleBook:
        if variant not in self._books:
            self._books[variant] = self._service.books.book(variant)
        return self._books[variant]

    def _holding(self, asked: "FitAsked") -> RuleBook:
        """The rule book that holds a record of the component."""
        return self._beyond.get(asked) or self._book(asked.vehicle.variant)

    def _require_one_revision(self) -> None:
        """Vehicles were read before their rule books; neither may have been edited until now."""
        with reading(self._service.source) as session:
            now = book_revisions(session, self._books)
        seen = {*self._seen, *((variant, now.get(variant)) for variant in self._books)}
        if any(variant in self._books and self._books[variant].revision != at for variant, at in seen):
            raise CatalogueMoved

    def _with_others(self) -> dict["FitAsked", RuleBook]:
        """What is asked of rule books that lack it, each with a book that holds it."""
        lacking: dict[str, list[FitAsked]] = defaultdict(list)
        for one in dict.fromkeys(self._every):
            if isinstance(one, FitAsked) and one.number not in self._book(one.vehicle.variant).components:
                lacking[one.vehicle.variant].append(one)
        if not lacking:
            return {}
        found: dict[FitAsked, RuleBook] = {}
        with reading(self._service.source) as session:
            strangers = Strangers(session, (one.number for each in lacking.values() for one in each))
            for variant, asked in lacking.items():
                book = self._book(variant)
                known = [one for one in asked if strangers.knows(book, one.number)]
                found |= dict.fromkeys(asked, strangers.alone(book))
                found |= dict.fromkeys(known, with_components(session, book, [one.number for one in known]))
        return found

    def _number(self, word: str) -> str:
        if (number := self._numbers.get(word)) is not None:
            return number
        self._unknown += 1
        if self._unknown > self._most_near:
            raise UnknownComponent(word, pointer="/component")
        with pointing_at("/component"), reading(self._service.source) as session:
            return find_components(session, word)[0]


def _not_known(problem: Problem) -> CompatibilityAnswerOut:
    return {"verdict": "not known", "sentence": problem.detail, "problem": problem.document()}


def _question_or_problem(question: Any) -> CompatibilityQuestionIn | Problem:
    if isinstance(question, CompatibilityQuestionIn):
        return question
    try:
        return CompatibilityQuestionIn.model_validate(question)
    except ValidationError as error:
        return problem_from_mistakes(error.errors())


def compatibility_document(book: RuleBook, answer: Compatibility) -> CompatibilityAnswerOut:
    """One answer as facts."""
    best = answer.places[0] if answer.places else None
    return {
        "verdict": answer.verdict.value,
        "sentence": compatibility_sentence(book, answer),
        "number": answer.number,
        "can_be_bought": answer.obtainable,
        "proved": best.proved if best else answer.verdict is not Fits.not_known,
        "looked_at": _looked_at(best),
        "effort": EFFORT_WORDS[best.effort] if best else None,
        "places": [_place(book, place) for place in answer.places],
    }


def _verdict_document(answer: Compatibility) -> CompatibilityAnswerOut:
    """What the whole answer says of the best place, without its sentences, claims and companions."""
    best = answer.places[0] if answer.places else None
    return {
        "verdict": answer.verdict.value,
        "number": answer.number,
        "proved": best.proved if best else answer.verdict is not Fits.not_known,
    }


def _set(solution: Solution) -> list[SetPartOut]:
    """What changes in a set, place by place, and what is ordered loose."""
    changes: list[SetPartOut] = [
        {"position": c.position, "component": c.component, "quantity": c.quantity} for c in solution.changes
    ]
    loose: list[SetPartOut] = [
        {"position": None, "component": part.component, "quantity": part.quantity} for part in solution.loose
    ]
    return sorted(changes, key=lambda part: part["position"] or "") + loose


def _looked_at(place: FittingPlace | None) -> LookedWord | None:
    """How far it was looked; None where no rule is asked: it sits there today, or no record says it fits."""
    return None if place is None or place.sits_today else place.looked_at.value


def _place(book: RuleBook, place: FittingPlace) -> PlaceOut:
    return {
        "position": place.position,
        "component": place.component,
        "verdict": place.verdict.value,
        "proved": place.proved,
        "looked_at": _looked_at(place),
        "against": [because_document(book, because) for because in place.against],
        "sits_today": place.sits_today,
        "effort": EFFORT_WORDS[place.effort],
        "minutes": place.minutes,
        "quantity": place.quantity,
        "claim": place.claim or None,
        "evidence": GRADE_WORDS[place.grade] if place.claim else None,
        "evidence_records": [_evidence(e) for e in place.evidence],
        "companions": [_need(book, need) for need in place.needs],
    }


def _need(book: RuleBook, need: ChangeNeeded) -> NeedOut:
    return {
        "cause": need.cause.value,
        "name": need.name,
        "sentence": sentence(book, need.ground),
        "one_of": list(need.components),
        "evidence": evidence_for(need.cause, need.grade),
        "possible": need.possible,
    }


def _evidence(evidence: Evidence) -> EvidenceOut:
    return {
        "name": evidence.name,
        "grade": GRADE_WORDS[evidence.grade],
        "reference": evidence.reference,
        "on": evidence.on.isoformat() if evidence.on else None,
        "who": evidence.who,
        "fitted": evidence.fitted,
        "not_fitted": evidence.not_fitted,
        "disputed": evidence.disputed,
    }
