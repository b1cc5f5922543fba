"""Brakes between pedal and fluid: travel, fluid delivered, residual pressure."""

from graftbook.checks.brakes.formulas import pedal_stroke_m
from graftbook.checks.brakes.system import torque_per_pa
from graftbook.checks.budgets import budgets_of, demanded, supplied, wanted_of
from graftbook.checks.findings import against, at_least, at_most
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure
from graftbook.rulebook.model import Budget

TRAVEL = Limit(
    "at most two thirds of the travel to the floor", "workshop practice", Provenance.common_practice
)

DISPLACED = Limit("at least what the brakes take in a stroke", "cylinder data", Provenance.recorded)
SPARE = Limit(
    "at least what the brakes take, and the share kept for worn linings and a little air",
    "workshop practice",
    Provenance.common_practice,
)
FLUID_RULE = Budget(name="", supply_kind="fluid_displaced", demand_kind="fluid_demand", reason="")
"""The balance where the rule book states none: all that the cylinder delivers may be used."""

DRAG = Limit(
    "no residual pressure on a line that serves a disc",
    "workshop practice",
    Provenance.common_practice,
)


def travel(before: Fitted, after: Fitted) -> Finding:
    """Pedal travel that the fluid demand of all four brakes costs, as a part of the travel there is."""

    def part(reading: Reading) -> float:
        used = pedal_stroke_m(
            _demand_m3(reading),
            reading.value("brake.master", "master_bore"),
            reading.value("brake.pedal_box", "pedal_ratio"),
        )
        return used / reading.value("brake.pedal_box", "pedal_travel")

    sides = on_both(before, after, part)
    floor = sides.after is not None and not at_most(1).holds(sides.after)
    return against(
        "brakes.travel",
        "part of the pedal travel that a full stroke takes",
        sides,
        TRAVEL,
        "%",
        at_most(2 / 3),
        digits=0,
        otherwise=Verdict.fails if floor else Verdict.caution,
        mend="A larger master bore shortens the travel and raises the pedal force.",
    )


def _demand_m3(reading: Reading) -> float:
    demand = 0.0
    for axle in ("front", "rear"):
        demand += 2 * reading.value((f"brake.{axle}.left", f"rotor.{axle}.left"), "fluid_demand")
    return demand


def displaced(before: Fitted, after: Fitted) -> Finding:
    """Fluid that the master cylinder delivers against what the brakes take, with the rule book's reserve.

    A caution where only the reserve is gone; a failure where the brakes take more than there is.
    """
    rule = next(iter(budgets_of(after, FLUID_RULE.supply_kind, FLUID_RULE.demand_kind)), FLUID_RULE)

    def taken(reading: Reading) -> float:
        return only_with(demanded(reading, rule), _demand_m3(reading))

    demand = on_both(before, after, taken)
    gives = on_both(before, after, lambda r: only_with(supplied(r, rule, "brake.master"), taken(r)))
    wanted, plain = wanted_of(rule, demand, gives)
    return against(
        "brakes.displaced",
        "fluid that the master cylinder delivers",
        gives,
        (DISPLACED if plain else SPARE).at(wanted, "ml", 1),
        "ml",
        at_least(wanted),
        otherwise=Verdict.fails if plain else Verdict.caution,
        mend="Fit a master cylinder of larger bore or longer stroke.",
        more=(figure("fluid that the brakes take", demand.before, demand.after, "ml"),),
    )


def residual(before: Fitted, after: Fitted) -> list[Finding]:
    """Drag torque of a disc behind a residual valve; nothing to say without the valve or without discs."""
    discs = [m for _, _, m in after.recorded("brake_type") if m.text == "disc"]
    if not after.has("brake.residual_valve") or not discs:
        return []

    def drag(reading: Reading) -> float:
        if not reading.fitted.has("brake.residual_valve"):
            return 0.0
        pressure = reading.value("brake.residual_valve", "residual_pressure")
        served = [a for a in ("front", "rear") if reading.word(f"brake.{a}.left", "brake_type") == "disc"]
        return only_with(sum(pressure * torque_per_pa(reading, axle) for axle in served), pressure)

    return [
        against(
            "brakes.residual",
            "drag of a released disc brake, each wheel",
            on_both(before, after, drag),
            DRAG,
            "Nm",
            at_most(0.0),
            mend="Remove the residual valve; drums that need one get it in their own line.",
        )
    ]
