"""Closures as answers: the reasoning, the arithmetic of what it proposes, and the words."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from api.asking.questions import Asked, ask, at_revision, on_other_vehicle
from api.asking.vehicles import ask_vehicle
from api.checks.set import check_set
from api.closure import comparing, phrases, wording
from api.closure.answer import Answer, Outcome, Solution
from api.closure.answering import answer_question, scope_of
from api.closure.cautions import cautions_for, section_cautions
from api.closure.comparing import Comparison
from api.closure.limits import (
    CEILING_NAME,
    VISIBLE_NAME,
    effort_name,
    keep_name,
    keep_section_name,
    refuse_name,
)
from api.rulebook.model import Effort
from api.service import Service
from api.watching.reasoning import alone, watched
from api.wire.answers import (
    answer_document,
    change_document,
    difference_document,
    vehicle_document,
    wish_document,
)
from api.wire.findings import findings_document
from api.wire.questions import ClosureIn, WhatIfIn, WhyNotIn
from api.wire.responses import etag_of, json_bytes

Facts = dict[str, Any]
Answering = tuple[str, Callable[[], tuple[bytes, bool]]]
"""An ETag of what the answer depends on, and how to make the answer when nobody has it."""


def lasting(answer: Answer) -> bool:
    """Whether the same question will always give this: no time limit had a part in it."""
    return answer.outcome is not Outcome.not_proved and not answer.cut_short


def closure(service: Service, body: ClosureIn) -> Answering:
    """The closure that a body asks for. Raises what `ask` raises."""
    asked = at_revision(service, body, lambda then: ask(then, body, alternatives=body.alternatives))
    service.recent.add(body.model_dump_json(exclude_unset=True, exclude={"as_of", "deadline_seconds"}))

    def make() -> tuple[bytes, bool]:
        answer = watched("closure", lambda: answer_question(asked.book, asked.question), alone)
        return json_bytes(closure_document(service, asked, answer)), lasting(answer)

    return etag_of("closure", service.settings.currency, asked.depends_on()), make


def closure_document(service: Service, asked: Asked, answer: Answer) -> Facts:
    """A closure as facts and sentences, with the arithmetic and the cautions of its set."""
    document = understood(service, asked) | answer_document(asked.book, answer)
    document["checks"], document["cautions"] = arithmetic(asked, answer.solution)
    return document


def why_not(service: Service, body: WhyNotIn) -> Answering:
    """Why the answer does not hold this component instead. Raises what `ask` raises."""

    def look_up(then: Service) -> tuple[Asked, str, str]:
        asked = ask(then, body)
        number = asked.names.component(body.component, "/component")
        position = asked.names.of_book.position(body.position, "/position") if body.position else ""
        return replace(asked, book=asked.names.book()), number, position

    asked, number, position = at_revision(service, body, look_up, lambda found: found[:1])

    def make() -> tuple[bytes, bool]:
        compared = watched(
            "why-not", lambda: comparing.why_not(asked.book, asked.question, number, position), _both
        )
        instead = {"component": number, "position": position or None}
        document = instead | _comparison(service, asked, asked, compared)
        return json_bytes(document), _lasting(compared)

    return etag_of("why-not", service.settings.currency, asked.depends_on(), number, position), make


def what_if(service: Service, body: WhatIfIn) -> Answering:
    """What the same wishes would give on another vehicle. Raises what `ask` raises."""

    def look_up(then: Service) -> tuple[Asked, Asked]:
        asked = ask(then, body)
        return asked, on_other_vehicle(asked, ask_vehicle(then, body.other_vehicle, "/other_vehicle"))

    asked, there = at_revision(service, body, look_up, lambda both: both)

    def make() -> tuple[bytes, bool]:
        compared = watched(
            "what-if",
            lambda: comparing.what_if(asked.book, asked.question, there.book, there.question),
            _both,
        )
        return json_bytes(_comparison(service, asked, there, compared)), _lasting(compared)

    return etag_of("what-if", service.settings.currency, asked.depends_on(), there.depends_on()), make


def _both(compared: Comparison) -> tuple[Answer, ...]:
    return compared.one, compared.other


def _lasting(compared: Comparison) -> bool:
    return lasting(compared.one) and lasting(compared.other)


def _comparison(service: Service, asked: Asked, there: Asked, compared: Comparison) -> Facts:
    return {
        "asked": closure_document(service, asked, compared.one),
        "instead": closure_document(service, there, compared.other),
        "difference": difference_document(compared.difference),
        "sentences": wording.comparison_sentences(there.book, compared),
        "only_asked": [change_document(asked.book, change) for change in compared.only_in_one],
        "only_instead": [change_document(there.book, change) for change in compared.only_in_other],
    }


def understood(service: Service, asked: Asked) -> Facts:
    """How the question was understood."""
    question, scope = asked.question, scope_of(asked.book, asked.question)
    return {
        "vehicle": vehicle_document(asked.book, question.vehicle, asked.chassis, asked.estimated),
        "wishes": [wish_document(scope, wish) for wish in question.wishes],
        "limits": [
            {"name": n, "sentence": phrases.of_limit(asked.book, question.limits, n)}
            for n in limit_names(asked)
        ],
        "currency": service.settings.currency,
        "section_titles": {s.name: s.title for s in asked.book.sections.values()},
    }


def limit_names(asked: Asked) -> list[str]:
    """The asker's limits by the names that reasons cite."""
    limits = asked.question.limits
    names = [keep_name(p) for p in sorted(limits.keep)]
    names += [keep_section_name(s) for s in sorted(limits.keep_sections)]
    names += [refuse_name(c) for c in sorted(limits.refuse)]
    if limits.effort_at_most is not Effort.cutting:
        names.append(effort_name(limits.effort_at_most))
    if limits.nothing_visible:
        names.append(VISIBLE_NAME)
    if limits.price_at_most is not None:
        names.append(CEILING_NAME)
    return names


def arithmetic(asked: Asked, solution: Solution | None) -> tuple[Facts | None, list[str]]:
    """The findings on a set, and the cautions that its work calls for: without a set, what was wished."""
    book = asked.book
    if solution is None:
        wished = {getattr(wish, "component", "") for wish in asked.question.wishes} & set(book.components)
        sections = sorted({book.components[number].section for number in wished})
        return None, list(dict.fromkeys(c for section in sections for c in section_cautions(book, section)))
    findings = check_set(book, asked.question.vehicle, solution.today, solution.after, asked.market)
    return findings_document(findings), list(cautions_for(book, solution.changes, solution.loose))
