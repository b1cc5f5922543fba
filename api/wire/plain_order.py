"""An order list as plain text: 100 columns, no colour, made from the JSON facts."""

from collections.abc import Iterator
from decimal import Decimal

from api.wire.plain import WIDTH, Facts, amount, count, wrap


def order_page(document: Facts) -> Iterator[str]:
    """An order list by itself: the vehicle, what was wished, the list, the cautions."""
    vehicle = document["vehicle"]
    yield from wrap(f"{vehicle['title']}, chassis {vehicle['chassis']}", hang=2)
    for wish in document["wishes"]:
        yield from wrap(wish["sentence"], hang=2)
    yield ""
    yield from order_lines(document, document["currency"])
    yield ""
    for caution in document["cautions"]:
        yield from wrap(caution)


def order_lines(document: Facts, currency: str) -> Iterator[str]:
    """An order list document as text."""
    yield "ORDER LIST"
    for line in document["lines"]:
        packs = f" ({count(line['packs'], 'pack')} of {line['pack']}, {line['surplus']} over)"
        packs = packs if line["pack"] > 1 else ""
        left = f"  {line['pieces']:>3} x {line['number']:<10} {line['name']}{packs}"
        right = f"{amount(line['unit_price']):>13}{amount(line['total']) if line['total'] else '':>12}"
        if len(left) + len(right) > WIDTH:
            yield from wrap(left, hang=8)
            left = ""
        yield left.ljust(WIDTH - len(right)) + right
        if line["hazard"]:
            yield from wrap(f"Caution: {line['hazard']}", indent=8, hang=10)
    totals = document["totals"]
    yield f"Parts {amount(totals['parts'], currency)}".rjust(WIDTH)
    if Decimal(totals["deposits"]):
        yield f"Exchange deposits {amount(totals['deposits'], currency)}".rjust(WIDTH)
        yield f"Together {amount(totals['total'], currency)}".rjust(WIDTH)
    if totals["unknown_prices"]:
        yield from wrap(f"Price unknown, not in the total: {', '.join(totals['unknown_prices'])}.")
    for part in document["at_hand"]:
        yield from wrap(f"On the bench already: {part['quantity']} x {part['number']} {part['name']}.")
    if document["taken_off"]:
        yield ""
        yield "COMES OFF, keep with the vehicle"
    for number, parts in _by_number(document["taken_off"]).items():
        pieces = sum(part["quantity"] for part in parts)
        yield from wrap(f"  {pieces:>3} x {number:<10} {parts[0]['name']}".rstrip(), hang=8)


def _by_number(parts: list[Facts]) -> dict[str, list[Facts]]:
    found: dict[str, list[Facts]] = {}
    for part in parts:
        found.setdefault(part["number"], []).append(part)
    return found
