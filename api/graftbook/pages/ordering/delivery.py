"""The delivery part of a kept list's page: a form a supplier, doubts beside its fields, what was booked."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypedDict

import orjson
from pydantic import TypeAdapter, ValidationError

from graftbook.http.errors import problem_from_mistakes
from graftbook.orders.lists.deliveries import PACKS, PIECES, Counts, Delivery, Doubt, packed
from graftbook.orders.lists.schemas import BookedLineOut, BookingOut, KeptLineOut, NoteNumber, OrderListOut
from graftbook.problems import DeliveryDoubted, InvalidRequest, printable

Form = dict[str, str]
COLUMNS = (("came", "came"), ("later", "promised for later"), ("never", "will not come"))
NOBODY = "Without a supplier"


class CameRow(Counts):
    """A row of the form in which something stands; its counts are of the unit."""

    unit: str


class FormRow(TypedDict):
    """A line of the list as the form asks for it."""

    line: int
    number: str
    name: str
    pack: int
    open: int
    still: str
    typed: bool
    counts: dict[str, int | str]
    unit: str
    wrong: list[str]


class SupplierForm(TypedDict):
    """What is open of one supplier, what is done, and what is doubted of what was typed."""

    place: int
    name: str
    title: str
    open: list[FormRow]
    done: list[FormRow]
    lines_open: int
    delivery_note: str
    wrong_note: list[str]
    doubts: bool
    of_all: list[str]
    accept: str
    doubted: str


class LineTold(TypedDict):
    """What was booked of a line, in words."""

    number: str
    name: str
    words: str


class BookingTold(BookingOut):
    """What was booked, and the same in words."""

    said: list[LineTold]


def whole(form: Form, field: str) -> int:
    """A count as it was typed; empty is none. Raises InvalidRequest."""
    text = form.get(field, "").strip()
    if text and not (text.isascii() and text.isdigit() and len(text) < 8):
        raise InvalidRequest(f"A count is a whole number, not '{printable(text)}'; nothing was booked")
    return int(text or 0)


def came(form: Form) -> list[CameRow]:
    """The rows of the receiving form in which something stands. Raises InvalidRequest."""
    typed = {name[5:] for name in form if name.startswith("came-") and len(name) < 12}
    lines = sorted(int(number) for number in typed if number.isascii() and number.isdigit())
    rows = [
        _row(
            line,
            *_counts(form, line),
            PACKS if form.get(f"unit-{line}") == PACKS else PIECES,
        )
        for line in lines
    ]
    return [row for row in rows if row["received"] or row["back_ordered"] or row["given_up"]]


def _counts(form: Form, line: int) -> tuple[int, int, int]:
    received, later, never = (whole(form, f"{column}-{line}") for column, _ in COLUMNS)
    return received, later, never


def all_open(facts: OrderListOut, supplier: str | None) -> list[CameRow]:
    """Everything that is still open as received: of one supplier, "" those without one, or of all."""
    return [
        _row(line["line"], line["open"])
        for line in facts["lines"]
        if line["open"] and supplier in (None, line["supplier"] or "")
    ]


def _row(line: int, received: int, later: int = 0, never: int = 0, unit: str = PIECES) -> CameRow:
    return {
        "line": line, "unit": unit, "received": received, "back_ordered": later, "promised": None,
        "given_up": never,
    }  # fmt: skip


def delivery_of(facts: OrderListOut, form: Form) -> Delivery:
    """What a form books in: the counts typed, or by its other button all that is open.

    What was doubted is accepted for just what was seen: once a count is changed it is looked at anew.
    Raises InvalidRequest.
    """
    rows = all_open(facts, form.get("supplier")) if form.get("do") == "all" else came(form)
    if not rows:
        raise InvalidRequest("No count was typed, so nothing was booked")
    found = Delivery(rows, form.get("supplier", ""), _note(form))
    if form.get("doubted") != seen(found):
        return found
    return replace(found, accept=frozenset(form.get("accept", "").split(";")))


def _note(form: Form) -> str:
    try:
        note: str = TypeAdapter(NoteNumber).validate_python(form.get("delivery_note", ""))
    except ValidationError as error:
        mistakes = [{**mistake, "loc": ("body", "delivery_note")} for mistake in error.errors()]
        raise problem_from_mistakes(mistakes) from error
    return note


def seen(delivery: Delivery) -> str:
    """A digest of what somebody saw doubted."""
    said = [delivery.supplier, delivery.delivery_note, list(map(dict, delivery.lines))]
    return hashlib.sha256(orjson.dumps(said, option=orjson.OPT_SORT_KEYS)).hexdigest()[:32]


def forms_of(
    facts: OrderListOut, delivery: Delivery | None, doubted: DeliveryDoubted | None
) -> list[SupplierForm]:
    """A form a supplier, in the order of the list; the one that is doubted holds what was typed."""
    supplier = {line["line"]: line["supplier"] or "" for line in facts["lines"]}
    names = dict.fromkeys([*(one["name"] for one in facts["suppliers"]), *supplier.values()])
    typed_in = None
    if delivery:
        typed_in = delivery.supplier or supplier.get(delivery.lines[0]["line"], "")
    found = []
    for place, name in enumerate(names, start=1):
        theirs = delivery if typed_in == name else None
        found.append(_form(facts, place, name, theirs, doubted if theirs else None))
    return found


def _form(
    facts: OrderListOut, place: int, name: str, delivery: Delivery | None, doubted: DeliveryDoubted | None
) -> SupplierForm:
    lines = [line for line in facts["lines"] if (line["supplier"] or "") == name]
    doubts: list[Doubt] = doubted.fields["doubts"] if doubted else []
    rows = [_form_row(line, delivery, doubts) for line in lines]
    still = [row for row in rows if row["open"] or row["typed"]]
    return {
        "place": place,
        "name": name,
        "title": lines[0]["supplier_title"] or NOBODY,
        "open": still,
        "done": [row for row in rows if row not in still],
        "lines_open": sum(1 for line in lines if line["open"]),
        "delivery_note": delivery.delivery_note if delivery else "",
        "wrong_note": [one["sentence"] for one in doubts if one["pointer"] == "/delivery_note"],
        "doubts": bool(doubts),
        "of_all": [one["sentence"] for one in doubts if one["pointer"] == "/supplier"],
        "accept": ";".join(doubted.fields["accept"]) if doubted else "",
        "doubted": seen(delivery) if delivery and doubted else "",
    }


def _form_row(line: KeptLineOut, delivery: Delivery | None, doubts: Iterable[Doubt]) -> FormRow:
    rows = delivery.lines if delivery else ()
    typed = next((row for row in rows if row["line"] == line["line"]), None)
    return {
        "line": line["line"],
        "number": line["number"],
        "name": line["name"],
        "pack": line["pack"],
        "open": line["open"],
        "still": packed(line["open"], line["pack"]),
        "typed": typed is not None,
        "counts": {
            column: (typed[field] or "") if typed else ""
            for (column, _), field in zip(COLUMNS, ("received", "back_ordered", "given_up"), strict=True)
        },
        "unit": typed["unit"] if typed else PIECES,
        "wrong": [
            one["sentence"].removeprefix(f"{line['number']} ({line['name']}): ")
            for one in doubts
            if one.get("line") == line["line"]
        ],
    }


def log_of(bookings: Sequence[BookingOut]) -> list[BookingTold]:
    """What was booked, the newest first, each line in words."""
    return [{**booking, "said": [_said(row) for row in booking["lines"]]} for booking in reversed(bookings)]


def _said(row: BookedLineOut) -> LineTold:
    words = []
    if row["received"]:
        words.append(f"{packed(row['received'], row['pack'])} came")
    if row["back_ordered"]:
        by = f" for {row['promised']}" if row["promised"] else " for later"
        words.append(f"{packed(row['back_ordered'], row['pack'])} promised{by}")
    if row["given_up"]:
        words.append(f"{packed(row['given_up'], row['pack'])} will not come")
    return {"number": row["number"], "name": row["name"], "words": "; ".join(words) or "nothing came"}
