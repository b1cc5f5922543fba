"""Driveline, gearing and speedometer once more, from the published text alone: straight formulas, no import.

Every figure in SI. A vehicle is a plain mapping:

torque, rated_speed (engine, N m and rad/s); gears (first to top); high, low, overdrive (None: not fitted);
driven ("rear" and perhaps "front"); per axle: ratio, load (kg), axle_efficiency (None: not recorded),
differential ("open", "limited slip", "locking"), bias (None), shaft_diameter, shear_strength, crown_rating,
shaft_rating, tube (outer, inner); circumference; efficiency; mass, towed (None); clutch_rating,
gearbox_rating, overdrive_rating, transfer_rating; cruise, top_speed (m/s); drive_ratio, constant (1/m);
joints per axle: arrangement, near, far (None), per_lift, permitted, lift.
"""

from math import asin, atan, hypot, pi, sqrt, tan

G = 9.80665  # CGPM 1901, standard acceleration of free fall
GRIP = 0.8  # workshop practice: a tyre on a dry road
USUAL_AXLE = 0.96  # workshop practice: a hypoid or spiral bevel pair and its bearings
USUAL_BIAS = 2.5  # workshop practice: a plate-type limited-slip differential
ROLLING = 0.015  # handbook: tyres on asphalt


def part_of_low(v):
    return 1.0 if v["low"] is None else v["low"]


def part_of_high(v):
    return 1.0 if v["high"] is None else v["high"]


def bevel(v, axle):
    """No part of a driveline is worse than the whole of it."""
    recorded = v[axle]["axle_efficiency"]
    return max(USUAL_AXLE if recorded is None else recorded, v["efficiency"])


def grip(v, axle):
    """Torque at which both tyres of an axle slip: mu N r, with r = C / 2 pi."""
    return GRIP * v[axle]["load"] * G * v["circumference"] / (2 * pi)


def from_engine(v, axle):
    """T_e i_1 i_low i_axle eta: torque at the wheels of an axle that gets all of it."""
    return v["torque"] * v["gears"][0] * part_of_low(v) * v[axle]["ratio"] * v["efficiency"]


def half_shaft(v, axle):
    """Least of the engine path and grip: one half each when open, one wheel may get all when locked."""
    kind, sent, both = v[axle]["differential"], from_engine(v, axle), grip(v, axle)
    if kind == "locking":
        return min(sent, both)
    if kind == "limited slip":
        bias = USUAL_BIAS if v[axle]["bias"] is None else v[axle]["bias"]
        return min(sent * bias / (1 + bias), both / 2)
    return min(sent / 2, both / 2)


def shaft_stress(v, axle):
    """tau = 16 T / (pi d^3), strength of materials."""
    return 16 * half_shaft(v, axle) / (pi * v[axle]["shaft_diameter"] ** 3)


def propeller_shaft(v, axle):
    """The engine's path before the axle, or what slips the tyres through the axle and its loss."""
    sent = v["torque"] * v["gears"][0] * part_of_low(v) * v["efficiency"] / bevel(v, axle)
    return min(sent, grip(v, axle) / v[axle]["ratio"] / bevel(v, axle))


def tube_stress(v, axle):
    """tau = T c / J with J = pi / 32 (D^4 - d^4), strength of materials."""
    outer, inner = v[axle]["tube"]
    return propeller_shaft(v, axle) * (outer / 2) / (pi / 32 * (outer**4 - inner**4))


def transfer_output(v):
    best = min(bevel(v, axle) for axle in v["driven"])
    sent = v["torque"] * v["gears"][0] * part_of_low(v) * v["efficiency"] / best
    return min(sent, sum(grip(v, axle) / v[axle]["ratio"] / bevel(v, axle) for axle in v["driven"]))


def gearbox_input(v):
    """In the tallest gear the tyres hold most; both axles share, each through its own ratio."""
    held = sum(grip(v, axle) / v[axle]["ratio"] for axle in v["driven"])
    return min(v["torque"], held / (min(v["gears"]) * part_of_high(v) * v["efficiency"]))


