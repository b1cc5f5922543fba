"""Wheels and tyres: do they go together, carry the vehicle, and clear what is around them."""

from collections.abc import Callable

from graftbook.checks.chassis.wheel_room import brake_clearance, reach, scrub, section_on_rim, spare
from graftbook.checks.findings import against, at_least, at_most, undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import (
    CAUTIONS,
    Finding,
    Limit,
    Provenance,
    Verdict,
    before_after,
    figure,
    shown,
)

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

SPEED = Limit("at least the top speed", "ISO 4000-1", Provenance.seen, "speed symbols L to Y, as copied")

WHEEL_LOAD = Limit("at least the axle load", "wheel data", Provenance.recorded)


LOAD_INDEX_KG = dict(
    zip(
        range(65, 126),
        (290, 300, 307, 315, 325, 335, 345, 355, 365, 375, 387, 400, 412, 425, 437, 450, 462, 475, 487, 500,
         515, 530, 545, 560, 580, 600, 615, 630, 650, 670, 690, 710, 730, 750, 775, 800, 825, 850, 875, 900,
         925, 950, 975, 1000, 1030, 1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360, 1400, 1450,
         1500, 1550, 1600, 1650),
        strict=True,
    )
)  # fmt: skip
"""ISO 4000-1 load index to load in kg, as published."""

SPEED_SYMBOL_KMH = {
    "L": 120, "M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190,
    "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}  # fmt: skip
"""ISO 4000-1 speed symbol to km/h, as published."""


def load_carried_kg(load_index: int) -> float:
    """Load of one tyre; raises ValueError outside the table."""
    if load_index not in LOAD_INDEX_KG:
        raise ValueError(f"load index {load_index} is not in the table")
    return float(LOAD_INDEX_KG[load_index])


def speed_carried_m_s(symbol: str) -> float:
    """Speed of a symbol; raises ValueError for an unknown one."""
    if symbol not in SPEED_SYMBOL_KMH:
        raise ValueError(f"speed symbol '{symbol}' is not known")
    return SPEED_SYMBOL_KMH[symbol] / 3.6


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
        scrub(before, after),
        spare(before, after),
    ]


def rim_width(before: Fitted, after: Fitted) -> Finding:
    """The rim's width against the span that the tyre permits; with the section width on this rim."""

    def outside(reading: Reading) -> float:
        low, high = reading.span("tyre.road", "permitted_rim")
        rim = reading.value("wheel.road", "rim_width")
        return max(low - rim, rim - high)

    rims = on_both(before, after, lambda r: r.value("wheel.road", "rim_width"))
    rim = figure("rim width", rims.before, rims.after, "in")
    span = " to ".join(f"{shown(end, 'in'):.1f}" for end in Reading(after).span("tyre.road", "permitted_rim"))
    widths, sides = on_both(before, after, section_on_rim), on_both(before, after, outside)
    return against(
        "wheels.rim_width",
        "rim width outside what the tyre permits",
        sides,
        RIM,
        "in",
        at_most(1e-6),
        digits=2,
        mend="Choose a rim inside the tyre's span, or a tyre whose span includes the rim.",
        more=(
            rim,
            figure("section width on this rim", widths.before, widths.after, "mm"),
        ),
        say=lambda _before, _after: (
            f"Rim of {before_after(rim.before, rim.after, 1, 'in')}; the tyre permits {span}"
        ),
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


TWINS_FROM = 6
"""Road wheels from which the rear axle runs on twins."""


def wheels_on(reading: Reading, axle: str) -> int:
    """How many wheels stand on an axle: two, behind four where six or more road wheels are fitted."""
    twins = axle == "rear" and reading.fitted.quantity("wheel.road") >= TWINS_FROM
    return 4 if twins else 2


def tyre_load(before: Fitted, after: Fitted, axle: str) -> Finding:
    """The axle's tyres by load index against the laden axle load; twins by their own, lower index."""

    def carried(reading: Reading) -> float:
        tyres = wheels_on(reading, axle)
        index = reading.value("tyre.road", "load_index_twin" if tyres > 2 else "load_index")
        return tyres * load_carried_kg(round(index)) if index == index else index

    return _covers(before, after, f"wheels.tyre_load.{axle}", "tyres", carried, axle, LOAD)


def wheel_load(before: Fitted, after: Fitted, axle: str) -> Finding:
    """The axle's wheels against the laden axle load."""

    def carried(reading: Reading) -> float:
        return wheels_on(reading, axle) * reading.value("wheel.road", "wheel_load")

    return _covers(before, after, f"wheels.wheel_load.{axle}", "wheels", carried, axle, WHEEL_LOAD)


def _covers(
    before: Fitted,
    after: Fitted,
    check: str,
    those: str,
    carried: Callable[[Reading], float],
    axle: str,
    limit: Limit,
) -> Finding:
    loads = on_both(before, after, lambda r: _axle_load_kg(r, axle))
    each = on_both(before, after, lambda r: _axle_load_kg(r, axle) / wheels_on(r, axle))
    covers = on_both(before, after, lambda r: only_with(carried(r), _axle_load_kg(r, axle)))
    count = "four" if wheels_on(Reading(after), axle) > 2 else "two"
    return against(
        check,
        f"load that the {count} {axle} {those} carry",
        covers,
        limit.at(loads.after, "kg"),
        "kg",
        at_least(loads.after),
        digits=0,
        mend=f"Fit {those} of a higher load rating, or have the permitted axle load on its plate lowered.",
        more=(
            figure(f"{axle} axle load, laden", loads.before, loads.after, "kg"),
            figure(f"load on each of the {axle} {those}", each.before, each.after, "kg"),
        ),
    )


def tyre_speed(before: Fitted, after: Fitted) -> Finding:
    """The speed symbol against the top speed."""

    def carried(reading: Reading) -> float:
        symbol = reading.word("tyre.road", "speed_symbol")
        top = reading.fact("top_speed")
        return only_with(speed_carried_m_s(symbol) if symbol else float("nan"), top)

    top = on_both(before, after, lambda r: r.fact("top_speed"))
    return against(
        "wheels.tyre_speed",
        "speed that the tyres carry",
        on_both(before, after, carried),
        SPEED.at(top.after, "km/h"),
        "km/h",
        at_least(top.after),
        digits=0,
        mend="Fit tyres of a higher speed symbol.",
        more=(figure("top speed", top.before, top.after, "km/h"),),
    )
