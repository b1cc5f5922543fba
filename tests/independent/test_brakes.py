"""The checks of brakes against a second, plain working-out, over some hundred random vehicles."""

import random

import pytest

from api.checks import brakes
from api.checks.law import Rules
from tests.checks.made import Made
from tests.independent import brakes as plain
from tests.running import cases

VEHICLES = cases(400)
SHOE = {"pivot": 0.114, "force_arm": 0.197, "start": 0.1745329252, "end": 2.1816615650}


def a_vehicle(rng):
    """One random vehicle as plain numbers: light, with drums or discs, one circuit or two."""
    u = rng.uniform
    laden = u(900, 3400)
    unladen = laden * u(0.6, 0.85)
    v = {
        "category": rng.choice(["N1", "M1"]),
        "mass_laden": laden,
        "mass_unladen": unladen,
        "front_laden": laden * u(0.38, 0.6),
        "front_unladen": unladen * u(0.45, 0.65),
        "height_laden": u(0.5, 0.9),
        "height_unladen": u(0.45, 0.8),
        "wheelbase": u(2.0, 3.3),
        "circumference": u(1.7, 2.5),
        "top_speed": u(70, 190) / 3.6,
        "bore": u(0.017, 0.030),
        "pedal_ratio": u(3.5, 6),
        "pedal_travel": u(0.12, 0.2),
        "efficiency": rng.choice([0.85, u(0.75, 0.95)]),
        "circuits": rng.choice([1, 2]),
        "fluid": u(8e-6, 22e-6),
        "lever": u(10, 60),
        "hand_radius": u(0.09, 0.16),
        "hand_factor": u(0.7, 2.2),
        "hand_efficiency": rng.choice([0.8, u(0.6, 0.9)]),
        "on_the_shaft": rng.random() < 0.3,
        "axle_ratio": u(3, 5),
        **SHOE,
    }
    for axle, size in (("front", 1.0), ("rear", 0.75)):
        v |= {
            f"{axle}_kind": rng.choice(["disc", "simplex drum", "duplex drum"]),
            f"{axle}_friction": u(0.3, 0.4),
            f"{axle}_piston_area": u(10e-4, 30e-4) * size,
            f"{axle}_disc_radius": u(0.095, 0.13),
            f"{axle}_cylinder": u(0.019, 0.032) * size**0.5,
            f"{axle}_drum": u(0.25, 0.30),
            f"{axle}_fluid": u(0.8e-6, 3e-6),
            f"{axle}_chamber": u(4e-6, 10e-6),
            f"{axle}_rotor": u(4, 14),
            f"{axle}_lining": u(520, 750),
        }
        if rng.random() < 0.6:
            v[f"{axle}_c_star"] = u(1.2, 3.0)
        if rng.random() < 0.7:
            v[f"{axle}_cooling"] = u(200, 700)
    if rng.random() < 0.5:
        v |= {"servo": u(1.5, 4), "run_out": u(1500, 5000)}
    if rng.random() < 0.5:
        v |= {"knee": u(5e5, 50e5), "ratio": u(0.1, 0.8)}
    return v


def n(value, unit=""):
    return f"{value:.9f} {unit}".strip()


