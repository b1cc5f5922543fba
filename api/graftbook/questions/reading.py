"""A body as a question about one rule book."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar, overload

from graftbook.builds.stored.documents import SpecificationOut, specification_document
from graftbook.catalogue.history.as_of import texts_in
from graftbook.catalogue.history.changes import components_changed_since
from graftbook.catalogue.history.revisions import current_revision
from graftbook.checks.law import Binding
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import Question, each_once
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.database import reading
from graftbook.http.values import CRITERION_BY_WORD
from graftbook.problems import (
    InvalidRequest,
    Problem,
    UnknownBuild,
    UnknownComponent,
    UnknownSpecification,
    pointing_at,
)
from graftbook.process.service import Service
from graftbook.questions.closures.reasoning import Posed
from graftbook.questions.schemas import AskIn, LimitsIn, WishIn
from graftbook.questions.vehicles.service import Names, VehicleAsked, ask_vehicle, combined, of_one_revision
from graftbook.rulebook.model import RuleBook
from graftbook.telemetry.requests import since_asked

_Looked = TypeVar("_Looked")


@dataclass(frozen=True, slots=True)
class Asked:
    """A question with its rule book; `estimated` says that the day built is an estimate."""

    book: RuleBook
    question: Question
    chassis: str
    estimated: bool
    names: Names
    market: str = ""
    """Whose law the arithmetic follows; empty: the variant's."""
    binding: Binding = Binding.in_service
    as_of: int | None = None
    deadline: Deadline = field(default=NEVER, compare=False)
    """Of the whole answer, from when the request was there."""

    def posed(self, currency: str, deadline: Deadline | None = None) -> Posed:
        """The question as a value that another process can answer."""
        until = deadline or self.deadline
        return Posed(
            self.book,
            self.question,
            self.chassis,
            self.estimated,
            self.market,
            currency,
            self.binding,
            deadline=until,
        )

    def depends_on(self) -> list[Any]:
        """Everything that the answer depends on, as plain values in a stable order."""
        q, v, limits = self.question, self.question.vehicle, self.question.limits
        return [
            [self.book.variant.name, self.book.epoch, self.book.revision, self.estimated],
            [v.chassis_prefix, v.chassis_serial, v.built.isoformat(), sorted(v.options)],
            [[wish.name, getattr(wish, "upgrade", "")] for wish in q.wishes],
            [sorted(limits.keep), sorted(limits.keep_sections), sorted(limits.refuse)],
            [int(limits.effort_at_most), limits.price_at_most, limits.nothing_visible],
            *([int(limits.evidence_at_least)] for _ in range(bool(limits.evidence_at_least))),
            [criterion.name for criterion in q.preference],
            [sorted(q.fitted.items()), sorted(q.on_the_bench), q.alternatives, self.market, self.binding],
            [self.as_of, self.names.outside_book_at] if self.names.outside_book else [],
        ]


def ask(service: Service, body: AskIn, *, alternatives: int = 0) -> Asked:
    """The question that a body asks: its specification first, then what is decided for its build,
    then its own wishes. Raises the problems of the names in it."""
    seconds = min(body.deadline_seconds, service.settings.seconds_to_reason)
    deadline = Deadline(seconds, gone=since_asked())
    asked = ask_vehicle(service, body.vehicle, deadline=deadline)
    names = asked.names
    standard = _specification(service, body.specification, asked) if body.specification else None
    wishes = (
        *names.wishes([WishIn(**w) for w in standard["wishes"]] if standard else [], "/specification"),
        *asked.decided,
        *names.wishes(body.wishes, "/wishes"),
    )
    limits = [names.limits(body.limits, "/limits")]
    if standard:
        limits.append(names.limits(LimitsIn(**standard["limits"]), "/specification"))
    question = Question(
        vehicle=asked.vehicle,
        wishes=each_once(wishes),
        limits=combined(limits),
        preference=_preference(body, standard),
        fitted=asked.fitted,
        on_the_bench=asked.on_the_bench,
        alternatives=alternatives,
        seconds=seconds,
    )
    market = body.market or ""
    binding = Binding(body.rules or service.settings.rules)
    return Asked(
        names.book(), question, asked.chassis, asked.estimated, names, market, binding, body.as_of, deadline
    )


