"""An order as one CSV table: a row a line, then a row for each other thing that is said of the order."""

from collections.abc import Iterator
from typing import Any

from graftbook.catalogue.format.cells import write_rows
from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.papers.parts import COME, Whole, part_of
from graftbook.orders.papers.text import Facts, dangers, goes_to, listed, plain, side, went_before

COLUMNS = (
    "row", "line", "number", "old_numbers", "name", "section", "for", "hand", "quantity", "amount", "packs",
    "pack", "pieces", "surplus", "supplier", "lead_days", "arrives", "unit_price", "total", "tax_rate", "tax",
    "deposit", "deposits", "carriage", "reason", "evidence", "cautions", "note",
    *COME,
)  # fmt: skip
"""`row` says what a row is: line (these first), not complete, not supplied, would buy more, from stock, at
hand, taken off, supplier, price of days, total, difference, or what the order itself is."""

BETWEEN = " / "


def order_csv(order: Whole, part: str = "") -> bytes:
    """The order, or its part `supplier:NAME` or `vehicle:LABEL`, as CSV (RFC 4180, UTF-8).

    Money is the facts' decimals, in the currency of the order. No cell starts a formula.
    Raises UnknownPart.
    """
    facts = part_of(order, part)
    rows = [{key: plain(value) for key, value in row.items() if value is not None} for row in _rows(facts)]
    return write_rows(COLUMNS, [[row.get(column, "") for column in COLUMNS] for row in rows]).encode()


def _rows(facts: Facts) -> Iterator[dict[str, Any]]:
    yield from (_line(line, len(facts["vehicles"]) > 1) for line in facts["lines"])
    yield from _not_bought(facts)
    yield from _about(facts)
    for item in facts["from_stock"]:
        yield _csv_row("from stock", item, note=item["place"])
    for item in facts["at_hand"]:
        yield _csv_row("at hand", item, **{"for": listed(item["positions"], "; ")})
    for off in facts["taken_off"]:
        place = listed((off["vehicle"], off["position"]), ": ")
        yield _csv_row(
            "taken off",
            off,
            **{"for": place},
            note=listed((off["what"], off["why"]), ": "),
            reason=f"replaced by {off['replaced_by']}" if off["replaced_by"] else "",
        )
    for supplier in facts["suppliers"]:
        yield {
            "row": "supplier",
            "supplier": supplier["title"],
            **_sums(supplier),
            "arrives": supplier["arrives"],
        }
    for day in facts["price_of_days"]:
        what = "all" if facts["complete"] else "what is bought"
        note = f"{what} by this day costs {day['extra']} more"
        yield {
            "row": "price of days", "arrives": day["by"], "total": day["total"], "note": note,
            "supplier": listed(day["suppliers"], "; "),
        }  # fmt: skip
    yield from _reconciling_rows(facts)
    yield _total(facts)


def _not_bought(facts: Facts) -> Iterator[dict[str, Any]]:
    """What is not bought, by reason; then what would get it."""
    if facts["whole"]:
        yield {"row": "part of an incomplete order", "note": facts["whole"]}
    if facts["complete"]:
        return
    yield {"row": "not complete", "note": facts["headline"]}
    items = {item["number"]: item for item in facts["not_supplied"]}
    for group in facts["not_bought_why"]:
        for item in (items[number] for number in group["numbers"]):
            yield _csv_row("not supplied", item, reason=group["sentence"], note=said_of(item))
    for item in items.values():
        if item["substitute"]:
            yield _csv_row("substitute", item["substitute"], reason=item["substitute"]["sentence"])
    for way in facts["instead"]:
        yield {
            "row": "would buy more",
            "arrives": way["arrives"],
            "total": way["total"],
            "note": way["sentence"],
        }


def _reconciling_rows(facts: Facts) -> Iterator[dict[str, Any]]:
    way = facts["reconciliation"]
    if way:
        yield {"row": "parts in the answer", "total": way["answer_parts"], "note": way["sentence"]}
        for one in way["differences"]:
            yield {"row": "difference", "total": one["amount"], "note": one["sentence"]}
        yield {"row": "parts in the order", "total": way["order_parts"]}


def _about(facts: Facts) -> Iterator[dict[str, Any]]:
    yield {
        "row": "order", "name": facts["name"], "note": listed(
            (facts["state"], facts["date"], f"catalogue revision {facts['catalogue_revision']}",
             facts["currency"], facts["market"])
        ),
    }  # fmt: skip
    for vehicle in facts["vehicles"]:
        yield {
            "row": "vehicle",
            "number": vehicle["chassis"],
            "name": listed((vehicle["label"], vehicle["title"])),
            "reason": listed(vehicle["wishes"], BETWEEN),
        }
    if facts["split"]:
        proved = "proved" if facts["split"]["proved"] else "not proved"
        yield {"row": "choice of suppliers", "note": listed((proved, facts["split"]["sentence"]), ": ")}
    for caution in facts["cautions"]:
        yield {"row": "caution", "cautions": caution}
    yield {"row": "law", "cautions": facts["defers"]}


def _line(line: Facts, name_vehicles: bool) -> dict[str, Any]:
    same = (
        "line", "number", "name", "quantity", "amount", "packs", "pack", "pieces", "surplus", "lead_days",
        "arrives", "unit_price", "total", "tax_rate", "tax", "deposit", "deposits", "note",
    )  # fmt: skip
    return {
        "row": "line",
        **{key: line[key] for key in same},
        **{key: line.get(key) for key in COME},
        "old_numbers": listed(went_before(line), "; "),
        "section": line["section_title"],
        "for": listed(goes_to(line, name_vehicles), BETWEEN),
        "hand": side(line),
        "supplier": line["supplier_title"],
        "reason": listed(line["reasons"], BETWEEN),
        "evidence": line["evidence_grade"],
        "cautions": listed(dangers(line), BETWEEN),
    }


def _csv_row(row: str, item: Facts, **more: Any) -> dict[str, Any]:
    return {
        "row": row, "number": item["number"], "name": item["name"], "quantity": item.get("quantity"), **more
    }  # fmt: skip


def _sums(sums: Facts) -> dict[str, Any]:
    return {
        "total": sums.get("parts"),
        "carriage": sums.get("carriage"),
        "tax": sums.get("tax"),
        "deposits": sums.get("deposits"),
        "note": f"{sums['total']} in all" if sums.get("total") is not None else None,
    }


def _total(facts: Facts) -> dict[str, Any]:
    unknown = facts["unknown_prices"]
    missing = f"price not known, not in the total: {listed(unknown, '; ')}" if unknown else ""
    sums = _sums(facts["totals"])
    return {"row": "total", **sums, "note": facts["headline"], "cautions": missing}
