"""What can be asked of the service: one function an operation, each giving the call that a client sends.

`Call` is a value and knows no connection, so that both clients share what is here. Parameters that are left
out are not sent, so that the service's own defaults hold.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Generic, TypedDict, TypeVar
from urllib.parse import quote

from typing_extensions import Unpack

if TYPE_CHECKING:
    from graftbook.builds.stored.documents import (
        BuildLineOut,
        BuildOut,
        KeptWishOut,
        SpecificationLineOut,
        SpecificationOut,
    )
    from graftbook.catalogue.store.lists import FlawOut, PositionOut, RangeOut, VariantOut
    from graftbook.editing.imports.endpoints import ImportOut
    from graftbook.editing.schemas import (
        EditOut,
        RecordChangeOut,
        RecordDifferenceOut,
        RecordOut,
        RevisionOut,
    )
    from graftbook.health.endpoints import ReadyOut
    from graftbook.orders.lists.schemas import BookingOut, OrderListOut, OrderListShortOut, StockOut
    from graftbook.orders.schemas import FittingOut, OrderOut, QuotationOut
    from graftbook.questions.closures.compared_schemas import CheckOut, WhatIfOut, WhyNotOut
    from graftbook.questions.closures.schemas import ClosureOut
    from graftbook.questions.closures.summary_schemas import ClosureSummaryOut
    from graftbook.questions.compatibility.schemas import CompatibilityListOut, CompatibilityOut
    from graftbook.questions.finding.schemas import SearchOut
    from graftbook.questions.lookup.schemas import ComponentFactsOut, ComponentLineOut, VehiclePageOut

T = TypeVar("T")
Body = Mapping[str, Any]
JSON = "application/json"
PAPERS = {
    "json": JSON,
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
}


def _document(content: bytes) -> Any:
    return json.loads(content) if content else None


def _bytes(content: bytes) -> Any:
    return content


@dataclass(frozen=True)
class Call(Generic[T]):
    """One request, and how its answer is read.

    `repeatable`: asked twice it does no more than once, so it is sent again when the answer was lost.
    `condition`: the address whose ETag a change must name, as it was read last through the same client.
    """

    method: str
    path: str
    params: Mapping[str, Any] = field(default_factory=dict)
    content: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    read: Callable[[bytes], T] = _document
    repeatable: bool = False
    condition: str = ""
    seconds: float | None = None


@dataclass(frozen=True)
class Pages(Generic[T]):
    """A list that comes in pages; `first` is the call for the first of them."""

    first: Call[Any]


class Asked(TypedDict, total=False):
    """What every question may say; the guide and the OpenAPI document tell what each means."""

    wishes: Sequence[KeptWishOut]
    specification: str
    limits: Body
    preference: Sequence[str]
    market: str
    rules: str
    as_of: int
    deadline_seconds: float


class Ordered(Asked, total=False):
    """An order's question: how to buy, too."""

    alternatives: int
    label: str
    also: Sequence[Body]
    by: str
    at_most_suppliers: int
    fastest: bool
    use_stock: bool
    tax_market: str


def _sent(body: Any, kind: str = JSON) -> dict[str, Any]:
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return {"content": content, "headers": {"Content-Type": kind}}


def _path(*parts: str) -> str:
    return "/v1/" + "/".join(quote(part, safe="") for part in parts)


def _read(*parts: str, **params: Any) -> Call[Any]:
    given = {name: value for name, value in params.items() if value not in (None, "")}
    return Call("GET", _path(*parts), given, repeatable=True)


def _question(path: str, body: Body, **params: Any) -> Call[Any]:
    """A POST that changes nothing. An answer may take half as long again as its deadline."""
    given = {name: value for name, value in params.items() if value is not None}
    patience = float(body.get("deadline_seconds", 10.0)) * 1.5 + 10
    return Call("POST", path, given, **_sent(body), repeatable=True, seconds=patience)


def _once(path: str, body: Any, key: str, kind: str = JSON, **more: Any) -> Call[Any]:
    """A POST that is done once, however often it is sent."""
    sent = _sent(body, kind)
    sent["headers"] |= {"Idempotency-Key": key or str(uuid.uuid4())}
    return Call("POST", path, **sent, repeatable=True, **more)


def _change(method: str, path: str, body: Any = None, kind: str = JSON, **more: Any) -> Call[Any]:
    sent = {} if body is None else _sent(body, kind)
    return Call(method, path, **sent, **{"condition": path, **more})


def _vehicle(vehicle: str | Body) -> Body:
    return {"chassis": vehicle} if isinstance(vehicle, str) else vehicle


def closure(vehicle: str | Body, *, alternatives: int = 0, **asked: Unpack[Asked]) -> Call[ClosureOut]:
    """The complete set that follows. `vehicle`: a chassis number, or what `POST /v1/closures` takes."""
    further = {"alternatives": alternatives} if alternatives else {}
    return _question("/v1/closures", {"vehicle": _vehicle(vehicle), **further, **asked})


