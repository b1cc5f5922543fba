"""Charging: the budget in named conditions, and the cable that carries it."""

import math

from api.checks.bounds import at_most
from api.checks.cables import voltage_drop_v
from api.checks.findings import against
from api.checks.fitted import BothSides, Fitted, Reading, on_both
from api.checks.verdict import Finding, Limit, Provenance, Verdict, figure

PRACTICE = Provenance.common_practice

USABLE = 0.8

CONDITIONS = {
    "day": ("always",),
    "night": ("always", "night"),
    "worst": ("always", "night", "rain", "cold"),
}
"""Which loads are on: `load_time` of a load, by condition. Brief loads draw on the battery."""

BUDGET = Limit("at most 80 % of what the machine gives", "workshop practice", PRACTICE, "", 80, "%")

SOURCE = Limit("at most what the machine gives", "conservation of charge", Provenance.derived)

DROP = Limit("at most 3 % of the system voltage for a main cable", "marine cable practice", Provenance.seen,
             "3 % for what matters, as quoted", 3, "%")  # fmt: skip

DROP_FAILS = Limit("at most 10 % of the system voltage", "marine cable practice", Provenance.seen,
                   "10 % for anything else, as quoted", 10, "%")  # fmt: skip

CABLE = Limit("at most what the cable carries", "cable data", Provenance.recorded)


def load_a(reading: Reading, condition: str) -> float:
    """Sum of the loads that are on; a position of the charging circuit without data is missing."""
    total = 0.0
    fitted = reading.fitted
    for position, _, measure in fitted.recorded("current_drawn"):
        if measure.si == 0:
            continue
        if reading.word(position, "load_time") in CONDITIONS[condition]:
            total += reading.value(position, "current_drawn") * fitted.quantity(position)
    for name, place in fitted.book.positions.items():
        component = fitted.component(name)
        if place.circuit != "charging" or component is None:
            continue
        if not {"current_drawn", "current_supplied"} & set(component.characteristics):
            reading.value(name, "current_drawn")
    return total


def charging(before: Fitted, after: Fitted, condition: str) -> Finding:
    """Load in one condition as a part of what the charging machine gives."""

    def part(reading: Reading) -> float:
        return load_a(reading, condition) / reading.value("charging.machine", "current_supplied")

    sides = on_both(before, after, part)
    loads = on_both(before, after, lambda r: load_a(r, condition))
    machine = on_both(before, after, lambda r: r.value("charging.machine", "current_supplied"))
    over = sides.after is not None and not at_most(1).holds(sides.after)
    return against(
        f"electrical.charging.{condition}",
        f"continuous load, {_worded(condition)}, as a part of the charging machine's output",
        sides,
        SOURCE if over else BUDGET,
        "%",
        at_most(1 if over else USABLE),
        digits=0,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend=_charging_mend(after, loads.after),
        more=(
            figure("continuous load", loads.before, loads.after, "A"),
            figure("charging machine", machine.before, machine.after, "A"),
        ),
    )


def _worded(condition: str) -> str:
    return {"day": "by day", "night": "at night", "worst": "on a cold wet night"}[condition]


def _charging_mend(after: Fitted, load: float | None) -> str:
    if load is None:
        return ""
    wanted = load / USABLE
    able = [c for c in after.candidates("charging.machine", "current_supplied") if c[1] >= wanted]
    named = f"; {able[0][0].number} gives {able[0][1]:.0f} A" if able else ""
    return f"A charging machine of at least {wanted:.0f} A would cover it{named}."


def _flowing(reading: Reading) -> float:
    """Current in the charging cable: the machine's full output, else what is recorded of the cable."""
    machine = reading.maybe("charging.machine", "current_supplied")
    return reading.value("charging.cable", "cable_current") if machine is None else machine


def cable_drop(before: Fitted, after: Fitted) -> Finding:
    """Voltage lost in the charging cable at full output, by the standard's resistance table."""

    def part(reading: Reading) -> float:
        place = "charging.cable"
        area, length = reading.value(place, "cable_area"), reading.value(place, "cable_length")
        standard, volts = reading.word(place, "cable_standard"), reading.fact("system_voltage")
        if reading.missing:
            return math.nan
        return voltage_drop_v(_flowing(reading), area, length, standard) / volts

    sides = on_both(before, after, part)
    over = sides.after is not None and not at_most(0.10).holds(sides.after)
    return against(
        "electrical.cable_drop",
        "voltage lost in the charging cable at full output",
        sides,
        DROP_FAILS if over else DROP,
        "%",
        at_most(0.10 if over else 0.03),
        digits=1,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend=_cable_mend(after, sides),
    )


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
        on_both(before, after, lambda r: _flowing(r) + 0 * r.value("charging.cable", "cable_rating")),
        CABLE.at(rated.after, "A"),
        "A",
        at_most(rated.after),
        digits=0,
        mend="Fit a charging cable rated for the machine's full output, fused at the battery.",
        more=(figure("what the cable carries", rated.before, rated.after, "A"),),
    )
