"""A quotation as an answer: the order of a question, its labour, and what the owner pays when."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from graftbook.catalogue.format.money import minor_units
from graftbook.closure.words import phrases
from graftbook.http.values import money
from graftbook.orders.documents import DEFERS
from graftbook.orders.question_schemas import QuotationIn
from graftbook.orders.quotation.quotation import Item, Quotation, labour, part_of, quote
from graftbook.orders.schemas import NotSuppliedOut, OrderOut, QuotationOut, SumsOut
from graftbook.orders.service import OrderAnswer, facts_of, order_for, vehicles_of
from graftbook.process.service import Service


def quotation_facts(service: Service, body: QuotationIn) -> QuotationOut:
    """The quotation as facts, worked out when it is its turn. Raises what `ask` raises, NoSet, and Busy."""
    today = date.today()
    asked = vehicles_of(service, body)
    with service.turn(asked[0][1].deadline):
        ordered = order_for(service, body, asked, today)
        order = facts_of(service, body, ordered)
    minutes = sum(vehicle.solution.totals.labour for vehicle in ordered.vehicles)
    items = _items(body, ordered, minutes)
    deposits = sum(line.deposits for line in ordered.order.lines)
    made = quote(items, deposits, today, body.first_part, body.months)
    return {
        "complete": order["complete"],
        "not_bought": order["not_bought"],
        "lines_needed": order["lines_needed"],
        "date": today.isoformat(),
        "currency": service.settings.currency,
        "market": order["market"],
        "catalogue_revision": order["catalogue_revision"],
        "vehicles": order["vehicles"],
        "labour_minutes": minutes,
        "labour_rate": money(minor_units(body.labour_rate)),
        **_sums_document(made, order, _unknown(order, ordered)),
        "not_in_it": _not_in_it(order, ordered),
        "cautions": order["cautions"],
        "defers": DEFERS,
    }


def _items(body: QuotationIn, ordered: OrderAnswer, minutes: int) -> list[Item]:
    bought = [(line.tax_rate, line.total or 0) for line in ordered.order.lines]
    stored = [
        (ordered.market.tax_on(taken.need.part.section), (taken.need.part.price or 0) * taken.quantity)
        for taken in ordered.order.from_store
    ]
    usual = ordered.market.taxes.get("")
    items = [*_by_rate("parts", bought), *_by_rate("parts from the shop's own store", stored)]
    if ordered.order.split and ordered.order.split.carriage:
        items.append(Item("carriage", ordered.order.split.carriage, usual))
    work = labour(minutes, minor_units(body.labour_rate))
    if work:
        items.append(Item("labour", work, usual))
    allowance = part_of(sum(item.amount for item in items), body.allowance)
    if allowance:
        items.append(Item("allowance for what comes to light", allowance, usual))
    return items


def _by_rate(what: str, amounts: Sequence[tuple[Decimal | None, int]]) -> list[Item]:
    """One item a tax rate, the lowest first, those without a rate last."""
    sums: dict[Decimal | None, int] = {}
    for rate, amount in amounts:
        sums[rate] = sums.get(rate, 0) + amount
    rates = sorted(sums, key=lambda rate: (rate is None, rate or Decimal(0)))
    return [Item(what, sums[rate], rate) for rate in rates if sums[rate]]


def _sums_document(made: Quotation, order: OrderOut, unknown: tuple[str, ...]) -> SumsOut:
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
        "sentence": _sentence(made, unknown) + _without(order),
    }


def _sentence(made: Quotation, unknown: tuple[str, ...]) -> str:
    sentence = f"Together {money(made.total)}"
    if made.deposits:
        given_back = "exchange deposits that come back for old units that the suppliers take"
        sentence += f", of which {money(made.deposits)} are {given_back}"
    stages = len(made.payments)
    sentence = f"{sentence}, in {stages} payments." if stages > 1 else f"{sentence}."
    return f"{sentence} To that comes {phrases.of_unknown(unknown)}." if unknown else sentence


def _unknown(order: OrderOut, ordered: OrderAnswer) -> tuple[str, ...]:
    """Numbers that are bought or taken from the store and whose price nobody knows."""
    stored = [taken.need.part for taken in ordered.order.from_store]
    unknown = [*order["unknown_prices"], *(part.number for part in stored if part.price is None)]
    return tuple(dict.fromkeys(unknown))


def _without(order: OrderOut) -> str:
    """That the sum is without parts, while the labour is that of the whole set; nothing when it is whole."""
    if order["complete"]:
        return ""
    lacking, needed = order["not_bought"], order["lines_needed"]
    verb, whose = ("is", "its") if lacking == 1 else ("are", "their")
    return (
        f" {lacking} of {needed} lines {verb} NOT bought: {whose} price, carriage and tax are not in the "
        "sum; the labour is that of the whole set."
    )


def _not_in_it(order: OrderOut, ordered: OrderAnswer) -> list[str]:
    """What the owner must know is missing from the sum."""
    without_price = [f"{number}: its price is not known." for number in _unknown(order, ordered)]
    return [*(_lacks(part) for part in order["not_supplied"]), *without_price]


def _lacks(part: NotSuppliedOut) -> str:
    reasons = " ".join(filter(None, (part["why"], part["gets"])))
    return f"{part['quantity']} x {part['number']} ({part['name']}): {reasons}"
