"""Values as somebody sends them, taken exactly as the OpenAPI document says: nothing is guessed.

Left to itself the library reads the day "0" as 1970-01-01 and the truth value 1 as a number.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import BeforeValidator, Strict, WithJsonSchema

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
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
    if isinstance(value, Decimal):
        return value
    text = str(abs(value) if value == 0 else value)
    if isinstance(value, bool) or not re.fullmatch(_PRICE[1:-1], text):
        raise ValueError("a price is a number with at most two decimals, such as 120 or 89.50")
    return Decimal(text)


Day = Annotated[date, BeforeValidator(_day)]
"""A calendar day, `YYYY-MM-DD` (ISO 8601)."""

Price = Annotated[
    Decimal,
    BeforeValidator(_price),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0, "maximum": 9_999_999_999},
                {"type": "string", "pattern": _PRICE},
            ]
        }
    ),
]
"""An amount of money, not negative, at most ten digits before the point and two behind it."""

Whole = Annotated[int, Strict()]
"""A whole number; true is none."""

Truth = Annotated[bool, Strict()]
"""true or false; 0 and "yes" are neither."""
