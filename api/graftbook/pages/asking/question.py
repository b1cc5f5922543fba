"""A question as a page's address carries it: what a form sends, tidied, and addresses of its neighbours."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from graftbook.catalogue.format.as_written import number_typed
from graftbook.http.errors import validated
from graftbook.http.parameters import takes
from graftbook.questions.closures.query import ClosureQuery
from graftbook.questions.schemas import ClosureIn

Pairs = tuple[tuple[str, str], ...]

FIELDS = tuple(ClosureQuery.model_fields)
LISTS = frozenset(name for name, field in ClosureQuery.model_fields.items() if field.default == [])
_USUAL = {
    "effort_at_most": "cutting",
    "nothing_visible": "false",
    "alternatives": "0",
    "evidence_at_least": "no evidence",
}
"""What a form sends for a choice that was left alone; it is left out of the address."""
_WISHES = ("upgrade", "fit", "clear", "remedy", "remedy_all")
_BEFORE_THE_VEHICLE = ("upgrade", "specification")
_OF_THE_VEHICLE = ("build", "on", "chassis", "variant", "built", "option")
FITTED_AT, FITTED_NUMBER = "fitted_at", "fitted_number"
"""Two columns of a form that together say what is fitted."""

CEILING = "price_at_most"
BOTH = ","
"""Between two flaws that one tick box wishes remedied: what a pair has on both sides. In no name."""

BESIDE = "beside"
"""The question that another one is compared with, as the part of its address behind the question mark."""


@dataclass(frozen=True, slots=True)
class PageQuestion:
    """The fields of `ClosureQuery` as (name, value) pairs, in their order, none of them empty."""

    pairs: Pairs = ()

    @classmethod
    def of(cls, sent: Iterable[tuple[str, str]]) -> "PageQuestion":
        """What a form or an address sent: blanks left out, rows of what is fitted put together."""
        given = [(name, number_typed(value) if name == CEILING else value.strip()) for name, value in sent]
        places = [value for name, value in given if name == FITTED_AT]
        numbers = [value for name, value in given if name == FITTED_NUMBER]
        rows = [("fitted", f"{at}={number}") for at, number in zip(places, numbers, strict=False) if at]
        kept = [
            (name, value)
            for name, text in [*given, *rows]
            for value in (text.split(BOTH) if name == "remedy" else [text])
            if name in FIELDS and value and _USUAL.get(name) != value
        ]
        unique = dict.fromkeys(kept)
        return cls(tuple(sorted(unique, key=lambda pair: FIELDS.index(pair[0]))))

    def values(self, name: str) -> list[str]:
        """Every value of a field."""
        return [value for field, value in self.pairs if field == name]

    def value(self, name: str, usual: str = "") -> str:
        """The value of a field that stands once."""
        return next(iter(self.values(name)), usual)

    def has(self, name: str, value: str) -> bool:
        """Whether a field has this value."""
        return (name, value) in self.pairs

    def adding(self, name: str, value: object) -> "PageQuestion":
        """The question with one more value; of a field that stands once, with this one instead."""
        kept = self.pairs if name in LISTS else tuple(pair for pair in self.pairs if pair[0] != name)
        return PageQuestion.of([*kept, (name, str(value))])

    def without(self, name: str, value: str | None = None) -> "PageQuestion":
        """The question without a value, or without the whole field."""
        return PageQuestion(
            tuple(pair for pair in self.pairs if pair[0] != name or value not in (None, pair[1]))
        )

    def instead(self, name: str, other: str) -> "PageQuestion":
        """The question with another name wherever this one stands: alone, or beside an `@` or `=`."""
        return PageQuestion(
            tuple((field, _named_otherwise(value, name, other)) for field, value in self.pairs)
        )

    def without_wish(self, name: str) -> "PageQuestion":
        """The question without the wish to fit what is called so, wherever it is to sit."""
        return PageQuestion(
            tuple(pair for pair in self.pairs if pair[0] != "fit" or pair[1].partition("@")[0] != name)
        )

    def only(self, fields: Collection[str]) -> "PageQuestion":
        """What it says in these fields."""
        return PageQuestion(tuple(pair for pair in self.pairs if pair[0] in fields))

    def about_vehicle(self) -> "PageQuestion":
        """What it says of the vehicle, and no more."""
        return self.only(_OF_THE_VEHICLE)

    def wishes(self) -> list[tuple[str, str]]:
        """What it wishes of the vehicle."""
        return [pair for pair in self.pairs if pair[0] in _WISHES]

    def of_the_home_page(self) -> "PageQuestion":
        """What the first page takes along while it asks for the vehicle."""
        return self.only(_BEFORE_THE_VEHICLE)

    def address(self, path: str = "/answer", more: Mapping[str, object] = MappingProxyType({})) -> str:
        """The address that asks this; `more`: what the page takes beside the question."""
        query = "&".join(_encoded_pair(name, str(value)) for name, value in (*self.pairs, *more.items()))
        return f"{path}?{query}" if query else path

    def beside(self, other: "PageQuestion") -> str:
        """The address that lays the answer to another question beside the answer to this one."""
        return self.address("/compare", {BESIDE: urlencode(other.pairs)})

    def fields(self) -> dict[str, Any]:
        """The question as fields of `ClosureQuery`."""
        fields: dict[str, Any] = {}
        for name, value in self.pairs:
            if name in LISTS:
                fields.setdefault(name, []).append(value)
            else:
                fields[name] = value
        return fields

    def body(self) -> ClosureIn:
        """The question's body. Raises InvalidRequest."""
        return validated(ClosureQuery, self.fields()).body()


def takes_question(*once: str, many: Iterable[str] = ()) -> Any:
    """The dependency of a page whose address carries a question, and these parameters beside it."""
    alone = (name for name in FIELDS if name not in LISTS)
    return takes(*alone, *once, many=(*LISTS, FITTED_AT, FITTED_NUMBER, *many))


@lru_cache(maxsize=4096)
def _encoded_pair(name: str, value: str) -> str:
    """A pair as it stands in an address: a page has some hundred addresses that differ in one."""
    return urlencode([(name, value)])


def _named_otherwise(value: str, name: str, other: str) -> str:
    if value == name:
        return other
    for between in "@=":
        one, sign, two = value.partition(between)
        if name in (one, two):
            return f"{other if one == name else one}{sign}{other if two == name else two}"
    return value


def question_of(params: QueryParams) -> PageQuestion:
    """The question in a request's query parameters."""
    return PageQuestion.of(params.multi_items())
