"""The hydraulic brakes and the load of one vehicle, read once for every brake check."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from graftbook.checks.brakes.formulas import (
    Axles,
    BalanceValve,
    Loading,
    Shoe,
    circle_area_m2,
    disc_torque_nm,
    drum_torque_nm,
    line_pressure_pa,
    pedal_force_n,
    servo_output_n,
)
from graftbook.checks.driveline.gearing import circumference_m
from graftbook.checks.fitted import Fitted, Reading, remembered
from graftbook.checks.verdict import before_after, figure, opening

HYDRAULIC_EFFICIENCY = 0.85
"""What of the push at the master cylinder reaches the brakes; common practice, 0.8 (drums) to 0.9 (discs)."""


@dataclass(frozen=True, slots=True)
class System:
    """The hydraulic brakes of one vehicle, ready to be computed with."""

    axles: Axles
    master_bore_m: float
    pedal_ratio: float
    servo_ratio: float
    run_out_n: float
    circuits: int
    efficiency: float

    def pressure_pa(self, foot_n: float, servo: bool = True) -> float:
        """Line pressure that brakes, for a foot force: what rubs on the way is taken off."""
        push = foot_n * self.pedal_ratio
        if servo:
            push = servo_output_n(push, self.servo_ratio, self.run_out_n)
        return line_pressure_pa(push, self.master_bore_m, self.efficiency)

    def foot_n(self, force_n: float, servo: bool = True) -> float:
        """Foot force for a braking force at the road."""
        ratio, run_out = (self.servo_ratio, self.run_out_n) if servo else (1.0, math.inf)
        pressure = self.axles.pressure_pa(force_n)
        return pedal_force_n(pressure, self.master_bore_m, self.pedal_ratio, ratio, run_out, self.efficiency)


@remembered
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


@remembered
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
        hydraulic_efficiency(reading),
    )


@remembered
def hydraulic_efficiency(reading: Reading) -> float:
    """As recorded of the master cylinder, else of the variant, else the usual value."""
    recorded = reading.maybe("brake.master", "hydraulic_efficiency")
    if recorded is None:
        recorded = reading.maybe_fact("hydraulic_efficiency")
    return HYDRAULIC_EFFICIENCY if recorded is None else recorded


def efficiency_taken(fitted: Fitted) -> str:
    """The efficiency of the hydraulics that a finding rests on, in words."""
    return passed_on("hydraulics", hydraulic_efficiency(Reading(fitted)), HYDRAULIC_EFFICIENCY)


def passed_on(what: str, efficiency: float, usual: float) -> str:
    """An efficiency in words, and whether it is recorded or the usual one."""
    return f"{what} pass on {efficiency:.2f}, {'the usual value' if efficiency == usual else 'as recorded'}"


def taking(what: str, unit: str, digits: int, *inputs: str) -> Callable[[float | None, float], str]:
    """Words today's and the new number of a judged figure, with the inputs that it rests on."""

    def say(was: float | None, now: float) -> str:
        main = figure(what, was, now, unit)
        numbers = before_after(main.before, main.after, digits, unit)
        return f"{opening(what)}: {numbers} ({'; '.join(inputs)})"

    return say


@remembered
def loading(reading: Reading, laden: bool) -> Loading:
    state = "laden" if laden else "unladen"
    mass = reading.fact(f"mass_{state}")
    front = reading.fact(f"axle_load_front_{state}") / mass
    return Loading(mass, front, reading.fact(f"gravity_height_{state}"), reading.fact("wheelbase"))


def require_category(reading: Reading) -> None:
    """Name the vehicle category as missing when it is not recorded: no rule can be chosen without it."""
    reading.fact_word("vehicle_category")
