"""Whether one record makes sense by itself, before anything else of the catalogue is known."""

import re
from collections.abc import Iterator

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.records_beside import drawing_findings, report_findings
from graftbook.rulebook.model import Comparator
from graftbook.rulebook.units import WORDED, NotAMeasure, chassis_parts, read_amount, read_measure

_WANTED = re.compile(
    r"^(?P<kind>\S.*?)\s+(?P<comparator>equal|at least|at most|within)\s+(?P<value>\S.*)$", re.DOTALL
)

Finding = tuple[str, str]
"""(field, what is wrong and what to do)."""


class NotWanted(ValueError):
    """The text is no `kind comparator value`."""


def read_wanted(text: str) -> tuple[str, Comparator, str]:
    """The parts of a `having` cell: "master_bore at least 22 mm". Raises NotWanted."""
    match = _WANTED.match(text)
    if not match:
        raise NotWanted(f"'{text[:80]}' is not `kind comparator value`, such as `master_bore at least 22 mm`")
    return match["kind"], Comparator(match["comparator"]), match["value"]


def findings(record: r.Record) -> Iterator[Finding]:
    """Every mistake that the record shows by itself."""
    if isinstance(record, r.Conditional) and not record.model_fields_set.isdisjoint(_BOUNDS):
        yield from _condition(record)
    match record:
        case r.ChassisSpanRecord():
            yield from _span(record)
        case r.PositionRecord():
            yield from _position(record)
        case r.CharacteristicKindRecord():
            yield from _kind(record)
        case r.ComponentRecord():
            yield from _component(record)
        case r.CharacteristicRecord() if bool(record.component) == bool(record.variant):
            yield "component", "a characteristic belongs to a component or to a variant: give one of the two"
        case r.SubstituteRecord() if record.original == record.component:
            yield "component", "a component is no substitute for itself"
        case r.SupersessionRecord() if record.old == record.new:
            yield "new", "a number cannot supersede itself"
        case r.CompanionRecord():
            yield from _alternative(record)
        case r.ConflictRecord():
            yield from _side("", record.component, record.position, record.having)
            yield from _side("other_", record.other_component, record.other_position, record.other_having)
        case r.PrecedenceRecord() if record.first == record.then:
            yield "then", "a position does not come before itself; name another one"
        case r.AccessRecord() if record.position == record.other_position:
            if record.state in ("off", "carried over"):
                yield "other_position", f"nothing is {record.state} to reach itself; name another position"
        case r.TighteningRecord():
            yield from _tightening(record)
        case r.UpgradeRecord() if not record.fit and not record.remedy:
            yield "fit", "an upgrade fits something or remedies something: give numbers, or flaws in `remedy`"
        case r.OutlineRecord():
            yield from drawing_findings(record)
        case r.ReportRecord():
            yield from report_findings(record)
        case r.OfferRecord() | r.TaxRecord():
            yield from _days(record)
        case r.JointRecord() if record.margin and record.comparator == "within":
            yield "margin", "`within` has no margin; write the span that is permitted on the other side"


_BOUNDS = {"built_to", "chassis_to", "without"}
"""The columns of a condition that can contradict another: without them nothing does."""


def _condition(record: r.Conditional) -> Iterator[Finding]:
    if record.built_from and record.built_to and record.built_to < record.built_from:
        yield "built_to", f"the last day is before the first, {record.built_from}"
    if record.chassis_from and record.chassis_to:
        first, last = chassis_parts(record.chassis_from), chassis_parts(record.chassis_to)
        if first[0] != last[0]:
            yield "chassis_to", f"both ends of a span have the same prefix; the first is '{first[0]}'"
        elif last[1] < first[1]:
            yield "chassis_to", f"the last chassis number is before the first, {record.chassis_from}"
    if both := set(record.options) & set(record.without):
        yield (
            "without",
            f"the option '{min(both)}' is asked for and forbidden at once; the record would never hold",
        )


def _span(record: r.ChassisSpanRecord) -> Iterator[Finding]:
    (prefix, first), (other, last) = chassis_parts(record.first), chassis_parts(record.last)
    if prefix != other:
        yield "last", f"both ends of a span have the same prefix; the first is '{prefix}'"
    elif len(record.first) != len(record.last):
        yield "last", f"both ends are written with the same number of digits; the first is {record.first}"
    elif last < first:
        yield "last", f"the last chassis number is before the first, {record.first}"
    if record.built_to < record.built_from:
        yield "built_to", f"the last day is before the first, {record.built_from}"


def _position(record: r.PositionRecord) -> Iterator[Finding]:
    for field in ("options", "without", "chassis_from", "chassis_to", "built_from", "built_to"):
        if getattr(record, field):
            yield field, "a position depends on the variant only; leave this empty"


