"""What an order does not buy: why, by reason, and what would get it. Facts first, sentences made of them."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, Literal

import orjson

from graftbook.http.values import counted, day_in_words, money, money_in_words
from graftbook.orders.buying.buying import Market, Order, Terms
from graftbook.orders.buying.offers import Unsupplied, Way, Why
from graftbook.orders.buying.splitting import Instead
from graftbook.orders.needs import Need
from graftbook.orders.schemas import (
    HeadlineOut,
    InsteadOut,
    LackingOut,
    NotBoughtOut,
    NotSuppliedOut,
    OfferedOut,
    OrderOut,
    ReasonWord,
    ShareOut,
)
from graftbook.rulebook.model import Supply

NO_RATE: Literal["no exchange rate"] = "no exchange rate"
_LIMITS = (Why.none_in_time, Why.suppliers)
"""Reasons that the asker gave: their group's sentence says enough of them."""

_WHY = {
    Why.none_in_time: "Nobody can have it there by that date.",
    Why.stock: "The suppliers have too few of it.",
    Why.least_order: "Its supplier takes no order this small.",
    Why.suppliers: "It needs more suppliers than you allow.",
    Why.no_time: "No supplier was found for it in time.",
}
_ORDER = [*(str(why) for why in (Why.none_in_time, Why.suppliers, Why.no_offer)), NO_RATE]


def not_bought_facts(order: Order, market: Market) -> LackingOut:
    """The lines not bought, grouped by reason, and the terms with which more would be bought."""
    lines = [_line(need, missing, market) for need, missing in order.not_supplied]
    lines.sort(key=lambda line: _rank(line["reason"]))
    return {
        "not_supplied": lines,
        "not_bought_why": groups_of(lines, _day_asked(order), order.terms.at_most),
        "instead": _instead(order, market),
    }


def _rank(reason: str) -> tuple[int, str]:
    return (_ORDER.index(reason) if reason in _ORDER else len(_ORDER), reason)


def _day_asked(order: Order) -> date | None:
    return order.split.by if order.split else order.terms.by


def _line(need: Need, missing: Unsupplied, market: Market) -> NotSuppliedOut:
    without_rate = market.without_rate.get(need.part.number, frozenset())
    no_rate = missing.why is Why.no_offer and without_rate
    offered = [_offer_document(way, market) for way in missing.first]
    return {
        "number": need.part.number,
        "name": need.part.name,
        "quantity": need.quantity,
        "reason": NO_RATE if no_rate else missing.why.value,
        "why": _why(need, missing, without_rate),
        "earliest": missing.earliest.isoformat() if missing.earliest else None,
        "offered": offered,
        "gets": _gets(need, missing, market),
        "substitute": None,
        "goes_with": [{"number": part.number, "name": part.name} for part in need.goes_with],
        "for": shares_facts(need),
    }


def shares_facts(need: Need) -> list[ShareOut]:
    """What of a line's pieces is for which vehicle, and where they go."""
    return [
        {"vehicle": s.vehicle, "positions": list(s.positions), "quantity": s.quantity} for s in need.shares
    ]


def _why(need: Need, missing: Unsupplied, without_rate: frozenset[str]) -> str:
    if missing.why is not Why.no_offer:
        return _WHY[missing.why]
    if without_rate:
        foreign = ", ".join(sorted(without_rate))
        return f"It is offered in {foreign} only, for which no exchange rate is recorded today."
    if need.part.supply is Supply.current:
        return "Nobody offers it today."
    return "It is no longer supplied, and nobody offers it."


def _offer_document(way: Way, market: Market) -> OfferedOut:
    offer = way.offer
    titles = {supplier.name: supplier.title for supplier in market.suppliers}
    return {
        "supplier": offer.supplier,
        "title": titles[offer.supplier],
        "pieces": way.pieces,
        "pack": offer.pack,
        "unit_price": money(offer.price),
        "arrives": way.arrives.isoformat(),
    }


