"""Fuel: mixture with ethanol, vapour lock, injectors, pump flow, pressure and ethanol ratings."""

import math

from graftbook.checks.budgets import budgets_of, demanded, recording, supplied, wanted_of
from graftbook.checks.findings import against, at_least, at_most, undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure
from graftbook.rulebook.model import Budget

OXYGEN_IN_AIR = 0.20947
AIR_G_MOL = 28.965
CARBON, HYDROGEN, OXYGEN = 12.011, 1.008, 15.999
PETROL_KG_L, ETHANOL_KG_L = 0.745, 0.789
PETROL_RATIO = 14.7
"""Air to fuel by mass for petrol as it is sold, published practice."""
LEAN_CAUTION, LEAN_FAILS = 0.03, 0.15

PRACTICE, RECORDED = Provenance.common_practice, Provenance.recorded
LEAN = Limit("at most 3 % leaner than the jets are set for", "workshop practice", PRACTICE, "", 3, "%")
FAR_LEAN = Limit("at most 15 % leaner than the jets are set for", "workshop practice", PRACTICE, "", 15, "%")
BOILING = "physics of boiling, Clausius-Clapeyron slope"
SUCKED = Limit(
    "below the pressure of the air, since the pump sucks the fuel through the line",
    BOILING,
    Provenance.derived,
)
PUSHED = Limit(
    "below the pressure of air and pump together, since the pump pushes the fuel through the line",
    BOILING,
    Provenance.derived,
)
DUTY = Limit("at most the duty that the injector is made for", "injector data", RECORDED)
FLOW = Limit("at least what the engine takes at rated power", "pump data", RECORDED)
SPARE = Limit(
    "at least what the engine takes and what line and filter keep back", "workshop practice", PRACTICE
)
PRESSURE = Limit("at least the working pressure", "component data", RECORDED)
ETHANOL = Limit("at least the ethanol in the market's fuel", "component data", RECORDED)
PRESSED_PARTS = {
    "fuel.feed": "Fit line and hose made for that pressure (SAE J30 R9 or better for injection), with clips "
    "that go with them.",
    "fuel.filter": "Fit a filter whose case is made for that pressure, with its unions.",
}
"""What stands under the pump's pressure, with its mend; a return line runs back free, a swirl pot stands
before the pump."""
ETHANOL_PARTS = ("fuel.tank", "fuel.feed", "fuel.return", "fuel.pump", "fuel.metering", "fuel.filter")

ATMOSPHERE_PA = 101_325.0
REID_KELVIN = 310.93
"""37.8 C, the temperature at which the vapour pressure of a petrol is stated."""
VAPOUR_SLOPE_K = 3450.0
"""Heat of vaporisation of petrol over the gas constant, about 28.7 kJ/mol; handbook order of size."""


def stoichiometric_ratio(carbon: float, hydrogen: float, oxygen: float = 0.0) -> float:
    """Air to fuel by mass for C_x H_y O_z: (x + y/4 - z/2) / 0.20947 x 28.965 / M."""
    mass = carbon * CARBON + hydrogen * HYDROGEN + oxygen * OXYGEN
    return (carbon + hydrogen / 4 - oxygen / 2) / OXYGEN_IN_AIR * AIR_G_MOL / mass


ETHANOL_RATIO = stoichiometric_ratio(2, 6, 1)


def ethanol_mass_part(volume_part: float) -> float:
    """Ethanol by mass from ethanol by volume."""
    ethanol = volume_part * ETHANOL_KG_L
    return ethanol / (ethanol + (1 - volume_part) * PETROL_KG_L)


def blend_ratio(ethanol_volume_part: float) -> float:
    """Air to fuel by mass of a blend, weighed by mass, not by volume."""
    part = ethanol_mass_part(ethanol_volume_part)
    return part * ETHANOL_RATIO + (1 - part) * PETROL_RATIO


def lambda_on_fixed_jets(jetted_for: float, fuel: float) -> float:
    """Mixture with `fuel` ethanol on jets set for `jetted_for` (volume parts); 1 is as set, above is lean."""
    return blend_ratio(jetted_for) / blend_ratio(fuel)


