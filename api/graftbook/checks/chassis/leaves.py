"""Leaf springs: the rate from the leaves, and the stress at full bump."""

from collections.abc import Callable

from graftbook.checks.bounds import at_most
from graftbook.checks.findings import against
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import Finding, Limit, Provenance, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

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
