"""Gearing: speed of road and engine, what the lowest gear can climb, ratios against the teeth behind them."""

import math
from collections.abc import Callable
from dataclasses import replace

from graftbook.checks.findings import against, at_least, at_most, undetermined
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both, remembered
from graftbook.checks.verdict import CAUTIONS, Figure, Finding, Limit, Provenance, Verdict, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

GEARS = ("gear_1", "gear_2", "gear_3", "gear_4", "gear_5")
AXLE = ("gears.rear", "diff.rear")
ROLLING_RESISTANCE = 0.015
GRIP = 0.8
"""Adhesion of a tyre on a dry road; workshop practice for the most that a tyre passes on."""
RPM = 2 * math.pi / 60

CRUISE = Limit("at most 75 % of the speed at rated power", "engine practice", Provenance.common_practice)
RATED = Limit("at most the speed at rated power", "engine data", Provenance.recorded)
START = Limit(
    "at least 12 % with the permitted total mass",
    "Regulation (EU) 1230/2012",
    Provenance.memory,
    "Annex I, starting on a gradient, there for a vehicle with its trailer",
    12.0,
    "%",
)
TOWING = replace(START, text="at least 12 % with the permitted total mass and the trailer")
FIRST = Limit(
    "at least 10 km/h at 1000 rpm; below it drivers start off in second",
    "trade experience",
    Provenance.common_practice,
    value=10.0,
    unit="km/h",
)


def road_speed_m_s(engine_speed_rad_s: float, circumference_m: float, overall_ratio: float) -> float:
    """v = (w / 2 pi) C / i; slip is left out. In other units: v[km/h] = 0.06 n[rpm] C[m] / i."""
    return engine_speed_rad_s / (2 * math.pi) * circumference_m / overall_ratio


def engine_speed_rad_s(speed_m_s: float, circumference_m: float, overall_ratio: float) -> float:
    """The inverse of `road_speed_m_s`."""
    return speed_m_s / circumference_m * overall_ratio * 2 * math.pi


def tractive_force_n(
    torque_nm: float, overall_ratio: float, efficiency: float, circumference_m: float
) -> float:
    """Force at the tread: torque at the wheels over the rolling radius C / 2 pi."""
    return torque_nm * overall_ratio * efficiency * 2 * math.pi / circumference_m


def gradient_climbed(force_n: float, mass_kg: float) -> float:
    """The steepest gradient (rise over run) that a force holds against weight and rolling resistance.

    Solves F / (m g) = sin a + f cos a; infinite when the force exceeds what any slope can ask.
    """
    asked = force_n / (mass_kg * STANDARD_GRAVITY)
    span = math.hypot(1.0, ROLLING_RESISTANCE)
    if asked >= span:
        return math.inf
    return math.tan(math.asin(asked / span) - math.atan(ROLLING_RESISTANCE))


def gradient_held(on_driven_kg: float, mass_kg: float) -> float:
    """The steepest gradient (rise over run) that the driven tyres hold: mu N / (m g) - f.

    The shift of weight to the rear on the slope is left out, which is the safe side for rear drive.
    """
    return max(GRIP * on_driven_kg / mass_kg - ROLLING_RESISTANCE, 0.0)


@remembered
def gears(reading: Reading) -> list[float]:
    """The gearbox ratios, first to top; first must be recorded, and of the others those that are."""
    others = [r for kind in GEARS[1:] if (r := reading.maybe("gearbox", kind)) is not None]
    return [reading.value("gearbox", "gear_1"), *(others or [reading.value("gearbox", "gear_4")])]


@remembered
def behind_gearbox(reading: Reading, low: bool = False, overdrive: bool = False) -> float:
    """The ratio from gearbox output to wheel: overdrive, transfer box and axle."""
    ratio = reading.value(AXLE, "axle_ratio")
    if reading.fitted.has("transfer"):
        ratio *= reading.value("transfer", "transfer_low" if low else "transfer_high")
    if overdrive and reading.fitted.has("overdrive"):
        ratio *= reading.value("overdrive", "overdrive_ratio")
    return ratio


@remembered
def lowest_ratio(reading: Reading) -> float:
    """First gear, low range, axle."""
    return gears(reading)[0] * behind_gearbox(reading, low=True)


def highest_ratio(reading: Reading) -> float:
    """Top gear with the overdrive in, high range, axle."""
    return gears(reading)[-1] * behind_gearbox(reading, overdrive=True)


@remembered
def efficiency(reading: Reading) -> float:
    """Efficiency of the driveline, recorded on the gearbox, the axle gears or the variant."""
    of_variant = reading.maybe_fact("driveline_efficiency")
    return reading.value(("gearbox", *AXLE), "driveline_efficiency") if of_variant is None else of_variant