def vapour_pressure_pa(at_reid_pa: float, kelvin: float) -> float:
    """Vapour pressure at another temperature, by the Clausius-Clapeyron slope of petrol."""
    return at_reid_pa * math.exp(VAPOUR_SLOPE_K * (1 / REID_KELVIN - 1 / kelvin))


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every fuel check that applies to what is fitted."""
    findings = [mixture(before, after), vapour_lock(before, after), pump_flow(before, after)]
    if injects(after):
        findings.append(injector_duty(before, after))
    findings += [pressure(before, after, p) for p in PRESSED_PARTS if after.has(p)]
    findings += [ethanol(before, after, p) for p in ETHANOL_PARTS if after.has(p)]
    return findings


def injects(fitted: Fitted) -> bool:
    """Whether fuel is injected, as far as is recorded; else it is drawn through jets."""
    return "injection" in Reading(fitted).maybe_word("fuel.metering", "metering")


def mixture(before: Fitted, after: Fitted) -> Finding:
    """How much leaner the market's fuel runs than the jets are set for; a sensor corrects it."""

    def lean(reading: Reading) -> float:
        place = ("fuel.metering", "fuel.control_unit")
        if reading.maybe_word(place, "closed_loop") == "yes":
            return 0.0
        return (
            lambda_on_fixed_jets(
                reading.value("fuel.metering", "jetting_ethanol"), reading.fact("fuel_ethanol")
            )
            - 1
        )

    sides = on_both(before, after, lean)
    far = sides.after is not None and not at_most(LEAN_FAILS).holds(sides.after)
    return against(
        "fuel.mixture",
        "mixture with the market's fuel, leaner by",
        sides,
        FAR_LEAN if far else LEAN,
        "%",
        at_most(LEAN_FAILS if far else LEAN_CAUTION),
        otherwise=Verdict.fails if far else Verdict.caution,
        mend="Metering that a sensor corrects, or more fuel by its setting, would do it."
        if injects(after)
        else "Larger jets, or metering that a sensor corrects, would do it.",
        say=_mixture_sentence,
    )


def _mixture_sentence(before: float | None, after: float) -> str:
    today = "" if before is None or abs(before - after) < 0.0005 else f"; today it runs {_off(before)}"
    return f"On the market's fuel the mixture runs {_off(after)}{today}"


def _off(lean: float) -> str:
    """ "4.3 % leaner than the jets are set for", or richer, or as set."""
    if abs(lean) < 0.0005:
        return "as it is set"
    return f"{abs(lean) * 100:.1f} % {'leaner' if lean > 0 else 'richer'} than the jets are set for"


def sucks(reading: Reading) -> bool:
    """Whether the pump draws the fuel through the hot line: one on the engine does, one at the tank pushes.

    A mechanical pump sits on the engine, an electric one at the tank unless `pump_place` says otherwise.
    """
    kind = reading.word("fuel.pump", "pump_kind")
    place = reading.maybe_word("fuel.pump", "pump_place")
    return place == "at the engine" if place else kind == "mechanical"


def vapour_lock(before: Fitted, after: Fitted) -> Finding:
    """Vapour pressure of the fuel in the hot line, as a part of what keeps it liquid there.

    Only the air's pressure does where the pump sucks; a pump at the tank adds its own. A caution at
    most: the slope is that of an average petrol.
    """

    def part(reading: Reading) -> float:
        vapour = vapour_pressure_pa(
            reading.fact("fuel_vapour_pressure"),
            reading.value(("fuel.feed", "fuel.pump"), "line_temperature"),
        )
        pushed = 0.0 if sucks(reading) else reading.value("fuel.pump", "fuel_pressure")
        return vapour / (ATMOSPHERE_PA + pushed)

    return against(
        "fuel.vapour_lock",
        "vapour pressure in the hot line, as a part of what keeps the fuel liquid",
        on_both(before, after, part),
        SUCKED if sucks(Reading(after)) else PUSHED,
        "%",
        at_most(1),
        digits=0,
        otherwise=Verdict.caution,
        mend="An electric pump at the tank or a cooler path for the line would do it; a return line helps."
        if sucks(Reading(after))
        else "A cooler path for the line or more pressure would do it; a return line helps.",
    )


def fuel_needed_kg_s(reading: Reading) -> float:
    return reading.value("engine.unit", "power") * reading.value("engine.unit", "specific_consumption")


