"""Brakes of a set: pedal, pressure, deceleration, servo; what else belongs to them stands beside."""

import math
from dataclasses import replace

from graftbook.checks.brakes.balance import adhesion_used, lock_order
from graftbook.checks.brakes.circuits import circuit_failed, circuits_one_by_one, secondary_brake
from graftbook.checks.brakes.formulas import Loading
from graftbook.checks.brakes.grip import (
    ADHESION,
    GRIP_TAKEN,
    braked_rate,
    locking_pa,
    rate_at,
    rate_without_locking,
)
from graftbook.checks.brakes.hand import hand_brake, hand_grip, parking
from graftbook.checks.brakes.heat import heat
from graftbook.checks.brakes.rules import MEMORY, BrakeRule, InService, brake_rule, in_service
from graftbook.checks.brakes.system import (
    System,
    efficiency_taken,
    loading,
    require_category,
    system,
    taking,
)
from graftbook.checks.brakes.travel import displaced, residual, travel
from graftbook.checks.findings import Bound, against, at_least
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both
from graftbook.checks.law import IN_SERVICE, Law, Rules
from graftbook.checks.verdict import Finding, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

NONE_LOCKS = "no wheel locks at that force"


def inspect(before: Fitted, after: Fitted, rules: Rules = IN_SERVICE) -> list[Finding]:
    """Every brake check that applies to what is fitted."""
    category = Reading(after).fact_word("vehicle_category")
    rule, inspected = brake_rule(rules.law, category), in_service(rules.law, category)
    return [
        deceleration(before, after, rule, inspected),
        without_locking(before, after, rule, rules),
        pedal_force(before, after, rule, rules),
        servo_failed(before, after, rule, rules),
        circuit_failed(before, after, rule, inspected),
        secondary_brake(before, after, rule, rules),
        *circuits_one_by_one(before, after),
        *(lock_order(before, after, rule, rules, laden) for laden in (True, False)),
        *(adhesion_used(before, after, rules, laden) for laden in (True, False) if rules.law is Law.un),
        travel(before, after),
        displaced(before, after),
        *residual(before, after),
        hand_brake(before, after, rule, rules),
        hand_grip(before, after, rule),
        parking(before, after, rule, inspected),
        *heat(before, after),
    ]


def more_force(fitted: Fitted) -> str:
    """What would raise the braking force; a servo that is there is no new one."""
    servo = "A stronger servo" if fitted.has("brake.servo") else "A servo"
    return f"{servo}, a smaller master bore, larger pistons or a larger radius would raise it."


def braked_m_s2(sys: System, load: Loading, pressure_pa: float) -> float:
    """Deceleration at a line pressure, each axle with no more than the grip under it."""
    front = sys.axles.front_n_per_pa * pressure_pa
    rear = sys.axles.rear_n_per_pa * sys.axles.valve.rear_pa(pressure_pa)
    return braked_rate(load, front, rear, ADHESION) * STANDARD_GRAVITY


def deceleration(before: Fitted, after: Fitted, rule: BrakeRule, inspected: InService) -> Finding:
    """Laden deceleration at the greatest foot force, against what a vehicle in service is inspected for."""

    def reached(reading: Reading, laden: bool) -> float:
        require_category(reading)
        sys = system(reading)
        return braked_m_s2(sys, loading(reading, laden), sys.pressure_pa(rule.foot_n))

    what = f"laden deceleration at {rule.foot_n:.0f} N"
    light = on_both(before, after, lambda r: reached(r, False))
    pressure = on_both(before, after, lambda r: system(r).pressure_pa(rule.foot_n))
    return against(
        "brakes.deceleration",
        what,
        on_both(before, after, lambda r: reached(r, True)),
        inspected.service,
        "m/s2",
        at_least(inspected.service_g * STANDARD_GRAVITY),
        digits=2,
        mend=more_force(after),
        more=(
            figure("unladen deceleration", light.before, light.after, "m/s2"),
            figure("line pressure", pressure.before, pressure.after, "bar"),
        ),
        say=taking(what, "m/s2", 2, efficiency_taken(after), GRIP_TAKEN),
    )


