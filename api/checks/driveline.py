"""Driveline: torque at each shaft in the lowest gear, stress, splines, joint angles, the weakest link."""

import math

from api.checks.fitted import BothSides, Fitted, Reading, against, on_both, undetermined
from api.checks.gearing import (
    AXLE,
    circumference_m,
    efficiency,
    engine_speed_rad_s,
    lowest_ratio,
)
from api.checks.suspension import lift_m
from api.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure
from api.rulebook.units import STANDARD_GRAVITY

GRIP = 0.8
"""Adhesion of a tyre on a dry road; workshop practice for the most that a tyre passes on."""
SHAFTS = ("halfshaft.rear.left", "halfshaft.rear.right", "halfshaft.front.left", "halfshaft.front.right")

SHEAR = Limit("at most what the material permits", "16 T / (pi d^3), material data", Provenance.recorded)
TORQUE = Limit("at most what it is rated for", "component data", Provenance.recorded)
SPLINES = Limit(
    "the same count and pitch on both sides", "ANSI B92.1", Provenance.seen, "D = N / P, as copied"
)
CHANGE_TOGETHER = (
    "Change shaft and differential together: splines of another count or pitch never interchange."
)
ANGLE = Limit("at most what the joint permits", "joint data", Provenance.recorded)
RIPPLE = Limit(
    "at most 1000 rad/s2 of angular acceleration",
    "a published table of joint angles against speed",
    Provenance.seen,
    "3.2 degrees at 5000 rpm to 5.0 at 3500, which is 855 to 1023 rad/s2",
    1000.0,
    "rad/s2",
)


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
) -> float:
    """Torque on one half shaft: the smaller of what the engine sends and what the tyres hold.

    An open differential halves the engine's torque and lets one tyre hold it; a locked one can send
    all of it to the tyre that grips, which then carries up to the whole axle's grip.
    """
    sent = engine_nm * overall_ratio * efficiency
    return min(sent, locked_grip_nm) if locked else min(sent / 2, grip_nm)


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


def ripple_rad_s2(speed_rad_s: float, angle_rad: float) -> float:
    """Peak angular acceleration behind a joint, about w^2 b^2."""
    return speed_rad_s**2 * angle_rad**2


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every driveline check that applies to what is fitted."""
    shafts = [s for s in SHAFTS if after.has(s)]
    propshafts = [p for p in ("propshaft.rear", "propshaft.front") if after.has(p)]
    return [
        *(shaft_stress(before, after, shaft) for shaft in shafts),
        *(propshaft_torque(before, after, shaft) for shaft in propshafts),
        *(splines(before, after, shaft) for shaft in shafts),
        *(joint_angle(before, after, shaft) for shaft in propshafts),
        *(joint_ripple(before, after, shaft) for shaft in propshafts),
        weakest_link(before, after),
    ]


def _axle_grip_nm(reading: Reading, axle: str) -> float:
    """Torque at which both tyres of an axle slip, laden."""
    load = reading.fact(f"axle_load_{axle}_laden") * STANDARD_GRAVITY
    return GRIP * load * circumference_m(reading) / (2 * math.pi)


def _half_shaft_nm(reading: Reading, position: str) -> float:
    axle = position.split(".")[1]
    both = _axle_grip_nm(reading, axle)
    kind = reading.word(f"diff.{axle}", "differential")
    return shaft_torque_nm(
        reading.value("engine.unit", "torque"),
        lowest_ratio(reading),
        efficiency(reading),
        both / 2,
        both,
        kind == "locking",
    )


def shaft_stress(before: Fitted, after: Fitted, position: str) -> Finding:
    """Shear stress in a half shaft in the lowest gear against its material."""

    def part(reading: Reading) -> float:
        torque = _half_shaft_nm(reading, position)
        stress = solid_shear_pa(torque, reading.value(position, "shaft_diameter"))
        return stress / reading.value(position, "shear_strength")

    sides = on_both(before, after, part)
    torque = on_both(before, after, lambda r: _half_shaft_nm(r, position))
    stress = on_both(
        before,
        after,
        lambda r: solid_shear_pa(_half_shaft_nm(r, position), r.value(position, "shaft_diameter")),
    )
    return against(
        f"driveline.shaft.{position}",
        f"shear stress in {_titled(after, position)}, lowest gear, as a part of what the steel permits",
        sides,
        SHEAR,
        "%",
        lambda p: p <= 1,
        digits=0,
        mend=_shaft_mend(after, position, sides),
        more=(
            figure("torque", torque.before, torque.after, "Nm"),
            figure("shear stress", stress.before, stress.after, "MPa"),
        ),
    )


def _titled(fitted: Fitted, position: str) -> str:
    place = fitted.book.positions.get(position)
    return f"the {place.title}" if place else position


def _shaft_mend(after: Fitted, position: str, sides: BothSides[float]) -> str:
    diameter = Reading(after).value(position, "shaft_diameter")
    if sides.after is None or diameter != diameter:
        return ""
    wanted = diameter * sides.after ** (1 / 3)
    thicker = [c for c in after.candidates(position, "shaft_diameter") if c[1] >= wanted]
    named = f"; {thicker[0][0].number} has {thicker[0][1] * 1000:.1f} mm" if thicker else ""
    return (
        f"A shaft of at least {wanted * 1000:.1f} mm of the same steel would carry it{named}; "
        "so would an open differential or a smaller tyre."
    )


def _propshaft_nm(reading: Reading) -> float:
    """Torque on a propeller shaft: engine in the lowest gear, but no more than the axle's tyres hold."""
    at_axle = min(
        reading.value("engine.unit", "torque") * lowest_ratio(reading) * efficiency(reading),
        _axle_grip_nm(reading, "rear"),
    )
    return at_axle / reading.value(AXLE, "axle_ratio")


