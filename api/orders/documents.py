"""The order list as JSON facts and as CSV."""

from typing import Any

from api.orders.lists import OrderLine, OrderList
from api.wire.cells import write_rows
from api.wire.values import GRADE_WORDS, money

COLUMNS = (
    "number", "name", "section", "positions", "quantity", "packs", "pack", "pieces", "surplus", "unit_price",
    "total", "deposits", "reason", "evidence", "cautions",
)  # fmt: skip

KEEP = "keep with the vehicle"


def line_document(line: OrderLine) -> dict[str, Any]:
    """One line as facts."""
    return {
        "number": line.number,
        "name": line.name,
        "section": line.section,
        "positions": list(line.positions),
        "quantity": line.quantity,
        "pack": line.pack,
        "packs": line.packs,
        "pieces": line.pieces,
        "surplus": line.surplus,
        "unit_price": money(line.unit_price),
        "total": money(line.total),
        "deposits": money(line.deposits),
        "asked_numbers": list(line.asked_numbers),
        "reasons": [
            {"cause": str(r.cause), "name": r.name, "sentence": r.sentence, "from_position": r.parent}
            for r in line.reasons
        ],
        "evidence": GRADE_WORDS[line.grade],
        "hazard": line.hazard or None,
        "cautions": list(line.cautions),
    }


def order_document(order: OrderList) -> dict[str, Any]:
    """The whole list as facts."""
    return {
        "lines": [line_document(line) for line in order.lines],
        "at_hand": [
            {"number": a.number, "name": a.name, "quantity": a.quantity, "positions": list(a.positions)}
            for a in order.at_hand
        ],
        "taken_off": [
            {
                "number": t.number,
                "name": t.name,
                "position": t.position,
                "quantity": t.quantity,
                "replaced_by": t.replaced_by,
                "what_to_do": KEEP,
            }
            for t in order.taken_off
        ],
        "totals": {
            "parts": money(order.parts),
            "deposits": money(order.deposits),
            "total": money(order.total),
            "unknown_prices": list(order.unknown_prices),
        },
    }


def order_csv(order: OrderList) -> str:
    """The list as CSV: a row a line, then what is at hand, what comes off, and the totals.

    The reason column of the further rows says what they are.
    """
    rows: list[list[Any]] = [_line_row(line) for line in order.lines]
    rows += [
        _short_row(a.number, a.name, a.positions, a.quantity, "on the bench already") for a in order.at_hand
    ]
    rows += [
        _short_row(t.number, t.name, (t.position,), t.quantity, f"comes off: {KEEP}") for t in order.taken_off
    ]
    totals = [""] * len(COLUMNS)
    totals[1], totals[10], totals[11] = "TOTAL", money(order.parts) or "", money(order.deposits) or ""
    if order.unknown_prices:
        totals[12] = "price unknown, not in the total: " + "; ".join(order.unknown_prices)
    return write_rows(COLUMNS, [*rows, totals])


def _line_row(line: OrderLine) -> list[Any]:
    return [
        line.number,
        line.name,
        line.section,
        "; ".join(line.positions),
        line.quantity,
        line.packs,
        line.pack,
        line.pieces,
        line.surplus,
        money(line.unit_price),
        money(line.total),
        money(line.deposits),
        " / ".join(reason.sentence for reason in line.reasons),
        GRADE_WORDS[line.grade],
        " / ".join([*([line.hazard] if line.hazard else []), *line.cautions]),
    ]


def _short_row(number: str, name: str, positions: tuple[str, ...], quantity: int, reason: str) -> list[Any]:
    row: list[Any] = [""] * len(COLUMNS)
    row[0], row[1], row[3], row[4], row[12] = number, name, "; ".join(positions), quantity, reason
    return row
