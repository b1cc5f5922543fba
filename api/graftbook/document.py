"""How a document is typed once: what describes it in OpenAPI is what its writer returns, a plain dict."""

from typing import Annotated

from pydantic import ConfigDict, WithJsonSchema, with_config
from typing_extensions import TypedDict


@with_config(ConfigDict(extra="forbid"))
class Document(TypedDict):
    """An answer's object holds these members and no others."""


MomentOut = Annotated[str, WithJsonSchema({"type": "string", "format": "date-time"})]
"""A moment in UTC, as RFC 3339 writes it."""
