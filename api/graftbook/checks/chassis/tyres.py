"""What is moulded on a tyre: sizes, load index and speed symbol; and what a rim does to it."""

import math
import re
from dataclasses import dataclass

INCH = 0.0254
METRIC = re.compile(r"^(\d{3})/(\d{2,3})\s*(Z?R|-|D|B)\s*(\d{2}(?:\.5)?)C?\b")
NUMERIC = re.compile(r"^(\d{1,2}\.\d{2})\s*(R|-)\s*(\d{2})")

RADIAL_FACTOR, DIAGONAL_FACTOR = 3.05, 2.99
"""Rolling circumference over overall diameter, ETRTO, from memory; bounded by pi from above."""

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
"""ISO 4000-1 load index to load in kg; indices 65 to 70 from memory, 71 to 125 as published."""

SPEED_SYMBOL_KMH = {
    "L": 120, "M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190,
    "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}  # fmt: skip
"""ISO 4000-1 speed symbol to km/h, as published."""

NUMERIC_SIZES_M = {
    ("6.00", 16): (0.728, 0.170),
    ("6.50", 16): (0.742, 0.176),
    ("7.00", 16): (0.778, 0.198),
    ("7.50", 16): (0.802, 0.210),
}
"""Overall diameter and section width of radial numeric sizes, UN R54 Annex 5, from memory, 1.5 %."""


@dataclass(frozen=True, slots=True)
class TyreSize:
    """A size as moulded, in metres."""

    overall_diameter_m: float
    section_width_m: float
    rim_diameter_m: float
    radial: bool

    @property
    def circumference_m(self) -> float:
        """Rolling circumference by the ETRTO factor."""
        return self.overall_diameter_m * (RADIAL_FACTOR if self.radial else DIAGONAL_FACTOR)


def tyre_size(code: str) -> TyreSize:
    """Dimensions of "245/55R18" (H = W AR / 100, OD = 2 H + 25.4 d) or of a listed "7.50R16".

    A numeric size carries no aspect ratio; one that is not listed raises ValueError rather than
    borrowing one.
    """
    text = code.strip().upper()
    if match := METRIC.match(text):
        width = int(match.group(1)) / 1000
        rim = float(match.group(4)) * INCH
        radial = match.group(3).endswith("R")
        return TyreSize(2 * width * int(match.group(2)) / 100 + rim, width, rim, radial)
    if match := NUMERIC.match(text):
        listed = NUMERIC_SIZES_M.get((match.group(1), int(match.group(3))))
        if listed:
            return TyreSize(*listed, int(match.group(3)) * INCH, match.group(2) == "R")
    raise ValueError(f"the tyre size '{code}' is not known")


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


def turns_per_mile(circumference_m: float) -> float:
    return 1609.344 / circumference_m


def backspace_m(rim_width_m: float, offset_m: float, lip_m: float = 0.0) -> float:
    """Mounting face to the wheel's inner edge; the trade counts the flange lip or leaves it out."""
    return (rim_width_m + 2 * lip_m) / 2 + offset_m


def outer_face_m(rim_width_m: float, offset_m: float) -> float:
    """Mounting face to the rim's outer edge."""
    return rim_width_m / 2 - offset_m


def track_change_m(offset_before_m: float, offset_after_m: float) -> float:
    """Both wheels move: less offset widens the track by twice the difference."""
    return 2 * (offset_before_m - offset_after_m)


def section_reach_m(section_width_m: float, offset_m: float, outward: bool) -> float:
    """How far the tyre reaches from the mounting face, outward or inward."""
    return section_width_m / 2 - math.copysign(1, 1 if outward else -1) * offset_m
