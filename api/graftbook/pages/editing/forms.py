"""A record's form: made from the fields of its class, filled with its rows, read back with what was typed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.cell_forms import read_cells
from graftbook.catalogue.format.grid import Cell
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.format.sheets import Mistake, Place, validate

Row = dict[str, Any]
Form = Mapping[str, str]
HEAD = "head"
MOST_ROWS = 200
SPARE_ROWS = 2
"""Empty rows under those that stand, so that one can be added without a script."""

_ROWS = {
    "companion": ("fit", "at", "quantity", "amount", "goes_on", "goes_in", "having", "empty"),
    "chassis_span": ("first", "last", "built_from", "built_to"),
}
"""The columns of the kinds that have several rows; the others are the record's own."""
_ROW_TITLES = {"companion": "Alternatives", "chassis_span": "Spans"}
_LINES = {"note", "reason", "symptom", "appears_when", "hazard", "improves"}
"""Texts that are sentences, not titles."""
_NAMING = {
    "component": ("number",),
    "characteristic": ("component", "variant", "kind"),
    "fitment": ("component", "position"),
    "substitute": ("original", "component"),
    "supersession": ("old", "new"),
    "offer": ("supplier", "component", "valid_from"),
    "exchange_rate": ("currency", "valid_from"),
    "mark": ("position", "view", "range"),
    "chassis_span": ("variant",),
}
"""What a record without a name of its own is called after."""
_PICKS = {
    **dict.fromkeys(("position", "other_position", "at", "goes_in", "then"), "position"),
    **dict.fromkeys(
        ("kind", "characteristic", "other_characteristic", "supply", "demand"), "characteristic_kind"
    ),
    **{name: name for name in ("section", "range", "variant", "supplier")},
}
"""Fields that hold the name of another record, of a kind that is not too many for a list."""
_TITLES = {
    "empty": "Left empty",
    "both_ways": "Works both ways",
    "from_new": "Fitted from new",
    "add_ons": "Add-ons",
    "also_of": "Other components that have it",
}


@dataclass(frozen=True, slots=True)
class FormField:
    """A field of a form. `shape`: text, lines, list, choice, yes, day, number."""

    name: str
    title: str
    help: str
    shape: str
    choices: tuple[str, ...]
    needed: bool
    usual: Any
    longest: int
    pick: str
    """The kind of record whose names may stand in it, for a pick list; empty: none."""


@dataclass(frozen=True, slots=True)
class Field:
    """A column with its place in the form, what stands in it and what is wrong with that."""

    column: FormField
    id: str
    value: str
    wrong: tuple[str, ...]
    fixed: bool


@dataclass(frozen=True, slots=True)
class RecordForm:
    """A whole form; `rows` is empty for a kind of one row. `wrong` belongs to no field."""

    fields: tuple[Field, ...]
    when: tuple[Field, ...]
    rows: tuple[tuple[Field, ...], ...]
    rows_title: str
    wrong: tuple[str, ...]


@lru_cache
def columns(kind: str) -> tuple[FormField, ...]:
    """The columns of a kind, in the order of its class: its own first, the conditions after them."""
    record = r.KIND_BY_WORD[kind]
    schema = record.model_json_schema()["properties"]
    inherited = set(r.Stated.model_fields)
    found = [_column(record, name, schema[name]) for name in record.model_fields]
    return tuple(sorted(found, key=lambda column: column.name in inherited and column.name != "options"))


def _column(record: type[r.Record], name: str, schema: Row) -> FormField:
    field = record.model_fields[name]
    usual = None if field.is_required() else schema.get("default")
    return FormField(
        name=name,
        title=_TITLES.get(name, name.replace("_", " ").capitalize()),
        help=schema.get("description", "").replace("`", "").removeprefix("alternative: "),
        shape=_shape(name, schema),
        choices=tuple(map(str, schema.get("enum", ()))),
        needed=field.is_required(),
        usual=usual,
        pick=_PICKS.get(name, "") if _shape(name, schema) == "text" else "",
        longest=schema.get("maxLength", 20_000 if schema.get("type") == "array" else 300),
    )


