"""Heat in drums and discs over the repeated stops of the fade test, cooling as recorded or left out."""

import math
from dataclasses import dataclass

from graftbook.checks.brakes.system import loading, system
from graftbook.checks.findings import against, at_most
from graftbook.checks.fitted import Fitted, Reading, on_both
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure

IRON_J_PER_KG_K = 448.0
"""Specific heat of iron; common practice, as published worked examples of brake heat take it."""

STOPS = 15
FIRST_M_S2 = 3.0
MOST_M_S = 120 / 3.6
SECONDS_BETWEEN = {"M1": 45.0, "N1": 55.0}
COLD_K = 373.15
"""A brake counts as cold up to 100 degrees; the worst start that the test allows."""
AROUND_K = 293.15

LINING = Limit(
    "at most what the lining stands",
    "brake data; the test of 71/320/EEC as amended",
    Provenance.recorded,
    "Annex II, 1.3.1",
)


@dataclass(frozen=True, slots=True)
class Cycle:
    """The fade test: speeds in m/s before and after each of `STOPS` stops, seconds from one to the next."""

    fast: float
    slow: float
    seconds: float


def fade_cycle(top_m_s: float, category: str) -> Cycle:
    """71/320/EEC, Annex II, 1.3.1.1: from 80 % of the top speed, at most 120 km/h, to half of it."""
    fast = min(0.8 * top_m_s, MOST_M_S)
    return Cycle(fast, fast / 2, SECONDS_BETWEEN["N1" if category == "N1" else "M1"])


def rise_k(mass_kg: float, fast: float, slow: float, share: float, iron_kg: float) -> float:
    """Delta T = m (v1^2 - v2^2) / 2 * share / (M c): one stop, all heat into the iron."""
    return mass_kg * (fast**2 - slow**2) / 2 * share / (iron_kg * IRON_J_PER_KG_K)


def hottest_k(rise: float, cycle: Cycle, cooling_s: float | None) -> float:
    """The temperature after the last stop; `cooling_s` is the time constant in the wind, None: none."""
    if cooling_s is None:
        return COLD_K + STOPS * rise
    kept = math.exp(-cycle.seconds / cooling_s)
    temperature = COLD_K + rise
    for _ in range(STOPS - 1):
        temperature = AROUND_K + (temperature - AROUND_K) * kept + rise
    return temperature


def heat(before: Fitted, after: Fitted) -> list[Finding]:
    """The heat of both axles' brakes."""
    return [_heat_of(before, after, axle) for axle in ("front", "rear")]


def _heat_of(before: Fitted, after: Fitted, axle: str) -> Finding:
    places = (f"rotor.{axle}.left", f"brake.{axle}.left")
    lining = on_both(before, after, lambda r: r.value(places, "lining_limit"))
    rise = on_both(before, after, lambda r: _rise_of(r, axle)[0])

    def hottest(reading: Reading) -> float:
        reading.value(places, "lining_limit")
        once, cycle = _rise_of(reading, axle)
        return hottest_k(once, cycle, reading.maybe(places, "cooling_time"))

    cooled = Reading(after).maybe(places, "cooling_time") is not None
    irons = "discs" if Reading(after).maybe_word(places, "brake_type") == "disc" else "drums"
    cooling = "cooling as recorded" if cooled else "cooling left out"
    return against(
        f"brakes.heat.{axle}",
        f"{axle} brakes after {STOPS} stops of the fade test from 100 degC, laden, {cooling}",
        on_both(before, after, hottest),
        LINING.at(lining.after, "degC"),
        "degC",
        at_most(lining.after),
        digits=0,
        otherwise=Verdict.caution,
        mend=f"Heavier {irons}, or linings for more heat. On long hills change down and let them cool.",
        more=(figure("each stop heats them by, in kelvin", rise.before, rise.after, ""),),
    )


def _rise_of(reading: Reading, axle: str) -> tuple[float, Cycle]:
    """What one stop of the fade test heats an axle's two drums or discs by, and the test."""
    sys, load = system(reading), loading(reading, True)
    cycle = fade_cycle(reading.fact("top_speed"), reading.fact_word("vehicle_category"))
    front = sys.axles.front_share(sys.axles.pressure_pa(load.mass_kg * FIRST_M_S2))
    share = front if axle == "front" else 1 - front
    places = (f"rotor.{axle}.left", f"brake.{axle}.left")
    iron = 2 * reading.value(places, "rotor_mass")
    return rise_k(load.mass_kg, cycle.fast, cycle.slow, share, iron), cycle
