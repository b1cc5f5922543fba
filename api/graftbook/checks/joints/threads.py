"""Screw threads: standard sizes, dimensions, and pairs that start but must not be mixed."""

import math
import re
from dataclasses import dataclass

INCH = 0.0254
FRACTIONS = {
    "1/4": 0.25, "5/16": 0.3125, "3/8": 0.375, "7/16": 0.4375, "1/2": 0.5, "9/16": 0.5625,
    "5/8": 0.625, "3/4": 0.75,
}  # fmt: skip
TURNS_PER_INCH = {
    "UNC": (20, 18, 16, 14, 13, 12, 11, 10),
    "UNF": (28, 24, 24, 20, 20, 18, 18, 16),
    "BSW": (20, 18, 16, 14, 12, 12, 11, 10),
    "BSF": (26, 22, 20, 18, 16, 16, 14, 12),
}
"""By fraction in the order of FRACTIONS: ASME B1.1 and BS 84, as held in an open CAD program's tables."""
INCH_NUMBERS = {"#10": 0.190}
PIPE = {"G1/8": (9.728e-3, 28, 55), "1/8-27 NPT": (10.287e-3, 27, 60)}
WHITWORTH = frozenset({"BSW", "BSF"})

METRIC = re.compile(r"^M(\d+(?:\.\d+)?)\s*[xX]\s*(\d+(?:\.\d+)?)$")
INCHES = re.compile(r"^(\d/\d{1,2}|#\d{1,2})\s*-\s*(\d{1,2})\s*(UNC|UNF|BSW|BSF|UNS)?$")


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread: outside diameter and pitch in metres, flank angle in degrees."""

    diameter_m: float
    pitch_m: float
    angle_deg: int

    @property
    def minor_diameter_m(self) -> float:
        """ISO 68-1: D1 = d - 1.082532 P; Whitworth form (BS 84): d - 2 x 0.640327 P."""
        return self.diameter_m - (1.280654 if self.angle_deg == 55 else 1.082532) * self.pitch_m

    @property
    def stress_area_m2(self) -> float:
        """As = pi/4 (d - 0.938194 P)^2."""
        return math.pi / 4 * (self.diameter_m - 0.938194 * self.pitch_m) ** 2


def thread(name: str) -> Thread:
    """Read "M10x1", "3/8-24 UNF", "3/8-20 BSF", "1/2 UNC", "G1/8"; raises ValueError otherwise."""
    text = " ".join(name.split())
    if text in PIPE:
        diameter, turns, angle = PIPE[text]
        return Thread(diameter, INCH / turns, angle)
    if match := METRIC.match(text):
        return Thread(float(match.group(1)) / 1000, float(match.group(2)) / 1000, 60)
    size, _, series = text.partition(" ")
    if size in FRACTIONS and series in TURNS_PER_INCH:
        turns = TURNS_PER_INCH[series][list(FRACTIONS).index(size)]
        return Thread(FRACTIONS[size] * INCH, INCH / turns, 55 if series in WHITWORTH else 60)
    if match := INCHES.match(text):
        inches = FRACTIONS.get(match.group(1)) or INCH_NUMBERS.get(match.group(1))
        if inches:
            return Thread(
                inches * INCH, INCH / int(match.group(2)), 55 if match.group(3) in WHITWORTH else 60
            )
    raise ValueError(f"the thread '{name}' is not known")


@dataclass(frozen=True, slots=True)
class Mixing:
    """What happens when two threads meet.

    `depth` is the flank overlap of the smaller male in the larger female, as a part of the female's own
    full thread (1.0825 P of 60 degrees, 1.2807 P of Whitworth form, both of the diameter);
    `lead_error_m` the difference of pitch summed over one diameter; it jams beyond half a pitch.
    """

    depth: float
    lead_error_m: float
    half_pitch_m: float
    same_angle: bool
    same: bool

    @property
    def jams(self) -> bool:
        return self.lead_error_m > self.half_pitch_m

    @property
    def words(self) -> str:
        if self.same:
            return "the same thread"
        if self.depth < 0.2:
            return "they do not engage"
        if self.jams:
            return f"starts, jams within one diameter and strips; {self.depth:.0%} of full depth"
        flank = "" if self.same_angle else ", flank angles differ"
        return f"goes together but is not a joint: {self.depth:.0%} of full depth{flank}"


def mixing(one: Thread, other: Thread) -> Mixing:
    """How two threads meet, whichever is male."""
    small, large = sorted((one, other), key=lambda t: t.diameter_m)
    overlap = small.diameter_m - large.minor_diameter_m
    full = large.diameter_m - large.minor_diameter_m
    finer = min(one.pitch_m, other.pitch_m)
    difference = abs(one.pitch_m - other.pitch_m)
    same = math.isclose(one.diameter_m, other.diameter_m, rel_tol=1e-6) and difference < 1e-9
    return Mixing(
        depth=max(0.0, min(overlap / full, 1.0)),
        lead_error_m=difference * small.diameter_m / finer,
        half_pitch_m=finer / 2,
        same_angle=one.angle_deg == other.angle_deg,
        same=same and one.angle_deg == other.angle_deg,
    )
