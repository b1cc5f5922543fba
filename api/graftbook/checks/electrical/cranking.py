"""Cranking: the volts that are left at the starter, cold."""

import math

from graftbook.checks.electrical.voltage import battery_v, cable_resistance_ohm_per_m
from graftbook.checks.findings import against, at_least
from graftbook.checks.fitted import Fitted, Places, Reading, on_both
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure

CELL_V = 2.1
"""A charged lead cell at rest; usual value."""
CELL_CRANKED_V = 1.25
"""EN 50342-1, from memory: 7.5 V of a 12 V battery at -18 C, 10 s into its cold cranking current."""
NOMINAL_CELL_V = 2.0

STARTING_CABLES: tuple[Places, ...] = (("starter.cable", "starter"), "earth.strap")
"""The cables in the starting circuit; a starter may record the one that it is wired with."""

USUAL = Limit("at least two thirds of the system voltage", "workshop practice", Provenance.common_practice)
STARTER = Limit("at least what the starter needs", "starter data", Provenance.recorded)


def battery_resistance_ohm(cold_cranking_a: float, cells: float) -> float:
    """What a battery must lose inside to fall to its test voltage at its cold cranking current."""
    return cells * (CELL_V - CELL_CRANKED_V) / cold_cranking_a


def cranking_v(current_a: float, battery_ohm: float, cable_ohm: float, cells: float) -> float:
    """E - I (R_battery + R_cables)."""
    return cells * CELL_V - current_a * (battery_ohm + cable_ohm)


def _battery(reading: Reading, cells: float) -> float:
    given = reading.maybe("battery", "battery_resistance")
    return (
        battery_resistance_ohm(reading.value("battery", "cold_cranking"), cells) if given is None else given
    )


def _cables(reading: Reading) -> float:
    total = 0.0
    for places in STARTING_CABLES:
        area, length = reading.value(places, "cable_area"), reading.value(places, "cable_length")
        standard = reading.word(places, "cable_standard")
        whole = standard and not math.isnan(area + length)
        total += cable_resistance_ohm_per_m(area, standard) * length if whole else math.nan
    return total


def _volts(reading: Reading) -> float:
    cells = battery_v(reading) / NOMINAL_CELL_V
    current = reading.value("starter", "cranking_current")
    return cranking_v(current, _battery(reading, cells), _cables(reading), cells)


def cranking(before: Fitted, after: Fitted) -> Finding:
    """Volts at the starter at its cold current. A caution at most: the battery is reckoned from memory."""
    least = on_both(before, after, _least)
    recorded = Reading(after).maybe("starter", "least_voltage") is not None
    lost = on_both(before, after, lambda r: r.value("starter", "cranking_current") * _cables(r))
    return against(
        "electrical.cranking",
        "voltage at the starter, cold",
        on_both(before, after, lambda r: _volts(r) + 0 * _least(r)),
        (STARTER if recorded else USUAL).at(least.after, "V", 1),
        "V",
        at_least(least.after),
        otherwise=Verdict.caution,
        mend="A battery of more cold cranking current would do it, or thicker cables to starter and earth; "
        "clean the posts and the earth first.",
        more=(figure("voltage lost in the cables", lost.before, lost.after, "V"),),
    )


def _least(reading: Reading) -> float:
    own = reading.maybe("starter", "least_voltage")
    return battery_v(reading) * 2 / 3 if own is None else own