@remembered
def circumference_m(reading: Reading, axle: str = "rear") -> float:
    """Of the road tyre; of the axle's own where a range has tyres for each axle."""
    return reading.value(("tyre.road", f"tyre.{axle}"), "rolling_circumference")


def driven_axles(fitted: Fitted) -> tuple[str, ...]:
    """The axles that have gears; the rear one where none is fitted, so that its gears are missed."""
    found = [a for a in ("rear", "front") if fitted.has(f"gears.{a}") or fitted.has(f"diff.{a}")]
    return tuple(found) or ("rear",)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Cruising speed, start on a gradient alone and with a trailer, and whether first gear is of use."""
    towing = [towing_start(before, after)] if after.found_fact("towed_mass") else []
    return [cruise(before, after), start(before, after), *towing, first_gear(before, after)]


def speeds_at_1000_rpm(before: Fitted, after: Fitted) -> tuple[Figure, ...]:
    """Road speed at 1000 rpm in every gear, high range then low range, then with the overdrive."""

    def speeds(reading: Reading) -> dict[str, float]:
        table = {}
        ranges = [("", False)] if not reading.fitted.has("transfer") else [(", high", False), (", low", True)]
        for word, low in ranges:
            for number, ratio in enumerate(gears(reading), 1):
                overall = ratio * behind_gearbox(reading, low)
                table[f"speed at 1000 rpm, gear {number}{word}"] = road_speed_m_s(
                    1000 * RPM, circumference_m(reading), overall
                )
        if reading.fitted.has("overdrive"):
            overall = highest_ratio(reading)
            table["speed at 1000 rpm, overdrive"] = road_speed_m_s(
                1000 * RPM, circumference_m(reading), overall
            )
        return table

    sides = on_both(before, after, speeds)
    was, now = sides.before or {}, sides.after or {}
    return tuple(figure(name, was.get(name), now.get(name), "km/h") for name in sorted(was | now))


def cruise(before: Fitted, after: Fitted) -> Finding:
    """Engine speed at the house's cruising speed, as a part of the speed at rated power."""

    def part(reading: Reading) -> float:
        turning = engine_speed_rad_s(
            reading.fact("cruise_speed"), circumference_m(reading), highest_ratio(reading)
        )
        return turning / reading.value("engine.unit", "power_speed")

    def turning(reading: Reading) -> float:
        return part(reading) * reading.value("engine.unit", "power_speed")

    sides, rpm = on_both(before, after, part), on_both(before, after, turning)
    if sides.after is None:
        return undetermined("gearing.cruise", "engine speed when cruising", sides, CRUISE)
    over = not at_most(1).holds(sides.after)
    return against(
        "gearing.cruise",
        "engine speed when cruising, as a part of the speed at rated power",
        sides,
        RATED if over else CRUISE,
        "%",
        at_most(1 if over else 0.75),
        digits=0,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend=_cruise_mend(after, sides),
        more=(
            figure("engine speed when cruising", rpm.before, rpm.after, "rpm"),
            *speeds_at_1000_rpm(before, after),
        ),
    )


def _cruise_mend(after: Fitted, sides: BothSides[float]) -> str:
    ratio = Reading(after).value(AXLE, "axle_ratio")
    if not sides.after or not math.isfinite(ratio):
        return ""
    wanted = ratio * 0.75 / sides.after
    slower = [c for c in after.candidates("gears.rear", "axle_ratio") if c[1] <= wanted]
    named = f"; {slower[0][0].number} has {slower[0][1]:.2f}" if slower else ""
    top = 0.75 / sides.after
    geared = "" if after.has("overdrive") else f" or an overdrive of at most {top:.2f}"
    return f"An axle ratio of at most {wanted:.2f}{geared} would do it{named}."


def start(before: Fitted, after: Fitted) -> Finding:
    """The gradient that the lowest gear climbs with the permitted total mass."""
    return _start(before, after, "gearing.start", "laden", START, lambda reading: 0.0)


def towing_start(before: Fitted, after: Fitted) -> Finding:
    """The same with the greatest trailer that the vehicle may tow."""
    return _start(
        before, after, "gearing.start_towing", "with the trailer", TOWING, lambda r: r.fact("towed_mass")
    )


