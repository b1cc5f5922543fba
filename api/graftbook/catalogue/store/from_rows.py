"""The tables' rows as records of the text format: the way back of `to_rows`."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from decimal import Decimal
from itertools import groupby
from typing import Any, TypeVar

from sqlalchemy import Connection, select, tuple_

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.fields import usual
from graftbook.catalogue.format.money import money
from graftbook.catalogue.format.names import fitment_name, report_name, substitute_name, supersession_name
from graftbook.catalogue.store.buying import TO_RECORD
from graftbook.catalogue.store.conditions import COLUMNS, LISTS, conditions_of, split
from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.rulebook.units import chassis_number

BATCH = 2000

_Values = dict[str, Any]
_Kind = TypeVar("_Kind", bound=r.Record)


def records_of(connection: Connection, kind: type[r.Record]) -> Iterator[r.Record]:
    """Every record of one kind, by name; memory does not grow with their number."""
    for batch in _batches(connection, kind.kind_of_record):
        for values in _MAKERS[kind.kind_of_record](connection, batch):
            yield kind.model_construct(**_with_defaults(kind, values))


def records_named(
    connection: Connection, kind: type[_Kind], names: Any, most: int | None = None
) -> list[_Kind]:
    """The records of one kind whose names are in a select, by name, at most so many."""
    rows = table(kind.kind_of_record)
    (key,) = rows.primary_key
    batch = list(connection.execute(select(rows).where(key.in_(names)).order_by(key).limit(most)))
    made = _MAKERS[kind.kind_of_record](connection, batch)
    return [
        kind.model_construct(**_with_defaults(kind, values))  # type: ignore[misc]  # pydantic's plugin forgets the kind
        for values in made
    ]


def spans_of(connection: Connection, variants: Any) -> list[r.Record]:
    """The chassis spans of the variants whose names are in a select, by variant and number."""
    span, kind = table("chassis_span"), r.ChassisSpanRecord
    query = select(span).where(span.c.variant.in_(variants))
    batch = list(connection.execute(query.order_by(span.c.variant, span.c.prefix, span.c.first_serial)))
    return [kind.model_construct(**_with_defaults(kind, values)) for values in _spans(connection, batch)]


def _with_defaults(kind: type[r.Record], values: _Values) -> _Values:
    given = kind.model_fields.items()
    return {name: values[name] if name in values else usual(field) for name, field in given}


def _batches(connection: Connection, kind: str) -> Iterator[list[Any]]:
    """The rows of a kind's own table, by key, some at a time."""
    rows = table(kind)
    keys = _ORDER.get(kind, tuple(column.name for column in rows.primary_key))
    columns = [rows.c[key] for key in keys]
    last: tuple[Any, ...] | None = None
    while True:
        query = select(rows).order_by(*columns).limit(BATCH)
        if last is not None:
            query = query.where(_after(columns, last))
        batch = list(connection.execute(query))
        if batch:
            yield batch
            last = tuple(getattr(batch[-1], key) for key in keys)
        if len(batch) < BATCH:
            return


def _after(columns: list[Any], last: tuple[Any, ...]) -> Any:
    return columns[0] > last[0] if len(columns) == 1 else tuple_(*columns) > tuple_(*last)


_ORDER = {"chassis_span": ("variant", "prefix", "first_serial")}


def _conditions(connection: Connection, ids: set[int]) -> dict[int, _Values]:
    return {
        row["id"]: {
            column: list(split(row[column])) if column in LISTS else row[column] or _empty(column)
            for column in COLUMNS
        }
        for row in conditions_of(connection, ids)
    }


def _empty(column: str) -> Any:
    return None if column.startswith("built") else ""


