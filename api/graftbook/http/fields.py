"""Values as somebody sends them, taken exactly as the OpenAPI document says: nothing is guessed.

Left to itself the library reads the day "0" as 1970-01-01 and the truth value 1 as a number.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, TypeVar

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    GetCoreSchemaHandler,
    Strict,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import CoreSchema

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_PRINTING = r"^[^\x00-\x1f\x7f-\x9f]*[^\s\x00-\x1f\x7f-\x9f][^\x00-\x1f\x7f-\x9f]*$"
_PRINTED = re.compile(_PRINTING[1:-1])
_PRICE = r"^[0-9]{1,10}(\.[0-9]{1,2})?$"


def _day(value: Any) -> Any:
    if isinstance(value, date):
        return value
    if not (isinstance(value, str) and _DAY.fullmatch(value)):
        raise ValueError("a day is written as year-month-day, such as 1969-04-20")
    try:
        return date.fromisoformat(value)
    except ValueError as error:
        raise ValueError(f"there is no day {value}") from error


def _price(value: Any) -> Any:
    return _hundredths(value, "a price is a number with at most two decimals, such as 120 or 89.50")


def _per_cent(value: Any) -> Any:
    return _hundredths(value, "per cent are a number with at most two decimals, such as 10 or 12.50")


def _hundredths(value: Any, else_told: str) -> Any:
    if isinstance(value, Decimal):
        return value
    text = str(abs(value) if value == 0 else value)
    if isinstance(value, bool) or not re.fullmatch(_PRICE[1:-1], text):
        raise ValueError(else_told)
    return Decimal(text)


def _printing(word: str) -> str:
    if not _PRINTED.fullmatch(word):
        raise ValueError("control characters cannot stand in a name or number")
    return word


def _whole(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


def tell_names(schema: dict[str, Any]) -> None:
    """Members are names too: left to itself the library only tells what those that are names hold, and by a
    pattern of their names, which few generators read."""
    (schema["additionalProperties"],) = schema.pop("patternProperties").values()
    schema["propertyNames"] = {"pattern": _PRINTING, "minLength": 1, "maxLength": LONGEST_WORD}


CELL: dict[str, Any] = {
    "anyOf": [
        {"type": "string"},
        {"type": "number"},
        {"type": "boolean"},
        {"type": "array", "items": {"type": "string"}},
        {"type": "null"},
    ]
}
"""In JSON Schema, what a cell of the text format may hold."""


class _NotNull:
    """Takes the null out of what may be sent."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        schema = handler(source)
        if schema["type"] != "nullable":
            raise TypeError(f"{source} is never null")
        sent: CoreSchema = schema["schema"]
        return sent


_Sent = TypeVar("_Sent")
Unsaid = Annotated[_Sent | None, _NotNull()]
"""None when it is left out; sent, it is never null."""

LONGEST_WORD = 120

Word = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True,
        min_length=1,
        max_length=LONGEST_WORD,
    ),
    AfterValidator(_printing),
    Field(json_schema_extra={"pattern": _PRINTING}),
]
"""A name or number as somebody writes it: not blank, without control characters."""

Sits = Annotated[dict[Word, Word | None], Field(max_length=1_000, json_schema_extra=tell_names)]
"""Position → component; None: empty."""

Day = Annotated[date, BeforeValidator(_day)]
"""A calendar day, `YYYY-MM-DD` (ISO 8601)."""

Price = Annotated[
    Decimal,
    BeforeValidator(_price),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0, "maximum": 9_999_999_999, "multipleOf": 0.01},
                {"type": "string", "pattern": _PRICE},
            ]
        }
    ),
]
"""An amount of money, not negative, at most ten digits before the point and two behind it."""

PerCent = Annotated[
    Decimal,
    BeforeValidator(_per_cent),
    Field(le=100),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0, "maximum": 100, "multipleOf": 0.01},
                {"type": "string", "pattern": r"^(100(\.00?)?|[0-9]{1,2}(\.[0-9]{1,2})?)$"},
            ]
        }
    ),
]
"""A part of a hundred, with at most two decimals."""

WHOLE = BeforeValidator(_whole)
"""Last in the annotation of a strict int: JSON may also write 5 as 5.0; true is no number."""

Truth = Annotated[bool, Strict()]
"""true or false; 0 and "yes" are neither."""
