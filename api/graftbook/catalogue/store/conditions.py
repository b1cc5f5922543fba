"""Conditions: made of a record's columns, shared by content, spelled out for variants."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, MappingResult, RowMapping, literal, select, union_all

from graftbook.catalogue.format.records import Conditional
from graftbook.catalogue.format.sheets import near
from graftbook.catalogue.store.tables import table
from graftbook.database import listed_numbers
from graftbook.rulebook.model import ALWAYS, When
from graftbook.rulebook.units import chassis_parts

Columns = Mapping[str, Any] | RowMapping
"""A row by the names of its columns."""

LISTS = ("variants", "generations", "bodies", "engines", "drives", "markets", "options", "without")
TEXTS = ("steering", "chassis_from", "chassis_to")
DAYS = ("built_from", "built_to")
COLUMNS = ("range", *LISTS, *TEXTS, *DAYS)

# The list columns that the variant alone decides, and the variant's field that decides each.
DECIDED = {
    "variants": "name",
    "generations": "generation",
    "bodies": "body",
    "engines": "engine",
    "drives": "drive",
    "markets": "market",
}
_SINGULAR = {"variants": "variant", "bodies": "body", "markets": "market"} | {
    column: column[:-1] for column in ("generations", "engines", "drives", "options")
}


def record_under(connection: Connection, condition: int) -> tuple[str, str] | None:
    """The kind and the name of a record that holds under a condition, the first by name; None: none does."""
    claim, position = table("claim"), table("position")
    claims = select(claim.c.kind, claim.c.name).where(claim.c.condition_id == condition)
    places = select(literal("position"), position.c.name).where(position.c.condition_id == condition)
    found = connection.execute(union_all(claims, places).order_by("name").limit(1)).first()
    return (found[0], found[1]) if found else None


def joined(names: Iterable[str]) -> str:
    """A list as the tables hold it: sorted, each name once."""
    return "; ".join(sorted(set(names)))


def split(text: str) -> tuple[str, ...]:
    """The names of a list as the tables hold it."""
    return tuple(text.split("; ")) if text else ()


def row_of(record: Conditional) -> dict[str, Any]:
    """The condition row of a record. `range` is None while the record leaves it open."""
    given = record.model_fields_set
    lists = (tuple(getattr(record, column)) if column in given else () for column in LISTS)
    return dict(_row_of(record.range, *lists, *(getattr(record, column) for column in (*TEXTS, *DAYS))))


@lru_cache(maxsize=1024)  # a load's records share a few conditions
def _row_of(range_name: str, *values: Any) -> dict[str, Any]:
    row: dict[str, Any] = {"range": range_name or None}
    row |= zip((*LISTS, *TEXTS, *DAYS), values, strict=True)
    row |= {column: joined(row[column]) for column in LISTS}
    return {"id": content_id(row), **row}


def content_id(row: Columns) -> int:
    """A number of 63 bits made of a condition's content: the same content, the same number."""
    content = json.dumps([row[column] for column in COLUMNS], default=str)
    return int.from_bytes(hashlib.sha256(content.encode()).digest()[:8]) >> 1


def when_of(row: Columns) -> When:
    """The part of a condition that the single vehicle decides."""
    bound = row["chassis_from"] or row["chassis_to"]
    if not (bound or row["built_from"] or row["built_to"] or row["options"] or row["without"]):
        return ALWAYS
    return When(
        chassis_prefix=chassis_parts(bound)[0] if bound else None,
        chassis_from=chassis_parts(row["chassis_from"])[1] if row["chassis_from"] else None,
        chassis_to=chassis_parts(row["chassis_to"])[1] if row["chassis_to"] else None,
        built_from=row["built_from"],
        built_to=row["built_to"],
        options=frozenset(split(row["options"])),
        without=frozenset(split(row["without"])),
    )


@dataclass(frozen=True, slots=True)
class VariantFacts:
    """What decides the variant's part of a condition."""

    name: str
    generation: str
    body: str
    engine: str
    drive: str
    steering: str
    market: str
    options: frozenset[str]
    prefixes: frozenset[str]


def holds_for(row: Columns, variant: VariantFacts) -> bool:
    """Whether the variant's part of a condition holds: some vehicle of the variant may meet it."""
    for column, field in DECIDED.items():
        if row[column] and getattr(variant, field) not in split(row[column]):
            return False
    if row["steering"] and row["steering"] != variant.steering:
        return False
    if bound := row["chassis_from"] or row["chassis_to"]:
        return chassis_parts(bound)[0] in variant.prefixes
    return True


def _hint(word: str, known: set[str]) -> str:
    """What to write instead: the nearest word, or the words that there are when they are few."""
    if not known:
        return ""
    listed = f"; use one of: {', '.join(sorted(known))}" if len(known) <= 12 else ""
    return near(word, known) or listed


def unknown_words(row: Columns, variants: Sequence[VariantFacts]) -> list[tuple[str, str]]:
    """(column, what is wrong) for every value of a condition that no variant of the range has."""
    found: list[tuple[str, str]] = []
    for column, field in DECIDED.items():
        known = {getattr(variant, field) for variant in variants}
        found += [
            (column, f"no variant of the range has the {_SINGULAR[column]} '{value}'{_hint(value, known)}")
            for value in split(row[column])
            if value not in known
        ]
    offered = {option for variant in variants for option in variant.options}
    found += [
        (column, f"no variant of the range offers the option '{value}'{_hint(value, offered)}")
        for column in ("options", "without")
        for value in split(row[column])
        if value not in offered
    ]
    prefixes = {prefix for variant in variants for prefix in variant.prefixes}
    for column in ("chassis_from", "chassis_to"):
        if row[column] and (prefix := chassis_parts(row[column])[0]) not in prefixes:
            found.append(
                (column, f"no variant of the range has chassis numbers '{prefix}-…'{_hint(prefix, prefixes)}")
            )
    return found


def conditions_of(connection: Connection, ids: Iterable[int]) -> MappingResult:
    """The rows of some conditions, by the names of their columns."""
    condition = table("condition")
    query = select(condition).where(condition.c.id.in_(listed_numbers(connection, ids)))
    return connection.execute(query).mappings()