def _shape(name: str, schema: Row) -> str:
    kinds = [schema, *schema.get("anyOf", ())]
    types = {kind.get("type") for kind in kinds}
    if "enum" in schema:
        return "choice"
    if "boolean" in types:
        return "yes"
    if "array" in types:
        return "list"
    if any(kind.get("format") == "date" for kind in kinds):
        return "day"
    if types & {"integer", "number"}:
        return "number"
    return "lines" if name in _LINES else "text"


def conditions(kind: str) -> frozenset[str]:
    """The columns of a kind that say for which vehicles it holds."""
    record = r.KIND_BY_WORD[kind]
    return frozenset(r.Conditional.model_fields) if issubclass(record, r.Conditional) else frozenset()


def row_columns(kind: str) -> tuple[str, ...]:
    """The columns that stand once a row; none for a kind of one row."""
    return _ROWS.get(kind, ())


def typed(kind: str, rows: Sequence[Row]) -> dict[str, str]:
    """The rows of a record as a form would send them."""
    further = row_columns(kind)
    sent: dict[str, str] = {}
    for number, row in enumerate(rows):
        for column in columns(kind):
            if column.name in further:
                sent |= _as_text(f"{number}.{column.name}", column, row)
            elif number == 0:
                sent |= _as_text(f"{HEAD}.{column.name}", column, row)
    return sent


def _as_text(key: str, column: FormField, row: Row) -> dict[str, str]:
    value = row.get(column.name, column.usual)
    if column.shape == "yes":
        return {key: "yes"} if value is True else {}
    if isinstance(value, list):
        return {key: "; ".join(map(str, value))}
    return {key: "" if value is None else str(value)}


def as_meant(kind: str, form: Form, currency: str) -> dict[str, str]:
    """The form with its days, numbers, sums and measures as the format writes them, read as the cells of a
    sheet are: `158,20` is 158.20. What can be read in two ways stays as it was typed, to be refused."""
    record = r.KIND_BY_WORD[kind]
    filled = [column.name for column in columns(kind) if column.shape != "yes"]
    further = row_columns(kind)
    meant = dict(form)
    for prefix in (HEAD, *map(str, range(_count(form)))):
        typed_in = {
            name: Cell(text)
            for name in filled
            if (name in further) is not (prefix == HEAD)
            and (text := form.get(f"{prefix}.{name}", "").strip())
        }
        taken, _unclear = read_cells(record, typed_in, Place("request", 1), SheetReading(currency=currency))
        meant |= {f"{prefix}.{name}": text for name, text in taken.items()}
    return meant


def read(kind: str, form: Form) -> tuple[list[Row], list[int]]:
    """The rows that a form sends, empty ones left out, and the number of each in the form."""
    further = row_columns(kind)
    own = [column for column in columns(kind) if column.name not in further]
    head = _row_in(own, form, HEAD)
    if not further:
        return [head], [0]
    named = {name: head[name] for name in ("name", "variant") if name in head and kind in _ROWS}
    rows: list[Row] = []
    numbers: list[int] = []
    more = [column for column in columns(kind) if column.name in further]
    for number in range(_count(form)):
        if _is_filled(more, form, number):
            rows.append(
                (head if not rows or kind == "chassis_span" else named) | _row_in(more, form, str(number))
            )
            numbers.append(number)
    return (rows, numbers) if rows else ([head], [0])


def _row_in(some: Sequence[FormField], form: Form, prefix: str) -> Row:
    row: Row = {}
    for column in some:
        text = form.get(f"{prefix}.{column.name}", "").replace("\r\n", "\n").strip()
        if column.shape == "yes":
            if bool(text) is not bool(column.usual):
                row[column.name] = bool(text)
        elif text:
            row[column.name] = text
    return row


def _is_filled(some: Sequence[FormField], form: Form, number: int) -> bool:
    """A choice or a number at its usual value alone is no row."""
    sent = ((column, form.get(f"{number}.{column.name}", "").strip()) for column in some)
    return any(text and text != str(column.usual) for column, text in sent)


def _count(form: Form) -> int:
    numbers = [int(head) for head in (name.partition(".")[0] for name in form) if _is_count(head)]
    return min(max(numbers, default=-1) + 1, MOST_ROWS)