@overload
def at_revision(service: Service, body: AskIn, look_up: Callable[[Service], Asked]) -> Asked: ...


@overload
def at_revision(
    service: Service,
    body: AskIn,
    look_up: Callable[[Service], _Looked],
    questions: Callable[[_Looked], Iterable[Asked]],
) -> _Looked: ...


def at_revision(
    service: Service,
    body: AskIn,
    look_up: Callable[[Service], Any],
    questions: Callable[[Any], Iterable[Asked]] = lambda asked: (asked,),
) -> Any:
    """What `look_up` finds with the catalogue as of the revision that the body names.

    `questions` are those in what it finds. Where no later edit touched the rule book of any of them the
    present catalogue says the same. Raises what `look_up` raises, UnknownRevision and TooFarBack.
    """
    if body.as_of is None:
        return of_one_revision(lambda: look_up(service))
    if body.as_of <= present_revision(service):
        try:
            found = of_one_revision(lambda: look_up(service))
        except Problem as problem:
            if _was_so_then(service, problem, body.as_of):
                raise
        else:
            if _says_the_same(service, list(questions(found)), body.as_of):
                return found
    with service.at(body.as_of, texts_in(body.model_dump())) as then:
        return of_one_revision(lambda: look_up(then))


def _says_the_same(service: Service, asked: list[Asked], revision: int) -> bool:
    """Whether what these questions look up is what it was as of a revision."""
    with reading(service.source) as session:
        connection = session.connection()
        if current_revision(connection) == revision:
            return True
        unknown = {word for one in asked for word in one.names.unknown}
        return all(one.book.revision <= revision and one.names.all_in_book for one in asked) and not (
            unknown and components_changed_since(connection, unknown, revision)
        )


def _was_so_then(service: Service, problem: Problem, revision: int) -> bool:
    """Whether what is wrong now was wrong as of a revision too, as far as the present tells it."""
    if isinstance(problem, UnknownBuild | UnknownSpecification):
        return True
    with reading(service.source) as session:
        connection = session.connection()
        if current_revision(connection) == revision:
            return True
        if not isinstance(problem, UnknownComponent):
            return False
        return not components_changed_since(connection, [problem.name], revision)


def present_revision(service: Service) -> int:
    """The catalogue's revision now."""
    with reading(service.source) as session:
        return current_revision(session.connection())


def on_other_vehicle(asked: Asked, other: VehicleAsked) -> Asked:
    """The same question about another vehicle. Names that its rule book lacks stay as they are."""
    named = {getattr(wish, "component", "") for wish in asked.question.wishes} | asked.question.limits.refuse
    for number in sorted(named - {""}):
        if other.names.of_book.component(number) is None:
            other.names.outside_book.setdefault(number)
    question = replace(
        asked.question, vehicle=other.vehicle, fitted=other.fitted, on_the_bench=other.on_the_bench
    )
    return replace(
        asked,
        book=other.names.book(),
        question=question,
        chassis=other.chassis,
        estimated=other.estimated,
        names=other.names,
    )


def _preference(body: AskIn, standard: SpecificationOut | None) -> tuple[Criterion, ...]:
    theirs = "preference" not in body.model_fields_set
    words = standard["preference"] if standard and theirs else body.preference
    return tuple(CRITERION_BY_WORD[word] for word in words)


def _specification(service: Service, named: str, asked: VehicleAsked) -> SpecificationOut:
    """`name` or `name@version`. Raises UnknownSpecification, and InvalidRequest for a wrong variant."""
    name, _, version = named.partition("@")
    with pointing_at("/specification"):
        number = int(version) if version.isascii() and version.isdigit() and len(version) < 10 else None
        if version and not number:
            raise UnknownSpecification(named)
        found = specification_document(service.source, name, number)
    if found["variants"] and asked.vehicle.variant not in found["variants"]:
        message = f"'{name}' is for {', '.join(found['variants'])}, not for {asked.vehicle.variant}"
        raise InvalidRequest(message, pointer="/specification")
    return found