def _gets(need: Need, missing: Unsupplied, market: Market) -> str | None:
    """Who has it, when and for how much, looked at for this line alone; None when nobody sells it."""
    if missing.why is Why.no_offer:
        return None
    suppliers = {supplier.name: supplier for supplier in market.suppliers}
    if not missing.first:
        names = ", ".join(suppliers[name].title for name in missing.offered_by)
        return f"Offered by {names}, in less than the least that is sold at a time."
    ways = [_has(way, suppliers[way.offer.supplier].title) for way in missing.first]
    sentence = "; ".join(ways)
    if missing.why is Why.stock:
        return f"{missing.obtainable} of the {need.quantity} can be had: {sentence}."
    least = [suppliers[name] for name in dict.fromkeys(way.offer.supplier for way in missing.first)]
    small = [
        f"{s.title} takes no order under {money_in_words(s.least_order)}" for s in least if s.least_order
    ]
    return ". ".join([sentence, *small]) + "."


def _has(way: Way, title: str) -> str:
    pack = f", in packs of {way.offer.pack}" if way.offer.pack > 1 else ""
    price = f"{money_in_words(way.offer.price)} each{pack}"
    return f"{title} can have it there by {day_in_words(way.arrives)}, {price}"


def said_of(line: NotSuppliedOut) -> str:
    """Of a line, below its group's sentence: what a loose part goes with, why it is not bought where that
    says more, and who has it or what stands in."""
    why = "" if line["gets"] and line["reason"] in _LIMITS else line["why"]
    parts = [f"{part['number']} ({part['name']})" for part in line.get("goes_with", ())]
    goes_with = f"It goes with the new {' and '.join(parts)}." if parts else ""
    return " ".join(filter(None, (goes_with, why, line["gets"])))


def groups_of(
    lines: Sequence[NotSuppliedOut], by: date | None = None, at_most: int | None = None
) -> list[NotBoughtOut]:
    """The lines not bought by reason, in their order, with a sentence for each reason."""
    found: dict[ReasonWord, list[NotSuppliedOut]] = {}
    for line in lines:
        found.setdefault(line["reason"], []).append(line)
    return [
        {
            "reason": reason,
            "sentence": _reason(reason, len(some) == 1, by, at_most),
            "numbers": [line["number"] for line in some],
        }
        for reason, some in found.items()
    ]


def _reason(reason: str, alone: bool, by: date | None, at_most: int | None) -> str:
    this = "this" if alone else "these"
    day = day_in_words(by) if by else "that date"
    allowed = f"the {at_most} that you allow" if at_most else "you allow"
    sentences = {
        Why.none_in_time: f"Nobody can have {this} there by {day}",
        Why.suppliers: f"More suppliers are needed than {allowed}",
        Why.no_offer: f"Nobody sells {this}",
        NO_RATE: f"Sold only in a currency without a recorded rate: {this}",
        Why.stock: f"The suppliers have too few of {this}",
        Why.least_order: f"The suppliers of {this} take no order this small",
        Why.no_time: f"No supplier was found for {this} in the time allowed",
        "": "Not bought",
    }
    return sentences[reason]


def _instead(order: Order, market: Market) -> list[InsteadOut]:
    split = order.split
    if split is None:
        return []
    needed = len({line.need.part.number for line in order.lines}) + len(order.not_supplied)
    titles = {supplier.name: supplier.title for supplier in market.suppliers}
    return [
        {
            "by": other.by.isoformat() if other.by else None,
            "at_most_suppliers": other.at_most,
            "left_out": other.left_out,
            "total": money(other.total),
            "suppliers": [titles[name] for name in other.suppliers],
            "arrives": other.arrives.isoformat(),
            "proved": other.proved,
            "sentence": _way(other, order.terms, needed),
        }
        for other in split.instead
    ]


