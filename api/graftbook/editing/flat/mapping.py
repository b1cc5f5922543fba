"""Which column of a flat parts list is what, and what holds for every row of it. Pure."""

from collections.abc import Iterable, Sequence
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints
from pydantic.config import JsonDict

from graftbook.catalogue.format.fields import OptionalName, mistake_in_words
from graftbook.catalogue.format.records_beside import OptionalCurrency
from graftbook.editing.flat.rows import Rows, heads_of

FieldWord = Literal[
    "number", "description", "section", "position", "fits", "from", "to", "quantity", "replaces",
    "price", "currency", "supplier", "pack", "lead_days", "deposit", "note",
]  # fmt: skip
_DEEPEST_HEAD = 30
"""Lines in which the heads of a list are looked for."""
Head = Annotated[str, StringConstraints(max_length=200)]

FIELDS: dict[FieldWord, str] = {
    "number": "the part number; needed",
    "description": "what the part is called; needed for numbers that are new",
    "section": "the section of the vehicle, by name or title",
    "position": "the place on the vehicle, by name or title; several with ; between",
    "fits": "which vehicles: variants, generations, bodies, engines; several with ; or , between",
    "from": "first chassis number or first day",
    "to": "last chassis number or last day",
    "quantity": "pieces that sit in the position",
    "replaces": "numbers that this one replaces; several with ; or , between",
    "price": "what one piece costs",
    "currency": "the price's currency, ISO 4217",
    "supplier": "who offers it at this price, by name or title",
    "pack": "pieces in a pack",
    "lead_days": "days from order to arrival",
    "deposit": "exchange deposit on one piece",
    "note": "anything worth knowing",
}

_ALSO_CALLED: dict[FieldWord, tuple[str, ...]] = {
    "number": ("part no", "part number", "part", "no", "item", "item no", "ref", "code"),
    "description": ("desc", "name", "title", "designation", "what"),
    "section": ("group", "chapter"),
    "position": ("place", "location"),
    "fits": ("model", "models", "vehicle", "vehicles", "application", "applications", "variant", "variants"),
    "from": ("from chassis", "chassis from", "first", "from no", "from serial"),
    "to": ("to chassis", "chassis to", "last", "to no", "to serial", "until"),
    "quantity": ("qty", "per vehicle", "no off", "off"),
    "replaces": ("supersedes", "replaced", "old number", "old no", "formerly", "was"),
    "price": ("unit price", "cost", "each", "net", "list price"),
    "currency": ("curr",),
    "supplier": ("vendor", "seller", "source"),
    "pack": ("pack size", "pack of", "box"),
    "lead_days": ("lead time", "lead days", "days", "delivery"),
    "deposit": ("exchange deposit", "surcharge", "core charge"),
    "note": ("notes", "remark", "remarks", "comment"),
}


_EXAMPLE: JsonDict = {
    "columns": {
        "number": "Part No",
        "description": "Description",
        "fits": "Model",
        "price": "Price",
        "replaces": "Formerly",
    },
    "supplier": "works",
    "decimal": "point",
}


class FlatMapping(BaseModel):
    """A mapping as it is kept under its name: columns by their heads, and what no column says."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    columns: dict[FieldWord, Head] = Field({}, description="field → head of its column")
    head_line: Annotated[int, Field(ge=1, le=1000)] = Field(1, description="line in which the heads stand")
    range: OptionalName = Field("", description="the range; may be empty while the catalogue has one")
    supplier: OptionalName = Field("", description="whose offers these are, where no column says it")
    section: OptionalName = Field("", description="the section, where neither column nor position says it")
    origin: Literal["original", "later-model", "modern"] = Field(
        "original", description="of numbers that are new to the catalogue"
    )
    from_new: bool = Field(
        False, description="whether the factory fitted the list's parts: said of fitments that are new"
    )
    currency: OptionalCurrency = Field("", description="ISO 4217; empty: the catalogue's currency")
    decimal: Literal["ask", "point", "comma"] = Field(
        "ask", description="what stands before the decimals; `ask`: where it can be read two ways, ask"
    )
    days: Literal["ask", "day first", "month first"] = Field("ask", description="how 03/04/1968 is meant")
    evidence: OptionalName = Field(
        "", description="evidence that fitments and supersessions name", examples=["axles-manual-24"]
    )


def as_meant(said: dict[str, str]) -> dict[str, str]:
    """Settings as somebody typed them: a currency in capitals."""
    return {name: text.upper() if name == "currency" else text for name, text in said.items()}


def mistakes_in_words(mistakes: Iterable[Any]) -> str:
    """What is wrong with a mapping, setting by setting."""
    sentences = []
    for one in mistakes:
        setting, *further = map(str, one["loc"])
        called = "column" if setting == "columns" else _CALLED.get(setting, setting)
        sentences.append(f"{' '.join([called, *further[:1]])}: {mistake_in_words(one)}")
    return "; ".join(dict.fromkeys(sentences))


_CALLED = {"head_line": "line of the heads", "decimal": "decimal mark"}


def guessed(heads: Sequence[str]) -> dict[FieldWord, str]:
    """Columns whose heads are called as fields usually are: a proposal, for somebody to look at."""
    free = {_plain(head): head for head in reversed(heads)}
    found: dict[FieldWord, str] = {}
    for field in FIELDS:
        for word in (field.replace("_", " "), *_ALSO_CALLED[field]):
            if head := free.pop(word, ""):
                found[field] = head
                break
    return found


def head_line_of(rows: Rows) -> int:
    """The line, from 1, whose cells are most like heads: a title may stand above them. Where nobody knows the
    words, the first that is about as full as any."""
    first = rows[:_DEEPEST_HEAD]
    guesses = [len(guessed(heads_of(rows, line))) for line in range(1, len(first) + 1)]
    if max(guesses, default=0) > 1:
        return guesses.index(max(guesses)) + 1
    full = [sum(map(bool, row)) for row in first]
    return next((at for at, cells in enumerate(full, 1) if cells >= 0.8 * max(full)), 1)


def line_with(rows: Rows, heads: Iterable[str]) -> int:
    """The first line, from 1, in which all these heads stand; 0: none of the first few."""
    wanted, deepest = set(heads), min(len(rows), _DEEPEST_HEAD)
    return next((line for line in range(1, deepest + 1) if wanted <= set(heads_of(rows, line))), 0)


def _plain(head: str) -> str:
    return " ".join("".join(sign if sign.isalnum() else " " for sign in head.casefold()).split())


def missing(mapping: FlatMapping, heads: Sequence[str]) -> list[str]:
    """Heads that the mapping names and that this issue of the list does not have."""
    return [head for head in mapping.columns.values() if head not in heads]
