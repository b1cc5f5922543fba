"""What the house keeps, as calls: builds, specifications, order lists, the store, reports, pictures.

And what changed, who is told of it, and who may ask.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from typing_extensions import Unpack

from graftbook.client.calls import (
    PAPERS,
    Body,
    Call,
    OrderOptions,
    Pages,
    as_bytes,
    as_paper,
    as_vehicle,
    change,
    once_only,
    path_of,
    reading,
    sent,
)

if TYPE_CHECKING:
    from graftbook.access.schemas import AccessEventOut, KeyOut, NewKeyOut
    from graftbook.builds.life.schemas import BuildEventOut, BuildSheetOut, BuildStateOut, ListStepsOut
    from graftbook.builds.schemas import ComparisonOut
    from graftbook.builds.standards.schemas import (
        HouseSpecificationOut,
        VariantTableOut,
        VersionsComparedOut,
    )
    from graftbook.builds.stored.documents import (
        BuildLineOut,
        BuildOut,
        SpecificationLineOut,
        SpecificationOut,
    )
    from graftbook.events.schemas import DeliveryOut, EventOut, EventsOut, WebhookMadeOut, WebhookOut
    from graftbook.orders.lists.schemas import (
        BookingOut,
        ListDifferencesOut,
        OrderEventOut,
        OrderListOut,
        OrderListShortOut,
        StockCountOut,
        StockOut,
    )
    from graftbook.pictures.schemas import PictureOut
    from graftbook.reports.schemas import GradeOut, ReportedOut, ReportOut

LONG = 60.0
"""Seconds for what takes many closures."""

# Builds and specifications -----------------------------------------------------------------------


def builds() -> Pages[BuildLineOut]:
    """The builds."""
    return Pages(reading("builds"))


def build(name: str, *, on: str = "") -> Call[BuildOut]:
    """One build; `on`: as it stood on a day. Read it without a day before you change it."""
    return reading("builds", name, on=on)


def create_build(name: str, build: Body, *, once: str = "") -> Call[BuildOut]:
    """Store a new build, once. `once`: a key of one's own for this very request."""
    return once_only("/v1/builds", {"name": name, **build}, once)


def replace_build(name: str, build: Body) -> Call[BuildOut]:
    """Replace the build that was read."""
    return change("PUT", path_of("builds", name), build)


def delete_build(name: str) -> Call[None]:
    """Delete the build that was read."""
    return change("DELETE", path_of("builds", name))


def build_events(name: str, *, on: str = "") -> Pages[BuildEventOut]:
    """What was recorded of a build, as it was written down."""
    return Pages(reading("builds", name, "events", on=on))


def record_build_events(name: str, events: Sequence[Body], *, once: str = "") -> Call[BuildOut]:
    """Record what was so of a build, all of it or nothing, once."""
    path = path_of("builds", name)
    return once_only(f"{path}/events", {"events": [*events]}, once, condition=path)


def build_state(name: str, *, on: str = "") -> Call[BuildStateOut]:
    """How a build stands: what may be driven, what is still open."""
    return replace(reading("builds", name, "state", on=on), seconds=LONG)


def build_sheet(name: str, *, on: str = "") -> Call[BuildSheetOut]:
    """The paper that goes with the vehicle, as facts."""
    return replace(reading("builds", name, "sheet", on=on), seconds=LONG)


def build_sheet_paper(name: str, *, on: str = "") -> Call[bytes]:
    """The same as a PDF."""
    return as_paper(build_sheet(name, on=on), "pdf")


def build_order_list(name: str, listed: str) -> Call[ListStepsOut]:
    """What an order list does to a build, step by step."""
    return reading("builds", name, "order-lists", listed)


def carry_out_order_list(name: str, order_list: str, *, once: str = "", **steps: Any) -> Call[BuildOut]:
    """What of a list was fitted, once: `whole`, or `steps`; `day`, `kept`."""
    path = path_of("builds", name)
    return once_only(f"{path}/carried-out", {"order_list": order_list, **steps}, once, condition=path)


def specifications() -> Pages[SpecificationLineOut]:
    """The specifications."""
    return Pages(reading("specifications"))


def specification(name: str, version: int | None = None) -> Call[SpecificationOut]:
    """One version of a specification; the latest without one."""
    return reading("specifications", name, version=version)


def create_specification(name: str, specification: Body, *, once: str = "") -> Call[SpecificationOut]:
    """Store a new specification, once."""
    return once_only("/v1/specifications", {"name": name, **specification}, once)


def revise_specification(name: str, specification: Body) -> Call[SpecificationOut]:
    """Make a new version of the specification that was read."""
    return change("PUT", path_of("specifications", name), specification)


def compare_specification(name: str, from_: int, to: int) -> Call[ComparisonOut]:
    """What two versions wish otherwise."""
    return reading("specifications", name, "comparison", **{"from": from_, "to": to})


def specification_effects(name: str, from_: int, to: int) -> Call[VersionsComparedOut]:
    """What two versions come to: on each variant, and for vehicles that were built to the older."""
    return replace(
        reading("specifications", name, "comparison", "effects", **{"from": from_, "to": to}), seconds=LONG
    )


