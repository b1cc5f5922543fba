"""How a document is typed once: what describes it in OpenAPI is what its writer returns, a plain dict."""

from typing import Annotated

from pydantic import ConfigDict, WithJsonSchema, with_config
from typing_extensions import TypedDict


@with_config(ConfigDict(extra="forbid"))
class Document(TypedDict):
    """An answer's object holds these members and no others."""


MomentOut = Annotated[str, WithJsonSchema({"type": "string", "format": "date-time"})]
"""A moment in UTC, as RFC 3339 writes it."""

DayOut = Annotated[str, WithJsonSchema({"type": "string", "format": "date"})]
"""A calendar day, `YYYY-MM-DD` (ISO 8601)."""

AmountOut = Annotated[str, WithJsonSchema({"type": "string", "format": "decimal"})]
"""An amount of money as an exact decimal; the document says in which currency."""

RateOut = Annotated[str, WithJsonSchema({"type": "string", "format": "decimal"})]
"""Per cent, as an exact decimal."""
