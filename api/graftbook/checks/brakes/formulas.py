"""Braking arithmetic: from the pedal to the stopping distance."""

import math
from dataclasses import dataclass

from graftbook.rulebook.units import STANDARD_GRAVITY


def circle_area_m2(bore_m: float) -> float:
    return math.pi / 4 * bore_m**2


def servo_output_n(input_n: float, ratio: float, run_out_n: float) -> float:
    """Force behind the servo: `ratio` times the input up to the run-out, newton for newton beyond."""
    boosted = input_n * ratio
    return boosted if boosted <= run_out_n else run_out_n + input_n - run_out_n / ratio


def servo_input_n(output_n: float, ratio: float, run_out_n: float) -> float:
    """The inverse of `servo_output_n`."""
    return output_n / ratio if output_n <= run_out_n else output_n - run_out_n + run_out_n / ratio


def line_pressure_pa(push_n: float, master_bore_m: float, efficiency: float = 1.0) -> float:
    """p = F eta / A of the master cylinder's bore."""
    return push_n * efficiency / circle_area_m2(master_bore_m)


def pedal_force_n(
    pressure_pa: float,
    master_bore_m: float,
    pedal_ratio: float,
    servo_ratio: float,
    run_out_n: float,
    efficiency: float,
) -> float:
    """Foot force for a line pressure, through servo and pedal."""
    push = pressure_pa * circle_area_m2(master_bore_m) / efficiency
    return servo_input_n(push, servo_ratio, run_out_n) / pedal_ratio


def disc_torque_nm(pressure_pa: float, piston_area_m2: float, radius_m: float, friction: float) -> float:
    """T = 2 mu p A r; A is the piston area of one side of the caliper."""
    return 2 * friction * pressure_pa * piston_area_m2 * radius_m


def drum_torque_nm(pressure_pa: float, cylinder_area_m2: float, drum_radius_m: float, factor: float) -> float:
    """T = C* p A r; A is the area that pushes one shoe."""
    return factor * pressure_pa * cylinder_area_m2 * drum_radius_m


@dataclass(frozen=True, slots=True)
class Shoe:
    """A rigid pivoted shoe inside a drum; angles from the pivot to the lining's two ends, in radians."""

    drum_radius_m: float
    pivot_m: float
    force_arm_m: float
    start_rad: float
    end_rad: float

    def _sums(self, friction: float) -> tuple[float, float, float]:
        """Friction moment, normal moment and torque for unit pressure and unit width."""
        first, last = self.start_rad, self.end_rad
        # The pressure follows sin(angle) and peaks at a right angle to the pivot when the lining gets there.
        peak = 1.0 if last > math.pi / 2 else math.sin(last)
        r, a = self.drum_radius_m, self.pivot_m
        swept = math.cos(first) - math.cos(last)
        normal = r * a / peak * ((last - first) / 2 - (math.sin(2 * last) - math.sin(2 * first)) / 4)
        rubbing = friction * r / peak * (r * swept - a / 2 * (math.sin(last) ** 2 - math.sin(first) ** 2))
        return rubbing, normal, friction * r**2 * swept / peak

    def peak_pressure_pa(self, force_n: float, width_m: float, friction: float, leading: bool) -> float:
        """Greatest lining pressure for an actuating force; raises ValueError for a shoe that grabs."""
        rubbing, normal, _ = self._sums(friction)
        arm = normal - rubbing if leading else normal + rubbing
        if arm <= 0:
            raise ValueError("this shoe locks by itself")
        return force_n * self.force_arm_m / (width_m * arm)

    def torque_nm(self, force_n: float, width_m: float, friction: float, leading: bool) -> float:
        """Torque of the shoe on its drum."""
        return self.peak_pressure_pa(force_n, width_m, friction, leading) * width_m * self._sums(friction)[2]

    def factor(self, friction: float, leading: bool) -> float:
        """C* of one shoe: friction force at the drum over actuating force; the width cancels out."""
        return self.torque_nm(1.0, 1.0, friction, leading) / self.drum_radius_m

    def simplex_factor(self, friction: float) -> float:
        """C* of a drum with one leading and one trailing shoe."""
        return self.factor(friction, True) + self.factor(friction, False)

    def duplex_factor(self, friction: float) -> float:
        """C* of a drum with two leading shoes."""
        return 2 * self.factor(friction, True)


@dataclass(frozen=True, slots=True)
class Loading:
    """One state of load: mass, static front part of the weight, height of gravity, wheelbase."""

    mass_kg: float
    front_part: float
    gravity_height_m: float
    wheelbase_m: float

    def axle_loads_n(self, rate: float) -> tuple[float, float]:
        """Front and rear load at braking rate z = d / g: N = P -/+ z P h / E."""
        weight = self.mass_kg * STANDARD_GRAVITY
        moved = rate * weight * self.gravity_height_m / self.wheelbase_m
        return self.front_part * weight + moved, (1 - self.front_part) * weight - moved

    def ideal_front_share(self, rate: float) -> float:
        """The front share of braking at which both axles use the same adhesion."""
        return self.front_part + rate * self.gravity_height_m / self.wheelbase_m

    def rear_only_rate(self, adhesion: float) -> float:
        """The greatest rate with rear brakes alone: mu P_r / (1 + mu h / E)."""
        return adhesion * (1 - self.front_part) / (1 + adhesion * self.gravity_height_m / self.wheelbase_m)


@dataclass(frozen=True, slots=True)
class BalanceValve:
    """Rear pressure equals front up to `knee_pa`, then rises `ratio` as fast."""

    knee_pa: float = math.inf
    ratio: float = 1.0

    def rear_pa(self, front_pa: float) -> float:
        return front_pa if front_pa <= self.knee_pa else self.knee_pa + self.ratio * (front_pa - self.knee_pa)


@dataclass(frozen=True, slots=True)
class Axles:
    """Braking force at the road for a line pressure, front and rear, in N per Pa, and the valve between."""

    front_n_per_pa: float
    rear_n_per_pa: float
    valve: BalanceValve = BalanceValve()

    def force_n(self, pressure_pa: float) -> float:
        return self.front_n_per_pa * pressure_pa + self.rear_n_per_pa * self.valve.rear_pa(pressure_pa)

    def pressure_pa(self, force_n: float) -> float:
        """The front line pressure that gives a total braking force."""
        both = force_n / (self.front_n_per_pa + self.rear_n_per_pa)
        if both <= self.valve.knee_pa:
            return both
        rest = force_n - (1 - self.valve.ratio) * self.rear_n_per_pa * self.valve.knee_pa
        return rest / (self.front_n_per_pa + self.valve.ratio * self.rear_n_per_pa)

    def front_share(self, pressure_pa: float) -> float:
        return self.front_n_per_pa * pressure_pa / self.force_n(pressure_pa)


def pedal_stroke_m(demand_m3: float, master_bore_m: float, pedal_ratio: float) -> float:
    """Pedal travel that a volume of fluid costs."""
    return demand_m3 / circle_area_m2(master_bore_m) * pedal_ratio


def slope_force_n(mass_kg: float, gradient: float) -> float:
    """Downhill pull of the weight on a gradient (rise over run)."""
    return mass_kg * STANDARD_GRAVITY * math.sin(math.atan(gradient))
