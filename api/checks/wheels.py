"""Wheels and tyres: do they go together, carry the vehicle, and clear what is around them."""

from api.checks.fitted import BothSides, Fitted, Reading, against, on_both, undetermined
from api.checks.tyres import (
    load_carried_kg,
    section_reach_m,
    section_width_on_rim_m,
    speed_carried_m_s,
    track_change_m,
)
from api.checks.verdict import (
    CAUTIONS,
    Figure,
    Finding,
    Limit,
    Provenance,
    Verdict,
    before_after,
    figure,
    shown,
)

CALIPER_GAP_M = 0.003
DOES_NOT_BOLT_ON = 1.0
"""The difference of a spare that has other bolts than the road wheels: none of it serves."""

RIM = Limit(
    "within the rim widths that the tyre permits", "tyre data (ISO 4000-1, UN R30)", Provenance.recorded
)
HUMP = Limit(
    "a tubeless tyre needs a rim with a safety hump",
    "a published dictionary of automotive terms (ISO 4000-2 from memory)",
    Provenance.seen,
    "safety ledge",
)
LOAD = Limit("at least the axle load", "ISO 4000-1", Provenance.seen, "load index table, as copied")
SPEED = Limit("at least the top speed", "ISO 4000-1", Provenance.seen, "speed symbols Q to Y, as copied")
SPEED_MEMORY = Limit("at least the top speed", "ISO 4000-1", Provenance.memory, "speed symbols L to R")
WHEEL_LOAD = Limit("at least the axle load", "wheel data", Provenance.recorded)
CLEAR = Limit(
    "at least 3 mm between wheel and brake", "workshop practice", Provenance.common_practice, "", 3, "mm"
)
ARCH = Limit("no more than the room at the arch", "room recorded for the variant", Provenance.recorded)
INNER = Limit("no more than the room inboard", "room recorded for the variant", Provenance.recorded)
SPARE = Limit("within 2 % of the road tyres", "workshop practice", Provenance.common_practice, "", 2, "%")


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every wheel and tyre check that applies to what is fitted."""
    return [
        rim_width(before, after),
        tubeless(before, after),
        *(tyre_load(before, after, axle) for axle in ("front", "rear")),
        *(wheel_load(before, after, axle) for axle in ("front", "rear")),
        tyre_speed(before, after),
        *(brake_clearance(before, after, axle) for axle in ("front", "rear")),
        reach(before, after, True),
        reach(before, after, False),
        spare(before, after),
    ]


def rim_width(before: Fitted, after: Fitted) -> Finding:
    """The rim's width against the span that the tyre permits; with the section width on this rim."""

    def outside(reading: Reading) -> float:
        low, high = reading.span("tyre.road", "permitted_rim")
        rim = reading.value("wheel.road", "rim_width")
        return max(low - rim, rim - high)

    def section(reading: Reading) -> float:
        return section_width_on_rim_m(
            reading.value("tyre.road", "tyre_width"),
            reading.value("tyre.road", "measuring_rim"),
            reading.value("wheel.road", "rim_width"),
        )

    rims = on_both(before, after, lambda r: r.value("wheel.road", "rim_width"))
    rim = figure("rim width", rims.before, rims.after, "in")
    span = " to ".join(f"{shown(end, 'in'):.1f}" for end in Reading(after).span("tyre.road", "permitted_rim"))
    widths, sides = on_both(before, after, section), on_both(before, after, outside)
    return against(
        "wheels.rim_width",
        "rim width outside what the tyre permits",
        sides,
        RIM,
        "in",
        lambda beyond: beyond <= 1e-6,
        digits=2,
        mend="Choose a rim inside the tyre's span, or a tyre whose span includes the rim.",
        more=(
            rim,
            figure("section width on this rim", widths.before, widths.after, "mm"),
        ),
        say=lambda _: f"Rim of {before_after(rim.before, rim.after, 1, 'in')}; the tyre permits {span}",
    )


def tubeless(before: Fitted, after: Fitted) -> Finding:
    """A tubeless tyre on a rim without hump can leave its seat; with a tube it needs one made for it."""

    def state(reading: Reading) -> str:
        if reading.word("tyre.road", "tyre_sealing") == "tubed":
            return "tubed"
        contour = reading.word("wheel.road", "rim_contour")
        if contour == "hump":
            return "seated"
        return "tube on flat rim" if reading.fitted.has("tube.road") else "unseated"

    sides = on_both(before, after, state)
    if sides.after is None:
        return undetermined("wheels.tubeless", "whether the tyre stays seated", sides, HUMP)
    sentences = {
        "tubed": "A tubed tyre does not depend on the rim's hump.",
        "seated": "The tubeless tyre sits behind a hump.",
        "tube on flat rim": "A tubeless tyre with a tube on a rim without hump needs a tube made for it.",
        "unseated": "A tubeless tyre on a rim without hump or tube can lose its seat and its air.",
    }
    return Finding(
        check="wheels.tubeless",
        subject="wheels",
        verdict=_TUBELESS[sides.after],
        verdict_before=Verdict.not_determined if sides.before is None else _TUBELESS[sides.before],
        sentence=f"{sentences[sides.after][:-1]} ({HUMP.cited}).",
        limit=HUMP,
        components=sides.used,
        mend=""
        if sides.after in ("tubed", "seated")
        else "Fit a rim with a hump, or a tubed tyre with its tube.",
        caution=CAUTIONS["wheels"],
    )


