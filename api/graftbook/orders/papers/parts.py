"""The part of an order that concerns one supplier or one vehicle."""

from decimal import Decimal
from typing import Any

from graftbook.orders.buying.not_bought import headline
from graftbook.orders.lists.schemas import OrderListOut
from graftbook.orders.papers.text import amount
from graftbook.orders.schemas import FromStockOut, NotSuppliedOut, OrderLineOut, OrderOut
from graftbook.problems import Unknown

Whole = OrderOut | OrderListOut
PART_WORDS = ("supplier", "vehicle")
COME = ("received", "back_ordered", "given_up", "too_many")


class UnknownPart(Unknown):
    """The order has no such supplier or vehicle; `near` holds those that it has."""

    type = "/problems/unknown-part"
    title = "The order has no such part"


def part_of(facts: Whole, part: str) -> dict[str, Any]:
    """The facts of `supplier:NAME` or `vehicle:LABEL`; an empty part is the whole order.

    The member `part` of the answer says what it is of, and `whole` what the whole order does not buy. What is
    not of this supplier or vehicle is left empty or null, so that a part is no order itself.
    Raises UnknownPart.
    """
    if not part:
        return {**facts, "part": None, "whole": ""}
    kind, _, name = part.partition(":")
    if kind not in PART_WORDS:
        raise UnknownPart(part, detail=f"A part is written supplier:NAME or vehicle:LABEL, not {part!r}")
    found = _of_supplier(facts, name) if kind == "supplier" else _of_vehicle(facts, name)
    return {**found, **headline(found), "whole": _of_whole(facts), "reconciliation": None, "instead": []}


def _of_whole(facts: Whole) -> str:
    if facts["complete"]:
        return ""
    lacking, needed = facts["not_bought"], facts["lines_needed"]
    return f"The whole order is not complete: {lacking} of its {needed} lines are not bought."


def _of_supplier(facts: Whole, name: str) -> dict[str, Any]:
    """What may be sent to this supplier: nothing of others, no reasons, no wishes, no comparison."""
    known = {supplier["name"]: supplier for supplier in facts["suppliers"]}
    if name not in known:
        raise UnknownPart(name, known, detail=f"Nothing is ordered from {name!r}")
    supplier = known[name]
    lines: list[dict[str, Any]] = [
        {**line, "reasons": [], "evidence_grade": "", "note": ""}
        for line in facts["lines"]
        if line["supplier"] == name
    ]
    numbers = {line["number"] for line in lines}
    vehicles = {place["vehicle"] for line in lines for place in line["for"]}
    own = {caution for line in lines for caution in line["cautions"]}
    return {
        **facts,
        "part": {"kind": "supplier", "name": name, "title": supplier["title"]},
        "vehicles": [{**v, "wishes": []} for v in facts["vehicles"] if v["label"] in vehicles],
        "lines": lines,
        "suppliers": [supplier],
        "from_stock": [],
        "at_hand": [],
        "not_supplied": [],
        "not_bought_why": [],
        "taken_off": [
            {**off, "why": ""}
            for off in facts["taken_off"]
            if off["what"] == "exchange" and off["replaced_by"] in numbers
        ],
        "totals": {key: supplier[key] for key in ("parts", "carriage", "tax", "deposits", "total")},
        "unknown_prices": [number for number in facts["unknown_prices"] if number in numbers],
        "price_of_days": [],
        "split": None,
        "cautions": [caution for caution in facts["cautions"] if caution in own],
    }


def _of_vehicle(facts: Whole, label: str) -> dict[str, Any]:
    """What this vehicle needs, at the price of its pieces; carriage and tax are of the whole order."""
    vehicles = {vehicle["label"]: vehicle for vehicle in facts["vehicles"]}
    if label not in vehicles:
        raise UnknownPart(label, vehicles, detail=f"The order is not for a vehicle {label!r}")
    lines = [line for line in (_line_of(line, label) for line in facts["lines"]) if line]
    numbers = {line["number"] for line in lines}
    lacking = [item for item in facts["not_supplied"] if _uses(item, label)]
    known = {item["number"] for item in lacking}
    groups = [{**g, "numbers": [n for n in g["numbers"] if n in known]} for g in facts["not_bought_why"]]
    return {
        **facts,
        "part": {"kind": "vehicle", "name": label, "title": label},
        "not_supplied": lacking,
        "not_bought_why": [group for group in groups if group["numbers"]],
        "vehicles": [vehicles[label]],
        "cautions": vehicles[label].get("cautions", facts["cautions"]),
        "lines": lines,
        "suppliers": [],
        "from_stock": [item for item in facts["from_stock"] if _uses(item, label)],
        "at_hand": [item for item in facts["at_hand"] if item.get("vehicle", label) == label],
        "taken_off": [off for off in facts["taken_off"] if off["vehicle"] == label],
        "totals": {"parts": _sum(lines, "total"), "deposits": _sum(lines, "deposits")},
        "unknown_prices": [number for number in facts["unknown_prices"] if number in numbers],
        "price_of_days": [],
        "split": None,
    }


def _line_of(line: OrderLineOut, label: str) -> dict[str, Any] | None:
    """A line with the pieces of one vehicle only; None when it has none.

    Packs and what they leave over belong to the whole order, and so do tax, the contents of a loose part and
    what came.
    """
    places = [place for place in line["for"] if place["vehicle"] == label]
    if not places:
        return None
    quantity = sum(place["quantity"] for place in places)
    shared = len(places) != len(line["for"])
    return {
        **line,
        "for": places,
        "quantity": quantity,
        "pieces": quantity,
        "packs": None,
        "surplus": None,
        "amount": None if shared else line["amount"],
        "total": _times(line["unit_price"], quantity),
        "tax": None,
        "tax_rate": None,
        "deposits": _times(line["deposit"], quantity),
        **dict.fromkeys(COME),
    }


def _uses(item: NotSuppliedOut | FromStockOut, label: str) -> bool:
    """Whether it is for this vehicle; one that does not say for which counts for each."""
    shares = item.get("for", [])
    return not shares or any(share["vehicle"] == label for share in shares)


def _times(price: Any, quantity: int) -> str | None:
    known = amount(price)
    return None if known is None else f"{known * quantity:f}"


def _sum(lines: list[dict[str, Any]], key: str) -> str:
    return f"{sum((amount(line[key]) or Decimal('0.00') for line in lines), Decimal('0.00')):f}"
