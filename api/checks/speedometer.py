"""Speedometer and odometer: what the instrument shows after tyre, axle or drive have changed."""

from collections.abc import Callable
from dataclasses import replace

from api.checks.bounds import Bound
from api.checks.findings import against
from api.checks.fitted import BothSides, Fitted, Reading, on_both
from api.checks.gearing import AXLE, circumference_m
from api.checks.law import Law
from api.checks.verdict import Finding, Limit, Provenance, Verdict, figure

KMH = 1 / 3.6
TEST_SPEEDS_KMH = (40.0, 80.0, 120.0)
"""UN R39 5.2.5, from memory; 80 % of the top speed stands in for speeds that are beyond it."""

R39 = Limit(
    "never below the true speed, at most a tenth plus 4 km/h above it",
    "UN R39",
    Provenance.seen,
    "5.3, as quoted by secondary pages",
)
CFR = Limit(
    "within 8 km/h at a true 80 km/h", "49 CFR 393.82", Provenance.seen, "as copied by a secondary page"
)
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


def corrected_drive_ratio(drive_ratio: float, factor: float, wanted_factor: float = 1.0) -> float:
    """The drive ratio that makes the instrument show `wanted_factor` times the true speed."""
    return drive_ratio * wanted_factor / factor


def changed_reading(
    error_before: float, circumference_old: float, circumference_new: float, axle_old: float, axle_new: float
) -> float:
    """Indicated over true after a change of tyre and axle: (1 + e) (C_old / C_new) (i_new / i_old)."""
    return (1 + error_before) * circumference_old / circumference_new * axle_new / axle_old


def _factor_tested(reading: Reading) -> float:
    """The factor, which the speeds that the law tests at are part of."""
    return _factor(reading) + 0 * (reading.maybe_fact("top_speed") or 0)


def _factor(reading: Reading) -> float:
    return reading_factor(
        reading.value("speedo.drive", "speedo_drive_ratio"),
        reading.value(AXLE, "axle_ratio"),
        circumference_m(reading),
        reading.value("speedometer", "speedo_constant"),
    )


def inspect(before: Fitted, after: Fitted, law: Law = Law.un) -> list[Finding]:
    """The speed shown against the law of the market, and the distance counted."""
    tested = on_both(before, after, _factor_tested)
    return [speed_shown(after, tested, law), distance_counted(after, on_both(before, after, _factor))]


def tested_speeds_kmh(after: Fitted) -> tuple[float, ...]:
    top = Reading(after).maybe_fact("top_speed")
    if top is None or top != top:
        return TEST_SPEEDS_KMH
    return tuple(v for v in TEST_SPEEDS_KMH if v * KMH <= top) or (0.8 * top / KMH,)


def _test(law: Law, speeds: tuple[float, ...]) -> Callable[[float], bool]:
    if law is Law.us:
        return lambda factor: cfr_holds(80 * factor, 80)
    return lambda factor: all(r39_holds(v * factor, v) for v in speeds)


def _factors_allowed(law: Law, speeds: tuple[float, ...]) -> tuple[float, float]:
    """Least and greatest of indicated over true that hold at every test speed of the law."""
    if law is Law.us:
        return 1 - 8 / 80, 1 + 8 / 80
    return 1.0, min(greatest_indicated_kmh(speed) / speed for speed in speeds)


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
    at_80 = _each(factors, lambda factor: 80 * KMH * factor)
    low, high = _factors_allowed(law, speeds)
    return against(
        "speedometer.speed",
        "speed shown at a true 80 km/h",
        at_80,
        CFR if law is Law.us else R39,
        "km/h",
        Bound(low * 80 * KMH, high * 80 * KMH),
        mend="" if factors.after is None else drive_mend(after, factors.after, holds),
        more=shown_at,
    )


def drive_mend(after: Fitted, factor: float, holds: Callable[[float], bool]) -> str:
    """The drive ratio that would correct the reading, and which recorded drive or instrument does."""
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
    instruments = [
        c for c, k in after.candidates("speedometer", "speedo_constant") if k and holds(factor * constant / k)
    ]
    if instruments:
        return f"{text}; no recorded drive does, but the instrument {instruments[0].number} would."
    return f"{text}; no recorded drive does, so have the instrument recalibrated."


def distance_counted(after: Fitted, factors: BothSides[float]) -> Finding:
    """Error of the odometer, which turns with the same cable."""
    error = _each(factors, lambda factor: factor - 1)
    return against(
        "speedometer.odometer",
        "distance counted, against the true distance",
        error,
        ODOMETER,
        "%",
        Bound(-0.025, 0.025),
        otherwise=Verdict.caution,
        mend="Correct the speedometer drive; until then note the error with the distance.",
    )
