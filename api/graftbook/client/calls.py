"""What can be asked of the service: one function an operation, each giving the call that a client sends.

What is kept and what is edited stands in `kept` and `edits`.

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
    from graftbook.builds.stored.documents import KeptWishOut
    from graftbook.catalogue.store.lists import FlawOut, PositionOut, RangeOut, UpgradeOut, VariantOut
    from graftbook.health.endpoints import ReadyOut
    from graftbook.orders.schemas import FittingOut, OrderOut, QuotationOut
    from graftbook.questions.closures.compared_schemas import CheckOut, WhatIfOut, WhyNotOut
    from graftbook.questions.closures.schemas import ClosureOut
    from graftbook.questions.closures.summary_schemas import ClosureSummaryOut
    from graftbook.questions.compatibility.schemas import CompatibilityListOut, CompatibilityOut
    from graftbook.questions.finding.schemas import SearchOut
    from graftbook.questions.lookup.schemas import ComponentFactsOut, ComponentLineOut, VehiclePageOut
    from graftbook.questions.measuring.schemas import MeasuredOut

T = TypeVar("T")
Body = Mapping[str, Any]
JSON = "application/json"
PAPERS = {
    "json": JSON,
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
}


def as_document(content: bytes) -> Any:
    return json.loads(content) if content else None


def as_bytes(content: bytes) -> Any:
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
    read: Callable[[bytes], T] = as_document
    repeatable: bool = False
    condition: str = ""
    seconds: float | None = None


@dataclass(frozen=True)
class Pages(Generic[T]):
    """A list that comes in pages; `first` is the call for the first of them."""

    first: Call[Any]


class QuestionOptions(TypedDict, total=False):
    """What every question may say; the guide and the OpenAPI document tell what each means."""

    wishes: Sequence[KeptWishOut]
    specification: str
    limits: Body
    preference: Sequence[str]
    market: str
    rules: str
    as_of: int
    deadline_seconds: float


class OrderOptions(QuestionOptions, total=False):
    """An order's question: how to buy, too."""

    alternatives: int
    label: str
    also: Sequence[Body]
    by: str
    at_most_suppliers: int
    fastest: bool
    use_stock: bool
    tax_market: str


def sent(body: Any, kind: str = JSON) -> dict[str, Any]:
    """Content and headers of a body: bytes as they are, all else as JSON."""
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return {"content": content, "headers": {"Content-Type": kind}}


def path_of(*parts: str) -> str:
    """The address of these names, each of which may hold any character."""
    return "/v1/" + "/".join(quote(part, safe="") for part in parts)


def reading(*parts: str, **params: Any) -> Call[Any]:
    """A GET; parameters that say nothing are not sent."""
    given = {name: value for name, value in params.items() if value not in (None, "")}
    return Call("GET", path_of(*parts), given, repeatable=True)


def question(path: str, body: Body, **params: Any) -> Call[Any]:
    """A POST that changes nothing. An answer may take half as long again as its deadline."""
    given = {name: value for name, value in params.items() if value is not None}
    patience = float(body.get("deadline_seconds", 10.0)) * 1.5 + 10
    return Call("POST", path, given, **sent(body), repeatable=True, seconds=patience)


def once_only(path: str, body: Any, key: str, kind: str = JSON, **more: Any) -> Call[Any]:
    """A POST that is done once, however often it is sent."""
    sending = sent(body, kind)
    sending["headers"] |= {"Idempotency-Key": key or str(uuid.uuid4())}
    return Call("POST", path, **sending, repeatable=True, **more)


def change(method: str, path: str, body: Any = None, kind: str = JSON, **more: Any) -> Call[Any]:
    """A change of what was read at the path, or at `condition`."""
    sending = {} if body is None else sent(body, kind)
    return Call(method, path, **sending, **{"condition": path, **more})


def as_paper(call: Call[Any], form: str) -> Call[bytes]:
    """The same as a paper of `PAPERS`."""
    return replace(call, headers={**call.headers, "Accept": PAPERS[form]}, read=as_bytes)


def as_vehicle(vehicle: str | Body) -> Body:
    """A chassis number as bodies say it."""
    return {"chassis": vehicle} if isinstance(vehicle, str) else vehicle


def closure(
    vehicle: str | Body, *, alternatives: int = 0, **asked: Unpack[QuestionOptions]
) -> Call[ClosureOut]:
    """The complete set that follows. `vehicle`: a chassis number, or what `POST /v1/closures` takes."""
    further = {"alternatives": alternatives} if alternatives else {}
    return question("/v1/closures", {"vehicle": as_vehicle(vehicle), **further, **asked})


def closure_summary(
    vehicle: str | Body, *, alternatives: int = 0, **asked: Unpack[QuestionOptions]
) -> Call[ClosureSummaryOut]:
    """The same line by line."""
    whole: Call[Any] = closure(vehicle, alternatives=alternatives, **asked)
    return replace(whole, params={"view": "summary"})


def why_not(
    vehicle: str | Body, component: str, position: str | None = None, **asked: Unpack[QuestionOptions]
) -> Call[WhyNotOut]:
    """Why the answer does not hold this component instead."""
    body = {"vehicle": as_vehicle(vehicle), "component": component, "position": position, **asked}
    return question("/v1/closures/why-not", body)


