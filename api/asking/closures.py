"""Closures as answers: the reasoning, the arithmetic of what it proposes, and the words."""

from collections.abc import Callable
from typing import Any

from api.asking.questions import Asked, ask, on_other_vehicle
from api.asking.vehicles import ask_vehicle
from api.checks.set import check_set
from api.closure import phrases
from api.closure.answer import Answer, Outcome, Solution
from api.closure.answering import answer_question
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
from api.wire.answers import answer_document, vehicle_document
from api.wire.findings import cautions_of, findings_document
from api.wire.questions import ClosureIn, WhatIfIn, WhyNotIn
from api.wire.responses import etag_of, json_bytes

Facts = dict[str, Any]
Answering = tuple[str, Callable[[], tuple[bytes, bool]]]
"""An ETag of what the answer depends on, and how to make the answer when nobody has it."""

FORM = 1
"""Raised when the same facts are written otherwise, so that no cache keeps the old form."""

LASTING = (Outcome.proved, Outcome.impossible, Outcome.too_large)


def closure(service: Service, body: ClosureIn) -> Answering:
    """The closure that a body asks for. Raises what `ask` raises."""
    asked = ask(service, body, alternatives=body.alternatives)

    def make() -> tuple[bytes, bool]:
        answer = answer_question(asked.book, asked.question)
        return json_bytes(closure_document(service, asked, answer)), answer.outcome in LASTING

    return etag_of("closure", FORM, service.settings.currency, asked.depends_on()), make


def closure_document(service: Service, asked: Asked, answer: Answer) -> Facts:
    """A closure as facts and sentences, with the arithmetic of its set."""
    document = understood(service, asked) | answer_document(asked.book, answer) | {"sentences": []}
    document["checks"], document["cautions"] = arithmetic(asked, answer.solution)
    return document


def understood(service: Service, asked: Asked) -> Facts:
    """How the question was understood."""
    question = asked.question
    return {
        "vehicle": vehicle_document(asked.book, question.vehicle, asked.chassis, asked.estimated),
        "wishes": [{"name": w.name, "sentence": phrases.of_wish(w, asked.book)} for w in question.wishes],
        "limits": [{"name": n, "sentence": phrases.of_limit(n)} for n in limit_names(asked)],
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
    """The findings on a set, and the cautions that they carry."""
    if solution is None:
        return None, []
    findings = check_set(asked.book, asked.question.vehicle, solution.today, solution.after, asked.market)
    return findings_document(findings), cautions_of(findings)
