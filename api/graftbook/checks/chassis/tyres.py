"""What is moulded on a tyre: load index and speed symbol; and what a rim does to it."""

import math

RIM_FACTOR = 0.4
"""K of S = S1 + K (A - A1), UN R30 6.1.1.1: section width follows the rim by four tenths."""

LOAD_INDEX_KG = dict(
    zip(
        range(65, 126),
        (290, 300, 307, 315, 325, 335, 345, 355, 365, 375, 387, 400, 412, 425, 437, 450, 462, 475, 487, 500,
         515, 530, 545, 560, 580, 600, 615, 630, 650, 670, 690, 710, 730, 750, 775, 800, 825, 850, 875, 900,
         925, 950, 975, 1000, 1030, 1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360, 1400, 1450,
         1500, 1550, 1600, 1650),
        strict=True,
    )
)  # fmt: skip
"""ISO 4000-1 load index to load in kg, as published."""

SPEED_SYMBOL_KMH = {
    "L": 120, "M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190,
    "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}  # fmt: skip
"""ISO 4000-1 speed symbol to km/h, as published."""


def load_carried_kg(load_index: int) -> float:
    """Load of one tyre; raises ValueError outside the table."""
    if load_index not in LOAD_INDEX_KG:
        raise ValueError(f"load index {load_index} is not in the table")
    return float(LOAD_INDEX_KG[load_index])


def speed_carried_m_s(symbol: str) -> float:
    """Speed of a symbol; raises ValueError for an unknown one."""
    if symbol not in SPEED_SYMBOL_KMH:
        raise ValueError(f"speed symbol '{symbol}' is not known")
    return SPEED_SYMBOL_KMH[symbol] / 3.6


def section_width_on_rim_m(width_m: float, measuring_rim_m: float, rim_m: float) -> float:
    """UN R30 6.1.1.1: S = S1 + K (A - A1)."""
    return width_m + RIM_FACTOR * (rim_m - measuring_rim_m)


def track_change_m(offset_before_m: float, offset_after_m: float) -> float:
    """Both wheels move: less offset widens the track by twice the difference."""
    return 2 * (offset_before_m - offset_after_m)


def section_reach_m(section_width_m: float, offset_m: float, outward: bool) -> float:
    """How far the tyre reaches from the mounting face, outward or inward."""
    return section_width_m / 2 - math.copysign(1, 1 if outward else -1) * offset_m
