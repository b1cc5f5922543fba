"""An order as PDF: whole, or the part of one supplier or one vehicle."""

from collections.abc import Iterator, Sequence
from typing import Any

from reportlab.platypus import Flowable

from graftbook.http.values import capital, counted
from graftbook.orders.buying.not_bought import said_of
from graftbook.orders.papers.cells import SMALL, Cell, TextRun
from graftbook.orders.papers.layout import (
    Paper,
    beside,
    box,
    bytes_of,
    foot_is_whole,
    letterhead,
    strip,
    sums,
    table,
)
from graftbook.orders.papers.parts import Whole, part_of
from graftbook.orders.papers.rows import Grid, PaperColumn, left, right
from graftbook.orders.papers.text import (
    Facts,
    amount,
    bought_only,
    came,
    dangers,
    day_of,
    goes_to,
    listed,
    percent,
    plain,
    shown,
    side,
    went_before,
)  # fmt: skip

WHY_LETTERS = 80
"""So much of the first reason stands on the paper; the answer has every reason whole."""
OFF_LETTERS = 110
"""So much of why something that comes off goes where it goes."""


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
    return bytes_of(sheet, _sections(sheet, facts, house))


def _name(facts: Facts) -> str:
    """The list's name; a list that is not kept has none and is called by its vehicles."""
    return plain(facts["name"]) or listed(vehicle["label"] for vehicle in facts["vehicles"])


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
    yield box(paper, "Cautions", numbered(facts["cautions"]))
    yield box(paper, "Not proved", _not_proved(facts))
    yield _lines(paper, facts)
    yield _prices(paper, facts)
    yield box(paper, "Price not known", _unknown(facts))
    yield _price_of_days(paper, facts)
    yield _in_hand(paper, facts)
    yield _taken_off(paper, facts)
    yield box(paper, "Local codes", [] if foot_is_whole(paper) else [facts["defers"]])


def numbered(cautions: Sequence[str]) -> list[str]:
    """Cautions with the numbers that lines call them by."""
    return [f"{number}. {plain(caution)}" for number, caution in enumerate(cautions, 1)]


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
        grid.add(*row, *([[TextRun(wish) for wish in vehicle["wishes"]]] if wished else []))
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
            name = [TextRun(item["name"], bold=True)]
            grid.add(item["number"], name, str(item["quantity"]), [TextRun(said_of(item))])
    return table(paper, grid, f"Not bought: {counted(len(facts['not_supplied']), 'line')}")


def _columns(taxed: bool) -> list[PaperColumn]:
    """The columns of the lines; that of the tax only where there is some."""
    tax = [right("Tax", 38)] if taxed else []
    return [
        right("Line", 24), left("Number", 52), left("Part", 190 if taxed else 228), right("Pieces", 32),
        right("Each", 38), right("Total", 42), *tax, right("Deposit", 38), right("There by", 50),
        right("Caution", 36),
    ]  # fmt: skip


def _lines(paper: Paper, facts: Facts) -> list[Flowable]:
    """The lines, each supplier's below its name and sums."""
    taxed = any(amount(line["tax"]) for line in facts["lines"])
    grid = Grid(_columns(taxed))
    suppliers = {supplier["name"]: supplier for supplier in facts["suppliers"]}
    names = dict.fromkeys([*suppliers, *(line["supplier"] for line in facts["lines"])])
    for name in names:
        lines = [line for line in facts["lines"] if line["supplier"] == name]
        note = _same_note(lines)
        if lines:
            bought = _bought_from(lines, suppliers.get(name), facts["currency"])
            grid.band(listed((bought, f"Each: {note}" if note else ""), ". "))
        for line in lines:
            _add_line(grid, {**line, "note": ""} if note else line, facts, taxed)
    return table(paper, grid, "Lines") or box(paper, "Lines", ["Nothing has to be ordered."])


def _same_note(lines: Sequence[Facts]) -> str:
    """The note that every line of a supplier carries; nothing where they differ."""
    notes = {plain(line["note"]) for line in lines}
    return notes.pop() if len(lines) > 1 and len(notes) == 1 else ""


