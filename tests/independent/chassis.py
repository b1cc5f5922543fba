"""Suspension, wheels, tyres, threads and bolts worked out a second time: straight formulas, nothing shared.

Every figure of a vehicle comes in as a plain number in SI; what comes out is check → (figure, verdict).
Written from the published text beside each formula.
"""

import math

G = 9.80665

# ISO 4000-1 load index, kg of one tyre, as printed for 80 to 112.
LOAD_KG = {
    80: 450, 82: 475, 84: 500, 86: 530, 88: 560, 90: 600, 91: 615, 95: 690, 100: 800, 104: 900, 108: 1000,
    110: 1060, 112: 1120,
}  # fmt: skip
# ISO 4000-1 speed symbol, km/h, as printed.
SPEED_KMH = {"L": 120, "M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190}
# Turns an inch: BS 84 (BSF), ASME B1.1 (UNF); metric pitch in mm as named.
SCREWS = {
    "M12x1.25": (12.0, 1.25, 60), "M12x1.5": (12.0, 1.5, 60), "M14x1.5": (14.0, 1.5, 60),
    "M10x1": (10.0, 1.0, 60), "M6x1": (6.0, 1.0, 60),
    "1/2-20 UNF": (12.7, 25.4 / 20, 60), "9/16-18 UNF": (14.2875, 25.4 / 18, 60),
    "3/8-24 UNF": (9.525, 25.4 / 24, 60), "1/4-26 BSF": (6.35, 25.4 / 26, 55),
    "1/2-16 BSF": (12.7, 25.4 / 16, 55),
}  # fmt: skip
# ISO 898-1, proof stress in MPa, as copied at nfgab.se (8.8: to 16 mm).
PROOF_MPA = {"5.8": 380.0, "8.8": 580.0, "10.9": 830.0}


def engagement(male: str, female: str) -> float:
    """Part of the female's full thread that the male's crest reaches; the smaller of the two is the male.

    Height of a full thread: ISO 68-1, 5/8 of H with H = P / (2 tan 30°); BS 84, 2/3 of H with
    H = P / (2 tan 27.5°).
    """
    (d, _, _), (big, pitch, angle) = sorted((SCREWS[male], SCREWS[female]))
    high = pitch / (2 * math.tan(math.radians(angle / 2)))
    height = high * (5 / 8 if angle == 60 else 2 / 3)
    gap = (big - d) / 2
    return min(1.0, max(0.0, (height - gap) / height))


def stress_area_mm2(name: str) -> float:
    """ISO 898-1: pi/4 ((d2 + d3) / 2)^2, d3 the minor diameter less a sixth of H."""
    d, pitch, _ = SCREWS[name]
    high = pitch * math.sqrt(3) / 2
    pitch_diameter = d - 2 * 3 / 8 * high
    root = d - 2 * 5 / 8 * high - high / 6
    return math.pi / 4 * ((pitch_diameter + root) / 2) ** 2


def ok(holds: bool, otherwise: str) -> str:
    return "holds" if holds else otherwise


def no_more(value: float, most: float) -> bool:
    return value <= most * (1 + 1e-9) + 1e-12


def spring_rate(v: dict, axle: str) -> float:
    """Semi-elliptic: two triangular cantilevers, 6 F l^3 / (E n b t^3) at each end; parabolic, 8 F l^3."""
    n, b, t, length = (v[f"{axle}_{part}"] for part in ("leaves", "width", "thickness", "length"))
    half, e = length / 2, 206.8e9
    softness = 8 if v[f"{axle}_kind"] == "parabolic" else 6
    bends = softness * 0.5 * half**3 / (e * n * b * t**3)
    return 1 / bends


def sprung(v: dict, axle: str, state: str) -> float:
    front = v[f"front_load_{state}"]
    load = front if axle == "front" else v[f"mass_{state}"] - front
    return (load - v[f"unsprung_{axle}"]) / 2


def springs(v: dict) -> dict:
    found = {}
    for axle in ("front", "rear"):
        rate = spring_rate(v, axle)
        for state in ("unladen", "laden"):
            hertz = 1 / (2 * math.pi) * math.sqrt(rate / sprung(v, axle, state))
            found[f"suspension.frequency.{axle}.{state}"] = (hertz, ok(0.9 <= hertz <= 2.5, "caution"))
        # A beam on two ends loaded in the middle: M = F L / 4, section n b t^2 / 6.
        force = sprung(v, axle, "unladen") * G + rate * v[f"{axle}_bump"]
        moment = force * v[f"{axle}_length"] / 4
        section = v[f"{axle}_leaves"] * v[f"{axle}_width"] * v[f"{axle}_thickness"] ** 2 / 6
        stress = moment / section
        good = no_more(stress, v[f"{axle}_permitted"])
        found[f"suspension.leaf_stress.{axle}"] = (stress / 1e6, ok(good, "fails"))
        for end, spare in (
            ("bump", v[f"{axle}_closed_need"] - v[f"{axle}_closed"]),
            ("droop", v[f"{axle}_open"] - v[f"{axle}_open_need"]),
        ):
            found[f"suspension.damper.{axle}.{end}"] = (spare * 1000, ok(spare >= -1e-12, "fails"))
    return found


def stance(v: dict) -> dict:
    found, lift = {}, {}
    for axle in ("front", "rear"):
        lift[axle] = v[f"{axle}_lift"] + v[f"{axle}_shackle"]
        most = v["lift_permitted"] or 0.030
        found[f"suspension.height.{axle}"] = (
            lift[axle] * 1000,
            ok(no_more(abs(lift[axle]), most), "caution"),
        )
    # A right triangle: the rise over the wheelbase.
    rise = lift["front"] - lift["rear"]
    slope = rise / v["wheelbase"]
    angle = math.degrees(math.asin(rise / math.hypot(rise, v["wheelbase"])))
    found["suspension.headlamp_aim"] = (100 * slope, ok(no_more(abs(slope), 0.005), "caution"))
    found["suspension.castor"] = (angle, ok(no_more(abs(angle), 0.5), "caution"))
    # Static stability: track over twice the height of the centre of gravity (all of the mass).
    track, height = (v["track_front"] + v["track_rear"]) / 2, v["gravity_height"]
    masses = {axle: 2 * sprung(v, axle, "laden") for axle in ("front", "rear")}
    share = v["front_load_laden"] / v["mass_laden"]
    body = sum(masses.values()) / v["mass_laden"]
    up = body * (share * lift["front"] + (1 - share) * lift["rear"])
    up += (v["tyre_diameter"] - v["tyre_diameter_today"]) / 2
    wide = track + 2 * (v["offset_today"] - v["offset"])
    tips = math.degrees(math.atan2(wide / 2, height + up))
    least = math.degrees(math.atan2(0.9 * track / 2, height))
    found["suspension.tilt"] = (tips, ok(tips >= least * (1 - 1e-9), "caution"))
    return found


def wheels(v: dict) -> dict:
    found = {}
    for axle in ("front", "rear"):
        load = v[f"{axle}_load_laden"]
        twins = axle == "rear" and v["pieces"] >= 6
        count, index = (4, v["index_twin"]) if twins else (2, v["index"])
        found[f"wheels.tyre_load.{axle}"] = (
            count * LOAD_KG[index],
            ok(count * LOAD_KG[index] >= load, "fails"),
        )
        bears = count * v["wheel_load"]
        found[f"wheels.wheel_load.{axle}"] = (bears, ok(no_more(load, bears), "fails"))
    speed = SPEED_KMH[v["symbol"]]
    found["wheels.tyre_speed"] = (speed, ok(no_more(v["top_speed"] * 3.6, speed), "fails"))
    moved = v["offset_today"] - v["offset"]
    found["wheels.scrub"] = (moved * 1000, ok(no_more(abs(moved), 0.015), "caution"))
    gap = v["rim_inner"] - v["brake_outer"]
    found["wheels.brake_clearance.front"] = (gap * 1000, ok(no_more(0.003, gap), "fails"))

    # UN R30 6.1.1.1: section 0.4 of what the rim is wider than the measuring rim.
    def half(today: str) -> float:
        rim, measuring, width = (v[f"{k}{today}"] for k in ("rim", "measuring_rim", "tyre_width"))
        return (width + 0.4 * (rim - measuring)) / 2

    grown = half("") - half("_today")
    for way, sign in (("outer", 1), ("inner", -1)):
        reach = grown + sign * moved
        found[f"wheels.{way}_reach"] = (reach * 1000, ok(no_more(reach, v[f"room_{way}"]), "fails"))
    return found


def clamp(v: dict) -> dict:
    """T = K d F; F over the stress area against the proof stress of ISO 898-1."""
    d = SCREWS[v["stud"]][0] / 1000
    force = v["torque"] / ((v["factor"] or 0.2) * d)
    part = force / (PROOF_MPA[v["grade"]] * stress_area_mm2(v["stud"]))
    verdict = "fails" if part > 1 else ok(no_more(0.3, part) and no_more(part, 0.9), "caution")
    return {"unions.clamp.hub.front.left": (100 * part, verdict)}


def worked_out(v: dict) -> dict:
    return {**springs(v), **stance(v), **wheels(v), **clamp(v)}
