"""The delivery part of a kept list's page: fields by supplier, doubts beside them, what was booked.

One form holds the fields of all suppliers, so that what is typed for one is still there when another's
delivery is booked."""

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
FIELDS = (*(column for column, _ in COLUMNS), "unit")
"""What a line has in the form, each with the line's number behind it."""
BOOK, ALL, DOUBTED = "book", "all", "doubted"
"""The buttons; what is sent with one is the supplier's name."""
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
    counts: dict[str, str]
    unit: str
    wrong: list[str]


class SupplierForm(TypedDict):
    """What is open of one supplier, what is done, what is typed, and what is doubted of it."""

    place: int
    name: str
    title: str
    open: list[FormRow]
    done: list[FormRow]
    lines_open: int
    delivery_note: str
    wrong_note: list[str]
    typed: bool
    doubts: bool
    of_all: list[str]
    accept: str
    seen: str


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


def came(form: Form, lines: Iterable[int]) -> list[CameRow]:
    """The rows of these lines in which a count stands. Raises InvalidRequest."""
    rows = [
        _row(line, *_counts(form, line), PACKS if form.get(f"unit-{line}") == PACKS else PIECES)
        for line in lines
    ]
    return [row for row in rows if row["received"] or row["back_ordered"] or row["given_up"]]


def _counts(form: Form, line: int) -> tuple[int, int, int]:
    received, later, never = (whole(form, f"{column}-{line}") for column, _ in COLUMNS)
    return received, later, never


def _row(line: int, received: int, later: int = 0, never: int = 0, unit: str = PIECES) -> CameRow:
    return {
        "line": line, "unit": unit, "received": received, "back_ordered": later, "promised": None,
        "given_up": never,
    }  # fmt: skip


def delivery_of(facts: OrderListOut, form: Form) -> Delivery:
    """What a form books of the supplier whose button was pressed: the counts typed, or all that is open.

    What was doubted is accepted for just what was seen: once a count is changed it is looked at anew.
    Raises InvalidRequest.
    """
    supplier = _supplier_of(facts, form)
    theirs = _lines_of(facts, supplier)
    if ALL in form:
        rows = [_row(line["line"], line["open"]) for line in theirs if line["open"]]
    else:
        rows = came(form, (line["line"] for line in theirs))
    if not rows:
        raise InvalidRequest("No count was typed, so nothing was booked")
    found = Delivery(rows, supplier, _note(form, supplier))
    if DOUBTED not in form or form.get("seen") != seen(found):
        return found
    return replace(found, accept=frozenset(form.get("accept", "").split(";")))


def _supplier_of(facts: OrderListOut, form: Form) -> str:
    """Whose button was pressed; with the enter key whoever something is typed for. Raises InvalidRequest."""
    pressed = next((form[button] for button in (BOOK, ALL, DOUBTED) if button in form), None)
    if pressed is not None:
        return pressed
    if any(text.strip() for field, text in form.items() if field == "reason" or field.startswith("why-")):
        raise InvalidRequest("A reason is typed, so nothing was booked: press the button that it is for")
    typed = [name for name in _suppliers(facts) if _is_typed(facts, form, name)]
    if len(typed) > 1:
        raise InvalidRequest(
            "Something is typed for several suppliers, so nothing was booked: "
            "press the button of the one whose delivery it is"
        )
    return typed[0] if typed else ""


def _suppliers(facts: OrderListOut) -> list[str]:
    """Their names in the order of the list; "" for the lines that have none."""
    of_lines = (line["supplier"] or "" for line in facts["lines"])
    return list(dict.fromkeys([*(one["name"] for one in facts["suppliers"]), *of_lines]))


def _lines_of(facts: OrderListOut, supplier: str) -> list[KeptLineOut]:
    return [line for line in facts["lines"] if (line["supplier"] or "") == supplier]


def _is_typed(facts: OrderListOut, form: Form, supplier: str) -> bool:
    lines = (line["line"] for line in _lines_of(facts, supplier))
    fields = [f"note-{supplier}", *(f"{column}-{line}" for line in lines for column, _ in COLUMNS)]
    return any(form.get(field, "").strip() for field in fields)


def typed_beside(facts: OrderListOut, form: Form, booked: str | None = None) -> Form:
    """What a form holds for other suppliers than the one that is booked; nothing where nothing is typed."""
    others = [name for name in _suppliers(facts) if name != booked and _is_typed(facts, form, name)]
    kept = {f"note-{name}" for name in others}
    for name in others:
        kept |= {f"{field}-{line['line']}" for line in _lines_of(facts, name) for field in FIELDS}
    return {field: text for field, text in form.items() if field in kept}


