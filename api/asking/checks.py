"""A proposed set as an answer: complete or not, what clashes, what remains, and the arithmetic."""

from dataclasses import replace
from typing import Any

from api.asking.closures import Answering, closure_document, lasting, understood
from api.asking.questions import Asked, ask, at_revision
from api.checks.set import check_set
from api.closure.answer import Note
from api.closure.answering import scope_of
from api.closure.cautions import CUTTING, section_cautions
from api.closure.complete import Completeness, check_completeness
from api.problems import InvalidRequest
from api.service import Service
from api.watching.reasoning import watched
from api.wire.answers import note_document, remarks
from api.wire.findings import findings_document
from api.wire.questions import CheckIn
from api.wire.responses import etag_of, json_bytes

Facts = dict[str, Any]


def check(service: Service, body: CheckIn) -> Answering:
    """Whether a proposed set is complete and works together.

    Raises what `ask` raises, and InvalidRequest for a number that could sit in several places.
    """

    def look_up(then: Service) -> tuple[Asked, dict[str, str | None], dict[str, int]]:
        asked, loose = ask(then, body), dict[str, int]()
        proposed = asked.names.fitted(body.positions, "/positions")
        numbers = [asked.names.component(word, f"/components/{i}") for i, word in enumerate(body.components)]
        asked = replace(asked, book=asked.names.book())
        for i, number in enumerate(numbers):
            _place(asked, number, f"/components/{i}", proposed, loose)
        return asked, proposed, loose

    asked, proposed, loose = at_revision(service, body, look_up, lambda found: found[:1])
    depends = [asked.depends_on(), sorted(proposed.items()), sorted(loose.items())]

    def make() -> tuple[bytes, bool]:
        found = watched(
            "check",
            lambda: check_completeness(asked.book, asked.question, proposed, loose),
            lambda found: (found.completed,) if found.completed else (),
        )
        document = check_document(service, asked, found)
        return json_bytes(document), found.completed is None or lasting(found.completed)

    return etag_of("check", service.settings.currency, depends), make


def _place(
    asked: Asked, number: str, pointer: str, proposed: dict[str, str | None], loose: dict[str, int]
) -> None:
    """Put a proposed number where it fits; both sides of a pair take it in turn."""
    scope = scope_of(asked.book, asked.question)
    if number in scope.index.loose:
        loose[number] = loose.get(number, 0) + 1
        return
    places = [fit for fit in scope.serving(number) if fit.position not in proposed]
    positions = sorted({fit.position for fit in places})
    pairs = {scope.book.positions[p].pair or p for p in positions}
    if len(pairs) > 1:
        message = f"{number} fits several positions ({', '.join(positions)}); say which under `positions`"
        raise InvalidRequest(message, pointer=pointer, positions=positions)
    if not positions:
        message = f"{number} fits no position of this vehicle that is still free in the set"
        raise InvalidRequest(message, pointer=pointer)
    proposed[positions[0]] = next(fit.component for fit in places if fit.position == positions[0])


def check_document(service: Service, asked: Asked, found: Completeness) -> Facts:
    """The whole answer as facts."""
    book = asked.book
    findings = check_set(book, asked.question.vehicle, found.today, found.after, asked.market)
    touched = {
        book.positions[p].section
        for p, c in found.after.items()
        if p in book.positions and found.today.get(p) != c
    }
    return {
        **understood(service, asked),
        "catalogue_revision": book.revision,
        "complete": found.complete,
        "missing": _notes(found.missing),
        "clashing": _notes(found.clashing),
        "surplus": [
            {"position": s.position or None, "component": s.component, "quantity": s.quantity}
            for s in found.surplus
        ],
        "limits_broken": _notes(found.limits_broken),
        "completed": closure_document(service, asked, found.completed) if found.completed else None,
        **remarks(book, found),
        "checks": findings_document(findings),
        "cut_or_welded": list(found.cut),
        "machined": list(found.machined),
        "cautions": list(
            dict.fromkeys(
                [
                    *(c for section in sorted(touched) for c in section_cautions(book, section)),
                    *([CUTTING] if found.cut else []),
                ]
            )
        ),
    }


def _notes(notes: tuple[Note, ...]) -> list[Facts]:
    return [note_document(note) for note in notes]
