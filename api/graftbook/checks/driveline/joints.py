"""Joints of the propeller shafts: their angles, and the unevenness that they pass on.

One joint turns unevenly; two in phase at one angle even each other out, and so does a double joint. What
is judged is what comes out of the shaft, never what its own tube does between the joints.
"""

import math
from collections.abc import Callable

from graftbook.checks.chassis.suspension import lift_m
from graftbook.checks.driveline.gearing import circumference_m, engine_speed_rad_s
from graftbook.checks.driveline.torque import axle_ratio
from graftbook.checks.findings import against, at_most
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, before_after, figure, opening, shown

ANGLE = Limit("at most what the joint permits", "joint data", Provenance.recorded)

RIPPLE = Limit(
    "at most 1000 rad/s2 behind a single joint",
    "a published table of joint angles against speed",
    Provenance.seen,
    "3.2 degrees at 5000 rpm to 5.0 at 3500, which is 855 to 1023 rad/s2",
    1000.0,
    "rad/s2",
)
RESIDUAL = Limit(
    "at most 400 rad/s2 left by the joints together",
    "a published table of pairs of joint angles",
    Provenance.seen,
    "7.3 degrees left at 1500 rpm, which is 400 rad/s2",
    400.0,
    "rad/s2",
)


def residual_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints in phase leave: sqrt(|b1^2 - b2^2|)."""
    return math.sqrt(abs(first_rad**2 - second_rad**2))


def added_angle_rad(first_rad: float, second_rad: float) -> float:
    """What two joints a quarter turn out of phase make together: sqrt(b1^2 + b2^2)."""
    return math.hypot(first_rad, second_rad)


def ripple_rad_s2(speed_rad_s: float, angle_rad: float) -> float:
    """Peak angular acceleration behind a joint, about w^2 b^2."""
    return speed_rad_s**2 * angle_rad**2


USUAL = "two in phase"
"""How the joints of a propeller shaft stand where nothing is recorded: common practice."""

LEFT_OVER: dict[str, Callable[[float, float], float]] = {
    "single": lambda near, far: near,
    "two in phase": residual_angle_rad,
    "two out of phase": added_angle_rad,
    "double and single": lambda near, far: far,
    "constant velocity": lambda near, far: 0.0,
}
"""Arrangement → the angle of the one joint that would be as uneven, from both angles in rad."""

MENDS = {
    "single": "a shaft with a joint at each end",
    "two in phase": "both joints brought to one angle with wedges under the springs",
    "two out of phase": "the sliding joint drawn apart and its two yokes brought into line",
    "double and single": "the axle turned until the single joint runs straight",
}

IN_FRONT = "a shaft with a double joint"
"""The mend of unlike angles in front: wedges under the front springs would turn the castor too."""


def _mend(fitted: Fitted, position: str, otherwise: str) -> str:
    """What would do it; less lift only where that end is lifted."""
    axle = position.split(".")[1]
    if axle == "front" and otherwise == MENDS["two in phase"]:
        otherwise = IN_FRONT
    lifted = lift_m(Reading(fitted), axle) > 0
    text = f"less lift, or {otherwise}," if lifted else otherwise
    return f"{opening(text)} would do it."


def _arrangement(reading: Reading, position: str) -> str:
    return reading.maybe_word(position, "joint_arrangement") or USUAL


def _bent(reading: Reading, position: str, per_lift: str) -> float:
    lift = lift_m(reading, position.split(".")[1])
    return lift * reading.value(position, per_lift) if lift else 0.0


def near_rad(reading: Reading, position: str) -> float:
    """Angle of the joint at the gearbox or transfer box, after the change of ride height."""
    static = reading.value(position, "joint_angle_static")
    return static + _bent(reading, position, "joint_angle_per_lift")


def far_rad(reading: Reading, position: str) -> float:
    """Angle of the joint at the axle: that of the other unless one of its own is recorded.

    Behind a double joint the single one stands at an angle of its own, which must be known.
    """
    if _arrangement(reading, position) != "double and single":
        static = reading.maybe(position, "far_joint_angle")
        if static is None:
            return near_rad(reading, position)
    own = "far_joint_angle_per_lift"
    per_lift = own if reading.maybe(position, own) is not None else "joint_angle_per_lift"
    return reading.value(position, "far_joint_angle") + _bent(reading, position, per_lift)


def _widest(reading: Reading, position: str) -> float:
    angles = [near_rad(reading, position)]
    if _arrangement(reading, position) in ("two in phase", "two out of phase", "double and single"):
        angles.append(far_rad(reading, position))
    return only_with(max(map(abs, angles)), reading.value(position, "joint_angle_permitted"))


def joint_angle(before: Fitted, after: Fitted, position: str) -> Finding:
    """The wider joint angle after the change of ride height against what the joint permits."""
    permitted = on_both(before, after, lambda r: r.value(position, "joint_angle_permitted"))
    return against(
        f"driveline.joint_angle.{position}",
        f"joint angle of the {after.title(position)}",
        on_both(before, after, lambda r: _widest(r, position)),
        ANGLE.at(permitted.after, "deg"),
        "deg",
        at_most(permitted.after),
        mend=_mend(after, position, "a shaft with joints for the angle"),
        more=(figure("permitted angle", permitted.before, permitted.after, "deg"),),
    )


def left_rad(reading: Reading, position: str) -> float:
    """The angle of the one joint that would be as uneven as all joints of the shaft together."""
    arrangement = _arrangement(reading, position)
    if arrangement in ("single", "constant velocity"):
        return LEFT_OVER[arrangement](near_rad(reading, position), 0.0)
    near = 0.0 if arrangement == "double and single" else near_rad(reading, position)
    return LEFT_OVER[arrangement](near, far_rad(reading, position))


def _turning_rad_s(reading: Reading, position: str) -> float:
    """Speed of a propeller shaft at the cruising speed."""
    axle = position.split(".")[1]
    wheel = engine_speed_rad_s(reading.fact("cruise_speed"), circumference_m(reading, axle), 1.0)
    return wheel * axle_ratio(reading, axle)


def joint_ripple(before: Fitted, after: Fitted, position: str) -> Finding:
    """Angular acceleration that the joints of a shaft pass on at the cruising speed."""

    def ripple(reading: Reading) -> float:
        return ripple_rad_s2(_turning_rad_s(reading, position), left_rad(reading, position))

    sides = on_both(before, after, ripple)
    left = on_both(before, after, lambda r: left_rad(r, position))
    arrangement = _arrangement(Reading(after), position)
    limit = RIPPLE if arrangement == "single" else RESIDUAL
    return against(
        f"driveline.joint_ripple.{position}",
        f"angular acceleration that the {after.title(position)} passes on when cruising",
        sides,
        limit,
        "rad/s2",
        at_most(limit.value),
        digits=0,
        otherwise=Verdict.caution,
        mend=_mend(after, position, MENDS[arrangement]) if arrangement in MENDS else "",
        more=(figure("angle left by the joints together", left.before, left.after, "deg"),),
        say=lambda was, now: _sentence(after, position, was, now),
    )


def _sentence(after: Fitted, position: str, was: float | None, now: float) -> str:
    reading = Reading(after)
    known = "" if reading.maybe_word(position, "joint_arrangement") else ", as is usual"
    joints = {
        "single": "a single joint",
        "two in phase": f"two joints in phase{known}",
        "two out of phase": "two joints out of phase",
        "double and single": "a double joint and a single one",
        "constant velocity": "joints of constant velocity",
    }[_arrangement(reading, position)]
    numbers = before_after(None if was is None else shown(was, "rad/s2"), now, 0, "rad/s2")
    title = after.title(position)
    return f"Angular acceleration that the {title} passes on when cruising: {numbers}, with {joints}"
