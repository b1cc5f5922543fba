"""An order as a page's address carries it: a question, those of further vehicles, and how to buy."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import parse_qsl, urlencode

import orjson
from pydantic import BaseModel

from graftbook.http.errors import validated
from graftbook.orders.question_schemas import OrderIn, OrderQuery
from graftbook.pages.answer.gives_up import VEHICLE
from graftbook.pages.asking.question import PageQuestion
from graftbook.problems import InvalidRequest
from graftbook.questions.closures.query import address_of
from graftbook.questions.schemas import ClosureIn

TERMS = ("by", "at_most_suppliers", "fastest", "tax_market")
"""How to buy, as the page's form sends it."""
BUY_FROM = "buy_from"
"""A line and the supplier that was chosen for it, `number=supplier`."""
ALSO = "also"
"""The question of one vehicle more, as the part of its address behind the question mark."""
ANOTHER = "another"
"""What somebody typed to add a vehicle."""
_NOT_OF_A_VEHICLE = ("as_of", "alternatives")
_STAND_IN = "-"
"""For the chassis number of a vehicle that a stored build names."""
Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PageOrder:
    """One list for one vehicle or several."""

    question: PageQuestion
    also: tuple[PageQuestion, ...] = ()
    terms: Mapping[str, str] = field(default_factory=dict)
    chosen: Mapping[str, str] = field(default_factory=dict)
    """Number → the supplier that was chosen for it."""

    @classmethod
    def of(cls, sent: Iterable[Pair]) -> "PageOrder":
        """What a form or an address sent, blanks left out."""
        given = list(sent)
        also = (_vehicle(parse_qsl(value)) for name, value in given if name == ALSO)
        terms = {name: value.strip() for name, value in given if name in TERMS and value.strip()}
        chosen = (value.strip().rpartition("=") for name, value in given if name == BUY_FROM)
        kept = {number: supplier for number, _, supplier in chosen}
        return cls(PageQuestion.of(given), tuple(one for one in also if one.pairs), terms, kept)

    @property
    def further(self) -> list[Pair]:
        """The vehicles after the first, and the suppliers chosen, as an address or a form carries them."""
        return [(ALSO, urlencode(one.pairs)) for one in self.also] + [
            (BUY_FROM, f"{number}={supplier}") for number, supplier in self.chosen.items()
        ]

    def address(self, path: str = "/order") -> str:
        """The address that asks this."""
        return f"{path}?{urlencode([*self.question.pairs, *self.further, *self.terms.items()])}"

    def answers(self) -> list[str]:
        """The address of each vehicle's answer, in the order of the list's vehicles."""
        as_of = self.question.value("as_of")
        return [one.adding("as_of", as_of).address() for one in (self.question, *self.also)]

    def as_of(self, revision: int) -> "PageOrder":
        """The same with the catalogue of a revision."""
        return replace(self, question=self.question.adding("as_of", revision))

    def at_present(self) -> "PageOrder":
        """The same with the catalogue as it is."""
        return replace(self, question=self.question.without("as_of"))

    def adding(self, text: str) -> "PageOrder":
        """The same with one vehicle more: the address of its answer, or its chassis number for the wishes of
        the first. Raises InvalidRequest for an address that asks nothing of a vehicle."""
        text = text.strip()
        if "?" not in text and "=" not in text and "/" not in text:
            wishes = [pair for pair in self.question.pairs if pair[0] not in VEHICLE]
            return replace(self, also=(*self.also, _vehicle([("chassis", text), *wishes])))
        another = _vehicle(parse_qsl(text.partition("#")[0].rpartition("?")[2]))
        if not (another.value("chassis") or another.value("build")):
            raise InvalidRequest(
                "That address names no vehicle: open the other vehicle's answer and copy its address"
            )
        return replace(self, also=(*self.also, another))

    def taking_out(self, number: int) -> "PageOrder":
        """The same without one of the further vehicles, counted from 0."""
        return replace(self, also=self.also[:number] + self.also[number + 1 :])

    def buying(self, by: str | None, at_most: int | None) -> "PageOrder":
        """The same by another day and over another number of suppliers; None: any."""
        kept = {name: value for name, value in self.terms.items() if name not in ("by", "at_most_suppliers")}
        terms = {"by": by, "at_most_suppliers": at_most}
        return replace(self, terms=kept | {name: str(value) for name, value in terms.items() if value})

    def taking_from(self, number: str, supplier: str) -> "PageOrder":
        """The same with a line bought from this supplier; no supplier: from whom it costs least."""
        others = {known: title for known, title in self.chosen.items() if known != number}
        return replace(self, chosen=others | ({number: supplier} if supplier else {}))

    def body(self) -> OrderIn:
        """The order's body. Raises InvalidRequest."""
        chosen = [f"{number}={supplier}" for number, supplier in self.chosen.items()]
        fields = {**self.terms, **self.question.fields(), **({BUY_FROM: chosen} if chosen else {})}
        first = validated(OrderQuery, fields).order()
        if not self.also:
            return first
        as_of = {"as_of": first.as_of} if first.as_of else {}
        also = [_body_fields(one.body()) | as_of for one in self.also]
        return validated(OrderIn, {**_body_fields(first), "also": also})


def _vehicle(pairs: Iterable[Pair]) -> PageQuestion:
    question = PageQuestion.of(pairs)
    for name in _NOT_OF_A_VEHICLE:
        question = question.without(name)
    return question


def _body_fields(body: BaseModel) -> dict[str, Any]:
    """What a body says, as it was sent; alternatives are no matter of an order."""
    return body.model_dump(mode="json", exclude_unset=True, exclude={"alternatives"})


def answer_to(asked: Mapping[str, Any], as_of: int) -> str | None:
    """The address of the answer to what a kept list asks of one vehicle; None where no address says it."""
    fields = {name: value for name, value in asked.items() if name in ClosureIn.model_fields}
    vehicle = dict(fields["vehicle"])
    stored = {"build": vehicle.pop("build", None), "specification": fields.pop("specification", None)}
    vehicle.setdefault("chassis", _STAND_IN)
    body = ClosureIn.model_validate_json(orjson.dumps({**fields, "vehicle": vehicle}))
    address = address_of(body, as_of)
    if address is None:
        return None
    pairs = [pair for pair in parse_qsl(address.partition("?")[2]) if pair != ("chassis", _STAND_IN)]
    names = [(name, value) for name, value in stored.items() if value]
    return PageQuestion.of([*pairs, *names]).address()