def made(v):
    """The same vehicle as a catalogue records it."""
    change = {}
    for axle in ("front", "rear"):
        drum = v[f"{axle}_kind"] != "disc"
        kinds = {
            "brake_type": v[f"{axle}_kind"],
            "lining_friction": n(v[f"{axle}_friction"]),
            "piston_area": n(v[f"{axle}_piston_area"] * 1e4, "cm2"),
            "disc_effective_radius": n(v[f"{axle}_disc_radius"] * 1000, "mm"),
            "wheel_cylinder_bore": n(v[f"{axle}_cylinder"] * 1000, "mm"),
            "drum_diameter": n(v[f"{axle}_drum"] * 1000, "mm"),
            "drum_max_force_arm": n(v["pivot"] * 1000, "mm"),
            "shoe_force_arm": n(v["force_arm"] * 1000, "mm"),
            "shoe_angle_start": n(v["start"], "rad"),
            "shoe_angle_end": n(v["end"], "rad"),
            "fluid_demand": n(v[f"{axle}_fluid"] * 1e6, "ml"),
            "rotor_mass": n(v[f"{axle}_rotor"], "kg"),
            "lining_limit": n(v[f"{axle}_lining"] - 273.15, "degC"),
            "cooling_time": n(v[f"{axle}_cooling"], "s") if f"{axle}_cooling" in v else None,
            "brake_factor": n(v[f"{axle}_c_star"]) if drum and f"{axle}_c_star" in v else None,
        }
        change |= {f"brake.{axle}.left": kinds, f"brake.{axle}.right": kinds}
    change["brake.master"] = {
        "master_bore": n(v["bore"] * 1000, "mm"),
        "circuits": str(v["circuits"]),
        "circuit_split": "front/rear" if v["circuits"] == 2 else "all",
        "fluid_displaced": n(v["fluid"] * 1e6, "ml"),
        "fluid_displaced_front": n(v["front_chamber"] * 1e6, "ml"),
        "fluid_displaced_rear": n(v["rear_chamber"] * 1e6, "ml"),
        "hydraulic_efficiency": None if v["efficiency"] == 0.85 else n(v["efficiency"]),
    }
    change["brake.pedal_box"] = {
        "pedal_ratio": n(v["pedal_ratio"]),
        "pedal_travel": n(v["pedal_travel"] * 1000, "mm"),
    }
    change["brake.hand"] = {
        "hand_lever_ratio": n(v["lever"]),
        "hand_brake_radius": n(v["hand_radius"] * 1000, "mm"),
        "hand_brake_factor": n(v["hand_factor"]),
        "hand_brake_shaft": "transmission" if v["on_the_shaft"] else "rear wheels",
        "hand_brake_efficiency": None if v["hand_efficiency"] == 0.8 else n(v["hand_efficiency"]),
    }
    change["gears.rear"] = {"axle_ratio": n(v["axle_ratio"])}
    change["tyre.road"] = {"rolling_circumference": n(v["circumference"] * 1000, "mm")}
    change["brake.servo"] = (
        {"servo_ratio": n(v["servo"]), "servo_run_out": n(v["run_out"], "N")} if "servo" in v else None
    )
    change["brake.balance_valve"] = (
        {"balance_knee": n(v["knee"] / 1e5, "bar"), "balance_ratio": n(v["ratio"])} if "knee" in v else None
    )
    facts = {
        "vehicle_category": v["category"],
        "wheelbase": n(v["wheelbase"] * 1000, "mm"),
        "top_speed": n(v["top_speed"] * 3.6, "km/h"),
    }
    for state in ("laden", "unladen"):
        facts[f"mass_{state}"] = n(v[f"mass_{state}"], "kg")
        facts[f"axle_load_front_{state}"] = n(v[f"front_{state}"], "kg")
        facts[f"gravity_height_{state}"] = n(v[f"height_{state}"] * 1000, "mm")
    return Made(change, facts)


IN_UNIT = {"circuit_travel": 100, "travel": 100, "displaced": 1e6}
"""What an SI value is multiplied by in the unit of its figure; temperatures are in degrees there."""


def checked(v):
    """What the service finds: the judged figure in SI and the verdict, by the check's name."""
    fitted = made(v).fitted
    found = {}
    for finding in brakes.inspect(fitted, fitted, Rules()):
        check = finding.check.removeprefix("brakes.")
        value = finding.figures[0].after if finding.figures else None
        if value is not None:
            value = (
                value + 273.15 if check.startswith("heat") else value / IN_UNIT.get(check.split(".")[0], 1)
            )
        found[check] = (value, str(finding.verdict))
    return found


def compare(v):
    """Every figure agrees, and so does every verdict, where rounding does not decide it."""
    own, found = plain.worked_out(v), checked(v)
    expected = plain.judged(v, own)
    assert set(found) == set(expected)
    for check, verdict in expected.items():
        value, told = found[check]
        assert value == pytest.approx(own[check], rel=2e-6, abs=2e-6), (check, v)
        assert told == verdict, (check, own[check], v)
    return expected


def test_random_vehicles_come_to_the_same():
    rng = random.Random(1967)
    met = {}
    for _ in range(VEHICLES):
        for check, verdict in compare(a_vehicle(rng)).items():
            met.setdefault(check, set()).add(verdict)
    assert all("holds" in verdicts for verdicts in met.values())
    assert {check for check, verdicts in met.items() if len(verdicts) < 2} <= {"hand_grip"}


@pytest.mark.parametrize("side", [1 - 1e-6, 1 + 1e-6])
def test_both_turn_at_the_same_limit(side):
    """One figure of each is moved to a millionth beside the limit; no rounding decides there."""
    rng = random.Random(1974)
    for _ in range(40):
        v = a_vehicle(rng) | {"circuits": 2}
        own = plain.worked_out(v)
        if own["heat.front"] < 1400:
            v["front_lining"] = own["heat.front"] * side
        v["front_chamber"] = 2 * v["front_fluid"] * side
        v["fluid"] = 2 * (v["front_fluid"] + v["rear_fluid"]) * side
        compare(v)
        v["pedal_travel"] *= plain.worked_out(v)["circuit_travel.rear"] * side
        if 0.01 < v["pedal_travel"] < 0.4:
            compare(v)
        rule = plain.RULES[v["category"]]
        v["lever"] *= own["hand_brake"] / rule["hand"] * side
        compare(v)
        v["lever"] *= 0.16 * plain.G / plain.worked_out(v)["parking"] * side
        compare(v)
        v["bore"] *= (plain.worked_out(v)["pedal_force"] / rule["foot"]) ** -0.5 * side
        if 0.006 < v["bore"] < 0.08:
            compare(v)
