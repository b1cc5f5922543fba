"""A quotation as an answer: the order of a question, its labour, and what the owner pays when."""

from datetime import date
from decimal import Decimal
from typing import Any

from api.orders.answering import Ordered, facts_of, order_for, vehicles_of
from api.orders.facts import DEFERS
from api.orders.quotation import Item, Quotation, labour, part_of, quote
from api.service import Service
from api.wire.orders_in import QuotationIn
from api.wire.values import minor_units, money

Facts = dict[str, Any]


def quotation_facts(service: Service, body: QuotationIn) -> Facts:
    """The quotation as facts, worked out when it is its turn. Raises what `ask` raises, NoSet, and Busy."""
    today = date.today()
    asked = vehicles_of(service, body)
    with service.turn():
        ordered = order_for(service, body, asked, today)
        order = facts_of(service, body, ordered)
    minutes = sum(vehicle.solution.totals.labour for vehicle in ordered.vehicles)
    items = _items(body, ordered, minutes)
    deposits = sum(line.deposits for line in ordered.order.lines)
    made = quote(items, deposits, today, body.first_part, body.months)
    return {
        "date": today.isoformat(),
        "currency": service.settings.currency,
        "market": order["market"],
        "catalogue_revision": order["catalogue_revision"],
        "vehicles": order["vehicles"],
        "labour_minutes": minutes,
        "labour_rate": money(minor_units(body.labour_rate)),
        **_written(made),
        "not_in_it": _not_in_it(order),
        "cautions": order["cautions"],
        "defers": DEFERS,
    }


def _items(body: QuotationIn, ordered: Ordered, minutes: int) -> list[Item]:
    parts: dict[Decimal | None, int] = {}
    for line in ordered.order.lines:
        parts[line.tax_rate] = parts.get(line.tax_rate, 0) + (line.total or 0)
    usual = ordered.market.taxes.get("")
    rates = sorted(parts, key=lambda rate: (rate is None, rate or Decimal(0)))
    items = [Item("parts", parts[rate], rate) for rate in rates if parts[rate]]
    if ordered.order.split and ordered.order.split.carriage:
        items.append(Item("carriage", ordered.order.split.carriage, usual))
    work = labour(minutes, minor_units(body.labour_rate))
    if work:
        items.append(Item("labour", work, usual))
    allowance = part_of(sum(item.amount for item in items), body.allowance)
    if allowance:
        items.append(Item("allowance for what comes to light", allowance, usual))
    return items


def _written(made: Quotation) -> Facts:
    return {
        "items": [
            {
                "what": item.what,
                "amount": money(item.amount),
                "tax_rate": None if item.rate is None else f"{item.rate:.2f}",
            }
            for item in made.items
        ],
        "net": money(made.net),
        "taxes": [
            {"rate": f"{tax.rate:.2f}", "on": money(tax.base), "tax": money(tax.tax)} for tax in made.taxes
        ],
        "tax": money(made.tax),
        "deposits": money(made.deposits),
        "total": money(made.total),
        "payments": [
            {"on": p.on.isoformat(), "what": p.what, "amount": money(p.amount)} for p in made.payments
        ],
        "sentence": _sentence(made),
    }


def _sentence(made: Quotation) -> str:
    told = f"Together {money(made.total)}"
    if made.deposits:
        told += f", of which {money(made.deposits)} are exchange deposits that come back with the old parts"
    stages = len(made.payments)
    return f"{told}, in {stages} payments." if stages > 1 else f"{told}."


def _not_in_it(order: Facts) -> list[str]:
    """What the owner must know is missing from the sum."""
    told = [f"{number}: its price is not known." for number in order["unknown_prices"]]
    told += [f"{part['number']} ({part['name']}): {part['why']}" for part in order["not_supplied"]]
    return told
