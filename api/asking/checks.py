"""A proposed set as an answer: complete or not, what clashes, what remains, and the arithmetic."""

from dataclasses import replace

from api.asking import documents
from api.asking.closures import Answering, told
from api.asking.questions import Asked, ask, at_revision
from api.closure.answering import scope_of
from api.problems import InvalidRequest
from api.service import Service
from api.wire.questions import CheckIn
from api.wire.responses import etag_of


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
    make = told(service, "check", documents.check, [asked], proposed, loose)
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
