"""A record as rows of the tables. Pure: nothing here reads or writes a database."""

from collections import defaultdict
from collections.abc import Callable
from inspect import signature
from typing import Any

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.kind_rules import Absurd, KindRules
from graftbook.catalogue.format.money import minor_units
from graftbook.catalogue.format.names import as_typed, name_of, sort_key, words_of
from graftbook.catalogue.format.records_beside import read_measured
from graftbook.catalogue.format.validation import read_wanted
from graftbook.catalogue.store.buying import TO_ROW
from graftbook.catalogue.store.conditions import joined, row_of
from graftbook.rulebook.sane import inside
from graftbook.rulebook.units import Measure, NotAMeasure, chassis_parts, read_amount, read_measure

Row = dict[str, Any]
Rows = dict[str, list[Row]]
"""Rows by table name."""

_CLAIMING = r.Stated | r.CharacteristicRecord | r.SupersessionRecord
"""The records that state something of vehicles, with evidence."""

_OPEN: Row = {"low": None, "high": None, "text": None}


def measured(written: str, kind: str, kinds: KindRules) -> Row:
    """The SI columns of a written value; all None while the kind is not known.

    Raises NotAMeasure when the text is no value of the kind, Absurd when the kind cannot be that.
    """
    if kind not in kinds:
        return _OPEN
    rule = kinds[kind]
    measure = read_measure(written, rule.quantity, rule.choices)
    if any(value is not None and not inside(rule.span, value) for value in (measure.low, measure.high)):
        raise Absurd(measure.written, kind, rule)
    return {"low": measure.low, "high": measure.high, "text": measure.text}


def margin(written: str, kind: str, kinds: KindRules) -> float:
    """A joint's margin in SI; 0 while the kind is not known. Raises NotAMeasure."""
    if not written or kind not in kinds:
        return 0.0
    measure = read_measure(written, kinds[kind].quantity)
    if measure.si is None or measure.si < 0:
        raise NotAMeasure(f"'{written}' is not one number, not below zero, with its unit")
    low, high = kinds[kind].span
    if measure.si > high - low:
        raise NotAMeasure(f"a margin of '{written}' lets everything pass that `{kind}` can be")
    return measure.si


def in_field(error: NotAMeasure, field: str) -> NotAMeasure:
    """The same error, with the field's name as second argument."""
    error.args = (error.args[0], field)
    return error


def rows_of(record: r.Record, kinds: KindRules) -> Rows:
    """Every row of a record. A companion's alternative has slot 0 until it is numbered.

    Raises NotAMeasure with the field's name as second argument when a value is no value of its kind.
    """
    rows: Rows = defaultdict(list)
    if isinstance(record, r.Conditional):
        condition = row_of(record)
        rows["condition"].append(condition)
    name = name_of(record)
    if isinstance(record, _CLAIMING):
        stated = isinstance(record, r.Stated)
        rows["claim"].append(
            {
                "name": name,
                "kind": record.kind_of_record,
                "condition_id": rows["condition"][0]["id"] if stated else None,
                "note": getattr(record, "note", ""),
            }
        )
        rows["claim_evidence"] += [{"claim": name, "evidence": e} for e in sorted(set(record.evidence))]
    _MAKERS[record.kind_of_record](record, name, rows, kinds)
    return rows


def _plain(table: str, *fields: str) -> Callable[[Any, str, Rows, KindRules], None]:
    def make(record: Any, _name: str, rows: Rows, _kinds: KindRules) -> None:
        rows[table].append(_fields(record, *fields))

    return make


def _fields(record: r.Record, *names: str) -> Row:
    return {name: getattr(record, name) for name in names}


