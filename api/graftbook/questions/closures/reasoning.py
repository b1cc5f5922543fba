"""Questions answered as documents: the reasoning, the arithmetic of what it proposes, and the words.

Pure: from values to bytes, so that a reasoning process can do all of it.
"""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import orjson

from graftbook.checks.law import Binding
from graftbook.checks.set import check_set
from graftbook.closure.answer import Answer, Note, Outcome, Solution
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.complete import Completeness, check_completeness
from graftbook.closure.explain import comparing
from graftbook.closure.explain.comparing import Comparison
from graftbook.closure.question import Question
from graftbook.closure.search.brought import met_already
from graftbook.closure.search.deadline import NEVER, WRITTEN, Deadline, OutOfTime
from graftbook.closure.words import phrases, wording
from graftbook.closure.words.sentences import cautions_for, cautions_of, section_cautions
from graftbook.http.values import json_bytes
from graftbook.questions.checks.documents import findings_document
from graftbook.questions.closures.documents import (
    Look,
    answer_document,
    at_leisure,
    changes_document,
    difference_document,
    least_evidence_document,
    note_document,
    remarks,
    vehicle_document,
    wish_document,
)
from graftbook.questions.closures.why_not import brief_from_prices, brief_of_sets, priced
from graftbook.rulebook.model import Grade, RuleBook

if TYPE_CHECKING:
    from collections.abc import Collection

    from graftbook.document import Document
    from graftbook.questions.closures.check_schemas import ChecksOut
    from graftbook.questions.closures.compared_schemas import CheckOut, ComparedOut, WhyNotOut
    from graftbook.questions.closures.schemas import (
        ClosureOut,
        NoteOut,
        UnderstoodOut,
    )


@dataclass(frozen=True, slots=True)
class Posed:
    """A question as a value: all that its document says of it. The deadline is that of the whole answer."""

    book: RuleBook
    question: Question
    chassis: str
    estimated: bool
    market: str = ""
    currency: str = ""
    binding: Binding = Binding.in_service
    deadline: Deadline = field(default=NEVER, compare=False)


@dataclass(frozen=True, slots=True)
class Brief:
    """What is watched of an answer."""

    outcome: Outcome
    engine: str
    reached: int


@dataclass(frozen=True, slots=True)
class Rendered:
    """An answer as the bytes of its document; `lasting`: the same question will always give them."""

    body: bytes
    lasting: bool
    briefs: tuple[Brief, ...]


def _render(document: Document, *answers: Answer, whole: bool = True) -> Rendered:
    briefs = tuple(Brief(a.outcome, a.engine, a.reached) for a in answers)
    return Rendered(json_bytes(document), whole and all(map(lasting, answers)), briefs)


def lasting(answer: Answer) -> bool:
    """Whether the same question will always give this: no time limit had a part in it."""
    return answer.outcome is not Outcome.not_proved and not answer.cut_short


def closure(asked: Posed) -> Rendered:
    """The closure of a question."""
    least = asked.question.limits.evidence_at_least
    answer = answer_question(
        asked.book, asked.question, asked.deadline.halfway() if least else asked.deadline
    )
    document, written = in_time(asked, answer)
    if not least:
        return _render(document, written)
    without = without_least_evidence(asked)
    document["least_evidence"] = least_evidence_document(least, answer, without)
    return _render(document, written, without)


def without_least_evidence(asked: Posed) -> Answer:
    """The answer to the same question where whatever is recorded may be fitted."""
    limits = replace(asked.question.limits, evidence_at_least=Grade.none)
    question = replace(asked.question, limits=limits, alternatives=0)
    return answer_question(asked.book, question, asked.deadline.within(asked.deadline.left()), briefly=True)


def set_only(asked: Posed) -> tuple[Answer, UnderstoodOut]:
    """The answer without what each next best would cost, and how the question was understood."""
    answer = answer_question(asked.book, asked.question, asked.deadline, next_bests=False)
    return answer, understood(asked, answer)


def why_not(asked: Posed, number: str, position: str) -> Rendered:
    """Why the answer does not hold this component instead."""
    compared = comparing.why_not(asked.book, asked.question, number, position, asked.deadline)
    both, written = _both(asked, asked, compared)
    document: WhyNotOut = {"component": number, "position": position or None, **both}
    return _render(document, written.one, written.other)


def why_not_briefly(asked: Posed, number: str, position: str, closure: bytes) -> Rendered:
    """The difference that the component makes, or the first contradiction. `closure`: the answer as asked,
    whose prices tell it where it priced the component."""
    book, question = asked.book, asked.question
    document: ClosureOut = orjson.loads(closure)
    known = priced(book, question, number, position, document)
    if known is not None and known.more is not None:
        return _render(brief_from_prices(book, number, known.place, known.more, document))
    other = comparing.with_component(book, question, number, position)
    settled = known is not None or document["set"] is None
    one = Answer(Outcome(document["outcome"])) if settled else None
    compared = comparing.why_not_briefly(book, question, other, asked.deadline, one)
    brief = brief_of_sets(
        book, scope_of(book, question).serving(number, position), number, compared, document
    )
    brief["looked_up"] = known is not None
    return _render(brief, compared.one, compared.other)


def what_if(asked: Posed, there: Posed) -> Rendered:
    """What the same wishes would give on another vehicle."""
    compared = comparing.what_if(asked.book, asked.question, there.book, there.question, asked.deadline)
    document, written = _both(asked, there, compared)
    return _render(document, written.one, written.other)