def _note(form: Form, supplier: str) -> str:
    try:
        note: str = TypeAdapter(NoteNumber).validate_python(form.get(f"note-{supplier}", ""))
    except ValidationError as error:
        mistakes = [{**mistake, "loc": ("body", "delivery_note")} for mistake in error.errors()]
        raise problem_from_mistakes(mistakes) from error
    return note


def seen(delivery: Delivery) -> str:
    """A digest of what somebody saw doubted."""
    content = [delivery.supplier, delivery.delivery_note, list(map(dict, delivery.lines))]
    return hashlib.sha256(orjson.dumps(content, option=orjson.OPT_SORT_KEYS)).hexdigest()[:32]


def forms_of(
    facts: OrderListOut,
    beside: Form,
    delivery: Delivery | None = None,
    doubted: DeliveryDoubted | None = None,
) -> list[SupplierForm]:
    """The fields of each supplier, in the order of the list: what is typed beside a delivery stands in them,
    and of one that is doubted what was to be booked."""
    found = []
    for place, name in enumerate(_suppliers(facts), start=1):
        theirs = delivery if delivery and delivery.supplier == name else None
        typed = _typed_of(theirs) if theirs else beside
        found.append(_form(facts, place, name, typed, doubted if theirs else None))
        if theirs and doubted:
            found[-1]["seen"] = seen(theirs)
    return found


def _typed_of(delivery: Delivery) -> Form:
    """A delivery as it is typed."""
    typed = {f"note-{delivery.supplier}": delivery.delivery_note}
    for row in delivery.lines:
        counts = (row["received"], row["back_ordered"], row["given_up"])
        for (column, _), count in zip(COLUMNS, counts, strict=True):
            typed[f"{column}-{row['line']}"] = str(count or "")
        typed[f"unit-{row['line']}"] = row["unit"]
    return typed


def _form(
    facts: OrderListOut, place: int, name: str, typed: Form, doubted: DeliveryDoubted | None
) -> SupplierForm:
    lines = _lines_of(facts, name)
    doubts: list[Doubt] = doubted.fields["doubts"] if doubted else []
    rows = [_form_row(line, typed, doubts) for line in lines]
    still = [row for row in rows if row["open"] or row["typed"]]
    return {
        "place": place,
        "name": name,
        "title": lines[0]["supplier_title"] or NOBODY,
        "open": still,
        "done": [row for row in rows if row not in still],
        "lines_open": sum(1 for line in lines if line["open"]),
        "delivery_note": typed.get(f"note-{name}", ""),
        "wrong_note": [one["sentence"] for one in doubts if one["pointer"] == "/delivery_note"],
        "typed": bool(doubts) or _is_typed(facts, typed, name),
        "doubts": bool(doubts),
        "of_all": [one["sentence"] for one in doubts if one["pointer"] == "/supplier"],
        "accept": ";".join(doubted.fields["accept"]) if doubted else "",
        "seen": "",
    }


def _form_row(line: KeptLineOut, form: Form, doubts: Iterable[Doubt]) -> FormRow:
    counts = {column: form.get(f"{column}-{line['line']}", "") for column, _ in COLUMNS}
    return {
        "line": line["line"],
        "number": line["number"],
        "name": line["name"],
        "pack": line["pack"],
        "open": line["open"],
        "still": packed(line["open"], line["pack"]),
        "typed": any(counts.values()),
        "counts": counts,
        "unit": form.get(f"unit-{line['line']}", PIECES),
        "wrong": [
            one["sentence"].removeprefix(f"{line['number']} ({line['name']}): ")
            for one in doubts
            if one.get("line") == line["line"]
        ],
    }


def log_of(bookings: Sequence[BookingOut]) -> list[BookingTold]:
    """What was booked, the newest first, each line in words."""
    return [
        {**booking, "said": [_line_words(row) for row in booking["lines"]]} for booking in reversed(bookings)
    ]


def _line_words(row: BookedLineOut) -> LineTold:
    words = []
    if row["received"]:
        words.append(f"{packed(row['received'], row['pack'])} came")
    if row["back_ordered"]:
        by = f" for {row['promised']}" if row["promised"] else " for later"
        words.append(f"{packed(row['back_ordered'], row['pack'])} promised{by}")
    if row["given_up"]:
        words.append(f"{packed(row['given_up'], row['pack'])} will not come")
    return {"number": row["number"], "name": row["name"], "words": "; ".join(words) or "nothing came"}