def propshaft_torque(before: Fitted, after: Fitted, position: str) -> Finding:
    """Torque on a propeller shaft in the lowest gear against its rating, with the stress in its tube."""

    def stress(reading: Reading) -> float:
        outer, inner = reading.value(position, "tube_outer"), reading.value(position, "tube_inner")
        return tube_shear_pa(_propshaft_nm(reading), outer, inner)

    rating = on_both(before, after, lambda r: r.value(position, "torque_rating"))
    in_tube = on_both(before, after, stress)
    return against(
        f"driveline.torque.{position}",
        f"torque on {_titled(after, position)} in the lowest gear",
        on_both(before, after, lambda r: _propshaft_nm(r) + 0 * r.value(position, "torque_rating")),
        TORQUE.at(rating.after, "Nm"),
        "Nm",
        lambda t: rating.after is not None and t <= rating.after,
        digits=0,
        mend="Fit a propeller shaft of a higher rating.",
        more=(figure("shear stress in the tube", in_tube.before, in_tube.after, "MPa"),),
    )


def splines(before: Fitted, after: Fitted, position: str) -> Finding:
    """Half-shaft splines against the differential and, where the hub is splined, the hub."""
    side, axle = position.split(".")[2], position.split(".")[1]
    hub = f"hub.{axle}.{side}"

    def disagreements(reading: Reading) -> list[str]:
        wrong = []
        inner = reading.value(position, "inner_spline_count")
        in_diff = reading.value(f"diff.{axle}", "spline_count")
        if inner != in_diff and not reading.missing:
            wrong.append(f"{inner:.0f} splines into a differential of {in_diff:.0f}")
        outer, in_hub = reading.maybe(position, "outer_spline_count"), reading.maybe(hub, "spline_count")
        if outer is not None and in_hub is not None and outer != in_hub:
            wrong.append(f"{outer:.0f} splines into a hub of {in_hub:.0f}")
        pitch = reading.maybe_word(position, "spline_pitch")
        other = reading.maybe_word(f"diff.{axle}", "spline_pitch")
        if pitch and other and pitch != other:
            wrong.append(f"pitch {pitch} into {other}")
        return wrong

    sides = on_both(before, after, disagreements)
    what = f"whether the splines of {_titled(after, position)} agree"
    if sides.after is None:
        return undetermined(f"driveline.splines.{position}", what, sides, SPLINES)
    wrong = "; ".join(sides.after)
    title = _titled(after, position)
    return Finding(
        check=f"driveline.splines.{position}",
        subject="driveline",
        verdict=Verdict.fails if wrong else Verdict.holds,
        verdict_before=_none_wrong(sides.before),
        sentence=f"Splines of {title} do not agree: {wrong}." if wrong else f"Splines of {title} agree.",
        limit=SPLINES,
        components=sides.used,
        mend=CHANGE_TOGETHER if wrong else "",
        caution=CAUTIONS["driveline"],
    )


def _none_wrong(wrong: list[str] | None) -> Verdict:
    if wrong is None:
        return Verdict.not_determined
    return Verdict.fails if wrong else Verdict.holds