def specification_variants(name: str, version: int | None = None) -> Call[VariantTableOut]:
    """What a specification makes of every variant that it is for."""
    return replace(reading("specifications", name, "variants", version=version), seconds=LONG)


def house_specification() -> Call[HouseSpecificationOut]:
    """What the house builds to."""
    return reading("house-specification")


def set_house_specification(specification: str) -> Call[HouseSpecificationOut]:
    """The house builds to `name@version` from now on."""
    path = "/v1/house-specification"
    return Call("PUT", path, **sent({"specification": specification}), repeatable=True)


# Order lists and the store -----------------------------------------------------------------------


def order_lists(**sought: Any) -> Pages[OrderListShortOut]:
    """The kept order lists; `show`: `open` or `late`."""
    return Pages(reading("order-lists", **sought))


def order_list(name: str) -> Call[OrderListOut]:
    """One list."""
    return reading("order-lists", name)


def order_list_paper(name: str, form: str, *, part: str = "") -> Call[bytes]:
    """The same as `csv`, `xlsx` or `pdf`. `part`: only `supplier:NAME` or `vehicle:LABEL`."""
    return as_paper(reading("order-lists", name, part=part), form)


def create_order_list(
    name: str, vehicle: str | Body, *, note: str = "", once: str = "", **asked: Unpack[OrderOptions]
) -> Call[OrderListOut]:
    """Compute an order and keep it as a draft, once."""
    body = {"name": name, "vehicle": as_vehicle(vehicle), "note": note, **asked}
    return once_only("/v1/order-lists", body, once)


def note_order_list(name: str, note: str) -> Call[OrderListOut]:
    """Write the note of the list that was read."""
    path = path_of("order-lists", name)
    return change("PUT", f"{path}/note", {"note": note}, condition=path)


def recompute_order_list(name: str) -> Call[OrderListOut]:
    """Compute the draft that was read anew."""
    path = path_of("order-lists", name)
    return change("POST", f"{path}/recompute", condition=path)


def order_list_differences(name: str) -> Call[ListDifferencesOut]:
    """What the list would be otherwise if it were computed today."""
    return reading("order-lists", name, "differences")


def substitute_in_order_list(name: str, line: int, number: str) -> Call[OrderListOut]:
    """Another number for a line of the draft that was read."""
    path = path_of("order-lists", name)
    return change("POST", f"{path}/substitute", {"line": line, "number": number}, condition=path)


def send_order_list(name: str, *, incomplete: bool = False, once: str = "") -> Call[OrderListOut]:
    """The list that was read goes out, once."""
    path = path_of("order-lists", name)
    return once_only(f"{path}/send", {"incomplete": incomplete}, once, condition=path)


def receive_order_list(
    name: str, lines: Sequence[Body], *, once: str = "", **delivery: Any
) -> Call[OrderListOut]:
    """Book a delivery on the list that was read, once."""
    path = path_of("order-lists", name)
    return once_only(f"{path}/receive", {"lines": [*lines], **delivery}, once, condition=path)


def order_list_bookings(name: str) -> Pages[BookingOut]:
    """The deliveries that were booked."""
    return Pages(reading("order-lists", name, "bookings"))


def take_back_booking(
    name: str, booking: int, why: str, *, reopen: bool = False, once: str = ""
) -> Call[OrderListOut]:
    """Take back a delivery that was booked wrong on the list that was read, once."""
    path = path_of("order-lists", name)
    back = {"why": why, "reopen": reopen}
    return once_only(f"{path}/bookings/{booking}/take-back", back, once, condition=path)


def close_order_list(name: str, reason: str = "") -> Call[OrderListOut]:
    """The list that was read is done."""
    path = path_of("order-lists", name)
    return change("POST", f"{path}/close", {"reason": reason}, condition=path)


def discard_order_list(name: str) -> Call[None]:
    """Throw the draft that was read away."""
    return change("DELETE", path_of("order-lists", name))


def order_list_events(name: str) -> Pages[OrderEventOut]:
    """The steps of a list."""
    return Pages(reading("order-lists", name, "events"))


def stock() -> Pages[StockOut]:
    """What lies in the shop's own store."""
    return Pages(reading("stock"))


def stock_sheet() -> Call[bytes]:
    """The whole store as CSV."""
    return as_paper(reading("stock"), "csv")


def stock_of(number: str) -> Call[StockOut]:
    """What lies in the store of one number."""
    return reading("stock", number)


def put_stock(number: str, quantity: int, place: str = "") -> Call[StockOut]:
    """Say what lies in the store of a number, new or as it was read."""
    return change("PUT", path_of("stock", number), {"quantity": quantity, "place": place})


def empty_stock(number: str) -> Call[None]:
    """Nothing lies in the store of the number that was read."""
    return change("DELETE", path_of("stock", number))


def count_stock(
    sheet: bytes, *, whole: bool = False, dry_run: bool = False, once: str = ""
) -> Call[StockCountOut]:
    """The store was counted: a CSV sheet of it, once. `whole`: what it does not name leaves the store."""
    query = {name: True for name, wanted in (("whole", whole), ("dry_run", dry_run)) if wanted}
    return once_only("/v1/stock", sheet, once, PAPERS["csv"], params=query)


