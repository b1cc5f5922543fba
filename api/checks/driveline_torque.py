"""Torque in each part of the driveline in the lowest gear, and the part that carries most of its rating."""

import math

from api.checks.findings import undetermined
from api.checks.fitted import Fitted, Reading, on_both
from api.checks.gearing import AXLE, circumference_m, efficiency, lowest_ratio
from api.checks.shafts import shaft_torque_nm, solid_shear_pa
from api.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure
from api.rulebook.units import STANDARD_GRAVITY

GRIP = 0.8
"""Adhesion of a tyre on a dry road; workshop practice for the most that a tyre passes on."""

SHAFTS = ("halfshaft.rear.left", "halfshaft.rear.right", "halfshaft.front.left", "halfshaft.front.right")

TORQUE = Limit("at most what it is rated for", "component data", Provenance.recorded)


def _axle_grip_nm(reading: Reading, axle: str) -> float:
    """Torque at which both tyres of an axle slip, laden."""
    load = reading.fact(f"axle_load_{axle}_laden") * STANDARD_GRAVITY
    return GRIP * load * circumference_m(reading) / (2 * math.pi)


def half_shaft_nm(reading: Reading, position: str) -> float:
    axle = position.split(".")[1]
    both = _axle_grip_nm(reading, axle)
    kind = reading.word(f"diff.{axle}", "differential")
    return shaft_torque_nm(
        reading.value("engine.unit", "torque"),
        lowest_ratio(reading),
        efficiency(reading),
        both / 2,
        both,
        kind == "locking",
    )


def propshaft_nm(reading: Reading) -> float:
    """Torque on a propeller shaft: engine in the lowest gear, but no more than the axle's tyres hold."""
    at_axle = min(
        reading.value("engine.unit", "torque") * lowest_ratio(reading) * efficiency(reading),
        _axle_grip_nm(reading, "rear"),
    )
    return at_axle / reading.value(AXLE, "axle_ratio")


def links(reading: Reading) -> dict[str, float]:
    """Torque in each link of the rear driveline as a part of what it carries; only links with data."""
    engine = reading.value("engine.unit", "torque")
    parts = {}
    for position, ratio in (
        ("clutch", 1.0),
        ("gearbox", 1.0),
        ("transfer", lowest_ratio(reading) / reading.value(AXLE, "axle_ratio")),
        ("propshaft.rear", lowest_ratio(reading) / reading.value(AXLE, "axle_ratio")),
        ("gears.rear", lowest_ratio(reading)),
        ("diff.rear", lowest_ratio(reading)),
    ):
        rating = reading.maybe(position, "torque_rating")
        if rating:
            held = _axle_grip_nm(reading, "rear") * ratio / lowest_ratio(reading)
            sent = engine * ratio * (efficiency(reading) if ratio > 1 else 1.0)
            parts[position] = min(sent, held) / rating
    for position in SHAFTS[:2]:
        diameter, strength = (
            reading.maybe(position, "shaft_diameter"),
            reading.maybe(position, "shear_strength"),
        )
        if diameter and strength:
            parts[position] = solid_shear_pa(half_shaft_nm(reading, position), diameter) / strength
    if not parts:
        reading.value("halfshaft.rear.left", "shaft_diameter")
    return parts


def weakest_link(before: Fitted, after: Fitted) -> Finding:
    """The link that carries the greatest part of its rating in the lowest gear, with the ranking."""
    sides = on_both(before, after, links)
    if sides.after is None:
        return undetermined("driveline.weakest_link", "the weakest link", sides, TORQUE)
    was = sides.before or {}
    names = sorted(was.keys() | sides.after.keys(), key=lambda p: (-sides.after.get(p, 0.0), p))
    ranking = tuple(figure(after.title(p), was.get(p), sides.after.get(p), "%") for p in names)
    weakest = names[0]
    load = sides.after[weakest]
    earlier = min(was, key=lambda p: (-was[p], p)) if was else weakest
    text = (
        f"The weakest link in the lowest gear is the {after.title(weakest)}, at {load:.0%} of what it carries"
    )
    same = not was or (earlier == weakest and f"{was[earlier]:.0%}" == f"{load:.0%}")
    text += "." if same else f"; today it is the {before.title(earlier)}, at {was[earlier]:.0%}."
    return Finding(
        check="driveline.weakest_link",
        subject="driveline",
        verdict=_of_load(load),
        sentence=text,
        figures=ranking,
        limit=TORQUE,
        components=sides.used,
        mend="" if load <= 1 else f"Strengthen the {after.title(weakest)} first.",
        beyond=round(100 * load),
        caution=CAUTIONS["driveline"],
    )


def _of_load(part: float) -> Verdict:
    return Verdict.holds if part <= 0.9 else Verdict.caution if part <= 1 else Verdict.fails
