"""Room around wheels and tyres: brakes, arches, and the spare that matches."""

import math

from graftbook.checks.findings import Bound, against, at_least, at_most, undetermined
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both
from graftbook.checks.verdict import Figure, Finding, Limit, Provenance, Verdict, figure

CALIPER_GAP_M = 0.003

DOES_NOT_BOLT_ON = 1.0
"""The difference of a spare that has other bolts than the road wheels: none of it serves."""

CLEAR = Limit(
    "at least 3 mm between wheel and brake", "workshop practice", Provenance.common_practice, "", 3, "mm"
)

ARCH = Limit("no more than the room at the arch", "room recorded for the variant", Provenance.recorded)

INNER = Limit("no more than the room inboard", "room recorded for the variant", Provenance.recorded)

SCRUB_M = 0.015

SCRUB = Limit(
    "at most 15 mm either way", "workshop practice", Provenance.common_practice, "kingpins as they were",
    15, "mm",
)  # fmt: skip

SPARE = Limit("within 2 % of the road tyres", "workshop practice", Provenance.common_practice, "", 2, "%")


RIM_FACTOR = 0.4
"""K of S = S1 + K (A - A1), UN R30 6.1.1.1: section width follows the rim by four tenths."""


def section_width_on_rim_m(width_m: float, measuring_rim_m: float, rim_m: float) -> float:
    """UN R30 6.1.1.1: S = S1 + K (A - A1)."""
    return width_m + RIM_FACTOR * (rim_m - measuring_rim_m)


def track_change_m(offset_before_m: float, offset_after_m: float) -> float:
    """Both wheels move: less offset widens the track by twice the difference."""
    return 2 * (offset_before_m - offset_after_m)


def section_reach_m(section_width_m: float, offset_m: float, outward: bool) -> float:
    """How far the tyre reaches from the mounting face, outward or inward."""
    return section_width_m / 2 - math.copysign(1, 1 if outward else -1) * offset_m


def brake_clearance(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Room between the wheel's inside and the largest radius of the brake."""

    def gap(reading: Reading) -> float:
        places = (f"brake.{axle}.left", f"rotor.{axle}.left")
        inside = reading.value("wheel.road", "rim_inner_radius")
        return inside - reading.value(places, "brake_outer_radius")

    return against(
        f"wheels.brake_clearance.{axle}",
        f"room between wheel and {axle} brake",
        on_both(before, after, gap),
        CLEAR,
        "mm",
        at_least(CALIPER_GAP_M),
        mend="Fit a wheel with more room inside, or a smaller brake.",
    )


def section_on_rim(reading: Reading) -> float:
    """Section width in metres of the tyre on the rim that it sits on."""
    return section_width_on_rim_m(
        reading.value("tyre.road", "tyre_width"),
        reading.value("tyre.road", "measuring_rim"),
        reading.value("wheel.road", "rim_width"),
    )


def reach(before: Fitted, after: Fitted, outward: bool) -> Finding:
    """How much further the tyre reaches than today's, against the room recorded for the variant.

    The room is measured from the wheel and tyre that the variant had from new; today stands in for
    it, since a change is what the fitter can measure.
    """

    def reaches(reading: Reading) -> float:
        return section_reach_m(section_on_rim(reading), reading.value("wheel.road", "offset"), outward)

    room = on_both(before, after, lambda r: r.fact("arch_gap_outer" if outward else "arch_gap_inner"))
    sides = on_both(before, after, reaches)
    check, limit = ("wheels.outer_reach", ARCH) if outward else ("wheels.inner_reach", INNER)
    what = f"tyre moved {'outward' if outward else 'inward'}"
    if sides.before is None or sides.after is None or room.after is None:
        missing = (*sides.missing, *room.missing)
        if sides.after is not None and room.after is not None:
            missing = ("today's wheel or tyre data",)
        wanting = (*sides.wanting, *room.wanting) or ("today's wheel or tyre is not recorded in full",)
        impossible = (*sides.impossible, *room.impossible)
        none: BothSides[float] = BothSides(None, None, missing, wanting, sides.used, impossible)
        return undetermined(check, what, none, limit)
    moved = BothSides(0.0, sides.after - sides.before, (), (), sides.used)
    return against(
        check,
        what,
        moved,
        limit.at(room.after, "mm"),
        "mm",
        at_most(room.after),
        mend="Choose another offset or a narrower tyre; check on full lock and full bump.",
        more=(
            figure("room", room.before, room.after, "mm"),
            *(_track_and_height(before, after) if outward else ()),
        ),
    )


def _track_and_height(before: Fitted, after: Fitted) -> tuple[Figure, ...]:
    offsets = on_both(before, after, lambda r: r.value("wheel.road", "offset"))
    radii = on_both(before, after, lambda r: r.value("tyre.road", "tyre_diameter") / 2)
    figures = []
    if offsets.before is not None and offsets.after is not None:
        figures.append(figure("change of track", 0.0, track_change_m(offsets.before, offsets.after), "mm"))
    if radii.before is not None and radii.after is not None:
        figures.append(figure("change of ride height from the tyre", 0.0, radii.after - radii.before, "mm"))
    return tuple(figures)


def scrub(before: Fitted, after: Fitted) -> Finding:
    """What the wheels' offset adds to the scrub radius: as much as it moves their centre outward.

    Kingpin and hub stay, so their angles are not needed. Today's wheels stand for the original ones.
    """
    today = Reading(before).maybe("wheel.road", "offset")
    sides = on_both(before, after, lambda r: (today or 0.0) - r.value("wheel.road", "offset"))
    check, what = "wheels.scrub", "scrub radius changed by the wheels' offset"
    if sides.after is not None and today is None:
        wanting = ("the offset of today's wheels is not recorded",)
        sides = BothSides(None, None, ("offset of today's wheels",), wanting, sides.used)
    return against(
        check,
        what,
        sides,
        SCRUB,
        "mm",
        Bound(-SCRUB_M, SCRUB_M),
        otherwise=Verdict.caution,
        mend="Choose an offset nearer to the old one; otherwise expect kick and heavier steering, and more "
        "load on the hub bearings: have the steering checked by someone licensed for it.",
    )


def spare(before: Fitted, after: Fitted) -> Finding:
    """The spare tyre's circumference against the road tyres', and the spare wheel's bolts."""

    def difference(reading: Reading) -> float:
        road = reading.value("tyre.road", "rolling_circumference")
        spare_turn = reading.value("tyre.spare", "rolling_circumference")
        for kind in ("bolt_circle", "bolt_count"):
            if abs(reading.value("wheel.spare", kind) - reading.value("wheel.road", kind)) > 1e-6:
                return DOES_NOT_BOLT_ON
        return abs(spare_turn / road - 1)

    four = after.has("transfer")
    sides = on_both(before, after, difference)
    return against(
        "wheels.spare",
        "difference between the spare and the road wheels",
        sides,
        SPARE,
        "%",
        at_most(0.02),
        otherwise=Verdict.fails if sides.after == DOES_NOT_BOLT_ON else Verdict.caution,
        mend="Change the spare with the road wheels and tyres"
        + ("; with four-wheel drive unlike tyres wind up the shafts." if four else "."),
    )
