"""The summary of an order or of a fitting sequence: what a program at the counter holds of the whole one.

Of an order who sends what for how much and when, what is not bought and why; of the work each step in a
line. Reasons, packs, evidence, instructions and what comes off are in the whole one. No caution is left out.
"""

from collections.abc import Callable, Iterable

from graftbook.http.values import json_bytes
from graftbook.orders.question_schemas import OrderIn, order_address
from graftbook.orders.schemas import (
    AtHandOut,
    FittingOut,
    FromStockOut,
    NotSuppliedOut,
    OrderLineOut,
    OrderOut,
    OrderVehicleOut,
    StepOut,
    SupplierOrderOut,
)
from graftbook.orders.summary_schemas import (
    FittingSummaryOut,
    NotBoughtBriefOut,
    OrderedForOut,
    OrderLineBriefOut,
    OrderSummaryOut,
    StepBriefOut,
    StoredBriefOut,
    SupplierBriefOut,
)


def order_summary(document: OrderOut, full: str | None) -> OrderSummaryOut:
    """`full`: the address of the whole order, where it has one."""
    return {
        "full": full,
        "complete": document["complete"],
        "not_bought": document["not_bought"],
        "lines_needed": document["lines_needed"],
        "headline": document["headline"],
        "date": document["date"],
        "currency": document["currency"],
        "market": document["market"],
        "catalogue_revision": document["catalogue_revision"],
        "vehicles": [_vehicle(one) for one in document["vehicles"]],
        "suppliers": [_supplier(one) for one in document["suppliers"]],
        "lines": [_line(one) for one in document["lines"]],
        "without": [_without(one) for one in document["not_supplied"]],
        "from_stock": _from_store(document["from_stock"]),
        "at_hand": _from_store(document["at_hand"]),
        "taken_off": len(document["taken_off"]),
        "totals": document["totals"],
        "unknown_prices": document["unknown_prices"],
        "proved": document["split"]["proved"],
        "sentence": document["split"]["sentence"],
        "cautions": document["cautions"],
        "defers": document["defers"],
    }


def summary_writer(body: OrderIn) -> Callable[[OrderOut], bytes]:
    """How the facts of a body's order become the bytes of its summary."""
    full = order_address(body)
    return lambda facts: json_bytes(order_summary(facts, full))


def _vehicle(one: OrderVehicleOut) -> OrderedForOut:
    return {
        "label": one["label"],
        "variant": one["variant"],
        "chassis": one["chassis"],
        "wishes": one["wishes"],
        "outcome": one["outcome"],
    }


def _supplier(one: SupplierOrderOut) -> SupplierBriefOut:
    return {
        "name": one["name"],
        "title": one["title"],
        "lines": one["lines"],
        "total": one["total"],
        "arrives": one["arrives"],
    }


def _line(one: OrderLineOut) -> OrderLineBriefOut:
    return {
        "number": one["number"],
        "name": one["name"],
        "pieces": one["pieces"],
        "supplier": one["supplier"],
        "total": one["total"],
    }


def _without(one: NotSuppliedOut) -> NotBoughtBriefOut:
    line: NotBoughtBriefOut = {
        "number": one["number"],
        "name": one["name"],
        "quantity": one["quantity"],
        "reason": one["reason"],
        "why": one["why"],
    }
    if one["earliest"]:
        line["earliest"] = one["earliest"]
    if one["substitute"]:
        line["substitute"] = one["substitute"]["number"]
    return line


def _from_store(parts: Iterable[FromStockOut | AtHandOut]) -> list[StoredBriefOut]:
    return [{"number": p["number"], "name": p["name"], "quantity": p["quantity"]} for p in parts]


def fitting_summary(document: FittingOut) -> FittingSummaryOut:
    """A sequence has no address, so `full` is null: it is asked for without a view."""
    return {
        "full": None,
        "date": document["date"],
        "vehicle": document["vehicle"],
        "wishes": document["wishes"],
        "outcome": document["outcome"],
        "catalogue_revision": document["catalogue_revision"],
        "steps": [_step(one) for one in document["steps"]],
        "sections": document["sections"],
        "minutes": document["minutes"],
        "tools": document["tools"],
        "circles": len(document["circles"]),
        "hands": document["hands"],
        "finish_minutes": document["finish_minutes"],
        "proved": document["proved"],
        "proved_of": document["proved_of"],
        "steps_without_time": document["steps_without_time"],
        "sentence": document["sentence"],
        "cautions": document["cautions"],
        "defers": document["defers"],
    }


def _step(one: StepOut) -> StepBriefOut:
    line: StepBriefOut = {"step": one["step"], "what": f"{one['verb']}: {one['title']}"}
    if one["time"] == "recorded":
        line["minutes"] = one["minutes"]
    return line
