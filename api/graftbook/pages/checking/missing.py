"""What a list lacks: the rows of the whole set that the list does not bring, as a bench shows them."""

from collections.abc import Mapping
from decimal import Decimal
from typing import TypedDict

from graftbook.pages.answer.rows import SetRow, asking, grouped, rows_of
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.checking.amending import change_of, some_of
from graftbook.pages.checking.typed_list import ListEntry
from graftbook.questions.checks.service import Proposed
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.schemas import ChangeOut, ClosureOut, LooseOut, MoneyOut, SetOut


class PlacedRow(SetRow):
    """A row of the set that the list lacks, and what a button sends to add it."""

    change: str


class LooseRow(TypedDict):
    """A loose part of which the list has none or too few: so many more, and what they cost."""

    line: int
    part: LooseOut
    phrase: str
    quantity: int
    has: int
    price: MoneyOut
    change: str


class MissingGroup(TypedDict):
    """Rows of places under one head."""

    title: str
    rows: list[PlacedRow]


class MissingParts(TypedDict):
    """All that would make a list complete; `parts` counts rows, what comes off is no part.

    `lines`: position → the row that changes it. `change` adds all of it; empty where no button can.
    """

    groups: list[MissingGroup]
    loose: list[LooseRow]
    parts: int
    pieces: int
    comes_off: int
    price: str
    unknown_prices: list[str]
    lines: dict[str, int]
    change: str
    entries: int


def missing_of(document: CheckOut, proposed: Proposed, question: PageQuestion) -> MissingParts | None:
    """What the list lacks of the set that keeps it; None where there is no such set, or nothing is asked."""
    closure = document["completed"]
    if closure is None or closure["set"] is None:
        return None
    found = closure["set"]
    own_wishes = {wish["name"] for wish in document["wishes"]}
    changes = [change for change in found["changes"] if change["position"] not in proposed.sits]
    placed = _rows_by_group(closure, found, changes, question)
    rows = [row for group in placed[0] for row in group["rows"]]
    loose = _loose(found, proposed.loose, own_wishes, len(rows))
    fitted = [row for row in rows if row["first"]["component"]]
    entries = [
        *placed[2],
        *(entry for row in loose for entry in some_of(row["part"]["component"], row["quantity"])),
    ]
    prices = [(row["numbers"][0], row["price"]) for row in fitted]
    prices += [(row["part"]["component"], row["price"]) for row in loose]
    return {
        "groups": placed[0],
        "loose": loose,
        "parts": len(fitted) + len(loose),
        "pieces": sum(row["quantity"] for row in fitted) + sum(row["quantity"] for row in loose),
        "comes_off": len(rows) - len(fitted),
        "price": str(sum((Decimal(price) for _, price in prices if price), Decimal())),
        "unknown_prices": list(dict.fromkeys(number for number, price in prices if price is None)),
        "lines": placed[1],
        "change": change_of(come=entries),
        "entries": len(entries),
    }


def _rows_by_group(
    closure: ClosureOut, found: SetOut, missing: list[ChangeOut], question: PageQuestion
) -> tuple[list[MissingGroup], dict[str, int], list[ListEntry]]:
    """The rows under their heads, the row of each position, and the entries that add them all."""
    lacking: SetOut = {**found, "changes": missing}
    changes = rows_of(closure, lacking)
    lines = {change["position"]: line for line, row in enumerate(changes, start=1) for change in row}
    groups: list[MissingGroup] = [
        {
            "title": group["title"],
            "rows": [
                {**row, "change": change_of(come=map(_entry, changes[row["line"] - 1]))}
                for row in group["rows"]
            ],
        }
        for group in grouped(closure, lacking, question, whole=found)
    ]
    return groups, lines, [_entry(change) for row in changes for change in row]


def _entry(change: ChangeOut) -> ListEntry:
    return ListEntry(0, change["component"] or "", 1, change["position"])


def _loose(found: SetOut, listed: Mapping[str, int], own_wishes: set[str], before: int) -> list[LooseRow]:
    rows: list[LooseRow] = []
    phrases = asking(found)
    for part in found["loose_parts"]:
        has = listed.get(part["component"], 0)
        if (short := lacking(part, has, own_wishes)) > 0:
            row: LooseRow = {
                "line": before + len(rows) + 1,
                "part": part,
                "phrase": phrases[part["component"]],
                "quantity": short,
                "has": has,
                "price": _price_of(part, short),
                "change": change_of(come=some_of(part["component"], short)),
            }
            rows.append(row)
    return rows


def lacking(part: LooseOut, has: int, own_wishes: set[str]) -> int:
    """Pieces that the list still lacks.

    Where the list has pieces that none of its own parts ask for, the whole set keeps them as a wish beside
    what its rules ask for; but they serve the rules as well.
    """
    because = part["because"]
    kept_beside = has and because["cause"] == "wish" and because["name"] not in own_wishes
    return part["quantity"] - (2 * has if kept_beside else has)


def needed_by_rules(part: LooseOut) -> bool:
    """Whether a rule asks for it, and not a wish alone."""
    return any(one["cause"] != "wish" for one in (part["because"], *part["also_needed_by"]))


def _price_of(part: LooseOut, pieces: int) -> MoneyOut:
    """The price of some of its pieces."""
    if part["price"] is None:
        return None
    return str((Decimal(part["price"]) / part["quantity"] * pieces).quantize(Decimal("0.01")))
