"""An order as PDF: whole, or the part of one supplier or one vehicle."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

from reportlab.platypus import Flowable

from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.papers.cells import Cell, Said
from graftbook.orders.papers.layout import Paper, box, bytes_of, letterhead, strip, sums, table
from graftbook.orders.papers.parts import Whole, part_of
from graftbook.orders.papers.rows import Grid, left, right
from graftbook.orders.papers.text import (
    Facts,
    amount,
    bought_only,
    came,
    capital,
    dangers,
    day_of,
    goes_to,
    listed,
    percent,
    plain,
    several,
    shown,
    side,
    went_before,
)  # fmt: skip

LINE_COLUMNS = (
    right("Line", 9), left("Number", 28), left("Part", 57), right("Pieces", 12),
    right("Packs", 13), right("Left over", 10), right("Price of a piece", 18), right("Total", 18),
    right("Tax", 16), right("Deposit", 16),
)  # fmt: skip


def order_pdf(order: Whole, part: str = "", house: str = "") -> bytes:
    """The order, or its part `supplier:NAME` or `vehicle:LABEL`, on A4.

    `house` is the house's name and address, a line each. Raises UnknownPart.
    """
    facts = part_of(order, part)
    sheet = Paper(
        title=listed((facts["name"], _kind(facts))),
        running=listed(
            (facts["name"], _kind(facts), facts["state"], facts["date"],
             f"catalogue revision {facts['catalogue_revision']}"), " · "
        ),
        foot=plain(facts["defers"]),
        day=day_of(facts["date"]),
        author=(house.splitlines() or [""])[0],
    )  # fmt: skip
    return bytes_of(sheet, [flowable for section in _sections(sheet, facts, house) for flowable in section])


def _name(facts: Facts) -> str:
    """The list's name; a list that is not kept has none and is called by its vehicles."""
    return plain(facts["name"]) or listed(vehicle["label"] for vehicle in facts["vehicles"])


def _part_kind(facts: Facts) -> str:
    return facts["part"]["kind"] if facts["part"] else ""


def _kind(facts: Facts) -> str:
    part = facts["part"]
    if not part:
        return "Order list"
    title = plain(part["title"])
    return f"Order to {title}" if part["kind"] == "supplier" else f"Order list, part for {title}"


def _sections(paper: Paper, facts: Facts, house: str) -> Iterator[list[Flowable]]:
    yield letterhead(paper, house, _name(facts), _kind(facts))
    yield box(paper, "Not complete", [] if facts["complete"] else [facts["headline"]])
    yield box(paper, "The whole order", [facts["whole"]] if facts["whole"] else [])
    yield _not_bought(paper, facts)
    yield box(paper, "To get more", [way["sentence"] for way in facts["instead"]])
    yield strip(paper, _short_facts(facts))
    yield vehicles_table(paper, facts)
    yield box(paper, "Cautions", facts["cautions"])
    yield box(paper, "Not proved", _not_proved(facts))
    yield _lines(paper, facts)
    yield sums(paper, _totals(facts))
    yield box(paper, "Price not known", _unknown(facts))
    yield _reconciled(paper, facts)
    yield _suppliers(paper, facts)
    yield _price_of_days(paper, facts)
    yield _in_hand(paper, facts)
    yield _taken_off(paper, facts)
    yield box(paper, "Local codes", [facts["defers"]])


def _short_facts(facts: Facts) -> list[tuple[str, str]]:
    total = facts["totals"].get("total") or facts["totals"].get("parts")
    all_of_it = "In all" if facts["complete"] else bought_only(facts)
    return [
        ("State", facts["state"] or "not kept"),
        ("Date", facts["date"]),
        ("Catalogue revision", facts["catalogue_revision"]),
        ("Market", facts["market"]),
        ("Lines", str(len(facts["lines"]))),
        (
            f"{all_of_it}, {facts['currency']}"
            if facts["totals"].get("total")
            else f"Parts, {facts['currency']}",
            shown(total),
        ),
    ]


