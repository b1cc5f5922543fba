"""Keys and the trail as the API takes and gives them."""

from datetime import datetime
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from graftbook.access.scopes import Scope
from graftbook.access.service import LONGEST_LABEL


class KeyIn(BaseModel):
    """A key to be made."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"label": "counter", "scope": "order"}]}
    )

    label: str = Field(min_length=1, max_length=LONGEST_LABEL, description="whose key it is, or what for")
    scope: Scope = Field(description="what it may do; each includes those before it")
    expires: AwareDatetime | None = Field(None, description="when it stops, with its zone; absent: never")


class KeyOut(BaseModel):
    """A key without its secret."""

    id: str
    label: str
    scope: Scope
    made_by: str
    created: datetime
    expires: datetime | None
    last_used: datetime | None = Field(description="to the minute")
    revoked: datetime | None
    usable: bool


class NewKeyOut(KeyOut):
    """A key just made."""

    key: str = Field(description="the key itself, shown this once")


class KeysOut(BaseModel):
    """A page of keys."""

    items: list[KeyOut]
    next: str | None


class AccessEventOut(BaseModel):
    """Something done or refused."""

    number: int
    at: datetime
    key: str | None = Field(description="id of the key that was used, or named by a refused attempt")
    what: str
    outcome: Literal["done", "failed", "refused"]
    request_id: str | None
    client: str | None = Field(description="address that it came from; absent: the command line")
    times: int = Field(description="attempts alike that the row stands for")


class AccessEventsOut(BaseModel):
    """A page of the trail."""

    items: list[AccessEventOut]
    next: str | None
