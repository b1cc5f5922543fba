"""A random world as records of the text format, so that it can be loaded as a house loads its own."""

from datetime import date
from random import Random
from typing import Any

from graftbook.rulebook.model import (
    ALWAYS,
    Alternative,
    Comparator,
    Effort,
    Grade,
    Side,
    Supply,
    Wanted,
    When,
)
from tests.closure.worlds import World

Row = dict[str, Any]

EFFORTS = {
    Effort.direct: "direct",
    Effort.with_companions: "with companions",
    Effort.machining: "machining",
    Effort.cutting: "cutting",
}
SUPPLIES = {
    Supply.current: "current",
    Supply.superseded: "superseded",
    Supply.no_longer_supplied: "no longer supplied",
}
EVIDENCE = {Grade.measured: "seen", Grade.hearsay: "heard"}


def records_of(world: World) -> list[Row]:
    """Every record of a world, for `POST /v1/imports`."""
    return [
        *_frame(),
        *(_position(p, world) for p in world.positions.values()),
        *(_component(c, world) for c in world.components.values()),
        *(row for c in world.components.values() for row in _characteristics(c)),
        *(_fitment(f) for f in world.fitments),
        *(_flaw(f) for f in world.flaws),
        *(row for c in world.companions if not _of_itself(c) for row in _companion(c)),
        *(_conflict(c) for c in world.conflicts),
        *(_joint(j) for j in world.joints if _may_be_compared(j)),
        *(_budget(b) for b in world.budgets),
        *({"record": "supersession", "name": s.name, "old": s.old, "new": s.new, "both_ways": s.both_ways}
          for s in world.supersessions),
    ]  # fmt: skip


def _frame() -> list[Row]:
    """What stands around the parts: a range, two variants, their chassis numbers, kinds, evidence."""
    kinds = {"size": "count", "gives": "count", "takes": "count", "polarity": "choice"}
    variant = {
        "range": "r", "title": "Variant", "generation": "g1", "body": "van", "engine": "e1",
        "drive": "rear", "steering": "left", "market": "home", "options": ["heater"],
    }  # fmt: skip
    built = {"built_from": date(1965, 1, 1).isoformat(), "built_to": date(1970, 1, 1).isoformat()}
    return [
        {"record": "range", "name": "r", "title": "Range"},
        *({"record": "section", "name": s, "title": s.upper(), "order": 1} for s in ("s0", "s1")),
        *({"record": "characteristic_kind", "name": kind, "title": kind.capitalize(), "quantity": quantity}
          | ({"choices": ["negative", "positive", "either"]} if quantity == "choice" else {})
          for kind, quantity in kinds.items()),
        {"record": "evidence", "name": "seen", "grade": "measured", "reference": "bench"},
        {"record": "evidence", "name": "heard", "grade": "hearsay", "reference": "talk"},
        {"record": "variant", "name": "v", **variant},
        {"record": "variant", "name": "w", **variant, "steering": "right"},
        {"record": "chassis_span", "variant": "v", "first": "24L-001", "last": "24L-999", **built},
        {"record": "chassis_span", "variant": "w", "first": "24R-001", "last": "24R-999", **built},
    ]  # fmt: skip


def _when(when: When) -> Row:
    if when == ALWAYS:
        return {}
    row: Row = {"options": sorted(when.options), "without": sorted(when.without)}
    if when.chassis_prefix:
        first, last = when.chassis_from or 1, when.chassis_to or 999
        row["chassis_from"] = f"{when.chassis_prefix}-{first:03}"
        row["chassis_to"] = f"{when.chassis_prefix}-{last:03}"
    if when.built_from:
        row["built_from"] = when.built_from.isoformat()
    if when.built_to:
        row["built_to"] = when.built_to.isoformat()
    return row


def _stated(claim: Any) -> Row:
    return _when(claim.when) | {"evidence": [EVIDENCE[e.grade] for e in claim.evidence]}


def _position(place: Any, world: World) -> Row:
    alone = sum(p.pair == place.pair for p in world.positions.values()) < 2
    return {
        "record": "position", "name": place.name, "section": place.section, "title": place.title,
        "essential": place.essential, "pair": "" if alone else place.pair, "circuit": place.circuit,
    }  # fmt: skip


def _component(part: Any, world: World) -> Row:
    """A twin that does not name this one is left out: no catalogue takes that."""
    twin = world.components.get(part.twin)
    mutual = twin is not None and twin.twin == part.number != twin.number
    return {
        "record": "component", "number": part.number, "name": part.name, "section": part.section,
        "origin": str(part.origin.value), "supply": SUPPLIES[part.supply],
        "price": None if part.price is None else f"{part.price / 100:.2f}",
        "effort": EFFORTS[part.effort], "minutes": part.minutes, "visible": part.visible,
        "twin": part.twin if mutual else "",
    }  # fmt: skip


