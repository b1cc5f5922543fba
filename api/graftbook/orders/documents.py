"""An order as plain facts, as the API answers them and as the documents print them."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

from graftbook.http.values import GRADE_WORDS, counted, day_in_words, money, money_in_words
from graftbook.orders.buying.buying import Line, Market, Order
from graftbook.orders.buying.not_bought import headline, not_bought_facts, shares_facts
from graftbook.orders.buying.reconciling import DifferenceCause, PartsDifference, Reconciliation
from graftbook.orders.needs import AtHand, Need, Needs, TakenOff
from graftbook.orders.schemas import (
    BoughtOut,
    DayPriceOut,
    Fate,
    HeadlineOut,
    OrderLineOut,
    OrderTotalsOut,
    PartsDifferenceOut,
    ReconciliationOut,
    SplitOut,
    SupplierOrderOut,
    TakenOffOut,
)
from graftbook.rulebook.scope import LOOSE

DEFERS = (
    "Brakes, steering, fuel, lifting, high current, structure and welding can hurt people: local codes and "
    "the judgement of a licensed person come before this list. Have such work done and inspected by "
    "someone licensed for it."
)
NO_SUPPLIERS = "The catalogue knows no suppliers; prices are its own."


class OrderedOut(HeadlineOut, BoughtOut):
    """Everything of an order that does not depend on how it was asked for."""


def order_facts(
    needs: Needs, order: Order, market: Market, currency: str, look: Callable[[], None] = lambda: None
) -> OrderedOut:
    """Everything of an order that does not depend on how it was asked for.

    `look` is called before each line; what it raises ends the work.
    """
    titles = {supplier.name: supplier.title for supplier in market.suppliers}
    lines = []
    for number, line in enumerate(order.lines, start=1):
        look()
        lines.append(_line(number, line, titles))
    facts: BoughtOut = {
        "date": market.today.isoformat(),
        "currency": currency,
        "lines": lines,
        "suppliers": _suppliers(order),
        "from_stock": [
            {
                "number": f.need.part.number,
                "name": f.need.part.name,
                "quantity": f.quantity,
                "place": f.place,
                "for": shares_facts(f.need),
            }
            for f in order.from_store
        ],
        "at_hand": [
            {
                "number": a.part.number,
                "name": a.part.name,
                "quantity": a.quantity,
                "positions": list(a.positions),
                "vehicle": a.vehicle,
            }
            for a in needs.at_hand
        ],
        **not_bought_facts(order, market),
        "taken_off": _taken_off(needs.taken_off, order),
        "totals": _totals(order),
        "unknown_prices": [line.need.part.number for line in order.lines if line.unit_price is None],
        "price_of_days": _days(order),
        "split": _split(order),
        "cautions": cautions_of(needs),
        "defers": DEFERS,
    }
    return {**headline(facts), **facts}


def _line(number: int, line: Line, titles: Mapping[str, str]) -> OrderLineOut:
    need, bought = line.need, line.bought
    offer = bought.offer if bought else None
    return {
        "line": number,
        "number": need.part.number,
        "name": need.part.name,
        "section": need.part.section,
        "section_title": need.section_title,
        "asked_numbers": list(need.asked_numbers),
        "chain": list(need.chain),
        "quantity": line.quantity,
        "amount": need.amount or None,
        "pack": line.pack,
        "packs": line.pieces // line.pack,
        "pieces": line.pieces,
        "surplus": line.pieces - line.quantity,
        "hand": need.hand or None,
        "pair": need.pair,
        "supplier": offer.supplier if offer else None,
        "supplier_title": titles.get(offer.supplier) if offer else None,
        "lead_days": offer.lead_days if offer else None,
        "arrives": bought.arrives.isoformat() if bought else None,
        "unit_price": money(line.unit_price),
        "total": money(line.total),
        "tax_rate": None if line.tax_rate is None else f"{line.tax_rate:.2f}",
        "tax": money(line.tax),
        "deposit": money(line.deposit),
        "deposits": money(line.deposits),
        "for": shares_facts(need),
        "reasons": list(dict.fromkeys(reason.sentence for reason in need.reasons if reason.sentence)),
        "because": [
            {
                "cause": r.cause.value,
                "name": r.name,
                "sentence": r.sentence,
                "from_position": r.parent if r.parent and not r.parent.startswith(LOOSE) else None,
            }
            for r in need.reasons
        ],
        "evidence_grade": GRADE_WORDS[need.grade],
        "cautions": list(need.cautions),
        "hazard": need.part.hazard or None,
        "note": (offer.note if offer else "") or None,
    }


def _suppliers(order: Order) -> list[SupplierOrderOut]:
    if order.split is None:
        return []
    by_supplier: dict[str, list[Line]] = defaultdict(list)
    for line in order.lines:
        if line.bought:
            by_supplier[line.bought.offer.supplier].append(line)
    found: list[SupplierOrderOut] = []
    for one in order.split.orders:
        lines = by_supplier[one.supplier.name]
        tax = sum(line.tax or 0 for line in lines)
        found.append(
            {
                "name": one.supplier.name,
                "title": one.supplier.title,
                "lines": len(lines),
                "parts": money(one.parts),
                "carriage": money(one.carriage),
                "deposits": money(one.deposits),
                "tax": money(tax),
                "total": money(one.parts + one.carriage + one.deposits + tax),
                "arrives": one.arrives.isoformat(),
            }
        )
    return found


def _totals(order: Order) -> OrderTotalsOut:
    """Parts of known price, carriage, taxes and deposits."""
    parts = sum(line.total or 0 for line in order.lines)
    tax = sum(line.tax or 0 for line in order.lines)
    deposits = sum(line.deposits for line in order.lines)
    carriage = order.split.carriage if order.split else 0
    return {
        "parts": money(parts),
        "carriage": money(carriage),
        "tax": money(tax),
        "deposits": money(deposits),
        "total": money(parts + carriage + tax + deposits),
    }


def _taken_off(taken: Sequence[TakenOff], order: Order) -> list[TakenOffOut]:
    deposits = {line.need.part.number: line.deposit for line in order.lines if line.deposit}
    return [
        {
            "vehicle": one.vehicle,
            "position": one.position,
            "number": one.number,
            "name": one.name,
            "quantity": one.quantity,
            "replaced_by": one.replaced_by,
            "what": what,
            "why": why,
        }
        for one in taken
        for what, why in [_what_to_do(one, deposits.get(one.replaced_by or "", 0))]
    ]


def _what_to_do(one: TakenOff, deposit: int) -> tuple[Fate, str]:
    """What is worked on goes back in.

    Originals stay with the vehicle, since they may have to go back one day, unless a deposit needs one
    or they were cut out.

    Nobody records which old unit a supplier takes for which new one, so no deposit is promised.
    """
    if one.reworked:
        why = f"It is the vehicle's own and is worked on: {one.replaced_by} is what becomes of it."
        return "rework", f"{why} Sent in late, it loses the deposit of {money(deposit)}." if deposit else why
    if deposit:
        why = (
            f"Ask whether the supplier takes this one for the deposit of {money(deposit)}. Kept, or not "
            "taken, it loses the deposit."
        )
        return "exchange", why
    if one.welded_in:
        return "scrap", "It is welded in: what is cut out cannot go back."
    if one.worth_keeping:
        warning = f" Mark it, it has a known flaw: {one.flaw}" if one.flaw else ""
        return "keep with the vehicle", f"It is original and may have to go back one day.{warning}"
    if one.flaw:
        return "scrap", f"It is not original and has a known flaw: {one.flaw}"
    return "keep with the vehicle", "It is sound, and what was done can be undone with it."


def _days(order: Order) -> list[DayPriceOut]:
    if order.days is None:
        return []
    return [
        {
            "by": row.by.isoformat(),
            "total": money(row.total),
            "extra": money(row.extra),
            "suppliers": list(row.suppliers),
        }
        for row in order.days.rows
    ]


def _split(order: Order) -> SplitOut:
    found = order.split
    if found is None:
        return {
            "proved": False,
            "gap": None,
            "sentence": NO_SUPPLIERS,
        }
    if not found.orders:
        nothing = "Nothing of it is bought." if order.not_supplied else "There is nothing to buy."
        return {"proved": found.proved, "gap": None, "sentence": nothing}
    count = len(found.orders)
    among = counted(count, "supplier")
    gap = None if found.gap is None else money(int(Decimal(str(found.gap)) * found.total))
    more = "buys more lines, and none of as many lines " if order.not_supplied else ""
    if found.proved:
        sentence = f"Proved: no split over suppliers {more}costs less than this one over {among}."
    elif gap is None:
        sentence = f"Not proved in time: another split than this one over {among} may cost less."
    else:
        sentence = f"Not proved in time: another split than this one over {among} may cost up to {gap} less."
    if found.by and found.arrives:
        what = "What is bought" if order.not_supplied else "All of it"
        sentence += f" {what} is there by {day_in_words(found.arrives)}."
    return {"proved": found.proved, "gap": gap, "sentence": sentence}


def cautions_of(needs: Needs, vehicle: str | None = None) -> list[str]:
    """Those of all that is fitted, to one vehicle or to every one: bought, in the store or on the bench."""
    lines = [one for one in needs.lines if vehicle in (None, *(share.vehicle for share in one.shares))]
    at_hand = [one for one in needs.at_hand if vehicle in (None, one.vehicle)]
    parts: tuple[Need | AtHand, ...] = (*lines, *at_hand)
    found = [caution for one in parts for caution in one.cautions]
    hazards = [f"{one.part.number}: {one.part.hazard}" for one in parts if one.part.hazard]
    return list(dict.fromkeys([*found, *hazards]))


_CAUSES = {
    DifferenceCause.amounts: "amounts put together before they are rounded up to whole containers",
    DifferenceCause.store: "taken from the shop's store, not bought",
    DifferenceCause.not_bought: "not bought",
    DifferenceCause.dearer: "the supplier asks more than the catalogue's price",
    DifferenceCause.cheaper: "the supplier asks less than the catalogue's price",
    DifferenceCause.packs: "sold in whole packs: pieces left over",
    DifferenceCause.no_price: "no price in the catalogue, so not in the answer's parts",
}


def reconciled(way: Reconciliation, order: Order, currency: str) -> ReconciliationOut:
    """From the answers' parts, at the catalogue's prices, to the order's, at the suppliers' offers."""
    return {
        "answer_parts": money(way.answer),
        "order_parts": money(way.order),
        "differences": [_difference(one) for one in way.differences],
        "sentence": _two_prices(way, order, currency),
    }


def _difference(one: PartsDifference) -> PartsDifferenceOut:
    count = len(one.numbers)
    words = f"{counted(count, 'line')}: {_CAUSES[one.cause]}"
    return {
        "cause": one.cause.value,
        "amount": money(one.amount),
        "numbers": list(one.numbers),
        "sentence": words,
    }


def _two_prices(way: Reconciliation, order: Order, currency: str) -> str:
    theirs = "the suppliers' offers" if order.split else "the catalogue's prices too"
    prices = "its price is" if len(way.unpriced) == 1 else "their prices are"
    left_out = f" Neither counts {', '.join(way.unpriced)}: {prices} not known." if way.unpriced else ""
    return (
        f"The answer counts parts at the catalogue's own prices: {money_in_words(way.answer)} {currency}. "
        f"The order counts what is bought, at {theirs}: {money_in_words(way.order)} {currency}. "
        f"Carriage, tax and exchange deposits come on top of the order's parts.{left_out}"
    )
