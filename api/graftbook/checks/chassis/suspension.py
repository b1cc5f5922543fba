"""Suspension: spring rate, ride frequency, stress at full bump, and what must follow a change of height."""

import math

from graftbook.checks.bounds import Bound, at_least
from graftbook.checks.chassis.leaves import has_leaves, leaf_rate_n_m, leaf_stress, parabolic_rate_n_m
from graftbook.checks.findings import against
from graftbook.checks.fitted import Fitted, Reading, on_both, remembered
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure

BAND_HZ = (0.9, 2.5)

FREQUENCY = Limit(
    "between 0.9 and 2.5 Hz", "workshop practice", Provenance.common_practice, "springs of light utilities"
)
CLOSED = Limit("longer than the damper closed", "damper data", Provenance.recorded)
OPEN = Limit("shorter than the damper open", "damper data", Provenance.recorded)
HOSE = Limit("at most the free length of the hose", "hose data", Provenance.recorded)


def frequency_hz(rate_n_m: float, mass_kg: float) -> float:
    """f = sqrt(k / m) / (2 pi)."""
    return math.sqrt(rate_n_m / mass_kg) / (2 * math.pi)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every check of springs, dampers and hoses, front and rear."""
    return [finding for axle in ("front", "rear") for finding in _of_axle(before, after, axle)]


def _of_axle(before: Fitted, after: Fitted, axle: str) -> list[Finding]:
    stress = [bump_stress(before, after, axle)] if has_leaves(after, axle) else []
    return [
        ride_frequency(before, after, axle, laden=False),
        ride_frequency(before, after, axle, laden=True),
        *stress,
        *damper_travels(before, after, axle),
        hose_travel(before, after, axle),
    ]


@remembered
def spring_rate_n_m(reading: Reading, axle: str) -> float:
    """The rate as recorded, else from the leaves."""
    place = f"spring.{axle}.left"
    recorded = reading.maybe(place, "spring_rate")
    if recorded is not None:
        return recorded
    if reading.maybe(place, "leaf_count") is None:
        return reading.value(place, "spring_rate")
    sizes = [
        reading.value(place, kind) for kind in ("leaf_count", "leaf_width", "leaf_thickness", "leaf_length")
    ]
    parabolic = reading.word(place, "spring_kind") == "parabolic"
    return parabolic_rate_n_m(*sizes) if parabolic else leaf_rate_n_m(*sizes)


@remembered
def sprung_corner_kg(reading: Reading, axle: str, laden: bool) -> float:
    """Mass on one spring: half of the axle load without the axle itself."""
    state = "laden" if laden else "unladen"
    load = reading.fact(f"axle_load_front_{state}")
    if axle == "rear":
        load = reading.fact(f"mass_{state}") - load
    return (load - reading.fact(f"unsprung_mass_{axle}")) / 2


def bump_stress(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Stress in one axle's leaf spring at full bump."""
    return leaf_stress(
        before,
        after,
        axle,
        lambda r: spring_rate_n_m(r, axle),
        lambda r: sprung_corner_kg(r, axle, laden=False),
    )


def ride_frequency(before: Fitted, after: Fitted, axle: str, laden: bool) -> Finding:
    """Natural frequency of the body on one axle's springs."""
    state = "laden" if laden else "unladen"

    def frequency(reading: Reading) -> float:
        return frequency_hz(spring_rate_n_m(reading, axle), sprung_corner_kg(reading, axle, laden))

    rate = on_both(before, after, lambda r: spring_rate_n_m(r, axle))
    sides = on_both(before, after, frequency)
    hard = sides.after is not None and sides.after > BAND_HZ[1]
    return against(
        f"suspension.frequency.{axle}.{state}",
        f"{axle} ride frequency, {state}",
        sides,
        FREQUENCY,
        "Hz",
        Bound(*BAND_HZ),
        digits=2,
        otherwise=Verdict.caution,
        mend="A softer spring would lower it." if hard else "A stiffer spring would raise it.",
        more=(figure("spring rate", rate.before, rate.after, "N/mm"),),
    )


def lift_m(reading: Reading, axle: str) -> float:
    """Height of the body over the axle against what the vehicle had from new: springs plus shackles."""
    return sum(_raised_m(reading, place) for place in (f"spring.{axle}.left", f"shackle.{axle}"))


def _raised_m(reading: Reading, position: str) -> float:
    own = reading.maybe(position, "ride_height_change") or 0.0
    return own - reading.fitted.of_the_original(position, "ride_height_change")


def recorded_lift_m(reading: Reading, axle: str) -> float:
    """The same, not determined where the spring's height is not recorded."""
    return reading.value(f"spring.{axle}.left", "ride_height_change") * 0 + lift_m(reading, axle)


def damper_travels(before: Fitted, after: Fitted, axle: str) -> list[Finding]:
    """Damper length at full bump and full droop; nothing to say of a lever arm, which has none."""
    if Reading(after).maybe_word(f"damper.{axle}.left", "damper_kind") == "lever arm":
        return []
    return [damper_travel(before, after, axle, closing) for closing in (True, False)]


def damper_travel(before: Fitted, after: Fitted, axle: str, closing: bool) -> Finding:
    """Damper length against what the spring asks at full bump or full droop."""
    place, spring = f"damper.{axle}.left", f"spring.{axle}.left"

    def spare(reading: Reading) -> float:
        if closing:
            return reading.value(spring, "damper_closed_need") - reading.value(place, "damper_closed")
        return reading.value(place, "damper_open") - reading.value(spring, "damper_open_need")

    end = "bump" if closing else "droop"
    return against(
        f"suspension.damper.{axle}.{end}",
        f"{axle} damper travel left at full {end}",
        on_both(before, after, spare),
        CLOSED if closing else OPEN,
        "mm",
        at_least(0.0),
        digits=0,
        mend=f"Fit a damper made for the spring, {'shorter closed' if closing else 'longer open'}.",
    )


def hose_travel(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Brake hose length against what full droop needs."""
    hose = "brake.hose.front.left" if axle == "front" else "brake.hose.rear"
    spring = f"spring.{axle}.left"

    def spare(reading: Reading) -> float:
        return reading.value(hose, "hose_length") - reading.value(spring, "hose_need")

    return against(
        f"suspension.hose.{axle}",
        f"{axle} brake hose left over at full droop",
        on_both(before, after, spare),
        HOSE,
        "mm",
        at_least(0.0),
        digits=0,
        mend="Fit a longer brake hose of the same threads.",
    )
