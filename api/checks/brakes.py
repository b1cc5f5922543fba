"""Brakes of a set: pedal, pressure, deceleration, circuits, balance, travel, hand brake."""

import math
from dataclasses import dataclass

from api.checks.brake_rules import BrakeRule, brake_rule
from api.checks.braking import (
    Axles,
    BalanceValve,
    Loading,
    Shoe,
    circle_area_m2,
    disc_torque_nm,
    drum_torque_nm,
    line_pressure_pa,
    pedal_force_n,
    pedal_stroke_m,
    rear_locks_first_from,
    servo_output_n,
    slope_force_n,
)
from api.checks.fitted import BothSides, Fitted, Reading, against, on_both, undetermined
from api.checks.gearing import AXLE, circumference_m
from api.checks.law import Law
from api.checks.verdict import Finding, Limit, Provenance, Verdict, figure
from api.rulebook.units import STANDARD_GRAVITY

ADHESION = 0.8
"""A dry road; the regulations' tests assume no better."""
HAND_BRAKE_EFFICIENCY = 0.8

TRAVEL = Limit(
    "at most two thirds of the travel to the floor", "workshop practice", Provenance.common_practice
)
DISPLACED = Limit("at least what the brakes take in a stroke", "cylinder data", Provenance.recorded)
ORDER = Limit(
    "the front locks before the rear up to 0.8 g", "UN R13-H", Provenance.memory, "Annex 5, 3.1 (A)"
)
DRAG = Limit(
    "no residual pressure on a line that serves a disc",
    "workshop practice",
    Provenance.common_practice,
)


@dataclass(frozen=True, slots=True)
class System:
    """The hydraulic brakes of one vehicle, ready to be computed with."""

    axles: Axles
    master_bore_m: float
    pedal_ratio: float
    servo_ratio: float
    run_out_n: float
    circuits: int
    split: str

    def pressure_pa(self, foot_n: float, servo: bool = True) -> float:
        push = foot_n * self.pedal_ratio
        if servo:
            push = servo_output_n(push, self.servo_ratio, self.run_out_n)
        return line_pressure_pa(push, self.master_bore_m)

    def foot_n(self, force_n: float, servo: bool = True) -> float:
        """Foot force for a braking force at the road."""
        ratio, run_out = (self.servo_ratio, self.run_out_n) if servo else (1.0, math.inf)
        pressure = self.axles.pressure_pa(force_n)
        return pedal_force_n(pressure, self.master_bore_m, self.pedal_ratio, ratio, run_out)


def torque_per_pa(reading: Reading, axle: str) -> float:
    """Brake torque of one wheel for one pascal of line pressure."""
    places = (f"brake.{axle}.left", f"rotor.{axle}.left")
    kind = reading.word(places, "brake_type")
    if not kind:
        return math.nan
    friction = reading.value(places, "lining_friction")
    if kind == "disc":
        radius = reading.value(places, "disc_effective_radius")
        return disc_torque_nm(1.0, reading.value(places, "piston_area"), radius, friction)
    bore = reading.value(places, "wheel_cylinder_bore")
    radius = reading.value(places, "drum_diameter") / 2
    return drum_torque_nm(1.0, circle_area_m2(bore), radius, drum_factor(reading, places, kind, friction))


def drum_factor(reading: Reading, places: tuple[str, ...], kind: str, friction: float) -> float:
    """C* as recorded, else from the recorded shoe geometry."""
    recorded = reading.maybe(places, "brake_factor")
    if recorded is not None:
        return recorded
    if reading.maybe(places, "shoe_force_arm") is None:
        return reading.value(places, "brake_factor")
    shoe = Shoe(
        reading.value(places, "drum_diameter") / 2,
        reading.value(places, "drum_max_force_arm"),
        reading.value(places, "shoe_force_arm"),
        reading.value(places, "shoe_angle_start"),
        reading.value(places, "shoe_angle_end"),
    )
    return shoe.duplex_factor(friction) if kind == "duplex drum" else shoe.simplex_factor(friction)


def system(reading: Reading) -> System:
    """Everything the hydraulic checks need; what is not recorded is named on the reading."""
    radius = circumference_m(reading) / (2 * math.pi)
    per_pa = [2 * torque_per_pa(reading, axle) / radius for axle in ("front", "rear")]
    valve = BalanceValve()
    if reading.fitted.has("brake.balance_valve"):
        knee = reading.value("brake.balance_valve", "balance_knee")
        valve = BalanceValve(knee, reading.value("brake.balance_valve", "balance_ratio"))
    servo = reading.fitted.has("brake.servo")
    circuits = reading.value("brake.master", "circuits")
    return System(
        Axles(per_pa[0], per_pa[1], valve),
        reading.value("brake.master", "master_bore"),
        reading.value("brake.pedal_box", "pedal_ratio"),
        reading.value("brake.servo", "servo_ratio") if servo else 1.0,
        reading.value("brake.servo", "servo_run_out") if servo else math.inf,
        int(circuits) if circuits == circuits else 0,
        reading.maybe_word("brake.master", "circuit_split"),
    )