def _claim_rows(connection: Connection, batch: list[Any]) -> Iterator[tuple[Any, _Values]]:
    """Every claim row of a batch with its condition, evidence and note."""
    claim, link = table("claim"), table("claim_evidence")
    names = listed(connection, [row.claim for row in batch])
    claims = {row.name: row for row in connection.execute(select(claim).where(claim.c.name.in_(names)))}
    proofs = _values_by_name(connection, link.c.claim, link.c.evidence, names)
    ids = {row.condition_id for row in claims.values() if row.condition_id is not None}
    conditions = _conditions(connection, ids)
    for row in batch:
        of_claim = claims[row.claim]
        values = dict(conditions.get(of_claim.condition_id, {}))
        yield row, values | {"evidence": proofs.get(row.claim, []), "note": of_claim.note}


def _values_by_name(connection: Connection, by: Any, column: Any, names: Any) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for name, value in connection.execute(select(by, column).where(by.in_(names)).order_by(by, column)):
        found[name].append(value)
    return found


def _plain(_connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for row in batch:
        yield dict(row._mapping)


def _with_list(*columns: str) -> Callable[[Connection, list[Any]], Iterator[_Values]]:
    def make(_connection: Connection, batch: list[Any]) -> Iterator[_Values]:
        for row in batch:
            yield dict(row._mapping) | {column: list(split(getattr(row, column))) for column in columns}

    return make


def _spans(_connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for row in batch:
        yield {
            "variant": row.variant,
            "first": chassis_number(row.prefix, row.first_serial, row.digits),
            "last": chassis_number(row.prefix, row.last_serial, row.digits),
            "built_from": row.built_from,
            "built_to": row.built_to,
        }


def _positions(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    conditions = _conditions(connection, {row.condition_id for row in batch})
    for row in batch:
        yield conditions[row.condition_id] | dict(row._mapping)


def _components(_connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for row in batch:
        yield dict(row._mapping) | {
            "price": None if row.price is None else money(row.price),
            "deposit": money(row.deposit) if row.deposit else Decimal(0),
            "twin": row.twin or "",
        }


def _characteristics(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for row, stated in _claim_rows(connection, batch):
        owner = {"component": row.component or "", "variant": row.variant or ""}
        yield {**owner, "kind": row.kind, "value": row.written, "evidence": stated["evidence"]}


def _claims(
    named: Callable[[Any], str], **renamed: str
) -> Callable[[Connection, list[Any]], Iterator[_Values]]:
    """Claims whose columns are those of the format, but for those renamed (format=table)."""

    def make(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
        for row, stated in _claim_rows(connection, batch):
            values = {column: "" if value is None else value for column, value in row._mapping.items()}
            values |= {"from_date": row.from_date} if "from_date" in values else {}
            name = "" if row.claim == named(row) else row.claim
            yield stated | values | {new: values[old] for new, old in renamed.items()} | {"name": name}

    return make


def _no_name(_row: Any) -> str:
    return ""


def _fitments(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for values in _claims(lambda row: fitment_name(row.component, row.position))(connection, batch):
        yield values | {"tools": list(split(values["tools"]))}


def _flaws(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    names = listed(connection, [row.claim for row in batch])
    remedy, add_on, also = table("flaw_substitute"), table("flaw_add_on"), table("flaw_also_of")
    remedies = _values_by_name(connection, remedy.c.claim, remedy.c.substitute, names)
    add_ons = _values_by_name(connection, add_on.c.claim, add_on.c.component, names)
    others = _values_by_name(connection, also.c.claim, also.c.component, names)
    for values in _claims(_no_name)(connection, batch):
        name = values["name"]
        yield values | {
            "also_of": others.get(name, []),
            "substitutes": remedies.get(name, []),
            "add_ons": add_ons.get(name, []),
        }


def _wanted_values(connection: Connection, batch: list[Any]) -> dict[tuple[str, int], list[str]]:
    wanted = table("wanted")
    names = listed(connection, [row.claim for row in batch])
    query = (
        select(wanted)
        .where(wanted.c.claim.in_(names))
        .order_by(wanted.c.claim, wanted.c.slot, wanted.c.number)
    )
    found: dict[tuple[str, int], list[str]] = defaultdict(list)
    for row in connection.execute(query):
        found[row.claim, row.slot].append(f"{row.kind} {row.comparator} {row.written}")
    return found


def _companions(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    alternative = table("companion_alternative")
    names = listed(connection, [row.claim for row in batch])
    query = select(alternative).where(alternative.c.claim.in_(names))
    rows = connection.execute(query.order_by(alternative.c.claim, alternative.c.slot))
    ways = {claim: list(group) for claim, group in groupby(rows, key=lambda row: row.claim)}
    wanted = _wanted_values(connection, batch)
    for values in _claims(_no_name)(connection, batch):
        first = values | {"strength": "" if values["required"] else "advised"}
        for way in ways[values["name"]]:
            yield first | {
                "name": values["name"],
                "fit": way.component or "",
                "at": way.position or "",
                "quantity": way.quantity,
                "having": wanted.get((way.claim, way.slot), []),
                "empty": way.empty,
                "amount": way.amount_written,
                "goes_on": way.goes_on,
                "goes_in": way.goes_in or "",
            }
            first = {}


def _conflicts(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    wanted = _wanted_values(connection, batch)
    for values in _claims(_no_name)(connection, batch):
        name = values["name"]
        yield values | {"having": wanted.get((name, 0), []), "other_having": wanted.get((name, 1), [])}


def _joints(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    renamed = _claims(
        _no_name, characteristic="kind", other_characteristic="other_kind", margin="margin_written"
    )
    for values in renamed(connection, batch):
        same = values["other_characteristic"] == values["characteristic"]
        yield values | ({"other_characteristic": ""} if same else {})


def _upgrades(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    names = listed(connection, [row.claim for row in batch])
    fit, flaw = table("upgrade_fit"), table("upgrade_flaw")
    wished: dict[str, list[str]] = defaultdict(list)
    for row in connection.execute(select(fit).where(fit.c.claim.in_(names)).order_by(*fit.primary_key)):
        wished[row.claim].append(f"{row.component}@{row.position}" if row.position else row.component)
    remedied = _values_by_name(connection, flaw.c.claim, flaw.c.flaw, names)
    for values in _claims(_no_name)(connection, batch):
        name = values["name"]
        yield values | {
            "called": list(split(values["called"])),
            "fit": wished[name],
            "remedy": remedied.get(name, []),
        }


def _budgets(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for values in _claims(_no_name)(connection, batch):
        usable = Decimal(values["usable"]).scaleb(-5).normalize()
        yield values | {"usable": usable}


def _reports(connection: Connection, batch: list[Any]) -> Iterator[_Values]:
    for values in _with_list("options", "measured")(connection, batch):
        chassis = chassis_number(values["prefix"], values["serial"], values["digits"])
        about = {field: values[field] or "" for field in ("component", "position", "claim")}
        record = {field: values[field] for field in ("workshop", "on")} | about | {"chassis": chassis}
        own = values["name"] != report_name(r.ReportRecord.model_construct(**record))
        yield values | about | {"chassis": chassis, "name": values["name"] if own else ""}


_MAKERS: dict[str, Callable[[Connection, list[Any]], Iterator[_Values]]] = {
    "range": _plain,
    "section": _plain,
    "evidence": _plain,
    "characteristic_kind": _with_list("choices"),
    "variant": _with_list("options"),
    "chassis_span": _spans,
    "position": _positions,
    "component": _components,
    "characteristic": _characteristics,
    "fitment": _fitments,
    "substitute": _claims(lambda row: substitute_name(row.original, row.component)),
    "flaw": _flaws,
    "companion": _companions,
    "conflict": _conflicts,
    "joint": _joints,
    "budget": _budgets,
    "supersession": _claims(lambda row: supersession_name(row.old, row.new)),
    "precedence": _claims(_no_name, first="position", then="other_position"),
    "access": _claims(_no_name),
    "tightening": _claims(_no_name),
    "upgrade": _upgrades,
    "report": _reports,
    "other_word": _with_list("means"),
    "outline": _with_list("points", "bodies"),
    "mark": _plain,
    **TO_RECORD,
}
