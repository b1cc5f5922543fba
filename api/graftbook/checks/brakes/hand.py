"""The hand brake: on the slope, in a stop where it is the secondary brake, and what grip it needs."""

import math

from graftbook.checks.brakes.formulas import Loading, slope_force_n
from graftbook.checks.brakes.grip import ADHESION
from graftbook.checks.brakes.rules import BrakeRule, InService
from graftbook.checks.brakes.system import loading, passed_on, require_category, taking
from graftbook.checks.driveline.gearing import AXLE, circumference_m
from graftbook.checks.findings import against, at_least, at_most
from graftbook.checks.fitted import Fitted, Reading, on_both, remembered
from graftbook.checks.law import Rules
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure, opening
from graftbook.rulebook.units import STANDARD_GRAVITY

HAND_BRAKE_EFFICIENCY = 0.8
"""What of the pull at the lever reaches the shoes; common practice."""

REAR = ("brake.rear.left", "rotor.rear.left")

GRIP = Limit(
    f"a dry road gives {ADHESION}, a wet one about half",
    "workshop practice",
    Provenance.common_practice,
    value=ADHESION,
)


@remembered
def road_force_per_n(reading: Reading) -> float:
    """Braking force at the road for one newton at the lever.

    The lever ratio is from the hand to all braked wheels together, as the equaliser shares it.
    """
    torque = _efficiency(reading) * _radius_m(reading)
    for kind in ("hand_lever_ratio", "hand_brake_factor"):
        torque *= reading.value("brake.hand", kind)
    if _on_shaft(reading):
        torque *= reading.value(AXLE, "axle_ratio")
    return torque * 2 * math.pi / circumference_m(reading)


def _on_shaft(reading: Reading) -> bool:
    return reading.word("brake.hand", "hand_brake_shaft") == "transmission"


def _radius_m(reading: Reading) -> float:
    """The radius at which the hand brake acts: of the rear drums as fitted, where it spreads their shoes.

    Behind the gearbox, and with discs, it has drums or pads of its own, so it records the radius itself.
    """
    if not _on_shaft(reading):
        kind = reading.word(REAR, "brake_type")
        if kind != "disc":
            return reading.value(REAR, "drum_diameter") / 2 if kind else math.nan
    return reading.value("brake.hand", "hand_brake_radius")


def _efficiency(reading: Reading) -> float:
    recorded = reading.maybe("brake.hand", "hand_brake_efficiency")
    return HAND_BRAKE_EFFICIENCY if recorded is None else recorded


def _efficiency_taken(fitted: Fitted) -> str:
    return passed_on("lever and cable", _efficiency(Reading(fitted)), HAND_BRAKE_EFFICIENCY)


def _stronger(fitted: Fitted) -> str:
    """What would make the hand brake pull more; a drum only where it acts in one."""
    reading = Reading(fitted)
    discs = not _on_shaft(reading) and reading.maybe_word(REAR, "brake_type") == "disc"
    return "A longer lever" if discs else "A longer lever or a larger drum"


def by_hand_m_s2(reading: Reading, hand_n: float) -> float:
    """Deceleration of the laden vehicle by the hand brake alone, with the grip of the rear axle at most."""
    load = loading(reading, True)
    pulled = road_force_per_n(reading) * hand_n / load.mass_kg
    return min(pulled, load.rear_only_rate(ADHESION) * STANDARD_GRAVITY)


def hand_brake(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules) -> Finding:
    """Hand force that holds the laden vehicle on the slope of the rule."""

    def hand(reading: Reading) -> float:
        require_category(reading)
        return slope_force_n(reading.fact("mass_laden"), rule.slope) / road_force_per_n(reading)

    what = f"hand force that holds the laden vehicle on {rule.slope:.0%}"
    return against(
        "brakes.hand_brake",
        what,
        on_both(before, after, hand),
        rule.hand,
        "N",
        at_most(rule.hand_n),
        digits=0,
        otherwise=rules.of_approval,
        mend=f"{_stronger(after)} would do it, and a smaller tyre helps. Chock the wheels on any slope.",
        say=taking(what, "N", 0, _efficiency_taken(after)),
    )


def grip_needed(load: Loading, slope: float) -> float:
    """Grip that the rear wheels alone need to hold a vehicle nose down: i / (P_r / P - i h / E)."""
    rear = 1 - load.front_part - slope * load.gravity_height_m / load.wheelbase_m
    return slope / rear if rear > 0 else math.inf


def hand_grip(before: Fitted, after: Fitted, rule: BrakeRule) -> Finding:
    """Grip that the hand brake needs on the slope of the rule, laden and unladen, the worse judged."""

    def needed(reading: Reading) -> list[float]:
        reading.word("brake.hand", "hand_brake_shaft")
        return [grip_needed(loading(reading, laden), rule.slope) for laden in (True, False)]

    both = on_both(before, after, needed)
    laden, unladen = zip(both.before or (None, None), both.after or (None, None), strict=True)
    what = f"grip that the rear wheels need to hold it nose down on {rule.slope:.0%}"
    return against(
        "brakes.hand_grip",
        what,
        on_both(before, after, lambda r: max(needed(r))),
        GRIP,
        "",
        at_most(ADHESION),
        digits=2,
        otherwise=Verdict.caution,
        mend="Chock the wheels on such a slope: the braked wheels would slide.",
        more=(figure("laden", *laden, ""), figure("unladen", *unladen, "")),
        say=lambda _, now: f"{opening(what)}: {laden[1]:.2f} laden, {unladen[1]:.2f} unladen",
    )


def parking(before: Fitted, after: Fitted, rule: BrakeRule, inspected: InService) -> Finding:
    """What the parking brake gives on the test rollers, laden, at the greatest hand force."""

    def given(reading: Reading) -> float:
        require_category(reading)
        load = loading(reading, True)
        pulled = road_force_per_n(reading) * rule.hand_n / load.mass_kg
        return min(pulled, ADHESION * (1 - load.front_part) * STANDARD_GRAVITY)

    what = f"parking brake, laden, at {rule.hand_n:.0f} N at the lever"
    return against(
        "brakes.parking",
        what,
        on_both(before, after, given),
        inspected.parking,
        "m/s2",
        at_least(inspected.parking_g * STANDARD_GRAVITY),
        digits=2,
        mend=f"First have it adjusted. {_stronger(after)} would do it. Chock the wheels.",
        say=taking(what, "m/s2", 2, _efficiency_taken(after), f"a grip of {ADHESION} at rest"),
    )
