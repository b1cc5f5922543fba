"""Speedometer and odometer: what the instrument shows after tyre, axle or drive have changed."""

import math
from collections.abc import Callable
from dataclasses import replace

from graftbook.checks.driveline.gearing import AXLE, circumference_m, speedometer_teeth
from graftbook.checks.findings import Bound, against
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both, only_with
from graftbook.checks.law import Law
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, before_after, figure
from graftbook.rulebook.model import Component
from graftbook.rulebook.units import MILE

KMH = 1 / 3.6
TEST_SPEEDS_KMH = (40.0, 80.0, 120.0)
"""UN R39 5.2.5 for most vehicles, as told at fleetco.co.za/index.php/information/speedo-accuracy.

From memory: where the top speed is below 150 km/h, 80 % of it is the fastest of them.
"""

FASTEST_FROM_KMH = 150.0

R39 = Limit(
    "never below the true speed, at most a tenth plus 4 km/h above it",
    "UN R39",
    Provenance.seen,
    "5.3, as quoted by secondary pages",
)
R39_FASTEST = Limit(
    "at most a tenth plus 4 km/h above the true speed at the fastest test speed",
    "UN R39",
    Provenance.memory,
    "5.2.5, 80 % of a top speed below 150 km/h",
)
CFR = Limit(
    "within 8 km/h at a true 80 km/h", "49 CFR 393.82", Provenance.seen, "as copied by a secondary page"
)
COUNTED_WITHIN = 0.025

ODOMETER = Limit(
    "within 2.5 %", "SAE J2976 (2022)", Provenance.seen, "as summarised by a secondary page", 2.5, "%"
)


def greatest_indicated_kmh(true_kmh: float) -> float:
    """UN R39 5.3: 0 <= V1 - V2 <= V2/10 + 4 km/h."""
    return true_kmh + true_kmh / 10 + 4


def r39_holds(indicated_kmh: float, true_kmh: float) -> bool:
    return true_kmh - 1e-9 <= indicated_kmh <= greatest_indicated_kmh(true_kmh) + 1e-9


def cfr_holds(indicated_kmh: float, true_kmh: float) -> bool:
    """49 CFR 393.82: within 8 km/h (5 mph) at 80 km/h (50 mph); two-sided, unlike UN R39."""
    return abs(indicated_kmh - true_kmh) <= 8 + 1e-9


def reading_factor(
    drive_ratio: float, axle_ratio: float, circumference_m: float, constant_per_m: float
) -> float:
    """Indicated over true speed.

    The cable turns `drive_ratio` times a turn of the propeller shaft, the shaft `axle_ratio` times a
    turn of the wheel; the instrument was made for `constant_per_m` turns a metre.
    """
    return drive_ratio * axle_ratio / (circumference_m * constant_per_m)


def corrected_drive_ratio(drive_ratio: float, factor: float) -> float:
    """The drive ratio that makes the instrument show the true speed."""
    return drive_ratio / factor


def _factor_tested(reading: Reading) -> float:
    """The factor, which the speeds that the law tests at are part of."""
    return only_with(_factor(reading), reading.maybe_fact("top_speed") or 0.0)


def _factor(reading: Reading) -> float:
    return reading_factor(
        reading.value("speedo.drive", "speedo_drive_ratio"),
        reading.value(AXLE, "axle_ratio"),
        circumference_m(reading),
        reading.value("speedometer", "speedo_constant"),
    )


def inspect(before: Fitted, after: Fitted, law: Law) -> list[Finding]:
    """The speed shown against the law of the market, and the distance counted."""
    tested = on_both(before, after, _factor_tested)
    return [
        speed_shown(after, tested, law),
        distance_counted(on_both(before, after, _factor)),
        *speedometer_teeth(before, after),
    ]


def top_speed_kmh(after: Fitted) -> float | None:
    top = Reading(after).maybe_fact("top_speed")
    return None if top is None or top != top else top / KMH


def tested_speeds_kmh(after: Fitted) -> tuple[float, ...]:
    top = top_speed_kmh(after)
    return TEST_SPEEDS_KMH if top is None else speeds_of_test_kmh(top)


def speeds_of_test_kmh(top_speed_kmh: float) -> tuple[float, ...]:
    """UN R39 5.2.5: 40, 80 and 120 km/h; from memory, 80 % of a top speed below 150 is the fastest."""
    if top_speed_kmh >= FASTEST_FROM_KMH:
        return TEST_SPEEDS_KMH
    fastest = 0.8 * top_speed_kmh
    return (*(v for v in TEST_SPEEDS_KMH if v < fastest - 1e-9), fastest)


def _test(law: Law, speeds: tuple[float, ...]) -> Callable[[float], bool]:
    if law is Law.us:
        return lambda factor: cfr_holds(80 * factor, 80)
    return lambda factor: all(r39_holds(v * factor, v) for v in speeds)


def _factors_allowed(law: Law, speeds: tuple[float, ...]) -> tuple[float, float]:
    """Least and greatest of indicated over true that hold at every test speed of the law."""
    if law is Law.us:
        return 1 - 8 / 80, 1 + 8 / 80
    return 1.0, min(greatest_indicated_kmh(speed) / speed for speed in speeds)


def _limit(law: Law, factor: float | None, top_kmh: float | None) -> Limit:
    """What decides: the relation of R39 5.3 at its three speeds, or a fastest one that memory lowers."""
    if law is Law.us:
        return CFR
    if factor is None or factor < 1 or not r39_holds(80 * factor, 80):
        return R39
    return R39 if top_kmh is not None and top_kmh >= FASTEST_FROM_KMH else R39_FASTEST


def _each(sides: BothSides[float], of: Callable[[float], float]) -> BothSides[float]:
    before = None if sides.before is None else of(sides.before)
    return replace(sides, before=before, after=None if sides.after is None else of(sides.after))