FLOW_RULE = Budget(name="", supply_kind="pump_flow", demand_kind="fuel_flow", reason="")
"""The balance where the rule book states none: all that the pump gives may be used."""


def _flow_taken(reading: Reading, rule: Budget) -> float:
    """What the engine takes at rated power, as recorded, else from its power and consumption, in m3/s."""
    if recording(reading.fitted, rule, rule.demand_kind):
        return demanded(reading, rule)
    return fuel_needed_kg_s(reading) / (PETROL_KG_L * 1000)


def pump_flow(before: Fitted, after: Fitted) -> Finding:
    """Pump flow at working pressure against the fuel taken at rated power, with the rule book's reserve.

    A caution where only the reserve is gone; a failure where the engine takes more than the pump gives.
    """
    rule = next(iter(budgets_of(after, FLOW_RULE.supply_kind, FLOW_RULE.demand_kind)), FLOW_RULE)
    needed = on_both(before, after, lambda r: _flow_taken(r, rule))
    gives = on_both(before, after, lambda r: only_with(supplied(r, rule, "fuel.pump"), _flow_taken(r, rule)))
    wanted, plain = wanted_of(rule, needed, gives)
    return against(
        "fuel.pump_flow",
        "pump flow",
        gives,
        (FLOW if plain else SPARE).at(wanted, "l/h"),
        "l/h",
        at_least(wanted),
        digits=0,
        otherwise=Verdict.fails if plain else Verdict.caution,
        mend="Fit a pump of more flow at the working pressure.",
        more=(figure("fuel taken at rated power", needed.before, needed.after, "l/h"),),
    )


def injector_duty(before: Fitted, after: Fitted) -> Finding:
    """Part of the time that the injectors are open at rated power."""

    def duty(reading: Reading) -> float:
        flow = reading.value("fuel.metering", "injector_flow") * reading.value(
            "fuel.metering", "injector_count"
        )
        return fuel_needed_kg_s(reading) / flow

    permitted = on_both(before, after, lambda r: r.value("fuel.metering", "injector_duty"))
    return against(
        "fuel.injector_duty",
        "injector duty at rated power",
        on_both(before, after, lambda r: only_with(duty(r), r.value("fuel.metering", "injector_duty"))),
        DUTY.at(permitted.after, "%"),
        "%",
        at_most(permitted.after),
        digits=0,
        mend="Larger injectors, or a higher working pressure.",
        more=(figure("permitted duty", permitted.before, permitted.after, "%"),),
    )


def pressure(before: Fitted, after: Fitted, position: str) -> Finding:
    """Pressure rating of a line or filter against the working pressure of the pump."""
    working = on_both(before, after, lambda r: r.value("fuel.pump", "fuel_pressure"))
    return against(
        f"fuel.pressure.{position}",
        f"pressure rating of the {after.title(position)}",
        on_both(
            before,
            after,
            lambda r: only_with(r.value(position, "pressure_rating"), r.value("fuel.pump", "fuel_pressure")),
        ),
        PRESSURE.at(working.after, "kPa"),
        "kPa",
        at_least(working.after),
        digits=0,
        mend=PRESSED_PARTS[position],
        more=(figure("working pressure", working.before, working.after, "kPa"),),
    )


def ethanol(before: Fitted, after: Fitted, position: str) -> Finding:
    """Ethanol that a part withstands against what the market's fuel holds."""
    sold = on_both(before, after, lambda r: r.fact("fuel_ethanol"))
    sides = on_both(
        before, after, lambda r: only_with(r.value(position, "ethanol_rating"), r.fact("fuel_ethanol"))
    )
    if sides.after is None:
        return undetermined(
            f"fuel.ethanol.{position}",
            f"ethanol that is safe for the {after.title(position)}",
            sides,
            ETHANOL,
        )
    return against(
        f"fuel.ethanol.{position}",
        f"ethanol that is safe for the {after.title(position)}",
        sides,
        ETHANOL.at(sold.after, "%"),
        "%",
        at_least(sold.after),
        digits=0,
        mend=f"Change the {after.title(position)} for what is made for that much ethanol, or use fuel "
        "without it.",
        more=(figure("ethanol in the market's fuel", sold.before, sold.after, "%"),),
    )
