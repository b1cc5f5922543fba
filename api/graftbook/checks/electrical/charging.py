"""Charging: the budget in named conditions, at idle, and the cable that carries it."""

import math
from dataclasses import replace

from graftbook.checks.budgets import budgets_of, demanded, places_of, supplied
from graftbook.checks.electrical.voltage import is_remembered, system_v, voltage_drop_v
from graftbook.checks.findings import against, at_least, at_most
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both, only_with, remembered
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, before_after, figure, shown
from graftbook.rulebook.compare import LOAD
from graftbook.rulebook.model import Budget

PRACTICE = Provenance.common_practice

CONDITIONS = {
    "day": ("always", "brief"),
    "night": ("always", "night", "brief"),
    "worst": ("always", "night", "rain", "cold", "brief"),
}
"""Which loads are on: `load_time` of a load, by condition. A brief load counts with its share alone."""

MACHINE = "charging.machine"
SUPPLY = "current_supplied"

USUAL = Budget(name="", supply_kind=SUPPLY, demand_kind=LOAD, circuit="charging", usable=0.8, reason="")
"""The balance where the rule book states none: four fifths of what the machine gives."""

BUDGET = Limit("at most 80 % of what the machine gives", "workshop practice", PRACTICE, "", 80, "%")

SOURCE = Limit("at most what the machine gives", "conservation of charge", Provenance.derived)

IDLE = Limit("it ought to give at least what is asked for", "workshop practice", PRACTICE)

DROP = Limit("at most 3 % of the system voltage for a main cable", "marine cable practice", Provenance.seen,
             "3 % for what matters, as quoted", 3, "%")  # fmt: skip

DROP_FAILS = Limit("at most 10 % of the system voltage", "marine cable practice", Provenance.seen,
                   "10 % for anything else, as quoted", 10, "%")  # fmt: skip

DROP_REMEMBERED = replace(
    DROP_FAILS,
    provenance=Provenance.memory,
    clause=f"{DROP_FAILS.clause}; the cable's resistance by ISO 6722",
)

CABLE = Limit("at most what the cable carries", "cable data", Provenance.recorded)


def balances(fitted: Fitted) -> list[Budget]:
    """The rules that the charging load answers to: those of the rule book, else the usual one."""
    return budgets_of(fitted, SUPPLY, LOAD) or [USUAL]


@remembered
def load_a(reading: Reading, budget: Budget, condition: str) -> float:
    """Sum of the loads that are on; a position of the circuit without either figure is missing."""
    fitted = reading.fitted
    for name in places_of(fitted, budget):
        component = fitted.component(name)
        if budget.circuit and component and not {LOAD, SUPPLY} & set(component.characteristics):
            reading.value(name, LOAD)
    return demanded(reading, budget, CONDITIONS[condition])


def charging(before: Fitted, after: Fitted, condition: str, budget: Budget, more: str) -> Finding:
    """Load in one condition as a part of what is supplied; `more` ends the name of a further rule's check."""

    def part(reading: Reading) -> float:
        return load_a(reading, budget, condition) / supplied(reading, budget, MACHINE)

    sides = on_both(before, after, part)
    loads = on_both(before, after, lambda r: load_a(r, budget, condition))
    machine = on_both(before, after, lambda r: supplied(r, budget, MACHINE))
    over = sides.after is not None and not at_most(1).holds(sides.after)
    return against(
        f"electrical.charging.{condition}{more}",
        f"continuous load, {_condition_words(condition)}, as a part of the charging machine's output",
        sides,
        SOURCE if over else _usable(budget),
        "%",
        at_most(1 if over else budget.usable),
        digits=0,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend=_charging_mend(after, loads.after, budget.usable),
        more=(
            figure("continuous load", loads.before, loads.after, "A"),
            figure("charging machine", machine.before, machine.after, "A"),
        ),
    )


def of_every_rule(before: Fitted, after: Fitted) -> list[Finding]:
    """Every condition by every rule; the first rule's checks have no name added to theirs."""
    rules = balances(after)
    return [
        charging(before, after, condition, rule, f".{rule.name}" if number else "")
        for number, rule in enumerate(rules)
        for condition in CONDITIONS
    ]


def _usable(budget: Budget) -> Limit:
    share = 100 * budget.usable
    return replace(BUDGET, text=f"at most {share:.3g} % of what the machine gives", value=share)


def _condition_words(condition: str) -> str:
    return {"day": "by day", "night": "at night", "worst": "on a cold wet night"}[condition]


def _charging_mend(after: Fitted, load: float | None, usable: float) -> str:
    if load is None or usable <= 0:
        return ""
    wanted = load / usable
    able = [c for c in after.candidates(MACHINE, SUPPLY) if c[1] >= wanted]
    named = f"; {able[0][0].number} gives {able[0][1]:.0f} A" if able else ""
    return f"A charging machine of at least {math.ceil(wanted - 1e-6)} A would cover it{named}."


