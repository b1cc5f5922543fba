"""Suspension: spring rate, ride frequency, change of height, and what must follow it."""

import math

from api.checks.bounds import Bound, at_least
from api.checks.findings import against, undetermined
from api.checks.fitted import Fitted, Reading, on_both
from api.checks.verdict import Finding, Limit, Provenance, Verdict, figure
from api.rulebook.units import STANDARD_GRAVITY

STEEL_PA = 206.8e9
"""Young's modulus of spring steel, handbook value."""
BAND_HZ = (0.9, 2.5)

FREQUENCY = Limit(
    "between 0.9 and 2.5 Hz", "workshop practice", Provenance.common_practice, "springs of light utilities"
)
CLOSED = Limit("longer than the damper closed", "damper data", Provenance.recorded)
OPEN = Limit("shorter than the damper open", "damper data", Provenance.recorded)
HOSE = Limit("at most the free length of the hose", "hose data", Provenance.recorded)
HEIGHT = Limit("dampers, hoses and shafts must follow it", "workshop practice", Provenance.common_practice)


def leaf_rate_n_m(
    leaves: float, width_m: float, thickness_m: float, length_m: float, modulus_pa: float = STEEL_PA
) -> float:
    """Semi-elliptic spring: k = 8 E n b t^3 / (3 L^3)."""
    return 8 * modulus_pa * leaves * width_m * thickness_m**3 / (3 * length_m**3)


def quarter_leaf_rate_n_m(
    leaves: float, width_m: float, thickness_m: float, length_m: float, modulus_pa: float = STEEL_PA
) -> float:
    """Quarter-elliptic spring: k = E n b t^3 / (6 L^3)."""
    return modulus_pa * leaves * width_m * thickness_m**3 / (6 * length_m**3)


def parabolic_rate_n_m(
    leaves: float, width_m: float, root_m: float, length_m: float, modulus_pa: float = STEEL_PA
) -> float:
    """Parabolic leaves, thickness as the root of the distance from the eye.

    Each half deflects 8 F l^3 / (E b t^3), twice a uniform cantilever; two halves share the load.
    """
    half = length_m / 2
    return 2 * leaves * modulus_pa * width_m * root_m**3 / (8 * half**3)


def frequency_hz(rate_n_m: float, mass_kg: float) -> float:
    """f = sqrt(k / m) / (2 pi)."""
    return math.sqrt(rate_n_m / mass_kg) / (2 * math.pi)


def frequency_of_sag_hz(sag_m: float) -> float:
    """The same from the static deflection: sqrt(g / d) / (2 pi), which is 0.4984 / sqrt(d)."""
    return math.sqrt(STANDARD_GRAVITY / sag_m) / (2 * math.pi)


def sag_m(mass_kg: float, rate_n_m: float) -> float:
    return mass_kg * STANDARD_GRAVITY / rate_n_m


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every suspension check, front and rear."""
    return [
        finding
        for axle in ("front", "rear")
        for finding in (
            ride_frequency(before, after, axle, laden=False),
            ride_frequency(before, after, axle, laden=True),
            height(before, after, axle),
            damper_travel(before, after, axle, closing=True),
            damper_travel(before, after, axle, closing=False),
            hose_travel(before, after, axle),
        )
    ]


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


def sprung_corner_kg(reading: Reading, axle: str, laden: bool) -> float:
    """Mass on one spring: half of the axle load without the axle itself."""
    state = "laden" if laden else "unladen"
    load = reading.fact(f"axle_load_front_{state}")
    if axle == "rear":
        load = reading.fact(f"mass_{state}") - load
    return (load - reading.fact(f"unsprung_mass_{axle}")) / 2


def ride_frequency(before: Fitted, after: Fitted, axle: str, laden: bool) -> Finding:
    """Natural frequency of the body on one axle's springs."""
    state = "laden" if laden else "unladen"

    def frequency(reading: Reading) -> float:
        return frequency_hz(spring_rate_n_m(reading, axle), sprung_corner_kg(reading, axle, laden))

    rate = on_both(before, after, lambda r: spring_rate_n_m(r, axle))
    return against(
        f"suspension.frequency.{axle}.{state}",
        f"{axle} ride frequency, {state}",
        on_both(before, after, frequency),
        FREQUENCY,
        "Hz",
        Bound(*BAND_HZ),
        digits=2,
        otherwise=Verdict.caution,
        mend="A softer spring lowers the frequency, a stiffer one raises it.",
        more=(figure("spring rate", rate.before, rate.after, "N/mm"),),
    )


def lift_m(reading: Reading, axle: str) -> float:
    """Height of the frame over the axle against the original: springs plus shackles."""
    spring = reading.maybe(f"spring.{axle}.left", "ride_height_change") or 0.0
    return spring + (reading.maybe(f"shackle.{axle}", "ride_height_change") or 0.0)


def height(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Height of the frame over the axle; a change is a reason to look at all that bends with it."""
    sides = on_both(
        before, after, lambda r: r.value(f"spring.{axle}.left", "ride_height_change") * 0 + lift_m(r, axle)
    )
    if sides.after is None:
        return undetermined(
            f"suspension.height.{axle}", f"{axle} ride height against the original", sides, HEIGHT
        )
    return against(
        f"suspension.height.{axle}",
        f"{axle} ride height against the original",
        sides,
        HEIGHT,
        "mm",
        Bound(-0.030, 0.030),
        digits=0,
        otherwise=Verdict.caution,
        mend="Check damper, hose and shaft travel, headlamp aim and steering at the new height.",
    )


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
