"""Grip under braking: where an axle locks, what it uses of the road, and the curves of 71/320/EEC.

Rates are in g, forces in N, pressures in Pa; grip is the force at the road over the axle's load.
"""

import math
from dataclasses import dataclass

from graftbook.checks.brakes.formulas import Axles, Loading
from graftbook.rulebook.units import STANDARD_GRAVITY

ADHESION = 0.8
"""A dry road; the regulations' tests assume no better."""

GRIP_TAKEN = f"a grip of {ADHESION} under every wheel"

ROUNDING = 1e-9
LEAST_GRIP, MOST_GRIP = 0.2, 0.8
"""The span of grip used in which the curve of 71/320/EEC, Annex II, Appendix, 3.1.1 binds."""

FIRST_RATE = 0.15
_RATES = tuple(step / 100 for step in range(10, 81))


@dataclass(frozen=True, slots=True)
class LockOrder:
    """The lock order of a class, from 0.15 g to `last`: the front first.

    `inversion`: from 0.3 to 0.45 g the rear may use more, up to 0.05 above the rate (M1). `band`: it
    also holds where both curves keep within 0.08 of the rate (N1).
    """

    last: float
    inversion: bool = False
    band: bool = False

    def holds_at(self, rate: float, front: float, rear: float) -> bool:
        """Whether the grip used by front and rear is as it should be at one rate."""
        allowed = self.inversion and 0.3 <= rate <= 0.45 and rear <= rate + 0.05 + ROUNDING
        return allowed or rear <= front + ROUNDING

    def in_band(self, rate: float, front: float, rear: float) -> bool:
        """Whether the curves keep to the lines that stand in for the lock order (N1)."""
        if rate <= 0.3:
            return abs(front - rate) <= 0.08 + ROUNDING and rear <= rate + 0.08 + ROUNDING
        if rate <= 0.5:
            return rear <= rate + 0.08 + ROUNDING
        return rate + ROUNDING >= 0.5 * rear + 0.21


@dataclass(frozen=True, slots=True)
class Use:
    """The grip that one axle uses at a rate, and how far that is above what the curve allows."""

    beyond: float
    rate: float
    grip: float
    axle: str


def braked_rate(load: Loading, front_n: float, rear_n: float, adhesion: float) -> float:
    """The rate that brake forces give when no axle brakes with more than `adhesion` times its load.

    z W = min(F_f, mu N_f(z)) + min(F_r, mu N_r(z)) with N = P +/- z W h / E: the least root of the
    four cases (no axle locked, the front, the rear, both).
    """
    weight = load.mass_kg * STANDARD_GRAVITY
    lean = adhesion * load.gravity_height_m / load.wheelbase_m
    front, rear = front_n / weight, rear_n / weight
    grip_front, grip_rear = adhesion * load.front_part, adhesion * (1 - load.front_part)
    front_locked = (grip_front + rear) / (1 - lean) if lean < 1 else math.inf
    return min(front + rear, front_locked, (front + grip_rear) / (1 + lean), adhesion)


def locking_pa(axles: Axles, load: Loading, adhesion: float) -> tuple[float, float]:
    """The lowest line pressures at which the front and the rear axle lock; infinite where one never does."""
    weight = load.mass_kg * STANDARD_GRAVITY
    lean = adhesion * load.gravity_height_m / load.wheelbase_m
    front, rear = axles.front_n_per_pa, axles.rear_n_per_pa
    return (
        _pressure(axles, front * (1 - lean), -lean * rear, adhesion * load.front_part * weight),
        _pressure(axles, front * lean, (1 + lean) * rear, adhesion * (1 - load.front_part) * weight),
    )


def _pressure(axles: Axles, direct: float, behind: float, wanted: float) -> float:
    """The least p with direct p + behind rear(p) = wanted; the rear pressure has a knee."""
    valve = axles.valve
    slope = direct + behind
    if slope > 0 and wanted / slope <= valve.knee_pa:
        return wanted / slope
    if math.isinf(valve.knee_pa):
        return math.inf
    slope = direct + behind * valve.ratio
    start = behind * valve.knee_pa * (1 - valve.ratio)
    found = (wanted - start) / slope if slope > 0 else -math.inf
    return found if found >= valve.knee_pa else math.inf


def rate_at(axles: Axles, load: Loading, pressure_pa: float) -> float:
    """The rate that a line pressure gives while no wheel is locked."""
    return axles.force_n(pressure_pa) / (load.mass_kg * STANDARD_GRAVITY)


def rate_without_locking(axles: Axles, load: Loading, pressure_pa: float, adhesion: float) -> float:
    """The greatest rate up to a line pressure at which every wheel still turns."""
    return rate_at(axles, load, min(pressure_pa, *locking_pa(axles, load, adhesion)))


def grip_used(axles: Axles, load: Loading, rate: float) -> tuple[float, float]:
    """f_i = T_i / N_i of front and rear at a rate; infinite where the axle is off the ground."""
    pressure = axles.pressure_pa(rate * load.mass_kg * STANDARD_GRAVITY)
    forces = axles.front_n_per_pa * pressure, axles.rear_n_per_pa * axles.valve.rear_pa(pressure)
    loads = load.axle_loads_n(rate)
    front, rear = (f / n if n > 0 else math.inf for f, n in zip(forces, loads, strict=True))
    return front, rear


def greatest_grip(rate: float) -> float:
    """z >= 0.1 + 0.85 (k - 0.2), solved for k (71/320/EEC, Annex II, Appendix, 3.1.1)."""
    return (rate + 0.07) / 0.85


def uses(axles: Axles, load: Loading) -> list[Use]:
    """What both axles use over the range of braking, where the curve binds; steps of a hundredth of g."""
    return [
        Use(grip - greatest_grip(rate), rate, grip, axle)
        for rate in _RATES
        for axle, grip in zip(("front", "rear"), grip_used(axles, load, rate), strict=True)
        if LEAST_GRIP <= grip <= MOST_GRIP
    ]


def order_broken_from(axles: Axles, load: Loading, order: LockOrder) -> float:
    """The lowest rate at which the lock order does not hold; infinite where it always does."""
    used = {rate: grip_used(axles, load, rate) for rate in _RATES if rate >= FIRST_RATE}
    if order.band and all(order.in_band(rate, *grips) for rate, grips in used.items() if rate <= 0.61):
        return math.inf
    broken = (rate for rate, grips in used.items() if rate <= order.last and not order.holds_at(rate, *grips))
    return next(broken, math.inf)