def vehicles_table(paper: Paper, facts: Facts) -> list[Flowable]:
    """Each vehicle with its chassis number and its wishes."""
    wished = any(vehicle["wishes"] for vehicle in facts["vehicles"])
    grid = Grid(
        [left("Vehicle", 24), left("Chassis number", 26), left("What it is", 62), left("Built", 18)]
        + ([left("Wishes", 70)] if wished else [])
    )
    for vehicle in facts["vehicles"]:
        row: list[Cell] = [
            vehicle["label"] or "", vehicle["chassis"] or "", vehicle["title"] or vehicle["variant"] or "",
            str(vehicle["built"] or ""),
        ]  # fmt: skip
        grid.add(*row, *([[Said(wish) for wish in vehicle["wishes"]]] if wished else []))
    return table(paper, grid)


def _not_proved(facts: Facts) -> list[str]:
    split = facts["split"]
    return [split["sentence"]] if split and not split["proved"] else []


def _not_bought(paper: Paper, facts: Facts) -> list[Flowable]:
    grid = Grid(
        [left("Number", 25), left("Part", 55), right("Pieces", 11), left("Why, and what would get it", 95)]
    )
    items = {item["number"]: item for item in facts["not_supplied"]}
    for group in facts["not_bought_why"]:
        grid.band(group["sentence"])
        for item in (items[number] for number in group["numbers"]):
            name = [Said(item["name"], bold=True)]
            grid.add(item["number"], name, str(item["quantity"]), [Said(said_of(item))])
    return table(paper, grid, f"Not bought: {several(facts['not_supplied'], 'line', 'lines')}")


@dataclass(frozen=True, slots=True)
class _Context:
    """What a line need not say because the paper says it once."""

    name_vehicles: bool
    name_suppliers: bool


def _lines(paper: Paper, facts: Facts) -> list[Flowable]:
    grid = Grid(LINE_COLUMNS)
    context = _Context(len(facts["vehicles"]) > 1, _part_kind(facts) != "supplier")
    sections = [(title, list(lines)) for title, lines in groupby(facts["lines"], itemgetter("section_title"))]
    in_order = len({title for title, _ in sections}) == len(sections)
    for title, lines in sections:
        if in_order and title:
            grid.band(plain(title))
        for line in lines:
            _add_line(grid, line, context, "" if in_order else title)
    return table(paper, grid, "Lines") or box(paper, "Lines", ["Nothing has to be ordered."])


def _add_line(grid: Grid, line: Facts, context: "_Context", section: str) -> None:
    packs = "" if line["packs"] is None else f"{line['packs']} x {line['pack']}"
    grid.add(
        str(line["line"]),
        [Said(line["number"], bold=True)],
        [Said(listed((line["name"], side(line), line["amount"])), bold=True)],
        str(line["quantity"]),
        packs,
        "" if line["surplus"] is None else str(line["surplus"]),
        shown(line["unit_price"]),
        shown(line["total"]),
        "" if line["tax"] is None else shown(line["tax"]),
        shown(line["deposits"]) if amount(line["deposits"]) else "",
        under=_told(line, context, section),
    )


def _told(line: Facts, context: "_Context", section: str) -> list[Said]:
    """Everything in words: where the part goes, from whom, why, and what can hurt."""
    older = went_before(line)
    places = goes_to(line, context.name_vehicles)
    bought = [
        section,
        f"From {plain(line['supplier_title'])}" if line["supplier_title"] and context.name_suppliers else "",
        _days(line["lead_days"]),
        f"arrives {line['arrives']}" if line["arrives"] else "",
    ]
    terms = [
        listed(bought),
        f"tax {percent(line['tax_rate'])}" if line["tax_rate"] is not None else "",
        f"deposit {shown(line['deposit'])} a piece" if amount(line["deposit"]) else "",
        f"evidence: {plain(line['evidence_grade'])}" if line["evidence_grade"] else "",
    ]
    found = [
        f"Today's number for {listed(older)}" if older else "",
        f"For {listed(places, ' / ')}" if places else "",
        capital(listed(terms, " · ")),
        f"Why: {listed(line['reasons'], ' ')}" if line["reasons"] else "",
        f"Note: {plain(line['note'])}" if line["note"] else "",
    ]
    arrived = Said(came(line), bold=bool(line.get("too_many")))
    told = [*(Said(text) for text in found if text), *([arrived] if arrived.text else [])]
    return [*told, *(Said(danger, bold=True) for danger in dangers(line))]


