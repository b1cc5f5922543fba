"""The picking list: what an order takes from the shop's store, by place, with a box to tick."""

from collections.abc import Sequence

from graftbook.orders.papers.cells import TextRun
from graftbook.orders.papers.layout import Paper, box, bytes_of, letterhead, table
from graftbook.orders.papers.rows import Grid, left, right
from graftbook.orders.papers.text import Facts, day_of, in_order, listed, plain

BOX = "[__]"
"""To be ticked; neither font has a square, and blanks are put together."""
NO_PLACE = "No place is recorded"


def by_place(parts: Sequence[Facts]) -> list[tuple[str, list[Facts]]]:
    """What is taken, place by place as one walks: places in order, in each the numbers in order."""
    found: dict[str, list[Facts]] = {}
    for part in sorted(
        parts, key=lambda part: (not part["place"], in_order(part["place"] or ""), part["number"])
    ):
        found.setdefault(part["place"] or NO_PLACE, []).append(part)
    return list(found.items())


def picking_pdf(facts: Facts, house: str = "") -> bytes:
    """The picking list of a kept list on A4."""
    sheet = Paper(
        title=f"Picking list {plain(facts['name'])}",
        running=listed(("Picking list", facts["name"], facts["state"], facts["date"]), " · "),
        foot=plain(facts["defers"]),
        day=day_of(facts["date"]),
    )
    grid = Grid([left("Got", 12), left("Number", 30), left("Part", 100), right("Pieces", 18)])
    for place, parts in by_place(facts["from_stock"]):
        grid.band(place)
        for part in parts:
            row = (BOX, [TextRun(part["number"], bold=True)], [TextRun(part["name"])], str(part["quantity"]))
            grid.add(*row)
    taken = table(sheet, grid) or box(sheet, "The store", ["Nothing is taken from the store."])
    return bytes_of(sheet, [letterhead(sheet, house, plain(facts["name"]), "Picking list"), taken])