def what_if(
    vehicle: str | Body, other_vehicle: str | Body, **asked: Unpack[QuestionOptions]
) -> Call[WhatIfOut]:
    """What the same wishes would give on another vehicle."""
    body = {"vehicle": as_vehicle(vehicle), "other_vehicle": as_vehicle(other_vehicle), **asked}
    return question("/v1/closures/what-if", body)


def check(
    vehicle: str | Body,
    components: Sequence[str],
    positions: Mapping[str, str | None] | None = None,
    **asked: Unpack[QuestionOptions],
) -> Call[CheckOut]:
    """Whether a proposed set is complete and works together."""
    body = {"vehicle": as_vehicle(vehicle), "components": [*components], "positions": {**(positions or {})}}
    return question("/v1/checks", {**body, **asked})


def fits(component: str, chassis: str, position: str | None = None, **more: Any) -> Call[CompatibilityOut]:
    """Whether this number fits that chassis. `more`: as `GET /v1/compatibility` takes it."""
    return reading("compatibility", component=component, chassis=chassis, position=position, **more)


def compatibility(
    questions: Sequence[Body], *, proof: bool = False, as_of: int | None = None
) -> Call[CompatibilityListOut]:
    """Up to a thousand of them at once."""
    return question("/v1/compatibility", {"questions": [*questions], "proof": proof, "as_of": as_of})


def order(vehicle: str | Body, **asked: Unpack[OrderOptions]) -> Call[OrderOut]:
    """What must be bought for the closure, and from whom."""
    return question("/v1/orders", {"vehicle": as_vehicle(vehicle), **asked})


def order_paper(
    form: str, vehicle: str | Body, *, part: str = "", view: str = "full", **asked: Unpack[OrderOptions]
) -> Call[bytes]:
    """The same as `csv`, `xlsx`, `pdf` or `json`. `part`: only `supplier:NAME` or `vehicle:LABEL`; `view`:
    `summary`, of JSON."""
    body = {"vehicle": as_vehicle(vehicle), **asked}
    return as_paper(question("/v1/orders", body, part=part or None, view=view), form)


def fitting_sequence(
    vehicle: str | Body, *, hands: int = 1, **asked: Unpack[QuestionOptions]
) -> Call[FittingOut]:
    """The order of the work."""
    return question("/v1/fitting-sequences", {"vehicle": as_vehicle(vehicle), "hands": hands, **asked})


def quotation(
    vehicle: str | Body, labour_rate: str, *, terms: Body | None = None, **asked: Unpack[OrderOptions]
) -> Call[QuotationOut]:
    """What the set costs its owner. `terms`: `allowance`, `first_part`, `months`."""
    body = {"vehicle": as_vehicle(vehicle), "labour_rate": labour_rate, **(terms or {}), **asked}
    return question("/v1/quotations", body)


def vehicle(chassis: str, **more: Any) -> Call[VehiclePageOut]:
    """What a chassis number says."""
    return reading("vehicles", chassis, **more)


def search(text: str, **more: Any) -> Call[SearchOut]:
    """Upgrades, components and flaws by what people say. `more`: `chassis`, `limit`, …"""
    return reading("search", text=text, **more)


def component(number: str) -> Call[ComponentFactsOut]:
    """One component's page of facts."""
    return reading("components", number)


def components(**sought: Any) -> Pages[ComponentLineOut]:
    """Components by `number`, `words`, `section`, `position`, `chassis`, …"""
    return Pages(reading("components", **sought))


def flaws(**sought: Any) -> Pages[FlawOut]:
    """Known flaws, of a `component`, or from a severity up (`at_least`)."""
    return Pages(reading("flaws", **sought))


def positions(**sought: Any) -> Pages[PositionOut]:
    """The positions, of a `section`."""
    return Pages(reading("positions", **sought))


def variants(**sought: Any) -> Pages[VariantOut]:
    """The variants, of a `range`."""
    return Pages(reading("variants", **sought))


def ranges() -> Pages[RangeOut]:
    """The ranges."""
    return Pages(reading("ranges"))


def upgrades(**sought: Any) -> Pages[UpgradeOut]:
    """Upgrades by name, of a `variant`, or of a `chassis` with its `option`s."""
    return Pages(reading("upgrades", **sought))


def measured_part(
    measured: Sequence[Body], *, vehicle: str | Body | None = None, position: str | None = None
) -> Call[MeasuredOut]:
    """What a part could be by its measures (`kind`, `value`, `within`), and where it could serve."""
    of = None if vehicle is None else as_vehicle(vehicle)
    return question("/v1/measured-parts", {"measured": [*measured], "vehicle": of, "position": position})


def ready() -> Call[ReadyOut]:
    """Whether the service can answer."""
    return Call("GET", "/readyz", repeatable=True)


def following(call: Call[Any], page: Mapping[str, Any]) -> Call[Any] | None:
    """The call for the next page; None after the last. Events that are waited for have no last one."""
    if "more" in page:
        onward = page["more"] or call.params.get("wait")
        return replace(call, params={**call.params, "since": page["cursor"]}) if onward else None
    cursor = page.get("next")
    return replace(call, params={**call.params, "cursor": cursor}) if cursor else None
