"""Shafts and joints: torque, stress, angles."""

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


def residual_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints in phase leave: sqrt(|b1^2 - b2^2|)."""
    return math.sqrt(abs(first_rad**2 - second_rad**2))


def added_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints a quarter turn out of phase make together: sqrt(b1^2 + b2^2)."""
    return math.hypot(first_rad, second_rad)


def ripple_rad_s2(speed_rad_s: float, angle_rad: float) -> float:
    """Peak angular acceleration behind a joint, about w^2 b^2."""
    return speed_rad_s**2 * angle_rad**2