def without_locking(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules) -> Finding:
    """The greatest laden deceleration with every wheel still turning, as type approval tests it."""

    def reached(reading: Reading) -> float:
        require_category(reading)
        sys, load = system(reading), loading(reading, True)
        pressure = sys.pressure_pa(rule.foot_n)
        return rate_without_locking(sys.axles, load, pressure, ADHESION) * STANDARD_GRAVITY

    what = f"laden deceleration at up to {rule.foot_n:.0f} N with no wheel locked"
    locks = on_both(before, after, lambda r: _first_lock(system(r), loading(r, True), rule.foot_n))
    first = f"{GRIP_TAKEN}; {locks.after[0]}" if locks.after else GRIP_TAKEN
    early = locks.after is not None and locks.after[0] != NONE_LOCKS
    return against(
        "brakes.deceleration.approval",
        what,
        on_both(before, after, reached),
        rule.service,
        "m/s2",
        at_least(rule.service_m_s2),
        digits=2,
        otherwise=rules.of_approval,
        mend="Share the braking better between the axles." if early else more_force(after),
        say=taking(what, "m/s2", 2, efficiency_taken(after), first),
    )


def _first_lock(sys: System, load: Loading, foot_n: float) -> tuple[str, float]:
    """Which axle locks first, in words, and at which rate in g; no axle within the foot force."""
    front, rear = locking_pa(sys.axles, load, ADHESION)
    pressure = sys.pressure_pa(foot_n)
    if min(front, rear) > pressure:
        return NONE_LOCKS, rate_at(sys.axles, load, pressure)
    axle = "front" if front <= rear else "rear"
    return f"the {axle} wheels lock first", rate_at(sys.axles, load, min(front, rear))


def pedal_force(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules) -> Finding:
    """Foot force for the service deceleration, laden, with the servo at work."""

    def force(reading: Reading, servo: bool) -> float:
        require_category(reading)
        return system(reading).foot_n(loading(reading, True).mass_kg * rule.service_m_s2, servo)

    what = f"pedal force for {rule.service_m_s2:.2f} m/s2, laden"
    sides = on_both(before, after, lambda r: force(r, True))
    alone = on_both(before, after, lambda r: force(r, False))
    # The force is a published limit, but the deceleration it goes with may be from memory.
    known = (rule.foot.provenance, rule.service.provenance)
    limit = replace(rule.foot, provenance=MEMORY if MEMORY in known else rule.foot.provenance)
    return against(
        "brakes.pedal_force",
        what,
        sides,
        limit,
        "N",
        Bound(rule.foot_least_n, rule.foot_n),
        digits=0,
        otherwise=rules.of_approval,
        mend=_force_mend(after, rule, sides, alone),
        more=(figure("pedal force without servo", alone.before, alone.after, "N"),),
        say=taking(what, "N", 0, efficiency_taken(after)),
    )


def _force_mend(after: Fitted, rule: BrakeRule, sides: BothSides[float], alone: BothSides[float]) -> str:
    """`alone`: the force without a servo, which the whole boost of one is counted from."""
    if sides.after is not None and sides.after < rule.foot_least_n:
        weaker = "a weaker servo or a larger" if after.has("brake.servo") else "a larger"
        return f"So light a pedal locks the wheels at a touch: fit {weaker} master bore."
    if sides.after is None or alone.after is None or sides.after <= rule.foot_n:
        return ""
    bore = Reading(after).value("brake.master", "master_bore")
    wanted = bore * math.sqrt(rule.foot_n / sides.after)
    boost = alone.after / rule.foot_n
    smaller = [c for c in after.candidates("brake.master", "master_bore") if c[1] <= wanted]
    named = f" ({smaller[0][0].number} has {smaller[0][1] * 1000:.2f} mm)" if smaller else ""
    return (
        f"A servo that multiplies by {boost:.1f}, or a master bore of at most {wanted * 1000:.2f} mm{named}, "
        "would do it; a smaller bore costs pedal travel."
    )


def servo_failed(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules) -> Finding:
    """Laden deceleration at the greatest foot force with no vacuum in the servo."""

    def reached(reading: Reading) -> float:
        require_category(reading)
        sys = system(reading)
        return braked_m_s2(sys, loading(reading, True), sys.pressure_pa(rule.foot_n, servo=False))

    what = f"laden deceleration at {rule.foot_n:.0f} N without servo"
    return against(
        "brakes.servo_failed",
        what,
        on_both(before, after, reached),
        rule.least,
        "m/s2",
        at_least(rule.least_m_s2),
        digits=2,
        otherwise=rules.of_approval,
        mend="A smaller master bore or a higher pedal ratio would do it"
        + (", so that the vehicle stops without the servo too." if after.has("brake.servo") else "."),
        say=taking(what, "m/s2", 2, efficiency_taken(after), GRIP_TAKEN),
    )
