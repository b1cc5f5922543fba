"""Fuel once more, plainly, from the published text: no import from the service."""

import math


def air_to_fuel(ethanol):
    """Kilogrammes of air for one of fuel; ethanol by volume, petrol 14.7 and 0.745 kg/l, ethanol 0.789 kg/l.

    C2H6O burns with 3 O2; air is 20.947 % oxygen by volume and weighs 28.965 g a mole.
    """
    pure = 3 / 0.20947 * 28.965 / (2 * 12.011 + 6 * 1.008 + 15.999)
    alcohol, petrol = ethanol * 0.789, (1 - ethanol) * 0.745
    return (alcohol * pure + petrol * 14.7) / (alcohol + petrol)


def leaner(jets, sold):
    """By how much fuel with `sold` ethanol runs lean on jets set for `jets`."""
    return air_to_fuel(jets) / air_to_fuel(sold) - 1


def judge_mixture(part):
    return "fails" if part > 0.15 + 1e-12 else "caution" if part > 0.03 + 1e-12 else "holds"


def vapour_pressure_kpa(reid_kpa, celsius):
    """Clausius and Clapeyron from the 37.8 C at which a petrol's pressure is stated; 3450 K for petrol."""
    return reid_kpa * math.exp(3450 * (1 / 310.93 - 1 / (celsius + 273.15)))


def judge_vapour(reid_kpa, celsius, pump_kpa, sucks):
    """A pump that sucks leaves the air alone to keep the fuel liquid; one at the tank adds its pressure."""
    keeps = 101.325 if sucks else 101.325 + pump_kpa
    return "caution" if vapour_pressure_kpa(reid_kpa, celsius) > keeps * (1 + 1e-9) else "holds"


def litres_an_hour(kilowatts, grammes_a_kwh):
    return kilowatts * grammes_a_kwh / 1000 / 0.745


def judge_flow(pump, needed, usable):
    if pump < needed * (1 - 1e-9):
        return "fails"
    return "caution" if pump * usable < needed * (1 - 1e-9) else "holds"


def duty(kilowatts, grammes_a_kwh, injectors, kilogrammes_an_hour):
    return kilowatts * grammes_a_kwh / 1000 / (injectors * kilogrammes_an_hour)
