"""Closures as answers: the question looked up here, reasoned over where reasoning is done.

A view of an answer is the whole document, or what of it a program at the counter holds.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Annotated, Any

import orjson
from fastapi import Query

from graftbook.closure.answer import Answer, Outcome, Solution
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.http.responses import do_nothing, etag_of
from graftbook.http.values import json_bytes
from graftbook.problems import NoSet
from graftbook.process.service import Made, Make, Service
from graftbook.questions.closures import reasoning
from graftbook.questions.closures.query import address_of
from graftbook.questions.closures.reasoning import Posed, Rendered
from graftbook.questions.closures.schemas import ClosureOut, UnderstoodOut
from graftbook.questions.closures.summary import closure_summary
from graftbook.questions.closures.summary_schemas import ClosureSummaryOut
from graftbook.questions.reading import Asked, ask, at_revision, on_other_vehicle
from graftbook.questions.schemas import AskIn, ClosureIn, VehicleIn, ViewWord, WhatIfIn, WhyNotIn
from graftbook.questions.vehicles.service import ask_vehicle
from graftbook.telemetry.requests import watched

Answering = tuple[str, Make]
"""An ETag of what the answer depends on, and how to make the answer, in its turn, when nobody has it."""


def closure_at(service: Service, body: ClosureIn) -> tuple[Answering, str | None]:
    """The closure that a body asks for, and the address under which this very answer stands, if there is one.

    Raises what `ask` raises.
    """
    asked, answering = _closure(service, body)
    if on_cache_hit(service, body) is None:
        return answering, None
    revision = body.as_of or (
        asked.names.outside_book_at if asked.names.outside_book else asked.book.revision
    )
    return answering, address_of(body, revision)


def closure_document(service: Service, body: ClosureIn) -> tuple[Asked, ClosureOut]:
    """The question that a body asks, as it was looked up, and the closure as its document.

    Raises what `ask` raises, and Busy.
    """
    asked, answering = _closure(service, body)
    found: ClosureOut = document_of(service, answering)
    return asked, found


def summary_of(service: Service, body: ClosureIn) -> ClosureSummaryOut:
    """The summary of the closure that a body asks for. Raises what `ask` raises, and Busy."""
    answering, full = closure_at(service, body)
    return closure_summary(document_of(service, answering), full)


def _closure(service: Service, body: ClosureIn) -> tuple[Asked, Answering]:
    asked = at_revision(service, body, lambda then: ask(then, body, alternatives=body.alternatives))
    service.recent.add(_text(body))
    return asked, _closure_of(service, asked)


def _closure_of(service: Service, asked: Asked) -> Answering:
    etag = etag_of("closure", service.settings.currency, asked.depends_on())
    return etag, document_maker(service, "closure", reasoning.closure, [asked])


def document_of(service: Service, answering: Answering) -> Any:
    """An answer as its document: kept from last time, or made when it is its turn. Raises Busy.

    What is kept is bytes, and so is what a process that reasons gives back: they are read once, here.
    """
    body, _ = service.answers.get_or_make(*answering)
    return orjson.loads(body)


def _text(body: AskIn) -> str:
    return body.model_dump_json(exclude_unset=True, exclude={"as_of", "deadline_seconds"})


def on_cache_hit(service: Service, body: AskIn) -> Callable[[], None] | None:
    """What to do when a question is answered again unlooked-up; None when that must not be, since its answer
    depends on what the house keeps beside the catalogue."""
    if body.specification is not None or any(vehicle.build is not None for vehicle in _vehicles(body)):
        return None
    return partial(service.recent.add, _text(body)) if isinstance(body, ClosureIn) else do_nothing


def _vehicles(body: AskIn) -> list[VehicleIn]:
    return [body.vehicle, *([body.other_vehicle] if isinstance(body, WhatIfIn) else [])]


def why_not(service: Service, body: WhyNotIn) -> Answering:
    """Why the answer does not hold this component instead. Raises what `ask` raises."""
    _, asked, number, position = _instead(service, body)
    make = document_maker(service, "why-not", reasoning.why_not, [asked], number, position)
    return etag_of("why-not", service.settings.currency, asked.depends_on(), number, position), make


def why_not_briefly(service: Service, body: WhyNotIn) -> Answering:
    """The difference that the component makes, or the first contradiction, read off the prices of the closure
    as asked where that has them: the one that is kept, or one that is made and kept.

    Raises what `ask` raises.
    """
    plain, asked, number, position = _instead(service, body)
    closure = _closure_of(service, plain)

    def make() -> Made:
        document, _ = service.answers.get_or_make(*closure)
        return document_maker(
            service, "why-not", reasoning.why_not_briefly, [asked], number, position, document
        )()

    return etag_of("why-not briefly", service.settings.currency, asked.depends_on(), number, position), make


def _instead(service: Service, body: WhyNotIn) -> tuple[Asked, Asked, str, str]:
    """The question, the same where the book has what is asked after, and that component and position."""

    def look_up(then: Service) -> tuple[Asked, Asked, str, str]:
        asked = ask(then, body)
        number = asked.names.component(body.component, "/component")
        position = asked.names.of_book.position(body.position, "/position") if body.position else ""
        return asked, replace(asked, book=asked.names.book()), number, position

    return at_revision(service, body, look_up, lambda found: found[1:2])


def what_if(service: Service, body: WhatIfIn) -> Answering:
    """What the same wishes would give on another vehicle. Raises what `ask` raises."""

    def look_up(then: Service) -> tuple[Asked, Asked]:
        asked = ask(then, body)
        other = ask_vehicle(then, body.other_vehicle, "/other_vehicle", asked.deadline)
        return asked, on_other_vehicle(asked, other)

    asked, there = at_revision(service, body, look_up, lambda both: both)

    make = document_maker(service, "what-if", reasoning.what_if, [asked, there])
    return etag_of("what-if", service.settings.currency, asked.depends_on(), there.depends_on()), make


def document_maker(
    service: Service, kind: str, work: Callable[..., Rendered], asked: list[Asked], *more: object
) -> Make:
    """How to make a document of one kind of question: in its turn, and where reasoning is done.

    What another process has not done when time is over is told as an answer that was not proved in time.
    """
    deadline = asked[0].deadline

    def posed(until: Deadline) -> list[Posed]:
        return [one.posed(service.settings.currency, until) for one in asked]

    def reason() -> Rendered:
        try:
            return service.reasoner.run(work, *posed(deadline), *more, deadline=deadline)
        except OutOfTime:
            return work(*posed(Deadline(0.0)), *more)

    def make() -> Made:
        found = watched(kind, reason, lambda result: result.briefs)
        return found.body, found.lasting

    return service.in_turn(make, deadline)


def found_set(answer: Answer, whose: str = "") -> Solution:
    """The set of an answer. Raises NoSet where there is none, and OutOfTime where none was found in time."""
    if answer.solution is not None:
        return answer.solution
    if answer.outcome is Outcome.not_proved:
        raise OutOfTime
    raise NoSet(f"{whose}{'these' if whose else 'These'} wishes have no set; their closure says why")


def set_only(service: Service, kind: str, asked: Asked) -> tuple[Answer, UnderstoodOut]:
    """The answer without what each next best would cost, and how the question was understood, worked out
    where reasoning is done."""
    posed = asked.posed(service.settings.currency)

    def reason() -> tuple[Answer, UnderstoodOut]:
        try:
            return service.reasoner.run(reasoning.set_only, posed, deadline=asked.deadline)
        except OutOfTime:
            late = Answer(Outcome.not_proved)
            return late, reasoning.understood(asked.posed(service.settings.currency, Deadline(0.0)), late)

    return watched(kind, reason, lambda found: (found[0],))


VIEW = (
    "`summary`: the set line by line with its sums, what is worse, every caution, and `full`, the address of "
    "the whole answer; what is unchanged is counted"
)
View = Annotated[ViewWord, Query(description=VIEW)]


def viewed(
    service: Service, view: ViewWord, etag: str, make: Make, summary: Callable[[Any], Any]
) -> tuple[str, Make]:
    """The ETag of an answer in a view, and how to make it. The summary is taken from the whole document, so
    that asking for both reasons once."""
    if view == "full":
        return etag, make

    def make_summary() -> Made:
        body, lasting = service.answers.get_or_make(etag, make)
        return json_bytes(summary(orjson.loads(body))), lasting

    return etag_of("summary", etag), make_summary
