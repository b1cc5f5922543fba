"""The voltage that a vehicle runs at, that of its battery, and what copper cable drops of it."""

import math

from graftbook.checks.fitted import Reading, remembered


@remembered
def system_v(reading: Reading) -> float:
    """Volts of the system: those that battery and machine are both made for, so that a converted vehicle is
    judged by what it has now; else the variant's from new."""
    battery = reading.maybe("battery", "rated_voltage")
    machine = reading.maybe("charging.machine", "rated_voltage")
    return reading.fact("system_voltage") if battery is None or battery != machine else battery


@remembered
def battery_v(reading: Reading) -> float:
    """Volts of the battery that is fitted; where it records none, those of the variant's system."""
    own = reading.maybe("battery", "rated_voltage")
    return reading.fact("system_voltage") if own is None else own


ISO_6722 = {
    0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71, 6.0: 3.14, 10.0: 1.82, 16.0: 1.16,
    25.0: 0.743,
}  # fmt: skip
"""Conductor area in mm2 to the greatest resistance in mohm/m at 20 C; 1.5 mm2 seen, the rest from memory."""
SEEN_OF_ISO_6722 = frozenset({1.5})

IEC_60228_CLASS_5 = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21,
    25.0: 0.780,
}  # fmt: skip
"""The same for flexible plain copper, IEC 60228 class 5, as published."""

TABLES = {"ISO 6722": ISO_6722, "IEC 60228 class 5": IEC_60228_CLASS_5}
GREATEST_AREA_MM2 = 120.0


def cable_resistance_ohm_per_m(area_m2: float, standard: str) -> float:
    """The greatest resistance that the cable standard allows at 20 C.

    Between tabulated areas, resistance times area is read between the neighbours; beyond the table the
    last row's product holds up to 120 mm2. AWG takes the class 5 product at its own area. Raises
    ValueError for an unknown standard or an area outside.
    """
    area = area_m2 * 1e6
    table = TABLES.get(standard, IEC_60228_CLASS_5 if standard == "AWG" else None)
    if table is None or not 0.5 - 1e-9 <= area <= GREATEST_AREA_MM2:
        raise ValueError(f"no resistance is tabulated for {area:.2f} mm2 of '{standard}'")
    sizes = sorted(table)
    if area >= sizes[-1]:
        return table[sizes[-1]] * sizes[-1] / area * 1e-3
    above = next(i for i, size in enumerate(sizes) if size >= area - 1e-9)
    if math.isclose(sizes[above], area) or above == 0:
        return table[sizes[above]] * 1e-3
    low, high = sizes[above - 1], sizes[above]
    part = (area - low) / (high - low)
    product = table[low] * low * (1 - part) + table[high] * high * part
    return product / area * 1e-3


def is_remembered(area_m2: float, standard: str) -> bool:
    """Whether the resistance of a conductor rests on a figure from memory: then nothing fails by it."""
    return standard == "ISO 6722" and round(area_m2 * 1e6, 6) not in SEEN_OF_ISO_6722


def voltage_drop_v(current_a: float, area_m2: float, length_m: float, standard: str) -> float:
    """Drop over the conductor's whole length at 20 C, by the standard's table."""
    return current_a * cable_resistance_ohm_per_m(area_m2, standard) * length_m