def _kind(record: r.CharacteristicKindRecord) -> Iterator[Finding]:
    if record.quantity not in r.QUANTITIES:
        yield "quantity", f"there is no quantity '{record.quantity}'; use one of: {', '.join(r.QUANTITIES)}"
    elif any(";" in choice for choice in record.choices):
        yield "choices", "a permitted word holds no `;`, which stands between the words"
    elif record.quantity == "choice" and not record.choices:
        yield "choices", "a choice needs its permitted words, with `;` between them"
    elif record.quantity != "choice" and record.choices:
        yield "choices", "only the quantity `choice` has permitted words; leave this empty"
    else:
        yield from _bounds(record)


def _bounds(record: r.CharacteristicKindRecord) -> Iterator[Finding]:
    """`least` and `most` of a kind: each one number of its quantity, in this order."""
    found: dict[str, float] = {}
    for field in ("least", "most"):
        if written := getattr(record, field):
            if record.quantity in WORDED:
                yield field, "words have no least and no most; leave this empty"
                continue
            try:
                measure = read_measure(written, record.quantity)
            except NotAMeasure as error:
                yield field, str(error)
                continue
            if measure.si is None:
                yield field, "one number is expected, not a span"
            else:
                found[field] = measure.si
    if len(found) == 2 and found["most"] < found["least"]:
        yield "most", f"it is below the least, {record.least}"


def _component(record: r.ComponentRecord) -> Iterator[Finding]:
    if record.mass:
        try:
            measure = read_measure(record.mass, "mass")
        except NotAMeasure as error:
            yield "mass", str(error)
        else:
            if measure.si is None or measure.si < 0:
                yield "mass", "a mass is one number, not below zero, with its unit: `1.2 kg`"
    if record.twin == record.number:
        yield "twin", "a component is not its own twin; leave this empty when both sides take the same one"


def _alternative(record: r.CompanionRecord) -> Iterator[Finding]:
    forms = [form for form in ("fit", "having", "empty") if getattr(record, form)]
    if not forms:
        yield "fit", "an alternative is needed: a component in `fit`, values in `having`, or `yes` in `empty`"
    elif len(forms) > 1:
        yield forms[1], f"one row is one alternative; `{forms[0]}` is given too: use a row for each"
    elif forms != ["fit"] and not record.at:
        yield "at", f"`{forms[0]}` speaks of a position; name it here"
    if record.quantity != 1 and not record.fit:
        yield "quantity", "a quantity belongs to a component in `fit`"
    if record.fit and record.fit == record.component and record.at in ("", record.position):
        yield "fit", "a component is not its own companion; name another position in `at`"
    if record.amount and not record.fit:
        yield "amount", "an amount belongs to a loose component in `fit`"
    elif record.amount:
        try:
            measure = read_amount(record.amount)[1]
        except NotAMeasure as error:
            yield "amount", str(error)
        else:
            if measure.si is None or measure.si <= 0:
                yield "amount", "an amount is one number above zero with its unit: `1.2 l`"
    if record.goes_on and record.empty:
        yield "goes_on", "nothing goes on where a position is left empty; leave this empty"
    if record.goes_in and (not record.fit or record.at):
        yield "goes_in", "it says in whose step a loose component is used; leave this empty"
    yield from _having("having", record.having)


def _side(prefix: str, component: str, position: str, having: list[str]) -> Iterator[Finding]:
    if not component and not (position and having):
        yield f"{prefix}component", "a side is a component, or a position with values in `having`"
    if having and component:
        yield f"{prefix}having", "a side is a component or values at a position, not both"
    yield from _having(f"{prefix}having", having)


def _tightening(record: r.TighteningRecord) -> Iterator[Finding]:
    for field, quantity in (("torque", "torque"), ("angle", "angle"), ("again_after", "length")):
        if written := getattr(record, field):
            try:
                measure = read_measure(written, quantity)
            except NotAMeasure as error:
                yield field, str(error)
            else:
                if measure.low is None or measure.low <= 0:
                    yield field, f"nothing is tightened by '{written}'; a value above zero is needed"


def _days(record: r.OfferRecord | r.TaxRecord) -> Iterator[Finding]:
    if record.valid_from and record.valid_to and record.valid_to < record.valid_from:
        yield "valid_to", f"the last day is before the first, {record.valid_from}"
    if isinstance(record, r.OfferRecord) and record.stock is not None:
        smallest = -(-record.least // record.pack) * record.pack
        if 0 < record.stock < smallest:
            yield "stock", f"{record.stock} at hand, but at least {smallest} must be taken; nobody can buy"


def _having(field: str, cells: list[str]) -> Iterator[Finding]:
    for cell in cells:
        try:
            read_wanted(cell)
        except NotWanted as error:
            yield field, str(error)