# Reports and pictures ----------------------------------------------------------------------------


def report(workshop: str, outcome: str, **found: Any) -> Call[ReportedOut]:
    """Report how it went; the same sent again changes nothing. `found`: as `POST /v1/reports` takes it."""
    body = {"workshop": workshop, "outcome": outcome, **found}
    return Call("POST", "/v1/reports", **sent(body), repeatable=True)


def reports(**sought: Any) -> Pages[ReportOut]:
    """What workshops reported of a `component`, a `claim`, a `build`, …"""
    return Pages(reading("reports", **sought))


def grades(*, claim: str = "", component: str = "") -> Pages[GradeOut]:
    """How a claim stands, or every claim about a component; with neither those in doubt."""
    return Pages(reading("grades", claim=claim, component=component))


def pictures(kind: str, name: str) -> Pages[PictureOut]:
    """The pictures of a record or a build."""
    return Pages(reading("pictures", "of", kind, name))


def picture(digest: str, size: str = "whole") -> Call[bytes]:
    """The pixels of a picture; `size`: `whole` or `small`."""
    return replace(reading("pictures", digest, size=size), read=as_bytes)


def attach_picture(kind: str, name: str, pixels: bytes, media: str, *, caption: str = "") -> Call[PictureOut]:
    """Attach a photograph or sketch; the same sent again is the same. `media`: such as `image/jpeg`."""
    query = {"caption": caption} if caption else {}
    path = path_of("pictures", "of", kind, name)
    return Call("POST", path, query, **sent(pixels, media), repeatable=True)


def take_picture_away(digest: str, kind: str, name: str) -> Call[None]:
    """Take a picture away from a record or a build."""
    return Call("DELETE", path_of("pictures", digest, "of", kind, name))


# What changed, and who is told -------------------------------------------------------------------


def events(
    *, since: str = "", kinds: Sequence[str] = (), wait: int = 0, limit: int | None = None
) -> Pages[EventOut]:
    """What changed behind a cursor (each event has one), then with `wait` what goes on to change: it is asked
    for again and again, each time waiting so many seconds, and the list has no end."""
    return Pages(events_page(since=since, kinds=kinds, wait=wait, limit=limit))


def events_page(
    *, since: str = "", kinds: Sequence[str] = (), wait: int = 0, limit: int | None = None
) -> Call[EventsOut]:
    """One page of it, with the cursor behind it, also where nothing changed."""
    asked = {"since": since, "kind": [*kinds] or None, "wait": wait or None, "limit": limit}
    return replace(reading("events", **asked), seconds=wait + 15.0)


def webhooks() -> Pages[WebhookOut]:
    """Where events are sent to."""
    return Pages(reading("webhooks"))


def webhook(id: str) -> Call[WebhookOut]:
    """One of them."""
    return reading("webhooks", id)


def create_webhook(url: str, *, kinds: Sequence[str] = (), note: str = "") -> Call[WebhookMadeOut]:
    """Have events sent to an address; its secret comes with the answer, this once."""
    return Call("POST", "/v1/webhooks", **sent({"url": url, "kinds": [*kinds], "note": note}))


def change_webhook(id: str, webhook: Body) -> Call[WebhookOut]:
    """Change the webhook that was read: `url`, `kinds`, `note`, `state`."""
    return change("PUT", path_of("webhooks", id), webhook)


def change_webhook_secret(id: str, *, end_old: bool = False) -> Call[WebhookMadeOut]:
    """A new secret; the old one is signed with too for a while. `end_old`: end one before that."""
    return Call("POST", path_of("webhooks", id, "secret"), {"end_old": "true"} if end_old else {})


def send_webhook_again(id: str, *, since: str = "") -> Call[WebhookOut]:
    """Send what is behind a cursor again; without one the next event now."""
    body: Mapping[str, str] = {"since": since} if since else {}
    return Call("POST", path_of("webhooks", id, "send-again"), **sent(body), repeatable=True)


def remove_webhook(id: str) -> Call[None]:
    """Nothing is sent there any more."""
    return Call("DELETE", path_of("webhooks", id))


def webhook_deliveries(id: str) -> Pages[DeliveryOut]:
    """What became of each event on its way there, the newest first."""
    return Pages(reading("webhooks", id, "deliveries"))


def keys() -> Pages[KeyOut]:
    """The keys, without their secrets."""
    return Pages(reading("keys"))


def create_key(label: str, scope: str, *, expires: str | None = None) -> Call[NewKeyOut]:
    """Make a key, shown this once."""
    return Call("POST", "/v1/keys", **sent({"label": label, "scope": scope, "expires": expires}))


def revoke_key(id: str) -> Call[None]:
    """A key is no longer good."""
    return Call("DELETE", path_of("keys", id), repeatable=True)


def access_events(*, key: str = "", outcome: str = "") -> Pages[AccessEventOut]:
    """What was done and refused, the newest first."""
    return Pages(reading("audit", key=key, outcome=outcome))
