"""Suspension: spring rate, ride frequency, stress at full bump, and what must follow a change of height."""

import math
from collections.abc import Callable

from graftbook.checks.findings import Bound, against, at_least, at_most
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with, remembered
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

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


STEEL_PA = 206.8e9
"""Young's modulus of spring steel, handbook value."""

STRESS = Limit(
    "at most what the steel permits",
    "6 F l / (n b t^2), a page of formulas, spring data",
    Provenance.recorded,
)


def leaf_rate_n_m(
    leaves: float, width_m: float, thickness_m: float, length_m: float, modulus_pa: float = STEEL_PA
) -> float:
    """Semi-elliptic spring: k = 8 E n b t^3 / (3 L^3)."""
    return 8 * modulus_pa * leaves * width_m * thickness_m**3 / (3 * length_m**3)


def parabolic_rate_n_m(
    leaves: float, width_m: float, root_m: float, length_m: float, modulus_pa: float = STEEL_PA
) -> float:
    """Parabolic leaves, thickness as the root of the distance from the eye.

    Each half deflects 8 F l^3 / (E b t^3), twice a uniform cantilever; two halves share the load.
    """
    half = length_m / 2
    return 2 * leaves * modulus_pa * width_m * root_m**3 / (8 * half**3)


def leaf_stress_pa(
    end_force_n: float, half_m: float, leaves: float, width_m: float, thickness_m: float
) -> float:
    """Bending stress at the root: 6 F l / (n b t^2), F at one end, l from there to the axle.

    It holds for parabolic leaves too, with their thickness at the root.
    """
    return 6 * end_force_n * half_m / (leaves * width_m * thickness_m**2)


def has_leaves(fitted: Fitted, axle: str) -> bool:
    """Whether the axle's spring is recorded leaf by leaf."""
    component = fitted.component(f"spring.{axle}.left")
    return component is not None and "leaf_count" in component.characteristics


def leaf_stress(
    before: Fitted,
    after: Fitted,
    axle: str,
    rate_of: Callable[[Reading], float],
    mass_of: Callable[[Reading], float],
) -> Finding:
    """Stress at the bump stop against what the spring's steel permits.

    `rate_of` (N/m) and `mass_of` (kg, what stands on one spring unladen, which is its standard height)
    read a side; from there it is pressed by its travel to the bump stop.
    """
    place = f"spring.{axle}.left"

    def load(reading: Reading) -> float:
        travel = reading.value(place, "bump_travel")
        return mass_of(reading) * STANDARD_GRAVITY + rate_of(reading) * travel

    def stress(reading: Reading) -> float:
        half = reading.value(place, "leaf_length") / 2
        sizes = [reading.value(place, kind) for kind in ("leaf_count", "leaf_width", "leaf_thickness")]
        return leaf_stress_pa(load(reading) / 2, half, *sizes)

    def permitted(reading: Reading) -> float:
        return reading.value(place, "permitted_stress")

    loads, permits = on_both(before, after, load), on_both(before, after, permitted)
    sides = on_both(before, after, lambda r: only_with(stress(r), permitted(r)))
    return against(
        f"suspension.leaf_stress.{axle}",
        f"stress in the {axle} spring at full bump",
        sides,
        STRESS.at(permits.after, "MPa"),
        "MPa",
        at_most(permits.after),
        digits=0,
        mend="A higher bump stop, more leaves, or a spring made for that travel would do it; have the spring "
        "renewed before it breaks.",
        more=(figure("load on the spring at full bump", loads.before, loads.after, "N"),),
    )