def output_a(speed: float, cut_in: float, rated_at: float, full_a: float) -> float:
    """What the machine gives at a speed: nothing up to its cut-in, all from its rated speed, linear between.

    A measured curve bulges above that line, so this never flatters. Raises ValueError where the rated
    speed is not above the cut-in.
    """
    if rated_at <= cut_in:
        raise ValueError("the rated speed must lie above the cut-in")
    return full_a * min(1.0, max(0.0, (speed - cut_in) / (rated_at - cut_in)))


def _machine_speed(reading: Reading) -> float:
    """Turns of the machine at idle, in rad/s: as the pulleys gear it."""
    crank, own = reading.value("engine.unit", "crank_pulley"), reading.value(MACHINE, "machine_pulley")
    return reading.value("engine.unit", "idle_speed") * crank / own


def idle(before: Fitted, after: Fitted) -> Finding:
    """What the machine gives at idle against what a cold wet night asks for.

    A caution at most: the battery gives the rest, as long as it lasts.
    """
    budget = balances(after)[0]

    def gives(reading: Reading) -> float:
        cut_in, rated = (reading.value(MACHINE, kind) for kind in ("cut_in_speed", "rated_at_speed"))
        full = reading.span(MACHINE, SUPPLY)[0]
        speed, asked = _machine_speed(reading), load_a(reading, budget, "worst")
        return math.nan if reading.missing else only_with(output_a(speed, cut_in, rated, full), asked)

    asked = on_both(before, after, lambda r: load_a(r, budget, "worst"))
    speed = on_both(before, after, _machine_speed)
    return against(
        "electrical.charging.idle",
        "what the charging machine gives at idle",
        on_both(before, after, gives),
        IDLE,
        "A",
        at_least(asked.after),
        otherwise=Verdict.caution,
        mend=_idle_mend(speed.after),
        more=(
            figure("load of a cold wet night", asked.before, asked.after, "A"),
            figure("speed of the charging machine at idle", speed.before, speed.after, "rpm"),
        ),
        say=lambda was, now: (
            f"At idle the charging machine gives {before_after(was, now, 1, 'A')}, and a cold wet night asks "
            f"for {before_after(asked.before, asked.after, 1, 'A')}"
        ),
    )


def _idle_mend(speed: float | None) -> str:
    if speed is None:
        return ""
    return (
        f"It turns {shown(speed, 'rpm'):.0f} a minute there, and the battery gives what is short. A smaller "
        "pulley on the machine, one that cuts in earlier, or fewer consumers on while it stands would help."
    )


def _flowing(reading: Reading) -> float:
    """Current in the charging cable: the machine's full output, else what is recorded of the cable."""
    machine = reading.maybe("charging.machine", "current_supplied")
    return reading.value("charging.cable", "cable_current") if machine is None else machine


def cable_drop(before: Fitted, after: Fitted) -> Finding:
    """Voltage lost in the charging cable at full output, by the standard's resistance table."""

    def part(reading: Reading) -> float:
        place = "charging.cable"
        area, length = reading.value(place, "cable_area"), reading.value(place, "cable_length")
        standard, volts = reading.word(place, "cable_standard"), system_v(reading)
        if reading.missing:
            return math.nan
        return voltage_drop_v(_flowing(reading), area, length, standard) / volts

    sides = on_both(before, after, part)
    over = sides.after is not None and not at_most(0.10).holds(sides.after)
    return against(
        "electrical.cable_drop",
        "voltage lost in the charging cable at full output",
        sides,
        _drop_limit(after) if over else DROP,
        "%",
        at_most(0.10 if over else 0.03),
        digits=1,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend=_cable_mend(after, sides),
    )


def _drop_limit(fitted: Fitted) -> Limit:
    reading = Reading(fitted)
    area, standard = (
        reading.value("charging.cable", "cable_area"),
        reading.word("charging.cable", "cable_standard"),
    )
    return DROP_REMEMBERED if is_remembered(area, standard) else DROP_FAILS


def _cable_mend(after: Fitted, sides: BothSides[float]) -> str:
    area = Reading(after).value("charging.cable", "cable_area")
    if sides.after is None or area != area:
        return ""
    return f"A conductor of at least {area * 1e6 * sides.after / 0.03:.0f} mm2 would do it."


def cable_current(before: Fitted, after: Fitted) -> Finding:
    """Full output of the machine against what the charging cable carries."""
    rated = on_both(before, after, lambda r: r.value("charging.cable", "cable_rating"))
    return against(
        "electrical.cable_current",
        "current in the charging cable at full output",
        on_both(before, after, lambda r: only_with(_flowing(r), r.value("charging.cable", "cable_rating"))),
        CABLE.at(rated.after, "A"),
        "A",
        at_most(rated.after),
        digits=0,
        mend="Fit a charging cable rated for the machine's full output, fused at the battery.",
        more=(figure("what the cable carries", rated.before, rated.after, "A"),),
    )