def _joint_rad(reading: Reading, position: str) -> float:
    static = reading.value(position, "joint_angle_static")
    lift = lift_m(reading, position.split(".")[1])
    return static + (lift * reading.value(position, "joint_angle_per_lift") if lift else 0.0)


def joint_angle(before: Fitted, after: Fitted, position: str) -> Finding:
    """Joint angle after the change of ride height against what the joint permits."""
    permitted = on_both(before, after, lambda r: r.value(position, "joint_angle_permitted"))
    return against(
        f"driveline.joint_angle.{position}",
        f"joint angle of {_titled(after, position)} at the new ride height",
        on_both(
            before, after, lambda r: _joint_rad(r, position) + 0 * r.value(position, "joint_angle_permitted")
        ),
        ANGLE.at(permitted.after, "deg"),
        "deg",
        lambda b: permitted.after is not None and b <= permitted.after + 1e-9,
        mend="Less lift, or a shaft with joints for the angle.",
        more=(figure("permitted angle", permitted.before, permitted.after, "deg"),),
    )


def joint_ripple(before: Fitted, after: Fitted, position: str) -> Finding:
    """Angular acceleration behind one joint at the cruising speed."""

    def ripple(reading: Reading) -> float:
        wheel = engine_speed_rad_s(reading.fact("cruise_speed"), circumference_m(reading), 1.0)
        return ripple_rad_s2(wheel * reading.value(AXLE, "axle_ratio"), _joint_rad(reading, position))

    return against(
        f"driveline.joint_ripple.{position}",
        f"angular acceleration in {_titled(after, position)} when cruising, rad/s2",
        on_both(before, after, ripple),
        RIPPLE,
        "",
        lambda a: a <= 1000,
        digits=0,
        otherwise=Verdict.caution,
        mend="Less lift, or wedges that bring both joints to the same small angle.",
    )


def links(reading: Reading) -> dict[str, float]:
    """Torque in each link of the rear driveline as a part of what it carries; only links with data."""
    engine = reading.value("engine.unit", "torque")
    parts = {}
    for position, ratio in (
        ("clutch", 1.0),
        ("gearbox", 1.0),
        ("transfer", lowest_ratio(reading) / reading.value(AXLE, "axle_ratio")),
        ("propshaft.rear", lowest_ratio(reading) / reading.value(AXLE, "axle_ratio")),
        ("gears.rear", lowest_ratio(reading)),
        ("diff.rear", lowest_ratio(reading)),
    ):
        rating = reading.maybe(position, "torque_rating")
        if rating:
            held = _axle_grip_nm(reading, "rear") * ratio / lowest_ratio(reading)
            parts[position] = min(engine * ratio, held) / rating
    for position in SHAFTS[:2]:
        diameter, strength = (
            reading.maybe(position, "shaft_diameter"),
            reading.maybe(position, "shear_strength"),
        )
        if diameter and strength:
            parts[position] = solid_shear_pa(_half_shaft_nm(reading, position), diameter) / strength
    if not parts:
        reading.value("halfshaft.rear.left", "shaft_diameter")
    return parts


def weakest_link(before: Fitted, after: Fitted) -> Finding:
    """The link that carries the greatest part of its rating in the lowest gear, with the ranking."""
    sides = on_both(before, after, links)
    if sides.after is None:
        return undetermined("driveline.weakest_link", "the weakest link", sides, TORQUE)
    was = sides.before or {}
    names = sorted(was.keys() | sides.after.keys(), key=lambda p: (-sides.after.get(p, 0.0), p))
    ranking = tuple(figure(_titled(after, p)[4:], was.get(p), sides.after.get(p), "%") for p in names)
    weakest = names[0]
    load = sides.after[weakest]
    earlier = max(was, key=lambda p: (was[p], p)) if was else weakest
    text = (
        f"The weakest link in the lowest gear is {_titled(after, weakest)}, at {load:.0%} of what it carries"
    )
    text += f"; today it is {_titled(before, earlier)}, at {was[earlier]:.0%}." if was else "."
    return Finding(
        check="driveline.weakest_link",
        subject="driveline",
        verdict=_of_load(load),
        verdict_before=_of_load(was[earlier]) if was else Verdict.not_determined,
        sentence=text,
        figures=ranking,
        limit=TORQUE,
        components=sides.used,
        mend="" if load <= 1 else f"Strengthen {_titled(after, weakest)} first.",
        caution=CAUTIONS["driveline"],
    )


def _of_load(part: float) -> Verdict:
    return Verdict.holds if part <= 0.9 else Verdict.caution if part <= 1 else Verdict.fails
