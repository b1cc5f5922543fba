"""A flat list of a house that is quite unlike the demo: a rail tractor's, in another language."""

from dataclasses import replace
from io import BytesIO
from typing import Any

import openpyxl
import pytest

from graftbook.editing.flat.known import KnownPosition, KnownRecords, KnownSpan, KnownVariant
from graftbook.editing.flat.mapping import FlatMapping, head_line_of
from graftbook.editing.flat.rows import rows_of
from graftbook.editing.flat.turning import Turned, turn

HEADS = ["Teile-Nr.", "Bezeichnung", "Typ", "Preis", "Lieferant"]
COLUMNS = dict(zip(("number", "description", "fits", "price", "supplier"), HEADS, strict=True))
KNOWN = KnownRecords(
    {"G20": KnownVariant("G20", "rail tractor", "two", "cab", "D2", "both", "right", "Alps", ())},
    {"radiator": KnownPosition("radiator", "radiator", "cooling")},
    {"cooling": "Cooling"},
    {"werk": "Werk"},
)


def turned(*rows: list[str], decisions: dict[str, str] | None = None) -> Turned:
    mapping = FlatMapping.model_validate({"columns": COLUMNS})
    return turn([HEADS, *rows], mapping, decisions or {}, KNOWN, {})


def keys(found: Turned) -> list[str]:
    return [question.key for question in found.questions]


def workbook(*rows: list[Any]) -> bytes:
    made, written = openpyxl.Workbook(), BytesIO()
    for row in rows:
        made.active.append(row)
    made.save(written)
    return written.getvalue()


def test_a_line_of_the_list_that_is_left_out_is_asked_nothing_more() -> None:
    total = ["Summe", "", "", "540,00", "Werk"]
    assert keys(turned(total)) == ["description:Summe"]
    left = turned(total, decisions={"description:Summe": "out"})
    assert keys(left) == []
    assert not left.objects


def test_a_formula_that_shows_nothing_is_asked_about_and_not_read_as_an_empty_cell() -> None:
    table = rows_of("liste.xlsx", workbook(HEADS, ["GT 7", "radiator", "G20", "=2*270", "Werk"]))
    found = turn(table.rows, FlatMapping.model_validate({"columns": COLUMNS}), {}, KNOWN, {})
    assert keys(found) == ["formula:price =2*270"]
    assert not any("last showed" in told for told in table.assumed)


@pytest.mark.parametrize(
    ("title", "name"),
    [("Kühlerhütte", "kuhlerhutte"), ("Die Gießhütte", "die-giesshutte"), ("Émaux & Cie", "emaux-cie")],
)
def test_a_new_supplier_is_named_with_all_letters_of_its_title(title: str, name: str) -> None:
    row = ["GT 7", "radiator", "G20", "540,00", title]
    (asked,) = turned(row).questions
    assert ("new", f"a new supplier, {name}") in [(one.value, one.words) for one in asked.choices]
    assert asked.for_all
    taken = turned(row, decisions={"supplier:*": "new"})
    assert [one["name"] for one in taken.objects if one["record"] == "supplier"] == [name]


def test_which_answers_served_is_known() -> None:
    row = ["GT 7", "radiator", "G20", "1,230", "Werk"]
    found = turned(row, decisions={"price_mark:*": "point", "price:1,23": "out", "description:*": "out"})
    assert found.served == {"price_mark:*"}


def test_a_price_that_can_be_read_two_ways_is_told_without_the_coins_of_one_country() -> None:
    (asked,) = turned(["GT 7", "radiator", "G20", "1,230", "Werk"]).questions
    words = " ".join(one.words for one in asked.choices)
    assert "1230.00: the point stands before the decimals" in words
    assert "pence" not in words


def test_a_number_that_the_spreadsheet_made_a_day_is_asked_about() -> None:
    assert keys(turned(["1978-02-01", "radiator", "G20", "540,00", "Werk"])) == ["number:1978-02-01"]


def test_the_line_of_the_heads_is_found_in_a_language_that_nobody_taught() -> None:
    title, groups = ["Ersatzteile 1978", "", "", "", ""], ["Teil", "", "", "Einkauf", ""]
    part = ["GT 7", "radiator", "G20", "", "Werk"]
    assert head_line_of([title, groups, [], HEADS, part, part]) == 4
    assert head_line_of([HEADS, [*part[:3], "540,00", "Werk"]]) == 1
    assert head_line_of([["Parts", "", ""], ["No", "What", "Price"], ["FL-1", "battery", "4.50"]]) == 2


def test_the_parts_list_of_the_factory_says_what_sat_there_from_new() -> None:
    mapping = FlatMapping.model_validate({"columns": COLUMNS, "from_new": "yes"})
    rows = [HEADS, ["GT 7", "radiator", "G20", "540,00", "Werk"]]
    (fitment,) = (one for one in turn(rows, mapping, {}, KNOWN, {}).objects if one["record"] == "fitment")
    assert fitment["from_new"] is True
    held = {"component": {"GT 7": {"number": "GT 7", "name": "radiator", "section": "cooling"}}}
    there = {"component": "GT 7", "position": "radiator", "variants": ["G10"]}
    stands = replace(KNOWN, records={**held, "fitment": {"GT 7@radiator": there}})
    took = turn(rows, mapping, {"fitment_differs:*": "list"}, stands, {}).objects
    (fitment,) = (one for one in took if one["record"] == "fitment")
    assert "from_new" not in fitment, "of a fitment that stands the list does not know it"


def test_a_chassis_number_of_digits_alone_may_be_a_year_and_is_asked() -> None:
    spans = (KnownSpan("", 1001, 1999, 4),)
    works = replace(KNOWN, variants={"G20": replace(KNOWN.variants["G20"], spans=spans)})
    mapping = FlatMapping.model_validate({"columns": COLUMNS | {"from": "ab Nr."}})
    rows = [[*HEADS, "ab Nr."], ["GT 7", "radiator", "G20", "540,00", "Werk", "1385"]]
    (fitment,) = (one for one in turn(rows, mapping, {}, works, {}).objects if one["record"] == "fitment")
    assert fitment["chassis_from"] == "1385"
    rows[1][-1] = "1965"
    assert keys(turn(rows, mapping, {}, works, {})) == ["year:1965"]
    other = replace(KNOWN.variants["G20"], name="G28", spans=(KnownSpan("28", 1, 900, 4),))
    both = replace(works, variants=works.variants | {"G28": other})
    rows[1][2:] = ["G20; G28", "540,00", "Werk", "400"]
    (asked,) = turn(rows, mapping, {}, both, {}).questions
    assert [one.value for one in asked.choices][1:3] == ["numbers alone", "28"]