def _characteristics(part: Any) -> list[Row]:
    return [
        {"record": "characteristic", "component": part.number, "kind": kind, "value": measure.written}
        for kind, measure in part.characteristics.items()
    ]


def _fitment(fitment: Any) -> Row:
    return _stated(fitment) | {
        "record": "fitment", "name": fitment.name.replace("#", "/"), "component": fitment.component,
        "position": fitment.position, "effort": EFFORTS[fitment.effort], "quantity": fitment.quantity,
        "minutes": fitment.minutes, "from_new": fitment.from_new,
    }  # fmt: skip


def _flaw(flaw: Any) -> Row:
    """An add-on that has the flaw itself is left out: no catalogue takes it."""
    add_ons = [number for number in flaw.add_ons if number not in flaw.components]
    return _stated(flaw) | {
        "record": "flaw", "name": flaw.name, "component": flaw.component, "severity": flaw.severity.name,
        "symptom": flaw.symptom, "also_of": list(flaw.also_of), "add_ons": add_ons,
    }  # fmt: skip


def _of_itself(rule: Any) -> bool:
    """A rule that asks for what asks: no catalogue takes it."""
    return any(a.component == rule.component and a.position in ("", rule.position) for a in rule.alternatives)


def _companion(rule: Any) -> list[Row]:
    head = _stated(rule) | {
        "component": rule.component, "position": rule.position, "reason": rule.reason,
        "strength": "required" if rule.required else "advised", "one_serves_all": rule.one_serves_all,
    }  # fmt: skip
    rows = [{"record": "companion", "name": rule.name} | _alternative(a) for a in rule.alternatives]
    rows[0] |= head
    return rows


def _alternative(a: Alternative) -> Row:
    if a.empty:
        return {"at": a.position, "empty": True}
    if a.having:
        return {"at": a.position, "having": [_wanted(w) for w in a.having]}
    return {"fit": a.component, "at": a.position, "quantity": a.quantity if a.loose else 1}


def _wanted(want: Wanted) -> str:
    return f"{want.kind} {want.comparator.value} {want.value.written}"


def _side(side: Side, prefix: str) -> Row:
    return {
        f"{prefix}component": side.component,
        f"{prefix}position": side.position,
        f"{prefix}having": [_wanted(w) for w in side.having],
    }


def _conflict(rule: Any) -> Row:
    sides = _side(rule.one, "") | _side(rule.other, "other_")
    return _stated(rule) | {"record": "conflict", "name": rule.name, "reason": rule.reason} | sides


def _may_be_compared(rule: Any) -> bool:
    """Whether a catalogue takes the joint: counts with counts, and words only as equal."""
    words = {rule.kind, rule.other_kind} & {"polarity"}
    return not words or (rule.kind == rule.other_kind and rule.comparator is Comparator.equal)


def _joint(rule: Any) -> Row:
    return _stated(rule) | {
        "record": "joint", "name": rule.name, "position": rule.position, "characteristic": rule.kind,
        "comparator": rule.comparator.value, "other_position": rule.other_position,
        "other_characteristic": rule.other_kind, "reason": rule.reason,
        "margin": f"{rule.margin:g}" if rule.margin and rule.kind != "polarity" else "",
    }  # fmt: skip


def _budget(rule: Any) -> Row:
    return _stated(rule) | {
        "record": "budget", "name": rule.name, "circuit": rule.circuit, "supply": rule.supply_kind,
        "demand": rule.demand_kind, "usable": f"{rule.usable:g}", "reason": rule.reason,
    }  # fmt: skip


def offers_of(world: World, seed: int) -> list[Row]:
    """Three suppliers, and what they ask for the parts: some by nobody, some late, dear, or by the dozen."""
    random = Random(f"offers {seed}")
    rows: list[Row] = []
    for name in ("ash", "birch", "cedar"):
        rows.append(
            {
                "record": "supplier", "name": name, "title": f"{name.capitalize()} Ltd",
                "carriage": f"{random.choice([0, 3, 7])}.00", "lead_days": random.randint(1, 9),
                "carriage_free_from": random.choice([None, "2.00"]),
            }
        )  # fmt: skip
    for number in world.components:
        for supplier in random.sample(["ash", "birch", "cedar"], random.choice([0, 1, 1, 2])):
            rows.append(
                {
                    "record": "offer", "supplier": supplier, "component": number,
                    "price": f"{random.randint(1, 90) / 100:.2f}", "pack": random.choice([1, 1, 3]),
                    "lead_days": random.choice([None, None, 30]),
                }
            )  # fmt: skip
    return rows
