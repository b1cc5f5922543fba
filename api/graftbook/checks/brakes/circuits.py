"""What is left of the brakes when one hydraulic circuit has failed, circuit by circuit."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

from graftbook.checks.brakes.formulas import circle_area_m2
from graftbook.checks.brakes.grip import ADHESION, GRIP_TAKEN, braked_rate
from graftbook.checks.brakes.hand import by_hand_m_s2
from graftbook.checks.brakes.rules import BrakeRule, InService, danger_line
from graftbook.checks.brakes.system import efficiency_taken, loading, require_category, system
from graftbook.checks.findings import against, at_least, at_most
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both, only_with, remembered
from graftbook.checks.law import Rules
from graftbook.checks.verdict import (
    Figure,
    Finding,
    Limit,
    Provenance,
    Verdict,
    before_after,
    figure,
    opening,
)
from graftbook.rulebook.units import STANDARD_GRAVITY

SPLIT = "front/rear"
OTHER = {"front": "rear", "rear": "front"}
DUAL = "A dual-circuit master cylinder leaves one axle braked when the other circuit fails."
STRONGER = "Stronger brakes on the axle that is left, or more force on them, would do it."
WHAT = "laden deceleration with one circuit failed"

FLOOR = Limit(
    "the pedal must not reach the floor", "cylinder data", Provenance.derived, "stroke of a tandem cylinder"
)
TAKEN = Limit("at least what the brakes of that circuit take", "cylinder data", Provenance.recorded)


@remembered
def left_by_foot(reading: Reading, foot_n: float) -> Mapping[str, float]:
    """Laden deceleration by foot, for each circuit that may be lost; nothing is left of a single one."""
    sys, load = system(reading), loading(reading, True)
    if sys.circuits < 2:
        return {"only": only_with(0.0, load.mass_kg)}
    pressure = sys.pressure_pa(foot_n)
    # A balance valve is by-passed when the front circuit fails: the rear gets the full pressure.
    front, rear = (per_pa * pressure for per_pa in (sys.axles.front_n_per_pa, sys.axles.rear_n_per_pa))
    if reading.word("brake.master", "circuit_split") != SPLIT:
        half = braked_rate(load, front / 2, rear / 2, ADHESION)
        return {"one": half * STANDARD_GRAVITY}
    return {
        "front": braked_rate(load, 0.0, rear, ADHESION) * STANDARD_GRAVITY,
        "rear": braked_rate(load, front, 0.0, ADHESION) * STANDARD_GRAVITY,
    }


def is_single(fitted: Fitted) -> bool:
    """Whether one circuit serves every brake, as far as is recorded."""
    return (Reading(fitted).maybe("brake.master", "circuits") or 2) < 2


def circuit_failed(before: Fitted, after: Fitted, rule: BrakeRule, inspected: InService) -> Finding:
    """Laden deceleration with one circuit failed: by foot on the other, else by hand where that is more.

    Where the hand brake alone gives enough it is a caution.
    """

    def foot(reading: Reading) -> float:
        require_category(reading)
        return min(left_by_foot(reading, rule.foot_n).values())

    def left(reading: Reading) -> float:
        pedal = foot(reading)
        return max(pedal, by_hand_m_s2(reading, rule.hand_n)) if pedal < wanted else pedal

    single = is_single(after)
    wanted = inspected.secondary_g * STANDARD_GRAVITY if single else rule.least_m_s2
    by_foot = on_both(before, after, foot)
    by_hand = on_both(before, after, lambda r: by_hand_m_s2(r, rule.hand_n))
    found = against(
        "brakes.circuit_failed",
        WHAT,
        on_both(before, after, left),
        inspected.secondary if single else danger_line(rule),
        "m/s2",
        at_least(wanted),
        digits=2,
        mend=DUAL if single else STRONGER,
        more=(
            figure("by the hand brake", by_hand.before, by_hand.after, "m/s2"),
            figure("by foot, the worse circuit lost", by_foot.before, by_foot.after, "m/s2"),
            *_each_circuit(before, after, rule),
        ),
        say=_left_said(before, after, rule, by_hand),
    )
    if found.verdict is not Verdict.holds or at_least(wanted).holds(by_foot.after or 0.0):
        return found
    # No figure is past its limit: a little more or less of the hand brake makes it no worse and no better.
    return replace(found, verdict=Verdict.caution, mend=DUAL if single else STRONGER, beyond=None)


def _left_said(
    before: Fitted, after: Fitted, rule: BrakeRule, by_hand: BothSides[float]
) -> Callable[[float | None, float], str]:
    """Words what is left with each circuit lost."""
    each = on_both(before, after, lambda r: left_by_foot(r, rule.foot_n))
    lever = f"at {rule.hand_n:.0f} N at the lever"

    def say(was: float | None, now: float) -> str:
        numbers = f"{opening(WHAT)}: {before_after(was, now, 2, 'm/s2')}"
        if is_single(after):
            return f"{numbers}, by the hand brake alone {lever}; the pedal gives nothing ({GRIP_TAKEN})"
        lost = [f"{rate:.2f} with the {circuit} one lost" for circuit, rate in (each.after or {}).items()]
        hand = "" if by_hand.after is None else f"; by the hand brake {by_hand.after:.2f} {lever}"
        return f"{numbers} (by foot {', '.join(lost)}, {efficiency_taken(after)}{hand}; {GRIP_TAKEN})"

    return say


def _force_left(reading: Reading, rule: BrakeRule, circuit: str) -> float:
    return left_by_foot(reading, rule.foot_n).get(circuit, -1.0)


def _each_circuit(before: Fitted, after: Fitted, rule: BrakeRule) -> tuple[Figure, ...]:
    figures = []
    for circuit in OTHER:
        sides = on_both(before, after, partial(_force_left, rule=rule, circuit=circuit))
        if sides.after is not None and sides.after >= 0:
            was = None if sides.before == -1.0 else sides.before
            figures.append(figure(f"by foot, the {circuit} circuit lost", was, sides.after, "m/s2"))
    return tuple(figures)


def secondary_brake(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules) -> Finding:
    """The secondary brake of type approval: the foot on the other circuit, or the hand where it may be."""

    def left(reading: Reading) -> float:
        require_category(reading)
        by_foot = min(left_by_foot(reading, rule.foot_n).values())
        by_hand = is_single(reading.fitted) and rule.hand_is_secondary
        return by_hand_m_s2(reading, rule.hand_n) if by_hand else by_foot

    return against(
        "brakes.circuit_failed.approval",
        f"{WHAT}, as type approval tests it",
        on_both(before, after, left),
        rule.by_hand if is_single(after) else rule.least,
        "m/s2",
        at_least(rule.least_m_s2),
        digits=2,
        otherwise=rules.of_approval,
        mend=DUAL if is_single(after) else STRONGER,
    )


def circuits_one_by_one(before: Fitted, after: Fitted) -> list[Finding]:
    """Fluid and pedal travel of each circuit of a front and rear split; nothing to say of others."""
    split = Reading(after).maybe_word("brake.master", "circuit_split") == SPLIT
    if is_single(after) or not split:
        return []
    found = [_travel_without(before, after, lost) for lost in OTHER]
    return [*found, *(_fluid_of(before, after, axle) for axle in OTHER)]


def _delivered_m3(reading: Reading, axle: str) -> float:
    return reading.value("brake.master", f"fluid_displaced_{axle}")


def _taken_m3(reading: Reading, axle: str) -> float:
    return 2 * reading.value((f"brake.{axle}.left", f"rotor.{axle}.left"), "fluid_demand")


def _travel_without(before: Fitted, after: Fitted, lost: str) -> Finding:
    """Pedal travel with one circuit lost: its piston runs to its stop, then the other builds pressure."""

    def part(reading: Reading) -> float:
        fluid = _delivered_m3(reading, lost) + _taken_m3(reading, OTHER[lost])
        stroke = fluid / circle_area_m2(reading.value("brake.master", "master_bore"))
        ratio, travel = (reading.value("brake.pedal_box", k) for k in ("pedal_ratio", "pedal_travel"))
        return stroke * ratio / travel

    return against(
        f"brakes.circuit_travel.{lost}",
        f"part of the pedal travel that it takes with the {lost} circuit lost",
        on_both(before, after, part),
        FLOOR,
        "%",
        at_most(1.0),
        digits=0,
        mend="A master cylinder of larger bore, or with less stroke in that chamber, leaves pedal travel.",
    )


def _fluid_of(before: Fitted, after: Fitted, axle: str) -> Finding:
    taken = on_both(before, after, lambda r: _taken_m3(r, axle))
    return against(
        f"brakes.displaced.{axle}",
        f"fluid that the {axle} circuit of the master cylinder delivers",
        on_both(before, after, lambda r: only_with(_delivered_m3(r, axle), _taken_m3(r, axle))),
        TAKEN.at(taken.after, "ml", 1),
        "ml",
        at_least(taken.after),
        mend=f"Fit a master cylinder whose {axle} chamber delivers more.",
        more=(figure(f"fluid that the {axle} brakes take", taken.before, taken.after, "ml"),),
    )
