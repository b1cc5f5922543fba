"""Random vehicles for the plain scripts: drawn in SI, and written as a catalogue would record them."""

import random
from math import degrees, pi

ARRANGEMENTS = (None, "two in phase", "two out of phase", "single", "double and single", "constant velocity")


def _axle(draw: random.Random, arrangement: str | None) -> dict:
    outer = draw.uniform(0.045, 0.075)
    far = arrangement == "double and single" or (arrangement not in ("single", None) and draw.random() < 0.5)
    return {
        "ratio": draw.uniform(3.0, 5.6),
        "load": draw.uniform(500, 1600),
        "axle_efficiency": draw.choice([None, draw.uniform(0.90, 0.98)]),
        "differential": draw.choice(["open", "open", "limited slip", "locking"]),
        "bias": draw.choice([None, draw.uniform(1.5, 5)]),
        "shaft_diameter": draw.uniform(0.026, 0.045),
        "shear_strength": draw.uniform(200e6, 650e6),
        "crown_rating": draw.uniform(2000, 7000),
        "shaft_rating": draw.uniform(400, 2800),
        "tube": (outer, outer - draw.uniform(0.003, 0.009)),
        "joints": {
            "arrangement": arrangement,
            "near": draw.uniform(0.0, 0.2),
            "far": draw.uniform(0.0, 0.2) if far else None,
            "per_lift": draw.uniform(0.5, 1.6),
            "permitted": draw.uniform(0.1, 0.4),
            "lift": draw.choice([0.0, draw.uniform(0.005, 0.06)]),
        },
    }


def drawn(seed: int) -> dict:
    """One vehicle: rear drive or four-wheel drive, with and without low range and overdrive."""
    draw = random.Random(seed)
    four, low = draw.random() < 0.5, draw.random() < 0.5
    count = draw.choice([3, 4, 5])
    vehicle = {
        "torque": draw.uniform(60, 320),
        "rated_speed": draw.uniform(3000, 5500) * pi / 30,
        "gears": sorted((draw.uniform(0.75, 4.2) for _ in range(count)), reverse=True),
        "high": draw.uniform(0.95, 1.3) if low else None,
        "low": draw.uniform(1.8, 3.2) if low else None,
        "overdrive": draw.uniform(0.7, 0.85) if draw.random() < 0.3 else None,
        "driven": ["rear", "front"] if four else ["rear"],
        "rear": _axle(draw, draw.choice(ARRANGEMENTS)),
        "front": _axle(draw, draw.choice(ARRANGEMENTS)),
        "circumference": draw.uniform(1.85, 2.6),
        "efficiency": draw.uniform(0.8, 0.95),
        "towed": draw.choice([None, draw.uniform(500, 3500)]),
        "clutch_rating": draw.uniform(120, 400),
        "gearbox_rating": draw.uniform(120, 400),
        "overdrive_rating": draw.uniform(120, 400),
        "transfer_rating": draw.uniform(900, 4000),
        "cruise": draw.uniform(15, 32),
        "top_speed": draw.uniform(60, 190) / 3.6,
        "drive_ratio": draw.uniform(0.25, 0.45),
    }
    vehicle["mass"] = vehicle["rear"]["load"] + vehicle["front"]["load"]
    if four:
        vehicle["front"]["ratio"] = vehicle["rear"]["ratio"] * draw.choice([1.0, draw.uniform(0.97, 1.03)])
    # An instrument that is roughly of this drive, so that both sides of the law are met.
    turns = vehicle["drive_ratio"] * vehicle["rear"]["ratio"] / vehicle["circumference"]
    vehicle["constant"] = turns / draw.uniform(0.9, 1.22)
    return vehicle


def _number(value: float, unit: str = "") -> str:
    return f"{value:.12f} {unit}".strip()


