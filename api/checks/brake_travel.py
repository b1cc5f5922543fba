"""Brakes between pedal and fluid: travel, fluid delivered, residual pressure, hand brake."""

import math

from api.checks.bounds import at_least, at_most
from api.checks.brake_rules import BrakeRule
from api.checks.brake_system import require_category, torque_per_pa
from api.checks.braking import pedal_stroke_m, slope_force_n
from api.checks.findings import against, undetermined
from api.checks.fitted import Fitted, Reading, on_both
from api.checks.gearing import AXLE, circumference_m
from api.checks.verdict import Finding, Limit, Provenance, Verdict, figure

HAND_BRAKE_EFFICIENCY = 0.8

TRAVEL = Limit(
    "at most two thirds of the travel to the floor", "workshop practice", Provenance.common_practice
)

DISPLACED = Limit("at least what the brakes take in a stroke", "cylinder data", Provenance.recorded)

DRAG = Limit(
    "no residual pressure on a line that serves a disc",
    "workshop practice",
    Provenance.common_practice,
)


def travel(before: Fitted, after: Fitted) -> Finding:
    """Pedal travel that the fluid demand of all four brakes costs, as a part of the travel there is."""

    def part(reading: Reading) -> float:
        used = pedal_stroke_m(
            _demand_m3(reading),
            reading.value("brake.master", "master_bore"),
            reading.value("brake.pedal_box", "pedal_ratio"),
        )
        return used / reading.value("brake.pedal_box", "pedal_travel")

    sides = on_both(before, after, part)
    floor = sides.after is not None and not at_most(1).holds(sides.after)
    return against(
        "brakes.travel",
        "part of the pedal travel that a full stroke takes",
        sides,
        TRAVEL,
        "%",
        at_most(2 / 3),
        digits=0,
        otherwise=Verdict.fails if floor else Verdict.caution,
        mend="A larger master bore shortens the travel and raises the pedal force.",
    )


def _demand_m3(reading: Reading) -> float:
    demand = 0.0
    for axle in ("front", "rear"):
        demand += 2 * reading.value((f"brake.{axle}.left", f"rotor.{axle}.left"), "fluid_demand")
    return demand


def displaced(before: Fitted, after: Fitted) -> Finding:
    """Fluid that the master cylinder delivers against what the brakes take."""
    demand = on_both(before, after, _demand_m3)
    sides = on_both(before, after, lambda r: r.value("brake.master", "fluid_displaced") + 0 * _demand_m3(r))
    return against(
        "brakes.displaced",
        "fluid that the master cylinder delivers",
        sides,
        DISPLACED.at(demand.after, "ml", 1),
        "ml",
        at_least(demand.after),
        mend="Fit a master cylinder of larger bore or longer stroke.",
        more=(figure("fluid that the brakes take", demand.before, demand.after, "ml"),),
    )


def residual(before: Fitted, after: Fitted) -> list[Finding]:
    """Drag torque of a disc behind a residual valve; nothing to say without the valve or without discs."""
    discs = [m for _, _, m in after.recorded("brake_type") if m.text == "disc"]
    if not after.has("brake.residual_valve") or not discs:
        return []

    def drag(reading: Reading) -> float:
        if not reading.fitted.has("brake.residual_valve"):
            return 0.0
        pressure = reading.value("brake.residual_valve", "residual_pressure")
        served = [a for a in ("front", "rear") if reading.word(f"brake.{a}.left", "brake_type") == "disc"]
        return sum(pressure * torque_per_pa(reading, axle) for axle in served) + 0 * pressure

    return [
        against(
            "brakes.residual",
            "drag of a released disc brake, each wheel",
            on_both(before, after, drag),
            DRAG,
            "Nm",
            at_most(0.0),
            mend="Remove the residual valve; drums that need one get it in their own line.",
        )
    ]


def hand_brake(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Hand force that holds the laden vehicle on the slope of the rule.

    The lever ratio is from the hand to all braked wheels together, as the equaliser shares it.
    """

    def hand(reading: Reading) -> float:
        require_category(reading)
        torque_per_n = HAND_BRAKE_EFFICIENCY
        for kind in ("hand_lever_ratio", "hand_brake_factor", "hand_brake_radius"):
            torque_per_n *= reading.value("brake.hand", kind)
        if reading.word("brake.hand", "hand_brake_shaft") == "transmission":
            torque_per_n *= reading.value(AXLE, "axle_ratio")
        radius = circumference_m(reading) / (2 * math.pi)
        return slope_force_n(reading.fact("mass_laden"), rule.slope) * radius / torque_per_n

    sides = on_both(before, after, hand)
    if sides.after is None:
        return undetermined("brakes.hand_brake", f"hand force on a {rule.slope:.0%} slope", sides, rule.hand)
    return against(
        "brakes.hand_brake",
        f"hand force that holds the laden vehicle on {rule.slope:.0%}",
        sides,
        rule.hand,
        "N",
        at_most(rule.hand_n),
        digits=0,
        mend="A longer lever, a larger drum or a smaller tyre would do it. Chock the wheels on any slope.",
    )