def _way(other: Instead, terms: Terms, needed: int) -> str:
    bought = f"all {needed} lines" if not other.left_out else f"{needed - other.left_out} of {needed} lines"
    count = len(other.suppliers)
    among = counted(count, "supplier")
    there = day_in_words(other.arrives)
    less = "" if other.proved else ", or less"
    price = f"for {money_in_words(other.total)}{less} (parts and carriage)"
    if other.at_most is None and terms.at_most is not None:
        return f"With neither limit {bought} are bought from {among} and there by {there}, {price}."
    if other.at_most != terms.at_most:
        fewer = " and no fewer" if other.least else ""
        return f"From {among}{fewer} {bought} are bought and there by {there}, {price}."
    sooner = " and no sooner" if other.least else ""
    day = day_in_words(other.by or other.arrives)
    return f"By {day}{sooner} {bought} can be there, from {among}, {price}."


def headline(facts: Mapping[str, Any]) -> HeadlineOut:
    """Whether everything is bought, how many lines are not, and the sum in a sentence that says so.

    Reads facts only, so that a part of an order and a list kept before have it too.
    """
    bought = len({line["number"] for line in facts["lines"]})
    lacking = len(facts["not_supplied"])
    sentence = _sum(facts, bought, lacking)
    unknown = len(facts["unknown_prices"])
    if unknown:
        sentence += f" The price of {_lines(unknown)} is not known and not in it."
    return {
        "complete": not lacking,
        "not_bought": lacking,
        "lines_needed": bought + lacking,
        "headline": sentence,
    }


def _sum(facts: Mapping[str, Any], bought: int, lacking: int) -> str:
    totals = facts["totals"]
    whole = totals.get("total")
    amount = f"{money_of(whole or totals['parts'])} {facts['currency']}" + ("" if whole else " of parts")
    among, there = _among(facts["suppliers"])
    if lacking:
        sentence = f"{amount} for {bought} of {_lines(bought + lacking)}; {are(lacking)} NOT bought."
        return f"{sentence} What is bought comes from {among} and is there by {there}." if among else sentence
    return f"{amount} in all, from {among}, all of it there by {there}." if among else f"{amount} in all."


def _among(suppliers: Sequence[Mapping[str, Any]]) -> tuple[str, str]:
    if not suppliers:
        return "", ""
    count = len(suppliers)
    latest = max(supplier["arrives"] for supplier in suppliers)
    return counted(count, "supplier"), day_in_words(date.fromisoformat(latest))


def money_of(amount: str) -> str:
    """Money of the facts with its thousands apart."""
    whole, _, rest = amount.partition(".")
    return f"{int(whole):,}.{rest}"


def are(count: int) -> str:
    """`1 is`, `9 are`."""
    return f"{count} {'is' if count == 1 else 'are'}"


def _lines(count: int) -> str:
    return counted(count, "line")


def of_before(text: str) -> OrderOut:
    """A kept order; one that was kept before orders said whether they are complete is brought up to today."""
    facts: Any = orjson.loads(text)
    for line in facts["not_supplied"]:
        line.setdefault("reason", _reason_before(line["why"]))
        line |= {"offered": [], "gets": None, "for": []} | line
    for part in facts["from_stock"]:
        part.setdefault("for", [])
    grouped: Iterable[NotSuppliedOut] = sorted(facts["not_supplied"], key=lambda line: _rank(line["reason"]))
    facts["not_supplied"] = list(grouped)
    known = {"not_bought_why": groups_of(facts["not_supplied"]), "instead": [], "reconciliation": None}
    whole: OrderOut = headline(facts) | known | facts
    return whole


def _reason_before(why: str) -> str:
    reasons = {sentence: str(reason) for reason, sentence in _WHY.items()}
    if "exchange rate" in why:
        return NO_RATE
    return next(
        (reason for beginning, reason in reasons.items() if why.startswith(beginning)), str(Why.no_offer)
    )
