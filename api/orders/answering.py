"""The order list of a question: the closure first, then what it means to buy."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from api.asking.closures import arithmetic, closure_document, lasting, understood
from api.asking.questions import Asked, ask, at_revision
from api.closure.answer import Answer
from api.closure.answering import answer_question
from api.closure.cautions import section_cautions
from api.orders.documents import order_csv, order_document
from api.orders.lists import OrderList, order_list
from api.problems import NoSet
from api.service import Service
from api.watching.reasoning import alone, watched
from api.wire.questions import ClosureIn
from api.wire.responses import etag_of, json_bytes


@dataclass(frozen=True, slots=True)
class Ordered:
    """A question, its answer, and the order list; None when there is no set."""

    asked: Asked
    answer: Answer
    order: OrderList | None


def order_for(asked: Asked) -> Ordered:
    """Answer a question and list what its set needs."""
    answer = watched("order", lambda: answer_question(asked.book, asked.question), alone)
    if answer.solution is None:
        return Ordered(asked, answer, None)
    cautions = {section: section_cautions(asked.book, section) for section in asked.book.sections}
    return Ordered(
        asked, answer, order_list(asked.book, answer.solution, asked.question.on_the_bench, cautions)
    )


def order_facts(service: Service, ordered: Ordered) -> dict[str, Any]:
    """The order list with the vehicle and the wishes it is for. Raises NoSet."""
    if ordered.order is None:
        raise NoSet("These wishes have no set; POST /v1/closures with the same body says why")
    known = understood(service, ordered.asked)
    _, cautions = arithmetic(ordered.asked, ordered.answer.solution)
    return {
        "vehicle": known["vehicle"],
        "wishes": known["wishes"],
        "outcome": str(ordered.answer.outcome),
        "catalogue_revision": ordered.asked.book.revision,
        "currency": known["currency"],
        **order_document(ordered.order),
        "cautions": cautions,
    }


def ordering(service: Service, body: ClosureIn, form: str) -> tuple[str, Callable[[], tuple[bytes, bool]]]:
    """An ETag and how to make the list as `json` or `csv`. Raises what `ask` raises, and NoSet."""
    asked = at_revision(service, body, lambda then: ask(then, body))

    def make() -> tuple[bytes, bool]:
        ordered = order_for(asked)
        facts = order_facts(service, ordered)
        written = order_csv(ordered.order).encode() if form == "csv" and ordered.order else json_bytes(facts)
        return written, lasting(ordered.answer)

    return etag_of("order", form, service.settings.currency, asked.depends_on()), make


def order_as(service: Service, body: ClosureIn) -> tuple[dict[str, Any], str]:
    """The order list as facts and as CSV. Raises what `ask` raises, and NoSet."""
    asked = at_revision(service, body, lambda then: ask(then, body))
    ordered = order_for(asked)
    facts = order_facts(service, ordered)
    return facts, order_csv(ordered.order) if ordered.order else ""


def closure_and_order(service: Service, body: ClosureIn) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """The closure as facts, and its order list unless there is no set. Raises what `ask` raises."""
    asked = at_revision(service, body, lambda then: ask(then, body, alternatives=body.alternatives))
    ordered = order_for(asked)
    document = closure_document(service, ordered.asked, ordered.answer)
    return document, order_document(ordered.order) if ordered.order else None
