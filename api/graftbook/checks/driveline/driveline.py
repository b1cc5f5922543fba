"""Driveline: torque at each shaft in the lowest gear, stress, splines, axle ratios, the weakest link."""

from graftbook.checks.driveline.gearing import circumference_m, crown_wheel_teeth
from graftbook.checks.driveline.joints import joint_angle, joint_ripple
from graftbook.checks.driveline.torque import (
    PROPSHAFTS,
    SHAFTS,
    TORQUE,
    axle_efficiency,
    axle_ratio,
    half_shaft_nm,
    propshaft_nm,
    solid_shear_pa,
    tube_shear_pa,
    weakest_link,
)
from graftbook.checks.findings import against, at_most, undetermined
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import CAUTIONS, Figure, Finding, Limit, Provenance, Verdict, figure

SHEAR = Limit("at most what the material permits", "16 T / (pi d^3), material data", Provenance.recorded)

SPLINES = Limit(
    "the same count and pitch on both sides", "ANSI B92.1", Provenance.seen, "D = N / P, as copied"
)

CHANGE_TOGETHER = (
    "Change shaft and differential together: splines of another count or pitch never interchange."
)

ALIKE = Limit(
    "at most 1 %, or four driven wheels wind the shafts up", "equal turns of all wheels", Provenance.derived
)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every driveline check that applies to what is fitted."""
    shafts = [s for s in SHAFTS if after.has(s)]
    propshafts = [p for p in PROPSHAFTS if after.has(p)]
    return [
        *(shaft_stress(before, after, shaft) for shaft in shafts),
        *(propshaft_torque(before, after, shaft) for shaft in propshafts),
        *(splines(before, after, shaft) for shaft in shafts),
        *(joint_angle(before, after, shaft) for shaft in propshafts),
        *(joint_ripple(before, after, shaft) for shaft in propshafts),
        *axle_ratios(before, after),
        *crown_wheel_teeth(before, after),
        weakest_link(before, after),
    ]


def shaft_stress(before: Fitted, after: Fitted, position: str) -> Finding:
    """Shear stress in a half shaft in the lowest gear against its material."""

    def part(reading: Reading) -> float:
        torque = half_shaft_nm(reading, position)
        stress = solid_shear_pa(torque, reading.value(position, "shaft_diameter"))
        return stress / reading.value(position, "shear_strength")

    sides = on_both(before, after, part)
    torque = on_both(before, after, lambda r: half_shaft_nm(r, position))
    stress = on_both(
        before,
        after,
        lambda r: solid_shear_pa(half_shaft_nm(r, position), r.value(position, "shaft_diameter")),
    )
    return against(
        f"driveline.shaft.{position}",
        f"shear stress in the {after.title(position)}, lowest gear, as a part of what the steel permits",
        sides,
        SHEAR,
        "%",
        at_most(1),
        digits=0,
        mend=_shaft_mend(after, position, sides),
        more=(
            figure("torque", torque.before, torque.after, "Nm"),
            figure("shear stress", stress.before, stress.after, "MPa"),
        ),
    )


LOCKED_OVER_OPEN = 2.0
"""What a shaft gets behind a locked differential over what it gets behind an open one."""


def _shaft_mend(after: Fitted, position: str, sides: BothSides[float]) -> str:
    diameter = Reading(after).value(position, "shaft_diameter")
    if sides.after is None or diameter != diameter:
        return ""
    wanted = diameter * sides.after ** (1 / 3)
    thicker = [c for c in after.candidates(position, "shaft_diameter") if c[1] >= wanted]
    named = f"; {thicker[0][0].number} has {thicker[0][1] * 1000:.1f} mm" if thicker else ""
    halved = _locking(after, position) and sides.after <= LOCKED_OVER_OPEN
    other = "; so would an open differential" if halved else ""
    return f"A shaft of at least {wanted * 1000:.1f} mm of the same steel would carry it{named}{other}."


def _locking(after: Fitted, position: str) -> bool:
    return Reading(after).maybe_word(f"diff.{position.split('.')[1]}", "differential") == "locking"


def propshaft_torque(before: Fitted, after: Fitted, position: str) -> Finding:
    """Torque on a propeller shaft in the lowest gear against its rating, with the stress in its tube."""

    def stress(reading: Reading) -> float:
        outer, inner = reading.value(position, "tube_outer"), reading.value(position, "tube_inner")
        return tube_shear_pa(propshaft_nm(reading, position), outer, inner)

    rating = on_both(before, after, lambda r: r.value(position, "torque_rating"))
    in_tube = on_both(before, after, stress)
    return against(
        f"driveline.torque.{position}",
        f"torque on the {after.title(position)} in the lowest gear",
        on_both(
            before, after, lambda r: only_with(propshaft_nm(r, position), r.value(position, "torque_rating"))
        ),
        TORQUE.at(rating.after, "Nm"),
        "Nm",
        at_most(rating.after),
        digits=0,
        mend="Fit a propeller shaft of a higher rating.",
        more=(
            figure("shear stress in the tube", in_tube.before, in_tube.after, "MPa"),
            _axle_efficiency(before, after, position.split(".")[1]),
        ),
    )


def _axle_efficiency(before: Fitted, after: Fitted, axle: str) -> Figure:
    sides = on_both(before, after, lambda r: axle_efficiency(r, axle))
    recorded = Reading(after).maybe(f"gears.{axle}", "axle_efficiency") is not None
    usual = "" if recorded else "usual "
    return figure(f"{usual}efficiency of the crown wheel and pinion", sides.before, sides.after, "%")


def axle_ratios(before: Fitted, after: Fitted) -> list[Finding]:
    """Front against rear axle ratio on four-wheel drive; nothing to say on two driven wheels."""
    if not (after.has("gears.front") and after.has("gears.rear")):
        return []

    def turns(reading: Reading, axle: str) -> float:
        ratio = axle_ratio(reading, axle)
        return ratio / circumference_m(reading, axle) if each_its_own else ratio

    def difference(reading: Reading) -> float:
        return abs(turns(reading, "front") / turns(reading, "rear") - 1)

    each_its_own = after.has("tyre.front") or after.has("tyre.rear")
    sides = on_both(before, after, difference)
    what = "difference between the front and the rear axle ratio"
    mend = "Change the crown wheels and pinions of both axles together."
    if each_its_own:
        what = f"{what}, each over its tyre"
        mend = "Fit crown wheels and pinions of one ratio and tyres of one size on both axles."
    return [
        against("driveline.axle_ratios", what, sides, ALIKE, "%", at_most(0.01), mend=mend),
    ]


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
    what = f"whether the splines of the {after.title(position)} agree"
    if sides.after is None:
        return undetermined(f"driveline.splines.{position}", what, sides, SPLINES)
    wrong = "; ".join(sides.after)
    title = f"the {after.title(position)}"
    return Finding(
        check=f"driveline.splines.{position}",
        subject="driveline",
        verdict=Verdict.fails if wrong else Verdict.holds,
        sentence=f"Splines of {title} do not agree: {wrong}." if wrong else f"Splines of {title} agree.",
        limit=SPLINES,
        components=sides.used,
        mend=CHANGE_TOGETHER if wrong else "",
        wrong=tuple(sides.after),
        caution=CAUTIONS["driveline"],
    )