def closure_summary(
    vehicle: str | Body, *, alternatives: int = 0, **asked: Unpack[Asked]
) -> Call[ClosureSummaryOut]:
    """The same line by line."""
    whole: Call[Any] = closure(vehicle, alternatives=alternatives, **asked)
    return replace(whole, params={"view": "summary"})


def why_not(
    vehicle: str | Body, component: str, position: str | None = None, **asked: Unpack[Asked]
) -> Call[WhyNotOut]:
    """Why the answer does not hold this component instead."""
    body = {"vehicle": _vehicle(vehicle), "component": component, "position": position, **asked}
    return _question("/v1/closures/why-not", body)


def what_if(vehicle: str | Body, other_vehicle: str | Body, **asked: Unpack[Asked]) -> Call[WhatIfOut]:
    """What the same wishes would give on another vehicle."""
    body = {"vehicle": _vehicle(vehicle), "other_vehicle": _vehicle(other_vehicle), **asked}
    return _question("/v1/closures/what-if", body)


def check(
    vehicle: str | Body,
    components: Sequence[str],
    positions: Mapping[str, str | None] | None = None,
    **asked: Unpack[Asked],
) -> Call[CheckOut]:
    """Whether a proposed set is complete and works together."""
    body = {"vehicle": _vehicle(vehicle), "components": [*components], "positions": {**(positions or {})}}
    return _question("/v1/checks", {**body, **asked})


def fits(component: str, chassis: str, position: str | None = None, **more: Any) -> Call[CompatibilityOut]:
    """Whether this number fits that chassis. `more`: as `GET /v1/compatibility` takes it."""
    return _read("compatibility", component=component, chassis=chassis, position=position, **more)


def compatibility(
    questions: Sequence[Body], *, proof: bool = False, as_of: int | None = None
) -> Call[CompatibilityListOut]:
    """Up to a thousand of them at once."""
    return _question("/v1/compatibility", {"questions": [*questions], "proof": proof, "as_of": as_of})


def order(vehicle: str | Body, **asked: Unpack[Ordered]) -> Call[OrderOut]:
    """What must be bought for the closure, and from whom."""
    return _question("/v1/orders", {"vehicle": _vehicle(vehicle), **asked})


def order_paper(
    form: str, vehicle: str | Body, *, part: str = "", view: str = "full", **asked: Unpack[Ordered]
) -> Call[bytes]:
    """The same as `csv`, `xlsx`, `pdf` or `json`. `part`: only `supplier:NAME` or `vehicle:LABEL`; `view`:
    `summary`, of JSON."""
    body = {"vehicle": _vehicle(vehicle), **asked}
    asking = _question("/v1/orders", body, part=part or None, view=view)
    return replace(asking, headers={**asking.headers, "Accept": PAPERS[form]}, read=_bytes)


def fitting_sequence(vehicle: str | Body, *, hands: int = 1, **asked: Unpack[Asked]) -> Call[FittingOut]:
    """The order of the work."""
    return _question("/v1/fitting-sequences", {"vehicle": _vehicle(vehicle), "hands": hands, **asked})


def quotation(
    vehicle: str | Body, labour_rate: str, *, terms: Body | None = None, **asked: Unpack[Ordered]
) -> Call[QuotationOut]:
    """What the set costs its owner. `terms`: `allowance`, `first_part`, `months`."""
    body = {"vehicle": _vehicle(vehicle), "labour_rate": labour_rate, **(terms or {}), **asked}
    return _question("/v1/quotations", body)


def vehicle(chassis: str, **more: Any) -> Call[VehiclePageOut]:
    """What a chassis number says."""
    return _read("vehicles", chassis, **more)


def search(text: str, **more: Any) -> Call[SearchOut]:
    """Upgrades, components and flaws by what people say. `more`: `chassis`, `limit`, …"""
    return _read("search", text=text, **more)


def component(number: str) -> Call[ComponentFactsOut]:
    """One component's page of facts."""
    return _read("components", number)


def components(**sought: Any) -> Pages[ComponentLineOut]:
    """Components by `number`, `words`, `section`, `position`, `chassis`, …"""
    return Pages(_read("components", **sought))


def flaws(**sought: Any) -> Pages[FlawOut]:
    """Known flaws, of a `component`, or from a severity up (`at_least`)."""
    return Pages(_read("flaws", **sought))


def positions(**sought: Any) -> Pages[PositionOut]:
    """The positions, of a `section`."""
    return Pages(_read("positions", **sought))


def variants(**sought: Any) -> Pages[VariantOut]:
    """The variants, of a `range`."""
    return Pages(_read("variants", **sought))


def ranges() -> Pages[RangeOut]:
    """The ranges."""
    return Pages(_read("ranges"))


def builds() -> Pages[BuildLineOut]:
    """The builds."""
    return Pages(_read("builds"))


def build(name: str) -> Call[BuildOut]:
    """One build."""
    return _read("builds", name)


def create_build(name: str, build: Body, *, once: str = "") -> Call[BuildOut]:
    """Store a new build, once. `once`: a key of one's own for this very request."""
    return _once("/v1/builds", {"name": name, **build}, once)


def replace_build(name: str, build: Body) -> Call[BuildOut]:
    """Replace the build that was read."""
    return _change("PUT", _path("builds", name), build)