def loading(reading: Reading, laden: bool) -> Loading:
    state = "laden" if laden else "unladen"
    mass = reading.fact(f"mass_{state}")
    front = reading.fact(f"axle_load_front_{state}") / mass
    return Loading(mass, front, reading.fact(f"gravity_height_{state}"), reading.fact("wheelbase"))


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


def _category(reading: Reading) -> None:
    # Read for its name only: a rule cannot be chosen without it.
    reading.fact_word("vehicle_category")


def _reached(sys: System, load: Loading, pressure_pa: float) -> float:
    """Deceleration in m/s2, at most what a dry road allows."""
    return min(sys.axles.force_n(pressure_pa) / load.mass_kg, ADHESION * STANDARD_GRAVITY)


def deceleration(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Laden deceleration at the greatest foot force that the rule allows."""

    def reached(reading: Reading, laden: bool) -> float:
        _category(reading)
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
        "",
        lambda d: d >= wanted - 1e-9,
        digits=2,
        mend="A servo, a smaller master bore, larger pistons or a larger radius would raise it.",
        more=(
            figure("unladen deceleration, m/s2", light.before, light.after, ""),
            figure("line pressure", pressure.before, pressure.after, "bar"),
        ),
    )


def pedal_force(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Foot force for the service deceleration, laden, with the servo at work."""

    def force(reading: Reading, servo: bool) -> float:
        _category(reading)
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
        lambda n: n <= rule.foot_n,
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
        _category(reading)
        sys = system(reading)
        return _reached(sys, loading(reading, True), sys.pressure_pa(rule.foot_n, servo=False))

    return against(
        "brakes.servo_failed",
        f"laden deceleration at {rule.foot_n:.0f} N without servo",
        on_both(before, after, reached),
        rule.least,
        "",
        lambda d: d >= rule.least_m_s2 - 1e-9,
        digits=2,
        mend="A smaller master bore or a higher pedal ratio keeps the vehicle stoppable without the servo.",
    )


def circuit_failed(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Laden deceleration with the worse circuit failed; a single circuit leaves nothing."""

    def left(reading: Reading) -> float:
        _category(reading)
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
        "",
        lambda d: d >= rule.least_m_s2 - 1e-9,
        digits=2,
        mend="A dual-circuit master cylinder leaves one axle braked when the other circuit fails.",
    )


def lock_order(before: Fitted, after: Fitted, laden: bool) -> Finding:
    """The rate from which the rear axle uses more adhesion than the front."""
    state = "laden" if laden else "unladen"

    def rear_first(reading: Reading) -> float:
        return min(rear_locks_first_from(system(reading).axles, loading(reading, laden)), 1.0)

    def share(reading: Reading) -> float:
        axles, weight = system(reading).axles, STANDARD_GRAVITY * loading(reading, laden).mass_kg
        return axles.front_share(axles.pressure_pa(0.8 * weight))

    sides, shares = on_both(before, after, rear_first), on_both(before, after, share)
    ideal = on_both(before, after, lambda r: loading(r, laden).ideal_front_share(0.8))
    return against(
        f"brakes.lock_order.{state}",
        f"rate of braking from which the rear locks first, {state}",
        sides,
        ORDER,
        "",
        lambda z: z > 0.8,
        digits=2,
        say=lambda z: (
            f"{state.capitalize()}, the rear locks first from {z:.2f} g"
            if z <= 0.8
            else f"{state.capitalize()}, the rear never locks first"
        ),
        mend=_balance_mend(shares, ideal),
        more=(
            figure("front share of braking at 0.8 g", shares.before, shares.after, ""),
            figure("ideal front share at 0.8 g", ideal.before, ideal.after, ""),
        ),
    )


def _balance_mend(shares: BothSides[float], ideal: BothSides[float]) -> str:
    if shares.after is None or ideal.after is None or shares.after >= ideal.after:
        return ""
    # Rear force must fall from (1 - share)/share to (1 - ideal)/ideal of the front.
    part = (1 - ideal.after) / ideal.after * shares.after / (1 - shares.after)
    return f"A rear balance valve that leaves at most {part:.2f} of the rear force at 0.8 g would do it."


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
    floor = sides.after is not None and sides.after > 1
    return against(
        "brakes.travel",
        "part of the pedal travel that a full stroke takes",
        sides,
        TRAVEL,
        "",
        lambda p: p <= 2 / 3 + 1e-9,
        digits=2,
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
        lambda v: demand.after is not None and v >= demand.after - 1e-12,
        mend="Fit a master cylinder of larger bore or longer stroke.",
        more=(figure("fluid that the brakes take", demand.before, demand.after, "ml"),),
    )


def residual(before: Fitted, after: Fitted) -> list[Finding]:
    """Drag torque of a disc behind a residual valve; nothing to say without the valve."""
    if not after.has("brake.residual_valve"):
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
            lambda t: t <= 1e-9,
            mend="Remove the residual valve, or leave it on a line that serves drums only.",
        )
    ]


def hand_brake(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Hand force that holds the laden vehicle on the slope of the rule.

    The lever ratio is from the hand to all braked wheels together, as the equaliser shares it.
    """

    def hand(reading: Reading) -> float:
        _category(reading)
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
        lambda n: n <= rule.hand_n,
        digits=0,
        mend="A longer lever, a larger drum or a smaller tyre would do it. Chock the wheels on any slope.",
    )
