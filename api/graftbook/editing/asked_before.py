"""Questions worth asking again when the catalogue changes: the house's own, and those asked lately."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from graftbook.builds.service import list_builds, list_specifications
from graftbook.builds.stored.documents import build_document, specification_document
from graftbook.orders.lists.overview import newest_open
from graftbook.orders.lists.service import asked_of
from graftbook.process.service import Service
from graftbook.questions.schemas import ClosureIn
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.units import chassis_number

MOST_STORED = 200
"""So many specifications, and so many builds, are looked at."""
MOST_ORDERS = 50
_ASKED = set(ClosureIn.model_fields) - {"as_of"}


@dataclass(frozen=True, slots=True)
class Subject:
    """A question and how a page calls it. Two are the same when they ask the same."""

    label: str
    text: str
    """The question's body as JSON."""

    @property
    def body(self) -> ClosureIn:
        """The question's body."""
        return ClosureIn.model_validate_json(self.text)

    @classmethod
    def of(cls, label: str, body: Any) -> "Subject":
        """A question about the present catalogue."""
        return cls(label, ClosureIn.model_validate(body).model_dump_json(exclude_unset=True))


def lately_and_builds(service: Service) -> Iterator[Subject]:
    """Every build for which something is decided, every open order, then what was asked lately."""
    yield from _builds(service)
    yield from _open_orders(service)
    yield from map(_asked_lately, service.recent.texts())


def _builds(service: Service) -> Iterator[Subject]:
    for row in list_builds(service.source, "", MOST_STORED):
        name = row["name"]
        if build_document(service.source, name)["decided"]:
            yield Subject.of(f"Build {name}", {"vehicle": {"build": name}})


def _open_orders(service: Service) -> Iterator[Subject]:
    """The question of each vehicle on each list that is not closed, as it is asked today."""
    for row in newest_open(service.engine, MOST_ORDERS):
        asked = asked_of(service.engine, row["name"])
        for vehicle in (asked, *asked.get("also", ())):
            body = {name: value for name, value in vehicle.items() if name in _ASKED}
            yield Subject.of(f"Order {row['name']}", body)


def on_variants(service: Service, books: Sequence[RuleBook]) -> Iterator[Subject]:
    """Every specification on each of the rule books' variants that it is for.

    The first chassis number of a variant stands for it."""
    for row in list_specifications(service.source, "", MOST_STORED):
        name = row["name"]
        meant = specification_document(service.source, name)["variants"]
        for book in books:
            if book.variant.spans and (not meant or book.variant.name in meant):
                span = book.variant.spans[0]
                body = {
                    "vehicle": {"chassis": chassis_number(span.prefix, span.first)},
                    "specification": name,
                }
                yield Subject.of(f"Specification {name} on {book.variant.name}", body)


def _asked_lately(text: str) -> Subject:
    body = ClosureIn.model_validate_json(text)
    vehicle = body.vehicle
    return Subject(f"Asked lately: {vehicle.build or vehicle.chassis}", text)