def _is_count(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 5


def name_in(kind: str, rows: Sequence[Row]) -> tuple[str, list[Mistake]]:
    """What a new record would be called, empty where no row is without mistakes; and the mistakes."""
    mistakes: list[Mistake] = []
    name = ""
    for number, row in enumerate(rows, start=1):
        record, wrong = validate(r.KIND_BY_WORD[kind], dict(row), Place("request", number))
        mistakes += wrong
        if record is not None and not name:
            name = record.variant if isinstance(record, r.ChassisSpanRecord) else name_of(record)
    return name, mistakes


def record_form(
    kind: str,
    form: Form,
    mistakes: Sequence[Mistake] = (),
    numbers: Sequence[int] = (),
    *,
    known: bool = False,
) -> RecordForm:
    """The form to show. `numbers` are the form's rows behind the rows in which mistakes stand; of a record
    that is known already the fields that make its name cannot be changed."""
    beside, loose = _beside(kind, form, mistakes, numbers)
    fixed = _fixed_fields(kind, form) if known else frozenset()
    further, when = row_columns(kind), conditions(kind)

    def fields(prefix: str, some: list[FormField]) -> tuple[Field, ...]:
        return tuple(
            Field(
                column,
                key := f"{prefix}.{column.name}",
                form.get(key, ""),
                tuple(beside.get(key, ())),
                prefix == HEAD and column.name in fixed,
            )
            for column in some
        )

    own = [column for column in columns(kind) if column.name not in further and column.name not in when]
    of_rows = [column for column in columns(kind) if column.name in further]
    count = _count(form) + SPARE_ROWS if further else 0
    return RecordForm(
        fields(HEAD, own),
        fields(HEAD, [column for column in columns(kind) if column.name in when]),
        tuple(fields(str(number), of_rows) for number in range(count)),
        _ROW_TITLES.get(kind, ""),
        tuple(loose),
    )


def _fixed_fields(kind: str, form: Form) -> frozenset[str]:
    if (kind in _NAMING and not form.get(f"{HEAD}.name", "")) or kind == "component":
        return frozenset((*_NAMING[kind], *(("name",) if kind != "component" else ())))
    return frozenset(("name",))


def _beside(
    kind: str, form: Form, mistakes: Sequence[Mistake], numbers: Sequence[int]
) -> tuple[dict[str, list[str]], list[str]]:
    """Mistakes by the field they stand beside, and those of no field."""
    beside: dict[str, list[str]] = {}
    loose: list[str] = []
    known = {column.name for column in columns(kind)}
    for mistake in mistakes:
        column = mistake.field.partition(".")[0]
        if column not in known:
            loose.append(f"{column.replace('_', ' ')}: {mistake.message}" if column else mistake.message)
            continue
        prefix = _row_of(form, column, mistake, numbers) if column in row_columns(kind) else HEAD
        key = f"{prefix}.{column}"
        if mistake.message not in beside.setdefault(key, []):
            beside[key].append(mistake.message)
    return beside, loose


def _row_of(form: Form, column: str, mistake: Mistake, numbers: Sequence[int]) -> str:
    """The form's row that a mistake is in: its place says which, or for what is found late the first row of
    the record; then the row whose value the message names."""
    line = mistake.place.line - 1
    usual = numbers[line] if 0 <= line < len(numbers) else 0
    named = [
        row for row in numbers if (text := form.get(f"{row}.{column}", "")) and f"'{text}'" in mistake.message
    ]
    return str(usual if usual in named or not named else named[0])


def like(kind: str, rows: Sequence[Row]) -> dict[str, str]:
    """The form of a new record that is like one that stands: what names the one is left out."""
    named = ("number", "twin") if kind == "component" else ("name",)
    return typed(kind, rows) | {f"{HEAD}.{name}": "" for name in named}


def fresh(kind: str, given: Form) -> dict[str, str]:
    """An empty form at the usual values; `given` fills fields by their names."""
    return typed(
        kind, [{name: text for name, text in given.items() if name in r.KIND_BY_WORD[kind].model_fields}]
    )