def speed_shown(after: Fitted, factors: BothSides[float], law: Law) -> Finding:
    """Indicated speed at a true 80 km/h, judged at every test speed of the law."""
    speeds = tested_speeds_kmh(after)
    holds = _test(law, speeds)
    shown_at = tuple(
        figure(
            f"indicated at a true {v:.0f} km/h",
            None if factors.before is None else v * KMH * factors.before,
            None if factors.after is None else v * KMH * factors.after,
            "km/h",
        )
        for v in speeds
    )
    at_80, error = _each(factors, lambda factor: 80 * KMH * factor), _each(factors, lambda f: f - 1)
    low, high = _factors_allowed(law, speeds)
    within = factors.after is not None and holds(factors.after)
    return against(
        "speedometer.speed",
        "speed shown at a true 80 km/h",
        at_80,
        R39 if within and law is Law.un else _limit(law, factors.after, top_speed_kmh(after)),
        "km/h",
        Bound(low * 80 * KMH, high * 80 * KMH),
        mend="" if factors.after is None else drive_mend(after, factors.after, holds),
        more=(*shown_at, figure("error of the speed shown", error.before, error.after, "%")),
        say=_speed_sentence,
    )


def _speed_sentence(was: float | None, now: float) -> str:
    """ "Speed shown at a true 80 km/h: 81.3 -> 73.2 km/h, 8.5 % low: it goes faster than it shows"."""
    numbers = before_after(None if was is None else was / KMH, now / KMH, 1, "km/h")
    error = round(100 * (now / KMH / 80 - 1), 1)
    way = f"{error:.1f} % high" if error > 0 else f"{-error:.1f} % low: the vehicle is faster than it shows"
    return f"Speed shown at a true 80 km/h: {numbers}, {way if error else 'which is true'}"


def drive_mend(after: Fitted, factor: float, holds: Callable[[float], bool]) -> str:
    """The drive ratio that would correct the reading, and which recorded drive, instrument or both do."""
    ratio = Reading(after).value("speedo.drive", "speedo_drive_ratio")
    if not factor or not ratio:
        return ""
    text = f"A drive ratio of {corrected_drive_ratio(ratio, factor):.4f} would show the true speed"
    drives = [
        (c, r) for c, r in after.candidates("speedo.drive", "speedo_drive_ratio") if holds(factor * r / ratio)
    ]
    if drives:
        component, found = drives[0]
        return f"{text}; {component.number} ({found:.4f}) brings it within the rule."
    constant = Reading(after).value("speedometer", "speedo_constant")
    instruments = [c for c, k in _instruments(after) if holds(factor * constant / k)]
    if instruments:
        return f"{text}; no recorded drive does, but the instrument {instruments[0].number} would."
    if both := _both(after, factor * constant / ratio, holds):
        drive, instrument = both
        return (
            f"{text}; no recorded drive or instrument does alone, but the drive {drive.number} "
            f"and the instrument {instrument.number} together would."
        )
    return f"{text}; no recorded drive does, so have the instrument recalibrated{_to(after, factor)}."


def _to(after: Fitted, factor: float) -> str:
    """The turns of the cable that an instrument set for this drive, axle and tyre is made for."""
    turns = factor * Reading(after).value("speedometer", "speedo_constant")
    if not math.isfinite(turns):
        return ""
    mile = Reading(after).maybe_word("speedometer", "speedo_units") == "mph"
    return f" to {turns * MILE:.0f} turns a mile" if mile else f" to {1000 * turns:.0f} turns a kilometre"


def _instruments(after: Fitted) -> list[tuple[Component, float]]:
    """Those that fit and show the units of the one that is fitted, cheapest first."""
    units = Reading(after).maybe_word("speedometer", "speedo_units")

    def shows(component: Component) -> bool:
        recorded = component.characteristics.get("speedo_units")
        return not units or recorded is None or recorded.text == units

    found = after.candidates("speedometer", "speedo_constant")
    return [(component, constant) for component, constant in found if constant and shows(component)]


def _both(
    after: Fitted, factor_of_one: float, holds: Callable[[float], bool]
) -> tuple[Component, Component] | None:
    """The cheapest drive and instrument that hold together; `factor_of_one`: with ratio and constant 1."""
    pairs = [
        (drive, instrument)
        for drive, ratio in after.candidates("speedo.drive", "speedo_drive_ratio")
        for instrument, constant in _instruments(after)
        if holds(factor_of_one * ratio / constant)
    ]
    return min(pairs, key=_cost, default=None)


def _cost(pair: tuple[Component, Component]) -> tuple[float, str, str]:
    drive, instrument = pair
    price = sum(math.inf if part.price is None else part.price for part in pair)
    return price, drive.number, instrument.number


def distance_counted(factors: BothSides[float]) -> Finding:
    """Error of the odometer, which turns with the same cable."""
    error = _each(factors, lambda factor: factor - 1)
    return against(
        "speedometer.odometer",
        "distance counted, against the true distance",
        error,
        ODOMETER,
        "%",
        Bound(-COUNTED_WITHIN, COUNTED_WITHIN),
        otherwise=Verdict.caution,
        mend="Correct the speedometer drive; until then note the error with the distance.",
        say=_distance_sentence,
    )


def _distance_sentence(was: float | None, now: float) -> str:
    digits = 2 if abs(abs(now) - COUNTED_WITHIN) < 0.0005 else 1  # so that 2.53 is not told as 2.5
    numbers = before_after(None if was is None else 100 * was, 100 * now, digits, "%")
    way = "too far" if now > 0 else "too little"
    off = f", {way}" if abs(now) >= 0.0005 else ""
    return f"Distance counted, against the true distance: {numbers}{off}"
