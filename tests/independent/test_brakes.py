"""The checks of brakes against a second, plain working-out, over some hundred random vehicles."""

import random

import pytest

from graftbook.checks.brakes import brakes
from graftbook.checks.law import Binding, Rules
from tests.checks.made import Made
from tests.independent import brakes as plain
from tests.running import cases

VEHICLES = cases(400)
UNLESS_SAID = Rules()
SHOE = {"pivot": 0.114, "force_arm": 0.197, "start": 0.1745329252, "end": 2.1816615650}


def a_vehicle(rng):
    """One random vehicle as plain numbers: light, with drums or discs, one circuit or two.

    Half of them brake about as their axles are loaded: only those come near the lines of the lock order.
    """
    v = a_random_one(rng)
    return balanced(v, rng) if rng.random() < 0.5 else v


def balanced(v, rng):
    """The same with rear brakes of a size that goes with the load of the axles, near enough."""
    state = rng.choice(["laden", "unladen"])
    load = v[f"front_{state}"] / (v[f"mass_{state}"] - v[f"front_{state}"])
    front, rear = (plain.axle_force(dict(v), axle, 1.0) for axle in ("front", "rear"))
    larger = front / rear / load / rng.uniform(0.6, 1.6)
    v["rear_piston_area"] *= larger
    v["rear_cylinder"] *= larger**0.5
    return v


def a_random_one(rng):
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
        "split": rng.choice(["front/rear", "front/rear", "all"]),
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
    if rng.random() < 0.3:
        v["residual"] = u(0.3e5, 1e5)
    return v


def n(value, unit=""):
    return f"{value:.9f} {unit}".strip()


def _brake(v, axle):
    drum = v[f"{axle}_kind"] != "disc"
    return {
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


def made(v):
    """The same vehicle as a catalogue records it."""
    change = {}
    for axle in ("front", "rear"):
        change |= dict.fromkeys((f"brake.{axle}.left", f"brake.{axle}.right"), _brake(v, axle))
    change["brake.master"] = {
        "master_bore": n(v["bore"] * 1000, "mm"),
        "circuits": str(v["circuits"]),
        "circuit_split": v["split"] if v["circuits"] == 2 else "all",
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
    change["brake.residual_valve"] = (
        {"residual_pressure": n(v["residual"] / 1e5, "bar")} if "residual" in v else None
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


IN_UNIT = {"%": 100, "ml": 1e6, "bar": 1e-5}
"""What an SI value is multiplied by in the unit of its figure; temperatures are in degrees there."""


def inspected(v, rules=UNLESS_SAID):
    """What the service finds, with the vehicle as it is on both sides."""
    fitted = made(v).fitted
    return brakes.inspect(fitted, fitted, rules)


def checked(v, rules=UNLESS_SAID):
    """What the service finds: the judged figure in SI and the verdict, by the check's name."""
    found = {}
    for finding in inspected(v, rules):
        check = finding.check.removeprefix("brakes.")
        judged = finding.figures[0] if finding.figures else None
        value = judged and judged.after
        if value is not None:
            value = value + 273.15 if judged.unit == "degC" else value / IN_UNIT.get(judged.unit, 1)
        found[check] = (value, str(finding.verdict))
    return found


def beside(v):
    """The figures that the service tells beside the judged one, in SI, as `plain.told_beside` has them."""
    return {
        finding.check.removeprefix("brakes."): {
            one.name: one.after / IN_UNIT.get(one.unit, 1) for one in finding.figures[1:]
        }
        for finding in inspected(v)
        if finding.figures[1:]
    }


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
    assert met.pop("residual") == {"fails"}, "whatever stays on a released disc is too much"
    assert all("holds" in verdicts for verdicts in met.values())
    assert {check for check, verdicts in met.items() if len(verdicts) < 2} <= {"hand_grip"}


APPROVAL = (
    "deceleration.approval", "servo_failed", "circuit_failed.approval", "pedal_force", "hand_brake",
    "lock_order.laden", "lock_order.unladen", "adhesion.laden", "adhesion.unladen",
)  # fmt: skip
"""Checks whose limit is of type approval: a caution for a vehicle in service. One from memory never fails."""


def test_where_type_approval_binds_its_limits_fail_and_nothing_else_changes():
    rng = random.Random(1971)
    failing = set()
    for _ in range(60):
        v = a_vehicle(rng)
        usual, strict = checked(v), checked(v, Rules(binding=Binding.type_approval))
        assert {check: value for check, (value, _) in usual.items()} == {c: f for c, (f, _) in strict.items()}
        for check in usual.keys() - set(APPROVAL):
            assert strict[check] == usual[check], (check, v)
        failing |= {check for check in usual if strict[check][1] == "fails" and usual[check][1] != "fails"}
    assert {"lock_order.laden", "lock_order.unladen", "adhesion.laden", "adhesion.unladen"} <= failing
    assert failing <= set(APPROVAL)


def test_the_figures_told_beside_the_judged_one_come_to_the_same():
    rng = random.Random(1958)
    for _ in range(100):
        v = a_vehicle(rng)
        expected, told = plain.told_beside(v), beside(v)
        assert set(told) == set(expected), v
        for check, figures in expected.items():
            assert told[check] == pytest.approx(figures, rel=2e-6, abs=1e-9), (check, v)


def on_discs(rng, **figures):
    """A random van with discs all round, so that a piston's size sets an axle's force in proportion."""
    v = a_random_one(rng) | {"category": "N1", "front_kind": "disc", "rear_kind": "disc", **figures}
    return v | {f"front_{state}": v["front_part"] * v[f"mass_{state}"] for state in ("laden", "unladen")}


def test_a_front_axle_too_weak_to_lock_behind_a_valve_never_does():
    rng = random.Random(1980)
    for _ in range(20):
        v = on_discs(rng, front_part=0.5, height_laden=0.9, wheelbase=2.2, knee=5e5, ratio=0.8)
        v["front_piston_area"] = 0.05 * v["rear_piston_area"]
        compare(v)


@pytest.mark.parametrize("side", [1 - 1e-6, 1 + 1e-6])
def test_a_front_axle_that_uses_too_little_is_out_of_the_band(side):
    """Goods vehicles, 71/320/EEC: where the rear locks first the front must keep within 0.08 of the rate."""
    rng = random.Random(1981)
    for _ in range(10):
        v = on_discs(rng, front_part=0.38, height_laden=0.5, wheelbase=3.3, ratio=0.2)
        front_load = plain.axle_loads(v, "laden", 0.30)[0] / (v["mass_laden"] * plain.G)
        share = 0.22 * side * front_load / 0.30
        forces = [plain.axle_force(v | {"knee": 1e9}, axle, 1.0) for axle in ("front", "rear")]
        v["rear_piston_area"] *= forces[0] * (1 - share) / share / forces[1]
        v["knee"] = 0.35 * v["mass_laden"] * plain.G * share / forces[0]
        compare(v)
        assert (plain.worked_out(v)["lock_order.laden"] == 1) == (side > 1)


@pytest.mark.parametrize("side", [1 - 1e-6, 1 + 1e-6])
def test_both_turn_at_the_same_limit(side):
    """One figure of each is moved to a millionth beside the limit; no rounding decides there."""
    rng = random.Random(1974)
    for _ in range(40):
        v = a_vehicle(rng) | {"circuits": 2, "split": "front/rear"}
        own = plain.worked_out(v)
        if 430 < own["heat.front"] < 1400:  # what a lining can be made for
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