def check(asked: Posed, proposed: dict[str, str | None], loose: dict[str, int]) -> Rendered:
    """Whether a proposed set is complete and works together. Raises OutOfTime when it is not told in time."""
    asked.deadline.check()
    found = check_completeness(asked.book, asked.question, proposed, loose, asked.deadline)
    document, completed = check_document(asked, found, loose)
    return _render(document, *([completed] if completed else []), whole=not found.cut_short)


def closure_document(asked: Posed, answer: Answer) -> ClosureOut:
    """A closure as facts and sentences, with the arithmetic and the cautions of its set."""
    return in_time(asked, answer)[0]


def in_time(asked: Posed, answer: Answer) -> tuple[ClosureOut, Answer]:
    """An answer as its document, and what of it is told: a set that cannot be written in time is not."""
    changes = sum(len(one.changes) for one in (answer.solution, *answer.others) if one)
    try:
        with WRITTEN.timed(changes) if changes else nullcontext():
            return _closure_document(asked, answer, asked.deadline.extended().check), answer
    except OutOfTime:
        without = without_sets(answer)
        return _closure_document(asked, without, at_leisure), without


def without_sets(answer: Answer) -> Answer:
    """What is told of an answer whose sets cannot be written in time; an "impossible" has none."""
    if answer.solution is None:
        return answer
    return Answer(Outcome.not_proved, reached=answer.reached, engine=answer.engine)


def _closure_document(asked: Posed, answer: Answer, look: Look) -> ClosureOut:
    checks, cautions = arithmetic(asked, answer.solution, look)
    return {
        **understood(asked, answer),
        **answer_document(asked.book, answer, look),
        "checks": checks,
        "cautions": cautions,
        "least_evidence": None,
    }


def _both(asked: Posed, there: Posed, compared: Comparison) -> tuple[ComparedOut, Comparison]:
    """Two answers side by side, and what of them is told: neither set where time does not do for both."""
    try:
        return _comparison(asked, there, compared, asked.deadline.extended().check), compared
    except OutOfTime:
        without = comparing.compare(without_sets(compared.one), without_sets(compared.other))
        return _comparison(asked, there, without, at_leisure), without


def _comparison(asked: Posed, there: Posed, compared: Comparison, look: Look) -> ComparedOut:
    return {
        "asked": _closure_document(asked, compared.one, look),
        "instead": _closure_document(there, compared.other, look),
        "difference": difference_document(compared.difference),
        "sentences": wording.comparison_sentences(asked.book, there.book, compared),
        "only_asked": changes_document(asked.book, compared.only_in_one, look),
        "only_instead": changes_document(there.book, compared.only_in_other, look),
    }


def understood(asked: Posed, answer: Answer | None = None) -> UnderstoodOut:
    """How the question was understood. `answer`: what came of it; where nothing did and time is over, it is
    not looked for what makes a wish ask for nothing."""
    question = asked.question
    late = answer is not None and answer.outcome is Outcome.not_proved and asked.deadline.extended().passed
    whys = [None if late else met_already(scope_of(asked.book, question), wish) for wish in question.wishes]
    return {
        "vehicle": vehicle_document(asked.book, question.vehicle, asked.chassis, asked.estimated),
        "wishes": [
            wish_document(asked.book, wish, why) for wish, why in zip(question.wishes, whys, strict=True)
        ],
        "limits": [
            {"name": limit.name, "sentence": phrases.of_limit(asked.book, limit)}
            for limit in question.limits.each()
        ],
        "currency": asked.currency,
        "section_titles": {s.name: s.title for s in asked.book.sections.values()},
    }


def arithmetic(asked: Posed, solution: Solution | None, look: Look) -> tuple[ChecksOut | None, list[str]]:
    """The findings on a set, and the cautions that its work calls for: without a set, what was wished."""
    book = asked.book
    if solution is None:
        wished = {getattr(wish, "component", "") for wish in asked.question.wishes} & set(book.components)
        sections = sorted({book.components[number].section for number in wished})
        return None, list(dict.fromkeys(c for section in sections for c in section_cautions(book, section)))
    findings = check_set(
        book, asked.question.vehicle, solution.today, solution.after, asked.market, asked.binding, look
    )
    return findings_document(findings), list(cautions_for(book, solution.changes, solution.loose))


def check_document(
    asked: Posed, found: Completeness, loose: Collection[str]
) -> tuple[CheckOut, Answer | None]:
    """The whole answer as facts, and what of the completed set is told. Raises OutOfTime."""
    book, look = asked.book, asked.deadline.extended().check
    findings = check_set(
        book, asked.question.vehicle, found.today, found.after, asked.market, asked.binding, look
    )
    completed, written = in_time(asked, found.completed) if found.completed else (None, None)
    changed = {p: c for p, c in found.after.items() if p in book.positions and found.today.get(p) != c}
    sections = {book.positions[p].section for p in changed}
    numbers = [*dict.fromkeys(filter(None, changed.values())), *loose]
    document: CheckOut = {
        **understood(asked),
        "catalogue_revision": book.revision,
        "complete": found.complete,
        "missing": _notes(book, found.missing),
        "clashing": _notes(book, found.clashing),
        "surplus": [
            {"position": s.position or None, "component": s.component, "quantity": s.quantity}
            for s in found.surplus
        ],
        "limits_broken": _notes(book, found.limits_broken),
        "cut_short": found.cut_short,
        "completed": completed,
        **remarks(book, found, look),
        "checks": findings_document(findings),
        "cut_or_welded": list(found.cut),
        "machined": list(found.machined),
        "cautions": list(cautions_of(book, sections, numbers, loose, cut=bool(found.cut))),
    }
    return document, written


def _notes(book: RuleBook, notes: tuple[Note, ...]) -> list[NoteOut]:
    return [note_document(book, note) for note in notes]