def _totals(facts: Facts) -> list[tuple[str, str]]:
    labels = {
        "parts": "Parts",
        "carriage": "Carriage",
        "tax": "Tax",
        "deposits": "Exchange deposits",
        "total": "In all" if facts["complete"] else bought_only(facts),
    }
    totals = facts["totals"]
    return [
        (f"{label}, {facts['currency']}" if key == "total" else label, shown(totals[key]))
        for key, label in labels.items()
        if key in totals
    ]


def _unknown(facts: Facts) -> list[str]:
    unknown = facts["unknown_prices"]
    return [f"Not in the sums: {listed(unknown)}."] if unknown else []


def _reconciled(paper: Paper, facts: Facts) -> list[Flowable]:
    way = facts["reconciliation"]
    if not way:
        return []
    grid = Grid([left("From the answer's parts to the order's", 146), right(f"{facts['currency']}", 40)])
    grid.add([Said("Parts in the answer, at the catalogue's prices")], shown(way["answer_parts"]))
    for one in way["differences"]:
        grid.add([Said(one["sentence"])], shown(one["amount"]))
    grid.add([Said("Parts in the order", bold=True)], shown(way["order_parts"]))
    return [*table(paper, grid, "Two prices of the parts"), *box(paper, "Which prices", [way["sentence"]])]


def _suppliers(paper: Paper, facts: Facts) -> list[Flowable]:
    if facts["part"] or not facts["suppliers"]:
        return []
    grid = Grid(
        [
            left("Supplier", 52),
            right("Lines", 10),
            right("Parts", 22),
            right("Carriage", 18),
            right("Tax", 20),
            right("Deposits", 20),
            right("In all", 24),
            right("All arrived", 22),
        ]
    )
    for supplier in facts["suppliers"]:
        money = [shown(supplier[key]) for key in ("parts", "carriage", "tax", "deposits", "total")]
        grid.add(
            [Said(supplier["title"], bold=True)],
            str(supplier["lines"]),
            *money,
            str(supplier["arrives"] or ""),
        )
    return table(paper, grid, "Suppliers")


def _days(count: int | None) -> str:
    return "" if count is None else f"{count} {'day' if count == 1 else 'days'}"


def _price_of_days(paper: Paper, facts: Facts) -> list[Flowable]:
    if not facts["price_of_days"]:
        return []
    by = "All there by" if facts["complete"] else "What is bought, there by"
    grid = Grid([left(by, 40), right("Parts and carriage", 32), right("More", 24), left("Suppliers", 90)])
    for day in facts["price_of_days"]:
        grid.add(
            str(day["by"]), shown(day["total"]), shown(day["extra"]), [Said(listed(day["suppliers"], "; "))]
        )
    return table(paper, grid, "What each day gained costs")


def _in_hand(paper: Paper, facts: Facts) -> list[Flowable]:
    grid = Grid([left("Number", 26), left("Part", 62), right("Pieces", 12), left("Where", 116)])
    for item in facts["from_stock"]:
        grid.add(
            item["number"], item["name"], str(item["quantity"]), [Said(listed(("own stock", item["place"])))]
        )
    for item in facts["at_hand"]:
        place = listed((item.get("vehicle"), listed(item["positions"], "; ")), ": ")
        where = f"on the bench, for {place}"
        grid.add(item["number"], item["name"], str(item["quantity"]), [Said(where)])
    return table(paper, grid, "In the house already, not ordered")


def _taken_off(paper: Paper, facts: Facts) -> list[Flowable]:
    grid = Grid(
        [left("Number", 26), left("Part", 46), right("Pieces", 12), left("Comes off", 46),
         left("Replaced by", 26), left("What to do with it", 62)]
    )  # fmt: skip
    several_vehicles = len(facts["vehicles"]) > 1
    for off in facts["taken_off"]:
        where = listed((off["vehicle"] if several_vehicles else "", off["position"]), ": ")
        grid.add(
            off["number"],
            [Said(off["name"])],
            str(off["quantity"]),
            [Said(where)],
            off["replaced_by"] or "nothing",
            [Said(off["what"], bold=True), Said(off["why"])],
        )
    return table(
        paper, grid, "To be sent back in exchange" if _part_kind(facts) == "supplier" else "Taken off"
    )
