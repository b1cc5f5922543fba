"""Events and webhooks as the API takes and gives them."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from graftbook.builds.schemas import Remark
from graftbook.document import Document, MomentOut
from graftbook.events.outbox import Kind
from graftbook.events.tables import StateWord as WebhookStateWord
from graftbook.http.parameters import PageOut
from graftbook.orders.schemas import StateWord

LONGEST_URL = 2_000
"""Characters."""
CursorOut = Annotated[str, Field(description="where an event stands in the feed; send it as `since`")]


class CatalogueRevisedOut(Document):
    """An edit of the catalogue; `/v1/revisions/{revision}/changes` tells each record."""

    revision: Annotated[int, Field(description="of the catalogue after the edit")]
    who: str
    why: str
    records: Annotated[int, Field(description="how many records it changed")]
    ranges: Annotated[list[str], Field(description="ranges whose rule books it touched")]


class OrderListToldOut(Document):
    """A step of an order list; `/v1/order-lists/{name}` is the list, `…/events` its steps in detail."""

    name: str
    state: StateWord
    version: Annotated[int, Field(description="of the list after the step")]
    who: str
    what: Annotated[str, Field(description="the step, in the word of the list's own events")]
    booking: Annotated[int | None, Field(description="number of its newest booking; null before the first")]


class BuildToldOut(Document):
    """A build that was stored, changed or removed; `/v1/builds/{name}` is the build."""

    name: str
    variant: str
    chassis: str
    version: Annotated[int, Field(description="of the build; of a removed one, its last")]


class EventOut(Document):
    """Something that happened, as the feed tells it and as webhooks are sent it."""

    type: Annotated[Kind, Field(description="what happened")]
    timestamp: Annotated[MomentOut, Field(description="when it happened")]
    id: Annotated[str, Field(description="stays the same however often it is told: by it you know it again")]
    cursor: CursorOut
    data: CatalogueRevisedOut | OrderListToldOut | BuildToldOut


class EventsOut(Document):
    """Events in the order in which they happened."""

    items: list[EventOut]
    cursor: Annotated[str, Field(description="behind all that were looked at; send it as `since` next time")]
    more: Annotated[bool, Field(description="whether more are there already")]


class WebhookIn(BaseModel):
    """Where events are to be sent to."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "examples": [
                {
                    "url": "https://stock.example/graftbook",
                    "kinds": ["order_list.sent", "order_list.received"],
                    "note": "the stock program",
                }
            ]
        },
    )

    url: str = Field(
        min_length=1,
        max_length=LONGEST_URL,
        description="https address that takes POST; http only inside the networks of the setting "
        "`GRAFTBOOK_WEBHOOK_NETWORKS`",
    )
    kinds: list[Kind] = Field([], max_length=50, description="what it is sent; none: everything")
    note: Remark = Field("", description="whose it is, or what for")


class WebhookChangeIn(WebhookIn):
    """A webhook as it shall be."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"url": "https://stock.example/graftbook", "state": "paused"}]}
    )

    state: Literal["active", "paused"] = Field(
        description="a paused one is sent nothing; made active it is sent what it has not had, in order"
    )


class SendAgainIn(BaseModel):
    """From where a webhook is sent events again."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{}]})

    since: str = Field(
        "", max_length=100, description="cursor: all behind it are sent again; without it the next one now"
    )


class WebhookOut(Document):
    """Where events are sent to, without its secret."""

    id: str
    url: str
    kinds: Annotated[list[Kind], Field(description="what it is sent; none: everything")]
    note: str
    state: Annotated[
        WebhookStateWord,
        Field(description="`active`: it is sent to; `paused` by somebody; `disabled`: it failed or said so"),
    ]
    why: Annotated[str, Field(description="why it is not active; empty where it is")]
    made: MomentOut
    made_by: str
    version: Annotated[int, Field(description="rises with every change of it")]
    cursor: Annotated[str, Field(description="behind the last event that it was sent")]
    waiting: Annotated[int, Field(description="events still to be sent, counted up to 1,000")]
    lost: Annotated[
        int,
        Field(description="events that were forgotten before it could be sent them; 0 while it is active"),
    ]
    attempts: Annotated[int, Field(description="attempts at the next event that failed")]
    next_attempt: Annotated[MomentOut | None, Field(description="null unless one failed")]
    old_secret_until: Annotated[
        MomentOut | None, Field(description="so long the secret before the last change is signed with too")
    ]


class WebhookMadeOut(WebhookOut):
    """A webhook with its secret."""

    secret: Annotated[str, Field(description="what its signatures are made with, shown this once")]


class WebhooksOut(Document):
    """All webhooks, in the order in which they were made."""

    items: list[WebhookOut]


class DeliveryOut(Document):
    """What became of one event on its way to one webhook."""

    event: Annotated[str, Field(description="its id")]
    type: Annotated[Kind, Field(description="what happened")]
    about: Annotated[str, Field(description="the list, the build, or the revision of the catalogue")]
    cursor: CursorOut
    before: Annotated[str, Field(description="the cursor before it: sent again from there, it comes again")]
    delivered: bool
    attempts: int
    at: Annotated[MomentOut, Field(description="of the last attempt")]
    answer: Annotated[str, Field(description="what came of the last attempt, in words")]


class DeliveriesOut(PageOut):
    """A page of deliveries, the newest event first."""

    items: list[DeliveryOut]