def _variant(record: r.VariantRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    rows["variant"].append(record.model_dump() | {"options": joined(record.options)})


def _span(record: r.ChassisSpanRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    prefix, first = chassis_parts(record.first)
    rows["chassis_span"].append(
        {
            "variant": record.variant,
            "prefix": prefix,
            "first_serial": first,
            "last_serial": chassis_parts(record.last)[1],
            "digits": len(record.first.rpartition("-")[2]),
            "built_from": record.built_from,
            "built_to": record.built_to,
        }
    )


def _kind(record: r.CharacteristicKindRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    rows["characteristic_kind"].append(record.model_dump() | {"choices": "; ".join(record.choices)})


def _position(record: r.PositionRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "name", "section", "title", "essential", "side", "pair", "circuit", "order")
    rows["position"].append(row | {"condition_id": rows["condition"][0]["id"]})


def _component(record: r.ComponentRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = vars(record) | {
        "price": None if record.price is None else minor_units(record.price),
        "deposit": minor_units(record.deposit),
        "mass_kg": read_measure(record.mass, "mass").si if record.mass else None,
        "twin": record.twin or None,
        "typed": as_typed(name),
        "sort_key": sort_key(name),
    }
    rows["component"].append(row)
    found_by = words_of(name, record.name) | {as_typed(name).lower()[:60]}
    rows["component_word"] += [{"word": word, "component": name} for word in sorted(found_by)]


def _characteristic(record: r.CharacteristicRecord, name: str, rows: Rows, kinds: KindRules) -> None:
    try:
        values = measured(record.value, record.kind, kinds)
    except NotAMeasure as error:
        raise in_field(error, "value") from None
    owner = {"component": record.component or None, "variant": record.variant or None}
    written = " ".join(record.value.split())
    rows["characteristic"].append({"claim": name, **owner, "kind": record.kind, "written": written, **values})


def _fitment(record: r.FitmentRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "component", "position", "effort", "quantity", "minutes", "from_new")
    rows["fitment"].append({"claim": name, **row, "tools": "; ".join(record.tools)})


def _substitute(record: r.SubstituteRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "original", "component", "both_ways", "improves")
    rows["substitute"].append({"claim": name, "position": record.position or None} | row)


def _flaw(record: r.FlawRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "component", "severity", "symptom", "appears_when")
    rows["flaw"].append({"claim": name, **row})
    also = sorted(set(record.also_of) - {record.component})
    rows["flaw_also_of"] += [{"claim": name, "component": c} for c in also]
    rows["flaw_substitute"] += [{"claim": name, "substitute": s} for s in sorted(set(record.substitutes))]
    rows["flaw_add_on"] += [{"claim": name, "component": c} for c in sorted(set(record.add_ons))]


def _companion(record: r.CompanionRecord, name: str, rows: Rows, kinds: KindRules) -> None:
    rows["companion"].append(
        {
            "claim": name,
            "component": record.component,
            "position": record.position or None,
            "required": record.strength != "advised",
            "reason": record.reason,
            "one_serves_all": record.one_serves_all,
        }
    )
    rows["companion_alternative"].append(
        {
            "claim": name,
            "slot": 0,
            "component": record.fit or None,
            "position": record.at or None,
            "quantity": record.quantity,
            "empty": record.empty,
            "amount": read_amount(record.amount)[1].si if record.amount else None,
            "amount_written": " ".join(record.amount.split()),
            "goes_on": record.goes_on,
            "goes_in": record.goes_in or None,
        }
    )
    rows["wanted"] += _wanted_rows(name, 0, "having", record.having, kinds)


def _wanted_rows(claim: str, slot: int, field: str, cells: list[str], kinds: KindRules) -> list[Row]:
    made = []
    for number, cell in enumerate(sorted(set(cells))):
        kind, comparator, written = read_wanted(cell)
        try:
            values = measured(written, kind, kinds)
        except NotAMeasure as error:
            raise in_field(error, field) from None
        place = {"claim": claim, "slot": slot, "number": number}
        written = " ".join(written.split())
        made.append(place | {"kind": kind, "comparator": comparator.value, "written": written} | values)
    return made


def _conflict(record: r.ConflictRecord, name: str, rows: Rows, kinds: KindRules) -> None:
    fields = ("component", "position", "other_component", "other_position")
    row = {field: getattr(record, field) or None for field in fields}
    rows["conflict"].append({"claim": name, **row, "reason": record.reason})
    rows["wanted"] += _wanted_rows(name, 0, "having", record.having, kinds)
    rows["wanted"] += _wanted_rows(name, 1, "other_having", record.other_having, kinds)


def _joint(record: r.JointRecord, name: str, rows: Rows, kinds: KindRules) -> None:
    other_kind = record.other_characteristic or record.characteristic
    try:
        margin_si = margin(record.margin, record.characteristic, kinds)
    except NotAMeasure as error:
        raise in_field(error, "margin") from None
    rows["joint"].append(
        {
            "claim": name,
            "position": record.position,
            "kind": record.characteristic,
            "comparator": record.comparator,
            "other_position": record.other_position,
            "other_kind": other_kind,
            "margin": margin_si,
            "margin_written": record.margin,
            "reason": record.reason,
        }
    )


def _budget(record: r.BudgetRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "circuit", "supply", "demand", "reason")
    rows["budget"].append({"claim": name, **row, "usable": int(record.usable.scaleb(5))})


def _supersession(record: r.SupersessionRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "old", "new", "from_date", "both_ways")
    rows["supersession"].append({"claim": name, **row})


def _precedence(record: r.PrecedenceRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    positions = {"position": record.first, "other_position": record.then}
    rows["precedence"].append({"claim": name, **positions, "work": record.work, "reason": record.reason})


def _access(record: r.AccessRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row = _fields(record, "position", "other_position", "state", "opening", "closing", "reason")
    components = {field: getattr(record, field) or None for field in ("component", "other_component")}
    rows["access"].append({"claim": name, **row, **components})


def _tightening(record: r.TighteningRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    row: Row = {"claim": name, "position": record.position, "component": record.component or None}
    row["fastener"] = record.fastener
    for field, quantity in (("torque", "torque"), ("angle", "angle"), ("again_after", "length")):
        written = getattr(record, field)
        measure = read_measure(written, quantity) if written else Measure("")
        row |= {field: measure.written, f"{field}_low": measure.low, f"{field}_high": measure.high}
    rows["tightening"].append(row)


def _upgrade(record: r.UpgradeRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    rows["upgrade"].append({"claim": name, "title": record.title, "called": joined(record.called)})
    for number, wish in enumerate(dict.fromkeys(record.fit)):
        component, _, position = wish.partition("@")
        row = {"claim": name, "number": number, "component": component, "position": position or None}
        rows["upgrade_fit"].append(row)
    rows["upgrade_flaw"] += [{"claim": name, "flaw": flaw} for flaw in sorted(set(record.remedy))]


def _other_word(record: r.OtherWordRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    rows["other_word"].append({"said": record.said, "means": joined(record.means)})


def _outline(record: r.OutlineRecord, _name: str, rows: Rows, _kinds: KindRules) -> None:
    lists = {"points": "; ".join(record.points), "bodies": joined(record.bodies)}
    rows["outline"].append(record.model_dump() | lists)


def _mark(record: r.MarkRecord, name: str, rows: Rows, _kinds: KindRules) -> None:
    rows["mark"].append(record.model_dump() | {"name": name})


def _report(record: r.ReportRecord, name: str, rows: Rows, kinds: KindRules) -> None:
    for text in record.measured:
        kind, value = read_measured(text)
        try:
            measured(value, kind, kinds)
        except NotAMeasure as error:
            raise in_field(error, "measured") from error
    prefix, serial = chassis_parts(record.chassis)
    plain = record.model_dump(exclude={"chassis"})
    rows["report"].append(
        plain
        | {column: plain[column] or None for column in ("component", "position", "claim")}
        | {"name": name, "prefix": prefix, "serial": serial, "digits": len(record.chassis.rpartition("-")[2])}
        | {"options": joined(record.options), "measured": "; ".join(record.measured)}
    )


def _append_row(record: r.Record, _name: str, rows: Rows, _kinds: KindRules) -> None:
    kind = record.kind_of_record
    rows[kind].append(TO_ROW[kind](record))


_MAKERS: dict[str, Callable[[Any, str, Rows, KindRules], None]] = {
    "range": _plain("range", "name", "title", "note"),
    "section": _plain("section", "name", "title", "order"),
    "evidence": _plain("evidence", *r.EvidenceRecord.model_fields),
    "characteristic_kind": _kind,
    "variant": _variant,
    "chassis_span": _span,
    "position": _position,
    "component": _component,
    "characteristic": _characteristic,
    "fitment": _fitment,
    "substitute": _substitute,
    "flaw": _flaw,
    "companion": _companion,
    "conflict": _conflict,
    "joint": _joint,
    "budget": _budget,
    "supersession": _supersession,
    "precedence": _precedence,
    "access": _access,
    "tightening": _tightening,
    "upgrade": _upgrade,
    "report": _report,
    "other_word": _other_word,
    "outline": _outline,
    "mark": _mark,
    **dict.fromkeys(TO_ROW, _append_row),
}
MEASURED = frozenset(kind for kind, make in _MAKERS.items() if "kinds" in signature(make).parameters)
"""The kinds of record that say something measured, so that the kinds of characteristic must be known."""
