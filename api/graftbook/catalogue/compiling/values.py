"""Table rows as the rule book's immutable values."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any

from graftbook.catalogue.store.conditions import split
from graftbook.rulebook import model as m
from graftbook.rulebook.units import Measure, read_amount

EFFORTS = {effort.name.replace("_", " "): effort for effort in m.Effort}
ORIGINS = {origin.value: origin for origin in m.Origin}
SUPPLIES = {supply.value: supply for supply in m.Supply}
GRADES = {grade.name.replace("_", " "): grade for grade in m.Grade}


def evidence_of(row: Any) -> m.Evidence:
    """A piece of evidence."""
    return m.Evidence(row.name, GRADES[row.grade], row.reference, row.on, row.who, row.fitted, row.not_fitted)


def measure_of(row: Any) -> Measure:
    """A recorded value, as it was read when it was loaded."""
    return Measure(row.written, row.low, row.high, row.text)


def component_of(row: Any, characteristics: Mapping[str, Measure], *, loose: bool) -> m.Component:
    """A component with what is recorded of it."""
    return m.Component(
        number=row.number,
        name=row.name,
        section=row.section,
        origin=ORIGINS[row.origin],
        supply=SUPPLIES[row.supply],
        price=row.price,
        deposit=row.deposit,
        mass_kg=row.mass_kg,
        pack=row.pack,
        hazard=row.hazard,
        visible=row.visible,
        twin=row.twin or "",
        note=row.note,
        characteristics=MappingProxyType(dict(characteristics)),
        loose=loose,
        effort=EFFORTS[row.effort],
        minutes=row.minutes,
        reworked=row.reworked,
    )


def kind_of(row: Any) -> m.Kind:
    """A kind of characteristic."""
    return m.Kind(row.name, row.title, row.quantity, split(row.choices))


def variant_of(row: Any, spans: Iterable[Any], facts: Mapping[str, Measure]) -> m.Variant:
    """A variant with its chassis spans and its own characteristics."""
    return m.Variant(
        name=row.name,
        range=row.range,
        title=row.title,
        generation=row.generation,
        body=row.body,
        engine=row.engine,
        drive=row.drive,
        steering=row.steering,
        market=row.market,
        options=frozenset(split(row.options)),
        spans=tuple(
            m.ChassisSpan(s.prefix, s.first_serial, s.last_serial, s.built_from, s.built_to) for s in spans
        ),
        facts=MappingProxyType(dict(facts)),
    )


def position_of(row: Any) -> m.Position:
    """One place on the variant."""
    return m.Position(row.name, row.section, row.title, row.essential, row.side, row.pair, row.circuit)


def fitment_of(row: Any, stated: Mapping[str, Any]) -> m.Fitment:
    """A fitment; `stated` holds what every claim has."""
    return m.Fitment(
        **stated,
        component=row.component,
        position=row.position,
        effort=EFFORTS[row.effort],
        quantity=row.quantity,
        minutes=row.minutes,
        from_new=row.from_new,
        tools=split(row.tools),
    )


def substitute_of(row: Any, stated: Mapping[str, Any]) -> m.Substitute:
    return m.Substitute(
        **stated,
        original=row.original,
        component=row.component,
        position=row.position or "",
        both_ways=row.both_ways,
        improves=row.improves,
    )


def flaw_of(
    row: Any,
    stated: Mapping[str, Any],
    also_of: Iterable[str],
    substitutes: Iterable[str],
    add_ons: Iterable[str],
) -> m.Flaw:
    return m.Flaw(
        **stated,
        component=row.component,
        severity=m.Severity[row.severity],
        symptom=row.symptom,
        appears_when=row.appears_when,
        also_of=tuple(also_of),
        substitutes=tuple(substitutes),
        add_ons=tuple(add_ons),
    )


def companion_of(row: Any, stated: Mapping[str, Any], alternatives: Iterable[m.Alternative]) -> m.Companion:
    return m.Companion(
        **stated,
        component=row.component,
        reason=row.reason,
        alternatives=tuple(alternatives),
        position=row.position or "",
        required=row.required,
        one_serves_all=row.one_serves_all,
    )


def conflict_of(
    row: Any, stated: Mapping[str, Any], one: tuple[m.Wanted, ...], other: tuple[m.Wanted, ...]
) -> m.Conflict:
    return m.Conflict(
        **stated,
        one=m.Side(row.component or "", row.position or "", one),
        other=m.Side(row.other_component or "", row.other_position or "", other),
        reason=row.reason,
    )


def joint_of(row: Any, stated: Mapping[str, Any]) -> m.Joint:
    return m.Joint(
        **stated,
        position=row.position,
        kind=row.kind,
        comparator=m.Comparator(row.comparator),
        other_position=row.other_position,
        other_kind=row.other_kind,
        reason=row.reason,
        margin=row.margin,
    )


def budget_of(row: Any, stated: Mapping[str, Any]) -> m.Budget:
    return m.Budget(
        **stated,
        supply_kind=row.supply,
        demand_kind=row.demand,
        reason=row.reason,
        circuit=row.circuit,
        usable=row.usable / 100_000,
    )


def supersession_of(row: Any, stated: Mapping[str, Any]) -> m.Supersession:
    return m.Supersession(
        **stated, old=row.old, new=row.new, from_date=row.from_date, both_ways=row.both_ways
    )


def alternative_of(row: Any, having: tuple[m.Wanted, ...], loose: bool) -> m.Alternative:
    """One way to satisfy a companion rule."""
    of, amount = read_amount(row.amount_written) if row.amount_written else ("", None)
    return m.Alternative(
        component=row.component or "",
        position=row.position or "",
        quantity=row.quantity,
        loose=loose,
        having=having,
        empty=row.empty,
        amount=amount,
        amount_of=of,
        goes_on=row.goes_on,
        goes_in=row.goes_in or "",
    )


def precedence_of(row: Any, stated: Mapping[str, Any]) -> m.Precedence:
    return m.Precedence(
        **stated, first=row.position, then=row.other_position, reason=row.reason, work=row.work
    )


def access_of(row: Any, stated: Mapping[str, Any]) -> m.Access:
    return m.Access(
        **stated,
        position=row.position,
        other_position=row.other_position,
        reason=row.reason,
        state=row.state,
        component=row.component or "",
        other_component=row.other_component or "",
        opening=row.opening,
        closing=row.closing,
    )


def tightening_of(row: Any, stated: Mapping[str, Any]) -> m.Tightening:
    return m.Tightening(
        **stated,
        position=row.position,
        component=row.component or "",
        fastener=row.fastener,
        torque=Measure(row.torque, row.torque_low, row.torque_high),
        angle=Measure(row.angle, row.angle_low, row.angle_high) if row.angle else None,
        again_after=(
            Measure(row.again_after, row.again_after_low, row.again_after_high) if row.again_after else None
        ),
    )


def wanted_by_slot(rows: Iterable[Any]) -> dict[tuple[str, int], tuple[m.Wanted, ...]]:
    """Wanted values by (claim, slot)."""
    found: dict[tuple[str, int], list[m.Wanted]] = defaultdict(list)
    for row in rows:
        found[row.claim, row.slot].append(m.Wanted(row.kind, m.Comparator(row.comparator), measure_of(row)))
    return {place: tuple(wanted) for place, wanted in found.items()}


def tied(pairs: Iterable[tuple[str, str]]) -> dict[str, frozenset[str]]:
    """Numbers in groups that supersessions tie together, by number (a number alone is in none)."""
    group: dict[str, set[str]] = {}
    for old, new in pairs:
        together = group.get(old, {old}) | group.get(new, {new})
        for number in together:
            group[number] = together
    return {number: frozenset(together) for number, together in group.items()}


def upgrade_of(
    row: Any, stated: Mapping[str, Any], fits: Iterable[tuple[str, str]], remedies: Iterable[str]
) -> m.Upgrade:
    """A named upgrade with its wishes."""
    return m.Upgrade(
        **stated, title=row.title, called=split(row.called), fits=tuple(fits), remedies=tuple(remedies)
    )
