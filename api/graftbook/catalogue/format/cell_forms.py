"""The cells of one record as its class reads them: what each column holds decides how its text is taken."""

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import cache
from typing import Any, Literal

from graftbook.catalogue.format import as_written
from graftbook.catalogue.format.as_written import Unclear
from graftbook.catalogue.format.fields import (
    CATALOGUE_MONEY,
    CHASSIS_PATTERN,
    OFFER_MONEY,
    PART,
    PER_CENT,
    UNIT,
    Record,
)
from graftbook.catalogue.format.grid import Cell, Place
from graftbook.catalogue.format.reading import SheetReading

Form = Literal[
    "text", "list", "day", "money", "number", "whole number", "yes or no", "measure", "measures", "chassis"
]
"""What a column holds; `measures` are a list of wanted values."""

Wrong = tuple[str, str]
"""(column, what is wrong and what to do)."""


@cache
def facts_of(kind: type[Record]) -> Mapping[str, Mapping[str, Any]]:
    """What the JSON Schema says of each column, of whichever of its forms is no null."""
    return {name: _flat(facts) for name, facts in kind.model_json_schema()["properties"].items()}


def _flat(facts: Mapping[str, Any]) -> dict[str, Any]:
    held = next((one for one in facts.get("anyOf", ()) if one.get("type") != "null"), None)
    return {**(_flat(held) if held else {}), **facts}


@cache
def forms_of(kind: type[Record]) -> Mapping[str, Form]:
    """What each column of a kind of record holds."""
    return {name: _form(facts) for name, facts in facts_of(kind).items()}


def _form(facts: Mapping[str, Any]) -> Form:
    unit = facts.get(UNIT, "")
    match facts.get("type"):
        case "array":
            return "measures" if unit else "list"
        case "boolean":
            return "yes or no"
        case "integer":
            return "whole number"
        case "number":
            return "money" if unit in (CATALOGUE_MONEY, OFFER_MONEY) else "number"
    if facts.get("format") == "date":
        return "day"
    if str(facts.get("pattern", "")).endswith(CHASSIS_PATTERN):
        return "chassis"
    return "measure" if unit else "text"


_AS_TEXT: Mapping[Form, Callable[[str, SheetReading, Place], str]] = {
    "day": as_written.day,
    "number": as_written.number,
    "yes or no": as_written.yes_no,
    "measure": as_written.measure,
    "measures": as_written.measure,
    "chassis": as_written.chassis,
}


_AS_IT_IS: frozenset[Form] = frozenset(("text", "list"))
_SUM = re.compile(r"\d+(\.\d{1,2})?", re.ASCII)


def _is_canonical(kind: type[Record], column: str, text: str, form: Form, reading: SheetReading) -> bool:
    """Whether a text is written as an export writes it: nearly all are, and nothing need be asked of them."""
    if form in _AS_IT_IS:
        words = facts_of(kind)[column].get("enum")
        return words is None or text in words
    match form:
        case "yes or no":
            return text in ("yes", "no")
        case "whole number":
            return text.isdecimal()
        case "money" | "number":
            return not reading.decimals and _SUM.fullmatch(text) is not None
        case "measure" | "measures":
            return not {",", "'", "\u2019"} & set(text) and not reading.decimals
    return form == "day" and as_written.is_day(text)


def read_cells(
    kind: type[Record], cells: Mapping[str, Cell], place: Place, reading: SheetReading
) -> tuple[dict[str, Any], list[Wrong]]:
    """The record's fields as texts that its class takes, and what in its cells can be read in two ways."""
    fields: dict[str, Any] = {}
    wrong: list[Wrong] = []
    forms = forms_of(kind)
    for column, cell in cells.items():
        form = forms[column]
        text, held_as, formula = cell
        if held_as == "text" and not formula and _is_canonical(kind, column, text, form, reading):
            fields[column] = text
            continue
        at = reading.in_cell(place, column)
        try:
            _refuse_what_is_lost(cell, form, reading, at)
            if cell.text:
                fields[column] = _text(kind, column, form, cell, cells, at, reading)
        except Unclear as error:
            wrong.append((column, str(error)))
    return fields, wrong


def _text(
    kind: type[Record],
    column: str,
    form: Form,
    cell: Cell,
    cells: Mapping[str, Cell],
    at: Place,
    reading: SheetReading,
) -> str:
    text = cell.text.strip()
    if cell.kind in ("number", "day"):
        return text
    if cell.kind == "per cent" or (form == "number" and text.endswith("%")):
        return _per_cent(text, facts_of(kind)[column].get(UNIT, ""), at, reading)
    if form == "money":
        row = cells.get("currency")
        return as_written.money(text, reading, at, row.text.strip() if row else "")
    if words := facts_of(kind)[column].get("enum"):
        return as_written.word(text, words, reading, at)
    if form == "whole number":
        return as_written.number(text, reading, at, places=0)
    read = _AS_TEXT.get(form)
    return read(text, reading, at) if read else cell.text


def _per_cent(text: str, unit: str, at: Place, reading: SheetReading) -> str:
    """`20%` of a rate is 20, of a part of the whole 0.2; elsewhere it stays as it is."""
    number = as_written.number(text.rstrip("% "), reading, at)
    if unit == PER_CENT:
        return number
    if unit == PART:
        part = format(Decimal(number).scaleb(-2).normalize(), "f")
        reading.assume("per cent are a part of 1", at, f"'{text}' is {part}")
        return part
    return text


def _refuse_what_is_lost(cell: Cell, form: Form, reading: SheetReading, at: Place) -> None:
    """Raises Unclear for a cell that shows something else than somebody typed."""
    if cell.kind == "wrong":
        raise Unclear(f"the cell shows '{cell.text[:60]}', which is no value; type what it should be")
    if cell.formula:
        if reading.formulas != "values":
            shows = f"last showed '{cell.text[:60]}'" if cell.text else "shows nothing"
            raise Unclear(
                f"a formula stands here, {cell.formula[:60]}, which {shows}: paste its value, or take what"
                " formulas last showed with the option `formulas`, values"
            )
        reading.assume("what formulas last showed is taken", at, f"'{cell.text[:60]}'")
    if cell.kind == "day" and form != "day":
        raise Unclear(
            f"the spreadsheet made a day of what was typed, {cell.text[:10]}; format the column as text and"
            " type it again"
        )
    if cell.kind == "day" and len(cell.text) > 10:
        raise Unclear(f"a day is expected, without a time of day (the cell holds {cell.text[:40]})")
    if cell.kind == "yes or no" and form != "yes or no":
        raise Unclear("the spreadsheet made yes or no of what was typed; format the column as text")
