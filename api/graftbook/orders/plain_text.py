"""An order as plain text: 100 columns, no colour, made from the JSON facts."""

from collections.abc import Iterator
from decimal import Decimal

from graftbook.http.plain_text import WIDTH, amount, caution_lines, count, wrap
from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.schemas import OrderLineOut, OrderOut, ReconciliationOut, SupplierOrderOut, TakenOffOut


def order_text(document: OrderOut) -> bytes:
    """An order as it is printed."""
    return "".join(f"{line.rstrip()}\n" for line in order_page(document)).encode()


def order_page(document: OrderOut) -> Iterator[str]:
    """An order by itself: what is not bought, the vehicles, what was wished, the list, the cautions."""
    yield from not_bought_lines(document)
    for vehicle in document["vehicles"]:
        yield from wrap(f"{vehicle['title']}, chassis {vehicle['chassis']}", hang=2)
        for sentence in vehicle["wishes"]:
            yield from wrap(sentence, hang=2)
    yield ""
    yield from _list_lines(document, document["currency"])
    yield ""
    yield from caution_lines(document["cautions"], document["defers"])


def order_lines(document: OrderOut, currency: str) -> Iterator[str]:
    """An order below its answer: what is not bought first, then the lines and what else is to be said."""
    yield from not_bought_lines(document)
    yield from _list_lines(document, currency)


def order_brief(document: OrderOut, currency: str) -> Iterator[str]:
    """An order in a few lines: what is not bought, how much is, from how many, by when, for what sum."""
    yield from not_bought_lines(document)
    if not document["lines"]:
        yield "TO ORDER: nothing."
        return
    totals, suppliers = document["totals"], document["suppliers"]
    named = (("carriage", totals["carriage"]), ("tax", totals["tax"]), ("deposits", totals["deposits"]))
    beside = [word for word, sum_ in named if sum_ and Decimal(sum_)]
    sentence = f"TO ORDER: {count(len(document['lines']), 'line')}"
    if suppliers:
        last = max(supplier["arrives"] for supplier in suppliers)
        sentence += f" from {count(len(suppliers), 'supplier')}, all there by {last}"
    sentence += f". Parts {amount(totals['parts'], currency)}"
    if beside:
        sentence += f", with {' and '.join(beside)} {amount(totals['total'], currency)}"
    yield from wrap(f"{sentence}. `graftbook order` with the same options prints the list.")


def not_bought_lines(document: OrderOut) -> Iterator[str]:
    """What is not bought, by reason, and what would get it; nothing of an order that is complete."""
    if document["complete"]:
        return
    yield from wrap(document["headline"])
    for way in document["instead"]:
        yield from wrap(f"To get more: {way['sentence']}", hang=2)
    yield "NOT BOUGHT"
    lines = {line["number"]: line for line in document["not_supplied"]}
    for group in document["not_bought_why"]:
        yield f"{group['sentence']}:"
        for line in (lines[number] for number in group["numbers"]):
            yield from wrap(f"  {line['quantity']:>3} x {line['number']:<10} {line['name']}", hang=8)
            yield from wrap(said_of(line), indent=8, hang=8)
    yield ""


def _list_lines(document: OrderOut, currency: str) -> Iterator[str]:
    yield "ORDER LIST"
    suppliers = {supplier["name"]: supplier for supplier in document["suppliers"]}
    for name in dict.fromkeys([*suppliers, *(line["supplier"] for line in document["lines"])]):
        yield from _bought_from(suppliers.get(name or ""), currency)
        for line in document["lines"]:
            if line["supplier"] == name:
                yield from _line(line)
    yield ""
    yield from _sums(document, currency)
    yield from wrap(document["split"]["sentence"], hang=2)
    if document["unknown_prices"]:
        yield from wrap(f"Price unknown, not in the total: {', '.join(document['unknown_prices'])}.")
    for part in document["from_stock"]:
        place = f" ({part['place']})" if part["place"] else ""
        yield from wrap(f"From the store{place}: {part['quantity']} x {part['number']} {part['name']}.")
    for have in document["at_hand"]:
        yield from wrap(f"On the bench already: {have['quantity']} x {have['number']} {have['name']}.")
    yield from _taken_off(document["taken_off"])


def _bought_from(supplier: SupplierOrderOut | None, currency: str) -> Iterator[str]:
    """The head of what one supplier sends; without one nobody is known who has it."""
    yield ""
    if supplier is None:
        yield "At the catalogue's price: no supplier is known"
        return
    title = f"{supplier['title']}: {count(supplier['lines'], 'line')}, there by {supplier['arrives']}"
    yield from wrap(f"{title}, {amount(supplier['total'], currency)} in all", hang=2)


def _line(line: OrderLineOut) -> Iterator[str]:
    packs = f" ({count(line['packs'], 'pack')} of {line['pack']}, {line['surplus']} over)"
    packs = packs if line["pack"] > 1 else ""
    left = f"  {line['pieces']:>3} x {line['number']:<10} {line['name']}{packs}"
    right = f"{amount(line['unit_price']):>13}{amount(line['total']) if line['total'] else '':>12}"
    if len(left) + len(right) > WIDTH:
        yield from wrap(left, hang=8)
        left = ""
    yield left.ljust(WIDTH - len(right)) + right
    if line["chain"]:
        yield from wrap(f"Once {' and then '.join(line['chain'][:-1])}.", indent=8, hang=10)
    if line["hazard"]:
        yield from wrap(f"Caution: {line['hazard']}", indent=8, hang=10)


def _sums(document: OrderOut, currency: str) -> Iterator[str]:
    totals = document["totals"]
    yield f"Parts {amount(totals['parts'], currency)}".rjust(WIDTH)
    named = (
        ("Carriage", totals["carriage"]),
        ("Tax", totals["tax"]),
        ("Exchange deposits", totals["deposits"]),
    )
    for word, sum_ in named:
        if sum_ and Decimal(sum_):
            yield f"{word} {amount(sum_, currency)}".rjust(WIDTH)
    if totals["total"] != totals["parts"]:
        yield f"Together {amount(totals['total'], currency)}".rjust(WIDTH)
    if not document["complete"]:
        are = "is" if document["not_bought"] == 1 else "are"
        yield f"Without {count(document['not_bought'], 'line')} that {are} NOT bought".rjust(WIDTH)
    yield from _reconciling_lines(document["reconciliation"])


def _reconciling_lines(way: ReconciliationOut | None) -> Iterator[str]:
    """From the answer's parts to the order's; nothing where they are the same."""
    if way is None or not way["differences"]:
        return
    yield from wrap(way["sentence"], hang=2)
    yield f"Parts in the answer {amount(way['answer_parts']):>13}".rjust(WIDTH)
    for one in way["differences"]:
        yield f"{one['sentence']} {amount(one['amount']):>13}".rjust(WIDTH)
    yield f"Parts in the order {amount(way['order_parts']):>13}".rjust(WIDTH)


def _taken_off(parts: list[TakenOffOut]) -> Iterator[str]:
    for what in dict.fromkeys(part["what"] for part in parts):
        yield ""
        yield f"COMES OFF, {what}"
        for number, some in _by_number([part for part in parts if part["what"] == what]).items():
            pieces = sum(part["quantity"] for part in some)
            yield from wrap(f"  {pieces:>3} x {number:<10} {some[0]['name']}".rstrip(), hang=8)


def _by_number(parts: list[TakenOffOut]) -> dict[str, list[TakenOffOut]]:
    found: dict[str, list[TakenOffOut]] = {}
    for part in parts:
        found.setdefault(part["number"], []).append(part)
    return found
