"""Curves of a set's arithmetic, before and after, for whoever draws them. None: not recorded."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from graftbook.checks.brakes.system import loading, system
from graftbook.checks.budgets import supplied
from graftbook.checks.driveline.gearing import GEARS, behind_gearbox, circumference_m, gears, road_speed_m_s
from graftbook.checks.electrical.charging import CONDITIONS, MACHINE, USUAL, balances, load_a
from graftbook.checks.fitted import Fitted, Reading, on_both
from graftbook.rulebook.model import RuleBook, Vehicle
from graftbook.rulebook.units import STANDARD_GRAVITY

RATES = tuple(step / 20 for step in range(2, 18))
"""Braking rates in g, from 0.1 to 0.85."""

CRUISE_PART = 0.75
"""Of the engine speed at rated power: common practice for cruising."""

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Balance:
    """Front share of braking over the rate in g; `ideal` is where both axles use the same adhesion."""

    state: str
    ideal: Points
    before: Points | None
    after: Points | None


@dataclass(frozen=True, slots=True)
class Gear:
    """Road speed in km/h at the engine's rated speed."""

    name: str
    before: float | None
    after: float | None


@dataclass(frozen=True, slots=True)
class Gearing:
    """`cruise`: the vehicle's cruising speed in km/h; a gear reaches `CRUISE_PART` of its speed calmly."""

    gears: tuple[Gear, ...]
    cruise: float | None


@dataclass(frozen=True, slots=True)
class Current:
    """Amperes drawn in a condition; what the charging machine gives, before and after."""

    condition: str
    before: float | None
    after: float | None


@dataclass(frozen=True, slots=True)
class Charging:
    """`usable`: the part of the machine's output that may be drawn for long."""

    loads: tuple[Current, ...]
    gives_before: float | None
    gives_after: float | None
    usable: float = USUAL.usable


@dataclass(frozen=True, slots=True)
class Curves:
    balance: tuple[Balance, ...]
    gearing: Gearing
    charging: Charging


def curves(
    book: RuleBook, vehicle: Vehicle | None, today: Mapping[str, str | None], after: Mapping[str, str | None]
) -> Curves:
    """The curves of a set; `today` and `after` as `check_set` takes them."""
    was, new = Fitted(book, today, vehicle), Fitted(book, after, vehicle)
    balance = [found for laden in (True, False) if (found := _balance(was, new, laden)) is not None]
    return Curves(tuple(balance), _gearing(was, new), _charging(was, new))


def _balance(was: Fitted, new: Fitted, laden: bool) -> Balance | None:
    def shares(reading: Reading) -> Points:
        axles, weight = system(reading).axles, STANDARD_GRAVITY * loading(reading, laden).mass_kg
        return tuple((rate, axles.front_share(axles.pressure_pa(rate * weight))) for rate in RATES)

    def ideal(reading: Reading) -> Points:
        load = loading(reading, laden)
        return tuple((rate, load.ideal_front_share(rate)) for rate in RATES)

    best, sides = on_both(was, new, ideal), on_both(was, new, shares)
    if best.after is None:
        return None
    return Balance("laden" if laden else "unladen", best.after, sides.before, sides.after)


def _gearing(was: Fitted, new: Fitted) -> Gearing:
    def speeds(reading: Reading) -> dict[str, float]:
        rated = reading.value("engine.unit", "power_speed")
        behind, circle = behind_gearbox(reading), circumference_m(reading)
        return {
            f"gear {number}": road_speed_m_s(rated, circle, ratio * behind) * 3.6
            for number, ratio in enumerate(gears(reading), 1)
        }

    sides = on_both(was, new, speeds)
    before, after = sides.before or {}, sides.after or {}
    names = [f"gear {number}" for number in range(1, len(GEARS) + 1)]
    cruise = on_both(was, new, lambda reading: reading.fact("cruise_speed") * 3.6).after
    known = [name for name in names if name in before or name in after]
    return Gearing(tuple(Gear(name, before.get(name), after.get(name)) for name in known), cruise)


def _charging(was: Fitted, new: Fitted) -> Charging:
    words = {"day": "by day", "night": "at night", "worst": "on a cold wet night"}
    loads, rule = [], balances(new)[0]
    for condition in CONDITIONS:
        sides = on_both(was, new, partial(load_a, budget=rule, condition=condition))
        loads.append(Current(words[condition], sides.before, sides.after))
    gives = on_both(was, new, lambda reading: supplied(reading, rule, MACHINE))
    return Charging(tuple(loads), gives.before, gives.after, rule.usable)
