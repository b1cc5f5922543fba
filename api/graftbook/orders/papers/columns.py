"""The columns of the workbook's sheets: heading, kind of cell, width, and what they read of an item."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from graftbook.orders.papers.text import Facts, dangers, goes_to, listed, side, went_before

TEXT, WHOLE, MONEY, RATE, DAY = "text", "whole", "money", "rate", "day"


@dataclass(frozen=True, slots=True)
class OrderColumn:
    """A column: its heading, the kind of its cells, its width in characters, how it reads an item."""

    heading: str
    kind: str
    width: int
    read: Callable[[Facts], Any]


def _of(key: str) -> Callable[[Facts], Any]:
    return lambda item: item[key]


def _come(key: str) -> Callable[[Facts], Any]:
    """Of a line of a kept list only: pieces by what was booked."""
    return lambda item: item.get(key)


def _listed_column(key: str) -> Callable[[Facts], Any]:
    return lambda item: listed(item[key], " / ")


LINES = (
    OrderColumn("Line", WHOLE, 6, _of("line")),
    OrderColumn("Number", TEXT, 18, _of("number")),
    OrderColumn("Old numbers", TEXT, 18, lambda line: listed(went_before(line), "; ")),
    OrderColumn("Name", TEXT, 34, _of("name")),
    OrderColumn("Section", TEXT, 16, _of("section_title")),
    OrderColumn("For", TEXT, 40, lambda line: listed(goes_to(line, name_vehicles=True), " / ")),
    OrderColumn("Hand", TEXT, 12, side),
    OrderColumn("Pieces", WHOLE, 8, _of("quantity")),
    OrderColumn("Amount", TEXT, 9, _of("amount")),
    OrderColumn("Packs", WHOLE, 7, _of("packs")),
    OrderColumn("Pieces a pack", WHOLE, 9, _of("pack")),
    OrderColumn("Pieces bought", WHOLE, 9, _of("pieces")),
    OrderColumn("Left over", WHOLE, 8, _of("surplus")),
    OrderColumn("Supplier", TEXT, 24, _of("supplier_title")),
    OrderColumn("Days", WHOLE, 7, _of("lead_days")),
    OrderColumn("Arrives", DAY, 11, _of("arrives")),
    OrderColumn("Price of a piece", MONEY, 11, _of("unit_price")),
    OrderColumn("Total", MONEY, 12, _of("total")),
    OrderColumn("Tax rate, %", RATE, 8, _of("tax_rate")),
    OrderColumn("Tax", MONEY, 11, _of("tax")),
    OrderColumn("Deposit a piece", MONEY, 10, _of("deposit")),
    OrderColumn("Deposits", MONEY, 11, _of("deposits")),
    OrderColumn("Why", TEXT, 60, _listed_column("reasons")),
    OrderColumn("Evidence", TEXT, 16, _of("evidence_grade")),
    OrderColumn("Cautions", TEXT, 50, lambda line: listed(dangers(line), " / ")),
    OrderColumn("Note", TEXT, 24, _of("note")),
    OrderColumn("Came", WHOLE, 7, _come("received")),
    OrderColumn("Too many", WHOLE, 7, _come("too_many")),
    OrderColumn("Promised for later", WHOLE, 9, _come("back_ordered")),
    OrderColumn("Will not come", WHOLE, 9, _come("given_up")),
)

SUPPLIERS = (
    OrderColumn("Supplier", TEXT, 32, _of("title")),
    OrderColumn("Lines", WHOLE, 7, _of("lines")),
    OrderColumn("Parts", MONEY, 13, _of("parts")),
    OrderColumn("Carriage", MONEY, 11, _of("carriage")),
    OrderColumn("Tax", MONEY, 12, _of("tax")),
    OrderColumn("Deposits", MONEY, 12, _of("deposits")),
    OrderColumn("In all", MONEY, 13, _of("total")),
    OrderColumn("All arrived", DAY, 12, _of("arrives")),
)

VEHICLES = (
    OrderColumn("Vehicle", TEXT, 20, _of("label")),
    OrderColumn("Chassis number", TEXT, 20, _of("chassis")),
    OrderColumn("Variant", TEXT, 20, _of("variant")),
    OrderColumn("What it is", TEXT, 44, _of("title")),
    OrderColumn("Built", TEXT, 12, _of("built")),
    OrderColumn("Wishes", TEXT, 70, _listed_column("wishes")),
)

TAKEN_OFF = (
    OrderColumn("Vehicle", TEXT, 18, _of("vehicle")),
    OrderColumn("Position", TEXT, 30, _of("position")),
    OrderColumn("Number", TEXT, 18, _of("number")),
    OrderColumn("Name", TEXT, 34, _of("name")),
    OrderColumn("Pieces", WHOLE, 8, _of("quantity")),
    OrderColumn("Replaced by", TEXT, 18, _of("replaced_by")),
    OrderColumn("What to do with it", TEXT, 22, _of("what")),
    OrderColumn("Why", TEXT, 50, _of("why")),
)

IN_HAND = (
    OrderColumn("Number", TEXT, 18, _of("number")),
    OrderColumn("Name", TEXT, 34, _of("name")),
    OrderColumn("Pieces", WHOLE, 8, _of("quantity")),
    OrderColumn(
        "Where", TEXT, 50, lambda item: item["place"] if "place" in item else listed(item["positions"], "; ")
    ),
    OrderColumn("What it is", TEXT, 18, lambda item: "own stock" if "place" in item else "on the bench"),
)

NOT_SUPPLIED = (
    OrderColumn("Number", TEXT, 18, _of("number")),
    OrderColumn("Name", TEXT, 34, _of("name")),
    OrderColumn("Pieces", WHOLE, 8, _of("quantity")),
    OrderColumn("Why", TEXT, 50, _of("why")),
    OrderColumn("Who has it first", TEXT, 60, _of("gets")),
    OrderColumn("Earliest", DAY, 11, _of("earliest")),
    OrderColumn("Substitute", TEXT, 18, lambda item: (item["substitute"] or {}).get("number")),
    OrderColumn("Its name", TEXT, 34, lambda item: (item["substitute"] or {}).get("name")),
    OrderColumn("What it means", TEXT, 60, lambda item: (item["substitute"] or {}).get("sentence")),
)

DIFFERENCES = (
    OrderColumn("What", TEXT, 80, _of("sentence")),
    OrderColumn("Amount", MONEY, 13, _of("amount")),
    OrderColumn("Numbers", TEXT, 60, lambda one: listed(one["numbers"], "; ")),
)

PRICE_OF_DAYS = (
    OrderColumn("All arrived by", DAY, 14, _of("by")),
    OrderColumn("In all", MONEY, 13, _of("total")),
    OrderColumn("More", MONEY, 12, _of("extra")),
    OrderColumn("Suppliers", TEXT, 70, lambda day: listed(day["suppliers"], "; ")),
)