def delete_build(name: str) -> Call[None]:
    """Delete the build that was read."""
    return _change("DELETE", _path("builds", name))


def specifications() -> Pages[SpecificationLineOut]:
    """The specifications."""
    return Pages(_read("specifications"))


def specification(name: str, version: int | None = None) -> Call[SpecificationOut]:
    """One version of a specification; the latest without one."""
    return _read("specifications", name, version=version)


def create_specification(name: str, specification: Body, *, once: str = "") -> Call[SpecificationOut]:
    """Store a new specification, once."""
    return _once("/v1/specifications", {"name": name, **specification}, once)


def order_lists(**sought: Any) -> Pages[OrderListShortOut]:
    """The kept order lists; `show`: `open` or `late`."""
    return Pages(_read("order-lists", **sought))


def order_list(name: str) -> Call[OrderListOut]:
    """One list."""
    return _read("order-lists", name)


def create_order_list(
    name: str, vehicle: str | Body, *, note: str = "", once: str = "", **asked: Unpack[Ordered]
) -> Call[OrderListOut]:
    """Compute an order and keep it as a draft, once."""
    return _once("/v1/order-lists", {"name": name, "vehicle": _vehicle(vehicle), "note": note, **asked}, once)


def send_order_list(name: str, *, incomplete: bool = False, once: str = "") -> Call[OrderListOut]:
    """The list that was read goes out, once."""
    path = _path("order-lists", name)
    return _once(f"{path}/send", {"incomplete": incomplete}, once, condition=path)


def receive_order_list(
    name: str, lines: Sequence[Body], *, once: str = "", **delivery: Any
) -> Call[OrderListOut]:
    """Book a delivery on the list that was read, once."""
    path = _path("order-lists", name)
    return _once(f"{path}/receive", {"lines": [*lines], **delivery}, once, condition=path)


def close_order_list(name: str, reason: str = "") -> Call[OrderListOut]:
    """The list that was read is done."""
    path = _path("order-lists", name)
    return _change("POST", f"{path}/close", {"reason": reason}, condition=path)


def order_list_bookings(name: str) -> Pages[BookingOut]:
    """The deliveries that were booked."""
    return Pages(_read("order-lists", name, "bookings"))


def stock() -> Pages[StockOut]:
    """What lies in the shop's own store."""
    return Pages(_read("stock"))


def record(kind: str, name: str) -> Call[RecordOut]:
    """One record of the catalogue."""
    return _read("records", kind, name)


def record_history(kind: str, name: str) -> Pages[RecordChangeOut]:
    """Every change of one record, the newest first."""
    return Pages(_read("records", kind, name, "history"))


def put_record(
    kind: str, name: str, rows: Sequence[Body], *, why: str = "", dry_run: bool = False
) -> Call[EditOut]:
    """Store a new record, or replace the one that was read."""
    return _edit("PUT", kind, name, {"rows": [*rows]}, why, dry_run)


def patch_record(
    kind: str, name: str, fields: Body, *, why: str = "", dry_run: bool = False
) -> Call[EditOut]:
    """Change some fields of the record that was read; null is the default again."""
    return _edit("PATCH", kind, name, fields, why, dry_run, "application/merge-patch+json")


def remove_record(kind: str, name: str, *, why: str = "", dry_run: bool = False) -> Call[EditOut]:
    """Take the record that was read out of the catalogue."""
    return _edit("DELETE", kind, name, None, why, dry_run)


def _edit(
    method: str, kind: str, name: str, body: Any, why: str, dry_run: bool, media: str = JSON
) -> Call[Any]:
    said: dict[str, Any] = {"why": why} if why else {}
    said |= {"dry_run": True} if dry_run else {}
    return _change(method, _path("records", kind, name), body, media, params=said)


def revisions() -> Pages[RevisionOut]:
    """The edits of the catalogue, the newest first."""
    return Pages(_read("revisions"))


def compare_revisions(from_: int, to: int) -> Pages[RecordDifferenceOut]:
    """What says something else as of the later revision."""
    return Pages(_read("revisions", "compare", **{"from": from_, "to": to}))


def import_records(
    records: Sequence[Body] | bytes, *, why: str = "", dry_run: bool = False, once: str = ""
) -> Call[ImportOut]:
    """Store records, all or nothing, once: a list of records, or a sheet as bytes."""
    said: dict[str, Any] = {"why": why} if why else {}
    said |= {"dry_run": True} if dry_run else {}
    if isinstance(records, bytes):
        return _once("/v1/imports", records, once, "text/csv", params=said)
    return _once("/v1/imports", [*records], once, params=said)


def export() -> Call[bytes]:
    """The whole catalogue as one sheet."""
    return Call("GET", "/v1/exports", read=_bytes, repeatable=True)


def ready() -> Call[ReadyOut]:
    """Whether the service can answer."""
    return Call("GET", "/readyz", repeatable=True)


def following(call: Call[Any], page: Mapping[str, Any]) -> Call[Any] | None:
    """The call for the next page; None after the last."""
    cursor = page["next"]
    return replace(call, params={**call.params, "cursor": cursor}) if cursor else None
