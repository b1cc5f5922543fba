"""A quotation as PDF: what a closure costs the owner, and when it is to be paid."""

from collections.abc import Iterator

from reportlab.platypus import Flowable

from graftbook.http.values import capital
from graftbook.orders.papers.cells import TextRun
from graftbook.orders.papers.layout import Paper, box, bytes_of, letterhead, strip, sums, table
from graftbook.orders.papers.pdf import vehicles_table
from graftbook.orders.papers.rows import Grid, left, right
from graftbook.orders.papers.text import (
    amount,
    bought_only,
    day_of,
    hours,
    listed,
    percent,
    plain,
    shown,
)
from graftbook.orders.schemas import QuotationOut


def quotation_pdf(facts: QuotationOut, house: str = "") -> bytes:
    """The facts of `graftbook.orders.quotation.service` on A4; `house` as for `order_pdf`."""
    labels = listed(vehicle["label"] or vehicle["chassis"] for vehicle in facts["vehicles"])
    revision = f"catalogue revision {facts['catalogue_revision']}"
    sheet = Paper(
        title=listed(("Quotation", labels)),
        running=listed(("Quotation", labels, facts["date"], revision), " · "),
        foot=plain(facts["defers"]),
        day=day_of(facts["date"]),
        author=(house.splitlines() or [""])[0],
    )
    return bytes_of(sheet, _parts(sheet, facts, house, labels))


def _parts(paper: Paper, facts: QuotationOut, house: str, labels: str) -> Iterator[list[Flowable]]:
    yield letterhead(paper, house, labels, "Quotation")
    yield box(paper, "Not complete", [] if facts["complete"] else [facts["sentence"]])
    yield box(paper, "Not in the sum", facts["not_in_it"])
    yield strip(
        paper,
        [
            ("Date", facts["date"]),
            ("Catalogue revision", facts["catalogue_revision"]),
            ("Market", facts["market"]),
            ("Labour", hours(facts["labour_minutes"])),
            ("An hour of labour", shown(facts["labour_rate"])),
            (f"{_in_all(facts)}, {facts['currency']}", shown(facts["total"])),
        ],
    )
    yield vehicles_table(paper, facts)
    yield _items(paper, facts)
    yield sums(paper, _sums(facts))
    yield _payments(paper, facts)
    yield box(paper, "In short", [facts["sentence"]])
    yield box(paper, "Cautions", facts["cautions"])
    yield box(paper, "Local codes", [facts["defers"]])


def _items(paper: Paper, facts: QuotationOut) -> list[Flowable]:
    grid = Grid([left("What", 110), right("Tax rate", 24), right("Without tax", 40)])
    for item in facts["items"]:
        rate = "none recorded" if item["tax_rate"] is None else percent(item["tax_rate"])
        grid.add([TextRun(capital(item["what"]), bold=True)], rate, shown(item["amount"]))
    return table(paper, grid, "What it costs")


def _sums(facts: QuotationOut) -> list[tuple[str, str]]:
    rows = [("Without tax", shown(facts["net"]))]
    rows += [
        (f"Tax, {percent(tax['rate'])} of {shown(tax['on'])}", shown(tax["tax"])) for tax in facts["taxes"]
    ]
    if amount(facts["deposits"]):
        rows.append(("Exchange deposits", shown(facts["deposits"])))
    return [*rows, (f"{_in_all(facts)}, {facts['currency']}", shown(facts["total"]))]


def _in_all(facts: QuotationOut) -> str:
    return "In all" if facts["complete"] else bought_only(facts)


def _payments(paper: Paper, facts: QuotationOut) -> list[Flowable]:
    grid = Grid([left("Due on", 30), left("What for", 104), right(f"Amount, {facts['currency']}", 40)])
    for payment in facts["payments"]:
        grid.add(str(payment["on"]), [TextRun(capital(payment["what"]))], shown(payment["amount"]))
    return table(paper, grid, "Payments")