def _start(
    before: Fitted, after: Fitted, check: str, how: str, limit: Limit, towed: Callable[[Reading], float]
) -> Finding:
    def pulled(reading: Reading) -> float:
        torque = reading.value("engine.unit", "torque")
        force = tractive_force_n(torque, lowest_ratio(reading), efficiency(reading), circumference_m(reading))
        # No slope is steeper than upright: 1000 % is where the figure stops.
        return min(gradient_climbed(force, reading.fact("mass_laden") + towed(reading)), 10.0)

    def held(reading: Reading) -> float:
        on_driven = sum(reading.fact(f"axle_load_{axle}_laden") for axle in driven_axles(reading.fitted))
        return gradient_held(on_driven, reading.fact("mass_laden") + towed(reading))

    ratio, engine, tyres = (on_both(before, after, of) for of in (lowest_ratio, pulled, held))
    return against(
        check,
        f"gradient climbed in the lowest gear, {how}",
        on_both(before, after, lambda reading: min(pulled(reading), held(reading))),
        limit,
        "%",
        at_least(0.12),
        digits=0,
        mend=_start_mend(after, engine, tyres, check == "gearing.start_towing"),
        more=(
            figure("lowest overall ratio", ratio.before, ratio.after, ""),
            figure("gradient that the engine pulls", engine.before, engine.after, "%"),
            figure("gradient that the driven tyres hold", tyres.before, tyres.after, "%"),
        ),
    )


def _start_mend(after: Fitted, engine: BothSides[float], tyres: BothSides[float], tows: bool) -> str:
    """More gearing where the engine gives out first; where the tyres do, no gear helps."""
    if engine.after is not None and tyres.after is not None and tyres.after < engine.after:
        trailer = "a lighter trailer, " if tows else ""
        text = f"{trailer}more of the weight on the driven wheels, or a driven front axle, would do it"
        if "front" in driven_axles(after):
            text = "a lighter trailer would do it" if tows else "tyres of more grip would do it"
        return f"The driven wheels slip before the engine gives out: {text}."
    ranges = ", first gear or low range" if after.has("transfer") else " or first gear"
    return f"A lower axle{ranges}, or a smaller tyre, would do it."


def first_gear(before: Fitted, after: Fitted) -> Finding:
    """Whether first gear in high range is long enough to be of use on the road."""

    def speed(reading: Reading) -> float:
        return road_speed_m_s(
            1000 * RPM, circumference_m(reading), gears(reading)[0] * behind_gearbox(reading)
        )

    return against(
        "gearing.first",
        "speed at 1000 rpm in first gear",
        on_both(before, after, speed),
        FIRST,
        "km/h",
        at_least(10 / 3.6),
        otherwise=Verdict.caution,
        mend="A taller axle would make first gear useful.",
    )


TEETH = Limit("within 0.5 % of the ratio of the teeth", "teeth driven over teeth driving", Provenance.derived)
ALLOWED = 0.005
"""What a ratio may differ by rounding to two decimals, as a part of it."""


def crown_wheel_teeth(before: Fitted, after: Fitted) -> list[Finding]:
    """Axle ratio against crown wheel over pinion, of each axle where all three are recorded."""
    kinds = ("crown_wheel_teeth", "pinion_teeth", "axle_ratio")
    found = (_teeth(before, after, "driveline", f"gears.{axle}", *kinds) for axle in ("rear", "front"))
    return [finding for finding in found if finding is not None]


def speedometer_teeth(before: Fitted, after: Fitted) -> list[Finding]:
    """Cable turns for one turn of the gearbox output against the teeth of the drive, where recorded."""
    kinds = ("driving_teeth", "driven_teeth", "speedo_drive_ratio")
    finding = _teeth(before, after, "speedometer", "speedo.drive", *kinds)
    return [] if finding is None else [finding]


def _teeth(
    before: Fitted, after: Fitted, subject: str, position: str, over: str, under: str, ratio: str
) -> Finding | None:
    component = after.component(position)
    if component is None or not {over, under, ratio} <= component.characteristics.keys():
        return None
    both = on_both(
        before,
        after,
        lambda r: (r.value(position, over) / r.value(position, under), r.value(position, ratio)),
    )
    if both.after is None:
        return undetermined(f"{subject}.teeth.{position}", "the ratio of the teeth", both, TEETH)
    (counted, recorded), was = both.after, both.before or (None, None)
    off = counted / recorded - 1
    wrong = abs(off) > ALLOWED * (1 + 1e-9)
    title, number = after.title(position), component.number
    reading = Reading(after)
    made = f"{reading.value(position, over):.0f} and {reading.value(position, under):.0f} teeth"
    so = f"{made} make {counted:.3f}, and {recorded:.3f} is recorded"
    return Finding(
        check=f"{subject}.teeth.{position}",
        subject=subject,
        verdict=Verdict.caution if wrong else Verdict.holds,
        sentence=f"Teeth of {number} ({title}): {so}; {TEETH.text} ({TEETH.cited}).",
        figures=(
            figure("ratio of the teeth", was[0], counted, ""),
            figure("recorded ratio", was[1], recorded, ""),
        ),
        limit=TEETH,
        components=both.used,
        mend="Count the teeth, then correct the record: one of the figures is wrong." if wrong else "",
        beyond=round(100 * (abs(off) - ALLOWED), 2),
        caution=CAUTIONS.get(subject, ""),
    )
