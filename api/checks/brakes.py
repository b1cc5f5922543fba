"""Brakes of a set: pedal, pressure, deceleration, circuits, balance, travel, hand brake."""

import math

from api.checks.bounds import at_least, at_most
from api.checks.brake_balance import lock_order
from api.checks.brake_rules import BrakeRule, brake_rule
from api.checks.brake_system import System, loading, require_category, system
from api.checks.brake_travel import displaced, hand_brake, residual, travel
from api.checks.braking import Loading
from api.checks.findings import against
from api.checks.fitted import BothSides, Fitted, Reading, on_both
from api.checks.law import Law
from api.checks.verdict import Finding, Limit, figure
from api.rulebook.units import STANDARD_GRAVITY

ADHESION = 0.8
"""A dry road; the regulations' tests assume no better."""


def inspect(before: Fitted, after: Fitted, law: Law = Law.un) -> list[Finding]:
    """Every brake check that applies to what is fitted."""
    rule = brake_rule(law, Reading(after).fact_word("vehicle_category"))
    return [
        deceleration(before, after, rule),
        pedal_force(before, after, rule),
        servo_failed(before, after, rule),
        circuit_failed(before, after, rule),
        lock_order(before, after, laden=True),
        lock_order(before, after, laden=False),
        travel(before, after),
        displaced(before, after),
        *residual(before, after),
        hand_brake(before, after, rule),
    ]


def _reached(sys: System, load: Loading, pressure_pa: float) -> float:
    """Deceleration in m/s2, at most what a dry road allows."""
    return min(sys.axles.force_n(pressure_pa) / load.mass_kg, ADHESION * STANDARD_GRAVITY)


def deceleration(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Laden deceleration at the greatest foot force that the rule allows."""

    def reached(reading: Reading, laden: bool) -> float:
        require_category(reading)
        sys = system(reading)
        return _reached(sys, loading(reading, laden), sys.pressure_pa(rule.foot_n))

    sides = on_both(before, after, lambda r: reached(r, True))
    light = on_both(before, after, lambda r: reached(r, False))
    pressure = on_both(before, after, lambda r: system(r).pressure_pa(rule.foot_n))
    poor = sides.after is not None and sides.after < rule.least_m_s2
    limit, wanted = (rule.least, rule.least_m_s2) if poor else (rule.service, rule.service_m_s2)
    return against(
        "brakes.deceleration",
        f"laden deceleration at {rule.foot_n:.0f} N",
        sides,
        limit,
        "m/s2",
        at_least(wanted),
        digits=2,
        mend="A servo, a smaller master bore, larger pistons or a larger radius would raise it.",
        more=(
            figure("unladen deceleration", light.before, light.after, "m/s2"),
            figure("line pressure", pressure.before, pressure.after, "bar"),
        ),
    )


def pedal_force(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Foot force for the service deceleration, laden, with the servo at work."""

    def force(reading: Reading, servo: bool) -> float:
        require_category(reading)
        return system(reading).foot_n(loading(reading, True).mass_kg * rule.service_m_s2, servo)

    sides = on_both(before, after, lambda r: force(r, True))
    alone = on_both(before, after, lambda r: force(r, False))
    # The force is a published limit, but the deceleration it goes with is from memory.
    limit = Limit(
        rule.foot.text, rule.foot.source, rule.service.provenance, rule.foot.clause, rule.foot.value, "N"
    )
    return against(
        "brakes.pedal_force",
        f"pedal force for {rule.service_m_s2:.2f} m/s2, laden",
        sides,
        limit,
        "N",
        at_most(rule.foot_n),
        digits=0,
        mend=_force_mend(after, rule, sides),
        more=(figure("pedal force without servo", alone.before, alone.after, "N"),),
    )


def _force_mend(after: Fitted, rule: BrakeRule, sides: BothSides[float]) -> str:
    if sides.after is None or sides.after <= rule.foot_n:
        return ""
    bore = Reading(after).value("brake.master", "master_bore")
    wanted = bore * math.sqrt(rule.foot_n / sides.after)
    boost = sides.after / rule.foot_n
    smaller = [c for c in after.candidates("brake.master", "master_bore") if c[1] <= wanted]
    named = f" ({smaller[0][0].number} has {smaller[0][1] * 1000:.2f} mm)" if smaller else ""
    return (
        f"A servo that multiplies by {boost:.1f}, or a master bore of at most {wanted * 1000:.2f} mm{named}, "
        "would do it; a smaller bore costs pedal travel."
    )


def servo_failed(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Laden deceleration at the greatest foot force with no vacuum in the servo."""

    def reached(reading: Reading) -> float:
        require_category(reading)
        sys = system(reading)
        return _reached(sys, loading(reading, True), sys.pressure_pa(rule.foot_n, servo=False))

    return against(
        "brakes.servo_failed",
        f"laden deceleration at {rule.foot_n:.0f} N without servo",
        on_both(before, after, reached),
        rule.least,
        "m/s2",
        at_least(rule.least_m_s2),
        digits=2,
        mend="A smaller master bore or a higher pedal ratio keeps the vehicle stoppable without the servo.",
    )


def circuit_failed(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Laden deceleration with the worse circuit failed; a single circuit leaves nothing."""

    def left(reading: Reading) -> float:
        require_category(reading)
        sys, load = system(reading), loading(reading, True)
        if sys.circuits < 2:
            return 0.0 * load.mass_kg
        pressure = sys.pressure_pa(rule.foot_n)
        # A balance valve is by-passed when the front circuit fails: the rear gets the full pressure.
        halves = (
            (sys.axles.front_n_per_pa, load.front_only_rate(ADHESION)),
            (sys.axles.rear_n_per_pa, load.rear_only_rate(ADHESION)),
        )
        return min(min(per_pa * pressure / load.mass_kg, grip * STANDARD_GRAVITY) for per_pa, grip in halves)

    return against(
        "brakes.circuit_failed",
        "laden deceleration with one circuit failed",
        on_both(before, after, left),
        rule.least,
        "m/s2",
        at_least(rule.least_m_s2),
        digits=2,
        mend="A dual-circuit master cylinder leaves one axle braked when the other circuit fails.",
    )