def _bought_from(lines: Sequence[Facts], supplier: Facts | None, currency: str) -> str:
    """Whose lines follow, and what they come to there."""
    title = plain(lines[0]["supplier_title"]) or "At the catalogue's price"
    if supplier is None:
        return title
    sums = ("parts", "carriage", "tax", "deposits")
    of = [f"{key} {shown(supplier[key])}" for key in sums if amount(supplier[key])]
    of = of if len(of) > 1 else []
    counts = listed([counted(len(lines), "line"), *of])
    there = f"; all there by {supplier['arrives']}" if supplier["arrives"] else ""
    return f"{title}: {counts}: {shown(supplier['total'])} {currency} in all{there}"


def _add_line(grid: Grid, line: Facts, facts: Facts, taxed: bool) -> None:
    numbers, whole = _cautions_of(line, facts)
    grid.add(
        str(line["line"]),
        [TextRun(line["number"], bold=True)],
        [TextRun(listed((line["name"], line["amount"])), bold=True)],
        str(line["pieces"]),
        shown(line["unit_price"]),
        shown(line["total"]),
        *([shown(line["tax"]) if amount(line["tax"]) else ""] if taxed else []),
        shown(line["deposits"]) if amount(line["deposits"]) else "",
        str(line["arrives"] or ""),
        [TextRun(listed(numbers), bold=True)],
        under=[*_words_under(line, facts), *(TextRun(danger, bold=True, size=SMALL) for danger in whole)],
    )


def _words_under(line: Facts, facts: Facts) -> list[TextRun]:
    """In words, as short as may be: where the part goes, why, how far it has come."""
    older = went_before(line)
    found = [
        f"Today's number for {listed(older)}" if older else "",
        _where(line, len(facts["vehicles"]) > 1),
        side(line),
        _pack_words(line),
        f"tax {percent(line['tax_rate'])}" if amount(line["tax_rate"]) else "",
        f"Why: {shortened(line['reasons'][0])}" if line["reasons"] else "",
        plain(line["evidence_grade"]),
        f"Note: {plain(line['note'])}" if line["note"] else "",
    ]
    arrived = TextRun(came(line), bold=bool(line.get("too_many")), size=SMALL)
    return [TextRun(listed(found, " · "), size=SMALL), *([arrived] if arrived.text else [])]


def _pack_words(line: Facts) -> str:
    """The packs that are bought, and what they leave over."""
    if line["packs"] is None or (line["pack"] == 1 and not line["surplus"]):
        return ""
    over = f"{line['surplus']} over" if line["surplus"] else ""
    return listed((f"{line['packs']} x {line['pack']}", over))


def _where(line: Facts, name_vehicles: bool) -> str:
    """Where the pieces go; nothing of a loose part of the only vehicle."""
    placed = any(share["positions"] for share in line["for"])
    places = goes_to(line, name_vehicles) if placed or name_vehicles else []
    return f"For {listed(places, ' / ')}" if places else ""


def _cautions_of(line: Facts, facts: Facts) -> tuple[list[int], list[str]]:
    """The numbers of the paper's cautions that hold for a line; whole those that it has not said."""
    once = {plain(caution): number for number, caution in enumerate(facts["cautions"], 1)}
    numbers: set[int] = set()
    whole: list[str] = []
    for danger in dangers(line):
        text = danger.partition(": ")[2]
        number = once.get(text) or once.get(f"{plain(line['number'])}: {text}")
        if number:
            numbers.add(number)
        else:
            whole.append(danger)
    return sorted(numbers), whole


def shortened(text: str, letters: int = WHY_LETTERS) -> str:
    """The text, or as many of its words as there is room for and a sign that it goes on."""
    whole = plain(text).strip()
    if len(whole) <= letters:
        return whole
    words = whole[:letters].rpartition(" ")[0] or whole[:letters]
    return f"{words.rstrip(' ,;:.')} …"


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


