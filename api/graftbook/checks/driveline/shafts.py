"""Shafts, splines and joints: torque, stress, irregularity."""

import math


def solid_shear_pa(torque_nm: float, diameter_m: float) -> float:
    """tau = 16 T / (pi d^3)."""
    return 16 * torque_nm / (math.pi * diameter_m**3)


def tube_polar_m4(outer_m: float, inner_m: float) -> float:
    """J = pi / 32 (D^4 - d^4); d = 0 for a solid shaft."""
    return math.pi / 32 * (outer_m**4 - inner_m**4)


def tube_shear_pa(torque_nm: float, outer_m: float, inner_m: float) -> float:
    """tau = T (D / 2) / J."""
    return torque_nm * outer_m / 2 / tube_polar_m4(outer_m, inner_m)


def twist_rad(torque_nm: float, length_m: float, shear_modulus_pa: float, polar_m4: float) -> float:
    return torque_nm * length_m / (shear_modulus_pa * polar_m4)


def shaft_torque_nm(
    engine_nm: float,
    overall_ratio: float,
    efficiency: float,
    grip_nm: float,
    locked_grip_nm: float,
    locked: bool,
    greater_share: float = 0.5,
) -> float:
    """Torque on one half shaft: the smaller of what the engine sends and what the tyres hold.

    An open differential halves the engine's torque and lets one tyre hold it; a limited-slip one sends
    `greater_share` to the tyre that grips better; a locked one can send all of it to that tyre, which
    then carries up to the whole axle's grip.
    """
    sent = engine_nm * overall_ratio * efficiency
    return min(sent, locked_grip_nm) if locked else min(sent * greater_share, grip_nm)


def biased_share(bias: float) -> float:
    """What the better wheel gets of an axle's torque when it may carry `bias` times the other's."""
    return bias / (1 + bias)


def spline_diameters_m(teeth: int, pitch_per_inch: float, angle_rad: float) -> dict[str, float]:
    """ANSI B92.1: D = N/P, outside (N+1)/P, inside (N-1)/P, base D cos a; pitch in 1/in, result in m."""
    inch = 0.0254
    pitch_diameter = teeth / pitch_per_inch * inch
    return {
        "pitch": pitch_diameter,
        "outside": (teeth + 1) / pitch_per_inch * inch,
        "inside": (teeth - 1) / pitch_per_inch * inch,
        "base": pitch_diameter * math.cos(angle_rad),
    }


def cardan_irregularity(angle_rad: float) -> float:
    """U = sin b tan b: the spread of the output's speed over a turn, as a part of the input's."""
    return math.sin(angle_rad) * math.tan(angle_rad)


def residual_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints in phase leave: sqrt(|b1^2 - b2^2|)."""
    return math.sqrt(abs(first_rad**2 - second_rad**2))


def added_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints a quarter turn out of phase make together: sqrt(b1^2 + b2^2)."""
    return math.hypot(first_rad, second_rad)


def ripple_rad_s2(speed_rad_s: float, angle_rad: float) -> float:
    """Peak angular acceleration behind a joint, about w^2 b^2."""
    return speed_rad_s**2 * angle_rad**2