def loads(v):
    """Every part of the driveline as a part of what it carries."""
    found = {
        "clutch": gearbox_input(v) / v["clutch_rating"],
        "gearbox": gearbox_input(v) / v["gearbox_rating"],
    }
    if v["overdrive"] is not None:
        found["overdrive"] = gearbox_input(v) * v["gears"][-1] / v["overdrive_rating"]
    if v["low"] is not None:
        found["transfer"] = transfer_output(v) / v["transfer_rating"]
    for axle in v["driven"]:
        at_wheels = min(from_engine(v, axle), grip(v, axle))
        found[f"propshaft.{axle}"] = propeller_shaft(v, axle) / v[axle]["shaft_rating"]
        found[f"gears.{axle}"] = at_wheels / v[axle]["crown_rating"]
        for side in ("left", "right"):
            found[f"halfshaft.{axle}.{side}"] = shaft_stress(v, axle) / v[axle]["shear_strength"]
    return found


def cruise_part(v):
    """v = 0.06 n C / i in km/h (a French order of 1979 prints it): n = v i / C turns a second."""
    top = v["gears"][-1] * (1.0 if v["overdrive"] is None else v["overdrive"])
    turns = v["cruise"] / v["circumference"] * top * part_of_high(v) * v["rear"]["ratio"]
    return turns * 2 * pi / v["rated_speed"]


def first_gear_speed(v):
    """Metres a second at 1000 turns a minute in first, high range."""
    overall = v["gears"][0] * part_of_high(v) * v["rear"]["ratio"]
    return 1000 / 60 / overall * v["circumference"]


def gradient(v, towed):
    """F = m g (sin a + f cos a) solved for tan a, capped by what the driven tyres hold: mu N = the same F."""
    mass = v["mass"] + towed
    force = from_engine(v, "rear") * 2 * pi / v["circumference"]
    asked = force / (mass * G)
    steep = 10.0
    if asked < sqrt(1 + ROLLING**2):
        steep = min(steep, tan(asin(asked / hypot(1, ROLLING)) - atan(ROLLING)))
    held = GRIP * sum(v[axle]["load"] for axle in v["driven"]) / mass - ROLLING
    return min(steep, max(held, 0.0))


def speedometer_factor(v):
    """Indicated over true: cable turns a metre over the turns that the instrument is made for."""
    return v["drive_ratio"] * v["rear"]["ratio"] / v["circumference"] / v["constant"]


def r39_speeds(top_kmh):
    """UN R39 5.2.5, from memory: 40, 80 and 120 km/h; 80 % of the top speed where that is below 150."""
    if top_kmh >= 150:
        return [40, 80, 120]
    return [v for v in (40, 80) if v < 0.8 * top_kmh] + [0.8 * top_kmh]


def r39_verdict(v):
    """UN R39 5.3: 0 <= V1 - V2 <= V2 / 10 + 4 km/h at 40, 80 and 120 km/h; of a top speed below 150 the
    fastest of them is from memory, and never fails it alone."""
    factor = speedometer_factor(v)
    speeds = r39_speeds(v["top_speed"] * 3.6)
    if factor < 1:
        return "fails"
    if all(factor * speed - speed <= speed / 10 + 4 for speed in speeds):
        return "holds"
    return "fails" if factor * 80 > 92 or v["top_speed"] * 3.6 >= 150 else "caution"


def cfr_verdict(v):
    """49 CFR 393.82: within 8 km/h at 80 km/h."""
    return "holds" if abs(speedometer_factor(v) * 80 - 80) <= 8 else "fails"


def left_by_joints(joints):
    """Angle of the one joint that turns as unevenly as the shaft: in phase sqrt(|b1^2 - b2^2|)."""
    bend = joints["per_lift"] * joints["lift"]
    near = joints["near"] + bend
    far = near if joints["far"] is None else joints["far"] + bend
    if joints["arrangement"] == "single":
        return near
    if joints["arrangement"] == "two out of phase":
        return sqrt(near**2 + far**2)
    if joints["arrangement"] == "double and single":
        return far
    if joints["arrangement"] == "constant velocity":
        return 0.0
    return sqrt(abs(near**2 - far**2))


def ripple(v, axle):
    """Peak of the angular acceleration behind a joint, w^2 b^2."""
    turning = v["cruise"] / v["circumference"] * v[axle]["ratio"] * 2 * pi
    return turning**2 * left_by_joints(v[axle]["joints"]) ** 2


def wind_up(v):
    return abs(v["front"]["ratio"] / v["rear"]["ratio"] - 1)