def _prices(paper: Paper, facts: Facts) -> list[Flowable]:
    """The sums; beside them what lies between the answer's parts and the order's."""
    way = facts["reconciliation"]
    if not way:
        return sums(paper, _totals(facts))
    grid = Grid([left("From the answer's parts to the order's", 90), right(facts["currency"], 24)])
    grid.add([TextRun("Parts in the answer, at the catalogue's prices")], shown(way["answer_parts"]))
    for one in way["differences"]:
        grid.add([TextRun(one["sentence"])], shown(one["amount"]))
    grid.add([TextRun("Parts in the order", bold=True)], shown(way["order_parts"]))
    return beside(paper, grid, [TextRun(way["sentence"], size=SMALL)], _totals(facts))


def _price_of_days(paper: Paper, facts: Facts) -> list[Flowable]:
    if not facts["price_of_days"]:
        return []
    by = "All there by" if facts["complete"] else "What is bought, there by"
    grid = Grid([left(by, 40), right("Parts and carriage", 32), right("More", 24), left("Suppliers", 90)])
    for day in facts["price_of_days"]:
        grid.add(
            str(day["by"]),
            shown(day["total"]),
            shown(day["extra"]),
            [TextRun(listed(day["suppliers"], "; "))],
        )
    return table(paper, grid, "What each day gained costs")


def _in_hand(paper: Paper, facts: Facts) -> list[Flowable]:
    grid = Grid([left("Number", 26), left("Part", 62), right("Pieces", 12), left("Where", 116)])
    for item in facts["from_stock"]:
        grid.add(
            item["number"],
            item["name"],
            str(item["quantity"]),
            [TextRun(listed(("own stock", item["place"])))],
        )
    for item in facts["at_hand"]:
        place = listed((item.get("vehicle"), listed(item["positions"], "; ")), ": ")
        where = f"on the bench, for {place}"
        grid.add(item["number"], item["name"], str(item["quantity"]), [TextRun(where)])
    return table(paper, grid, "In the house already, not ordered")


def _taken_off(paper: Paper, facts: Facts) -> list[Flowable]:
    """What comes off, by what is done with it; the same number in several places is one row."""
    grid = Grid([left("Pieces", 12), left("Number", 20), left("Part", 76), left("Comes off", 76),
                 left("Replaced by", 22)], under_from=2)  # fmt: skip
    for what in dict.fromkeys(off["what"] for off in facts["taken_off"]):
        theirs = [off for off in facts["taken_off"] if off["what"] == what]
        firsts = {_first_sentence(off["why"]) for off in theirs}
        same = firsts.pop() if len(firsts) == 1 else ""
        grid.band(listed((capital(plain(what)), same.rstrip(".")), ": "))
        for row in _by_number(theirs):
            _add_taken_off(grid, row, same, len(facts["vehicles"]) > 1)
    of_supplier = facts["part"] and facts["part"]["kind"] == "supplier"
    return table(paper, grid, "To be sent back in exchange" if of_supplier else "Taken off")


def _by_number(parts: Sequence[Facts]) -> list[list[Facts]]:
    """Those of one number and one reason together."""
    found: dict[tuple[str, ...], list[Facts]] = {}
    for off in parts:
        found.setdefault((plain(off["number"]), plain(off["name"]), plain(off["why"])), []).append(off)
    return list(found.values())


def _first_sentence(text: Any) -> str:
    first, end, _ = plain(text).partition(". ")
    return first + end.strip()


def _add_taken_off(grid: Grid, row: Sequence[Facts], said: str, name_vehicles: bool) -> None:
    """`said`: what of the reason stands above the rows already."""
    first = row[0]
    places = [listed((off["vehicle"] if name_vehicles else "", off["position"]), ": ") for off in row]
    why = plain(first["why"]).removeprefix(said).strip()
    grid.add(
        str(sum(off["quantity"] for off in row)),
        first["number"],
        [TextRun(first["name"])],
        [TextRun(listed(places, "; "))],
        listed(dict.fromkeys(off["replaced_by"] or "nothing" for off in row), "; "),
        under=[TextRun(shortened(why, OFF_LETTERS), size=SMALL)] if why else (),
    )
