"""Keys and the trail as the API takes and gives them."""

from typing import Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from graftbook.access.scopes import Scope
from graftbook.access.service import LONGEST_LABEL
from graftbook.access.tables import OutcomeWord
from graftbook.document import Document, MomentOut
from graftbook.http.parameters import PageOut


class KeyIn(BaseModel):
    """A key to be made."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"examples": [{"label": "counter", "scope": "order"}]}
    )

    label: str = Field(min_length=1, max_length=LONGEST_LABEL, description="whose key it is, or what for")
    scope: Scope = Field(description="what it may do; each includes those before it")
    expires: AwareDatetime | None = Field(None, description="when it stops, with its zone; absent: never")


class KeyOut(Document):
    """A key without its secret."""

    id: Annotated[str, Field(description="the key's name, the part of it that is no secret")]
    label: Annotated[str, Field(description="whose key it is, or what for")]
    scope: Scope
    made_by: Annotated[str, Field(description="who made it")]
    created: Annotated[MomentOut, Field(description="when it was made")]
    expires: Annotated[MomentOut | None, Field(description="when it stops; null: never")]
    last_used: Annotated[MomentOut | None, Field(description="to the minute")]
    revoked: Annotated[MomentOut | None, Field(description="when it was revoked; null: it was not")]
    usable: Annotated[bool, Field(description="neither stopped nor revoked")]


class NewKeyOut(KeyOut):
    """A key just made."""

    key: Annotated[str, Field(description="the key itself, shown this once")]


class KeysOut(PageOut):
    """A page of keys."""

    items: list[KeyOut]


class AccessEventOut(Document):
    """Something done or refused."""

    number: Annotated[int, Field(description="its number in the trail; later ones are greater")]
    at: Annotated[MomentOut, Field(description="when it happened; the first of several alike")]
    key: Annotated[
        str | None, Field(description="id of the key that was used, or named by a refused attempt")
    ]
    what: Annotated[str, Field(description="what was done or asked for")]
    outcome: Annotated[OutcomeWord, Field(description="whether it was done, allowed or refused")]
    request_id: str | None
    client: Annotated[str | None, Field(description="address that it came from; absent: the command line")]
    times: Annotated[int, Field(description="attempts alike that the row stands for")]


class AccessEventsOut(PageOut):
    """A page of the trail."""

    items: list[AccessEventOut]