_TUBELESS = {
    "tubed": Verdict.holds,
    "seated": Verdict.holds,
    "tube on flat rim": Verdict.caution,
    "unseated": Verdict.fails,
}


def _axle_load_kg(reading: Reading, axle: str) -> float:
    return reading.fact(f"axle_load_{axle}_laden")


def tyre_load(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Two tyres by load index against the laden axle load."""

    def carried(reading: Reading) -> float:
        index = reading.value("tyre.road", "load_index")
        return 2 * load_carried_kg(round(index)) if index == index else index

    return _covers(
        before, after, f"wheels.tyre_load.{axle}", f"load that the {axle} tyres carry", carried, axle, LOAD
    )


def wheel_load(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Two wheels against the laden axle load."""

    def carried(reading: Reading) -> float:
        return 2 * reading.value("wheel.road", "wheel_load")

    what = f"load that the {axle} wheels carry"
    return _covers(before, after, f"wheels.wheel_load.{axle}", what, carried, axle, WHEEL_LOAD)


def _covers(before, after, check, what, carried, axle, limit) -> Finding:
    loads = on_both(before, after, lambda r: _axle_load_kg(r, axle))
    covers = on_both(before, after, lambda r: carried(r) + 0 * _axle_load_kg(r, axle))
    return against(
        check,
        what,
        covers,
        limit.at(loads.after, "kg"),
        "kg",
        lambda kg: loads.after is not None and kg >= loads.after,
        digits=0,
        mend="Fit tyres and wheels of a higher load rating, or lower the permitted axle load on its plate.",
        more=(figure(f"{axle} axle load, laden", loads.before, loads.after, "kg"),),
    )


def tyre_speed(before: Fitted, after: Fitted) -> Finding:
    """The speed symbol against the top speed."""

    def carried(reading: Reading) -> float:
        symbol = reading.word("tyre.road", "speed_symbol")
        top = reading.fact("top_speed")
        return (speed_carried_m_s(symbol) if symbol else float("nan")) + 0 * top

    top = on_both(before, after, lambda r: r.fact("top_speed"))
    symbol = Reading(after).word("tyre.road", "speed_symbol")
    return against(
        "wheels.tyre_speed",
        "speed that the tyres carry",
        on_both(before, after, carried),
        (SPEED_MEMORY if symbol in "LMNPR" else SPEED).at(top.after, "km/h"),
        "km/h",
        lambda v: top.after is not None and v >= top.after - 1e-9,
        digits=0,
        mend="Fit tyres of a higher speed symbol.",
        more=(figure("top speed", top.before, top.after, "km/h"),),
    )


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
        lambda m: m >= CALIPER_GAP_M - 1e-9,
        mend="Fit a wheel with more room inside, or a smaller brake.",
    )


def reach(before: Fitted, after: Fitted, outward: bool) -> Finding:
    """How much further the tyre reaches than today's, against the room recorded for the variant.

    The room is measured from the wheel and tyre that the variant had from new; today stands in for
    it, since a change is what the fitter can measure.
    """

    def reaches(reading: Reading) -> float:
        section = section_width_on_rim_m(
            reading.value("tyre.road", "tyre_width"),
            reading.value("tyre.road", "measuring_rim"),
            reading.value("wheel.road", "rim_width"),
        )
        return section_reach_m(section, reading.value("wheel.road", "offset"), outward)

    room = on_both(before, after, lambda r: r.fact("arch_gap_outer" if outward else "arch_gap_inner"))
    sides = on_both(before, after, reaches)
    check, limit = ("wheels.outer_reach", ARCH) if outward else ("wheels.inner_reach", INNER)
    what = f"tyre moved {'outward' if outward else 'inward'}"
    if sides.before is None or sides.after is None or room.after is None:
        missing = (*sides.missing, *room.missing) or ("today's wheel or tyre data",)
        worded = (*sides.missing_worded, *room.missing_worded) or (
            "today's wheel or tyre is not recorded in full",
        )
        return undetermined(check, what, BothSides(None, None, missing, worded, sides.used), limit)
    moved = BothSides(0.0, sides.after - sides.before, (), (), sides.used)
    return against(
        check,
        what,
        moved,
        limit.at(room.after, "mm"),
        "mm",
        lambda m: m <= room.after + 1e-9,
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
        lambda d: d <= 0.02,
        otherwise=Verdict.fails if sides.after == DOES_NOT_BOLT_ON else Verdict.caution,
        mend="Change the spare with the road wheels and tyres"
        + ("; with four-wheel drive unlike tyres wind up the shafts." if four else "."),
    )
