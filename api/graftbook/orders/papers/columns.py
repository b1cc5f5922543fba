"""The columns of the workbook's sheets: heading, kind of cell, width, and what they read of an item."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from graftbook.orders.papers.text import Facts, dangers, goes_to, listed, side, went_before

TEXT, WHOLE, MONEY, RATE, DAY = "text", "whole", "money", "rate", "day"


@dataclass(frozen=True, slots=True)
class Column:
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
    Column("Line", WHOLE, 6, _of("line")),
    Column("Number", TEXT, 18, _of("number")),
    Column("Old numbers", TEXT, 18, lambda line: listed(went_before(line), "; ")),
    Column("Name", TEXT, 34, _of("name")),
    Column("Section", TEXT, 16, _of("section_title")),
    Column("For", TEXT, 40, lambda line: listed(goes_to(line, name_vehicles=True), " / ")),
    Column("Hand", TEXT, 12, side),
    Column("Pieces", WHOLE, 8, _of("quantity")),
    Column("Amount", TEXT, 9, _of("amount")),
    Column("Packs", WHOLE, 7, _of("packs")),
    Column("Pieces a pack", WHOLE, 9, _of("pack")),
    Column("Pieces bought", WHOLE, 9, _of("pieces")),
    Column("Left over", WHOLE, 8, _of("surplus")),
    Column("Supplier", TEXT, 24, _of("supplier_title")),
    Column("Days", WHOLE, 7, _of("lead_days")),
    Column("Arrives", DAY, 11, _of("arrives")),
    Column("Price of a piece", MONEY, 11, _of("unit_price")),
    Column("Total", MONEY, 12, _of("total")),
    Column("Tax rate, %", RATE, 8, _of("tax_rate")),
    Column("Tax", MONEY, 11, _of("tax")),
    Column("Deposit a piece", MONEY, 10, _of("deposit")),
    Column("Deposits", MONEY, 11, _of("deposits")),
    Column("Why", TEXT, 60, _listed_column("reasons")),
    Column("Evidence", TEXT, 16, _of("evidence_grade")),
    Column("Cautions", TEXT, 50, lambda line: listed(dangers(line), " / ")),
    Column("Note", TEXT, 24, _of("note")),
    Column("Came", WHOLE, 7, _come("received")),
    Column("Too many", WHOLE, 7, _come("too_many")),
    Column("Promised for later", WHOLE, 9, _come("back_ordered")),
    Column("Will not come", WHOLE, 9, _come("given_up")),
)

SUPPLIERS = (
    Column("Supplier", TEXT, 32, _of("title")),
    Column("Lines", WHOLE, 7, _of("lines")),
    Column("Parts", MONEY, 13, _of("parts")),
    Column("Carriage", MONEY, 11, _of("carriage")),
    Column("Tax", MONEY, 12, _of("tax")),
    Column("Deposits", MONEY, 12, _of("deposits")),
    Column("In all", MONEY, 13, _of("total")),
    Column("All arrived", DAY, 12, _of("arrives")),
)

VEHICLES = (
    Column("Vehicle", TEXT, 20, _of("label")),
    Column("Chassis number", TEXT, 20, _of("chassis")),
    Column("Variant", TEXT, 20, _of("variant")),
    Column("What it is", TEXT, 44, _of("title")),
    Column("Built", TEXT, 12, _of("built")),
    Column("Wishes", TEXT, 70, _listed_column("wishes")),
)

TAKEN_OFF = (
    Column("Vehicle", TEXT, 18, _of("vehicle")),
    Column("Position", TEXT, 30, _of("position")),
    Column("Number", TEXT, 18, _of("number")),
    Column("Name", TEXT, 34, _of("name")),
    Column("Pieces", WHOLE, 8, _of("quantity")),
    Column("Replaced by", TEXT, 18, _of("replaced_by")),
    Column("What to do with it", TEXT, 22, _of("what")),
    Column("Why", TEXT, 50, _of("why")),
)

IN_HAND = (
    Column("Number", TEXT, 18, _of("number")),
    Column("Name", TEXT, 34, _of("name")),
    Column("Pieces", WHOLE, 8, _of("quantity")),
    Column(
        "Where", TEXT, 50, lambda item: item["place"] if "place" in item else listed(item["positions"], "; ")
    ),
    Column("What it is", TEXT, 18, lambda item: "own stock" if "place" in item else "on the bench"),
)

NOT_SUPPLIED = (
    Column("Number", TEXT, 18, _of("number")),
    Column("Name", TEXT, 34, _of("name")),
    Column("Pieces", WHOLE, 8, _of("quantity")),
    Column("Why", TEXT, 50, _of("why")),
    Column("Who has it first", TEXT, 60, _of("gets")),
    Column("Earliest", DAY, 11, _of("earliest")),
    Column("Substitute", TEXT, 18, lambda item: (item["substitute"] or {}).get("number")),
    Column("Its name", TEXT, 34, lambda item: (item["substitute"] or {}).get("name")),
    Column("What it means", TEXT, 60, lambda item: (item["substitute"] or {}).get("sentence")),
)

DIFFERENCES = (
    Column("What", TEXT, 80, _of("sentence")),
    Column("Amount", MONEY, 13, _of("amount")),
    Column("Numbers", TEXT, 60, lambda one: listed(one["numbers"], "; ")),
)

PRICE_OF_DAYS = (
    Column("All arrived by", DAY, 14, _of("by")),
    Column("In all", MONEY, 13, _of("total")),
    Column("More", MONEY, 12, _of("extra")),
    Column("Suppliers", TEXT, 70, lambda day: listed(day["suppliers"], "; ")),
)