def _axle_recorded(vehicle: dict, axle: str) -> dict:
    of, joints = vehicle[axle], vehicle[axle]["joints"]
    shaft = {
        "shaft_diameter": _number(of["shaft_diameter"] * 1000, "mm"),
        "shear_strength": _number(of["shear_strength"] / 1e6, "MPa"),
        "inner_spline_count": "14",
        "outer_spline_count": "14",
    }
    bias = of["bias"]
    efficiency = of["axle_efficiency"]
    springs = {"ride_height_change": _number(joints["lift"] * 1000, "mm")}
    return {
        f"gears.{axle}": {
            "axle_ratio": _number(of["ratio"]),
            "torque_rating": _number(of["crown_rating"], "Nm"),
            "axle_efficiency": None if efficiency is None else _number(efficiency),
        },
        f"diff.{axle}": {
            "differential": of["differential"],
            "bias_ratio": None if bias is None else _number(bias),
            "spline_count": "14",
            "torque_rating": None,
        },
        f"propshaft.{axle}": {
            "torque_rating": _number(of["shaft_rating"], "Nm"),
            "tube_outer": _number(of["tube"][0] * 1000, "mm"),
            "tube_inner": _number(of["tube"][1] * 1000, "mm"),
            "joint_angle_static": _number(degrees(joints["near"]), "deg"),
            "joint_angle_permitted": _number(degrees(joints["permitted"]), "deg"),
            "joint_angle_per_lift": _number(joints["per_lift"]),
            "joint_arrangement": joints["arrangement"],
            "far_joint_angle": None if joints["far"] is None else _number(degrees(joints["far"]), "deg"),
        },
        **{f"halfshaft.{axle}.{side}": shaft for side in ("left", "right")},
        **{f"spring.{axle}.{side}": springs for side in ("left", "right")},
    }


def recorded(vehicle: dict) -> tuple[dict, dict]:
    """The figures by position and the facts of the variant, as `tests.checks.made.Made` takes them."""
    ratios = {f"gear_{number}": None for number in range(1, 6)}
    ratios |= {f"gear_{number}": _number(ratio) for number, ratio in enumerate(vehicle["gears"], 1)}
    figures = {
        "engine.unit": {
            "torque": _number(vehicle["torque"], "Nm"),
            "power_speed": _number(vehicle["rated_speed"] * 30 / pi, "rpm"),
        },
        "clutch": {"torque_rating": _number(vehicle["clutch_rating"], "Nm")},
        "gearbox": {**ratios, "torque_rating": _number(vehicle["gearbox_rating"], "Nm")},
        "tyre.road": {"rolling_circumference": _number(vehicle["circumference"] * 1000, "mm")},
        "speedo.drive": {"speedo_drive_ratio": _number(vehicle["drive_ratio"])},
        "speedometer": {"speedo_constant": _number(vehicle["constant"] * 1000, "rev/km")},
    }
    if vehicle["low"] is not None:
        figures["transfer"] = {
            "transfer_high": _number(vehicle["high"]),
            "transfer_low": _number(vehicle["low"]),
            "torque_rating": _number(vehicle["transfer_rating"], "Nm"),
        }
    if vehicle["overdrive"] is not None:
        figures["overdrive"] = {
            "overdrive_ratio": _number(vehicle["overdrive"]),
            "torque_rating": _number(vehicle["overdrive_rating"], "Nm"),
        }
    for axle in vehicle["driven"]:
        figures |= _axle_recorded(vehicle, axle)
    towed = vehicle["towed"]
    facts = {
        "axle_load_rear_laden": _number(vehicle["rear"]["load"], "kg"),
        "axle_load_front_laden": _number(vehicle["front"]["load"], "kg"),
        "mass_laden": _number(vehicle["mass"], "kg"),
        "towed_mass": None if towed is None else _number(towed, "kg"),
        "driveline_efficiency": _number(vehicle["efficiency"]),
        "cruise_speed": _number(vehicle["cruise"] * 3.6, "km/h"),
        "top_speed": _number(vehicle["top_speed"] * 3.6, "km/h"),
    }
    return figures, facts
