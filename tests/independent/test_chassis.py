"""The checks of chassis and wheels against a second, plain working-out, on some hundred random vehicles; on
a thousand with `--long`."""

import random
from itertools import permutations

import pytest

from graftbook.checks.chassis import stance, suspension, wheels
from graftbook.checks.fitted import Fitted
from graftbook.checks.joints import bolts, threads
from tests.checks.made import FIGURES, Made
from tests.independent import chassis
from tests.running import cases

VEHICLES, AT_ONCE = cases(400), 100
SIDES = ("left", "right")


def _near(dice: random.Random, low: float, high: float, *limits: float) -> float:
    """Anything between, and every fourth time one of the limits or a hair beside it."""
    if limits and dice.random() < 0.25:
        return dice.choice(limits) * dice.choice((1, 1, 1 - 1e-6, 1 + 1e-6))
    return dice.uniform(low, high)


def a_vehicle(dice: random.Random) -> dict:
    """Plain figures in SI; what is at a limit is there on purpose."""
    v = {
        "wheelbase": dice.uniform(2.0, 3.2),
        "track_front": dice.uniform(1.1, 1.6),
        "track_rear": dice.uniform(1.1, 1.6),
        "mass_unladen": dice.uniform(1200, 1700),
        "unsprung_front": dice.uniform(80, 200),
        "unsprung_rear": dice.uniform(100, 220),
        "gravity_height": dice.uniform(0.5, 0.9),
        "lift_permitted": dice.choice((None, None, 0.02)),
        "tyre_diameter": dice.uniform(0.65, 0.85),
        "tyre_diameter_today": 0.728,
        "offset": _near(dice, -0.05, 0.06, 0.018, 0.048),
        "offset_today": 0.033,
        "rim": dice.uniform(0.1, 0.18),
        "rim_today": 4.5 * 0.0254,
        "measuring_rim": dice.uniform(0.1, 0.18),
        "measuring_rim_today": 4.5 * 0.0254,
        "tyre_width": dice.uniform(0.15, 0.27),
        "tyre_width_today": 0.170,
        "room_outer": dice.uniform(0.0, 0.08),
        "room_inner": dice.uniform(0.0, 0.06),
        "rim_inner": _near(dice, 0.15, 0.22, 0.163),
        "brake_outer": 0.160,
        "index": dice.choice(sorted(chassis.LOAD_KG)),
        "index_twin": dice.choice(sorted(chassis.LOAD_KG)),
        "pieces": dice.choice((4, 4, 6)),
        "symbol": dice.choice(sorted(chassis.SPEED_KMH)),
        "top_speed": _near(dice, 25, 60, *(kmh / 3.6 for kmh in chassis.SPEED_KMH.values())),
        "stud": dice.choice(("M12x1.25", "M12x1.5", "M14x1.5", "1/2-20 UNF", "9/16-18 UNF")),
        "grade": dice.choice(sorted(chassis.PROOF_MPA)),
        "factor": dice.choice((None, 0.12, 0.15, 0.25)),
        "torque": dice.uniform(20, 260),
    }
    v["mass_laden"] = v["mass_unladen"] + dice.uniform(300, 900)
    v["front_load_unladen"] = v["mass_unladen"] * dice.uniform(0.45, 0.6)
    v["front_load_laden"] = v["mass_laden"] * dice.uniform(0.4, 0.5)
    v["rear_load_laden"] = v["mass_laden"] - v["front_load_laden"]
    v["wheel_load"] = _near(dice, 300, 1000, v["front_load_laden"] / 2, v["rear_load_laden"] / 2)
    for axle in ("front", "rear"):
        v |= _a_suspension(dice, axle)
    if dice.random() < 0.25:
        part = dice.choice((0.3, 0.9, 1.0)) * dice.choice((1 - 1e-6, 1 + 1e-6))
        v["torque"] *= 100 * part / chassis.clamp(v)["unions.clamp.hub.front.left"][0]
    if dice.random() < 0.1:
        stress = chassis.springs(v)["suspension.leaf_stress.front"][0] * 1e6
        v["front_permitted"] = min(stress, 2.9e9) * dice.choice((1 - 1e-6, 1 + 1e-6))
    return v


def _a_suspension(dice: random.Random, axle: str) -> dict:
    return {
        f"{axle}_kind": dice.choice(("semi-elliptic", "parabolic")),
        f"{axle}_leaves": dice.randint(1, 12),
        f"{axle}_width": dice.uniform(0.04, 0.08),
        f"{axle}_thickness": dice.uniform(0.005, 0.012),
        f"{axle}_length": dice.uniform(0.9, 1.4),
        f"{axle}_bump": dice.uniform(0.04, 0.12),
        f"{axle}_permitted": dice.uniform(4e8, 1.2e9),
        f"{axle}_lift": _near(dice, -0.06, 0.09, 0.030, -0.030, 0.020),
        f"{axle}_shackle": dice.choice((0.0, 0.0, 0.006)),
        f"{axle}_closed": 0.260,
        f"{axle}_closed_need": _near(dice, 0.2, 0.32, 0.260),
        f"{axle}_open": 0.445,
        f"{axle}_open_need": _near(dice, 0.38, 0.5, 0.445),
    }


def _m(value: float, unit: str) -> str:
    return f"{value:.11f} {unit}"


def fitted(v: dict) -> tuple[Fitted, Fitted]:
    """The same vehicle as the checks read it: as it stood, and with its figures."""
    facts = {
        **{name: _m(v[name], "m") for name in ("wheelbase", "track_front", "track_rear")},
        **{name: _m(v[name], "kg") for name in ("mass_unladen", "mass_laden")},
        **{f"axle_load_front_{s}": _m(v[f"front_load_{s}"], "kg") for s in ("unladen", "laden")},
        "axle_load_rear_laden": _m(v["rear_load_laden"], "kg"),
        **{f"unsprung_mass_{a}": _m(v[f"unsprung_{a}"], "kg") for a in ("front", "rear")},
        "gravity_height_laden": _m(v["gravity_height"], "m"),
        "top_speed": _m(v["top_speed"], "m/s"),
        "arch_gap_outer": _m(v["room_outer"], "m"),
        "arch_gap_inner": _m(v["room_inner"], "m"),
    }
    if v["lift_permitted"]:
        facts["lift_permitted"] = _m(v["lift_permitted"], "m")
    change: dict = {
        "tyre.road": {
            "tyre_diameter": _m(v["tyre_diameter"], "m"),
            "tyre_width": _m(v["tyre_width"], "m"),
            "measuring_rim": _m(v["measuring_rim"], "m"),
            "load_index": str(v["index"]),
            "load_index_twin": str(v["index_twin"]),
            "speed_symbol": v["symbol"],
        },
        "wheel.road": {
            "offset": _m(v["offset"], "m"),
            "rim_width": _m(v["rim"], "m"),
            "rim_inner_radius": _m(v["rim_inner"], "m"),
            "wheel_load": _m(v["wheel_load"], "kg"),
        },
        "brake.front.left": {"brake_outer_radius": _m(v["brake_outer"], "m")},
        "hub.front.left": {"stud_thread": v["stud"], "property_class": v["grade"]},
        "wheel.nuts": {"tightening_torque": _m(v["torque"], "Nm")},
    }
    if v["factor"]:
        change["wheel.nuts"]["nut_factor"] = str(v["factor"])
    for axle in ("front", "rear"):
        change[f"shackle.{axle}"] = {"ride_height_change": _m(v[f"{axle}_shackle"], "m")}
        change[f"damper.{axle}.left"] = {
            "damper_closed": _m(v[f"{axle}_closed"], "m"),
            "damper_open": _m(v[f"{axle}_open"], "m"),
        }
        change[f"spring.{axle}.left"] = {
            "spring_kind": v[f"{axle}_kind"],
            "leaf_count": str(v[f"{axle}_leaves"]),
            "leaf_width": _m(v[f"{axle}_width"], "m"),
            "leaf_thickness": _m(v[f"{axle}_thickness"], "m"),
            "leaf_length": _m(v[f"{axle}_length"], "m"),
            "bump_travel": _m(v[f"{axle}_bump"], "m"),
            "permitted_stress": _m(v[f"{axle}_permitted"], "Pa"),
            "ride_height_change": _m(v[f"{axle}_lift"], "m"),
            "damper_closed_need": _m(v[f"{axle}_closed_need"], "m"),
            "damper_open_need": _m(v[f"{axle}_open_need"], "m"),
        }
    made = Made(change, facts)
    if v["pieces"] != 4:
        made.fit("wheel.road", v["pieces"])
    return Fitted(made.book, made.today, made.vehicle), made.fitted


def found(v: dict) -> dict:
    was, now = fitted(v)
    findings = [f for room in (suspension, stance, wheels, bolts) for f in room.inspect(was, now)]
    return {f.check: f for f in findings}


@pytest.mark.parametrize("seed", range(VEHICLES // AT_ONCE))
def test_random_vehicles_come_out_the_same(seed):
    dice = random.Random(seed)
    for _ in range(AT_ONCE):
        vehicle = a_vehicle(dice)
        here = found(vehicle)
        for check, (figure, verdict) in chassis.worked_out(vehicle).items():
            finding = here[check]
            assert finding.figures, finding.sentence
            at = finding.figures[0].after
            assert at == pytest.approx(figure, rel=1e-6, abs=1e-6), (check, finding.sentence, vehicle)
            assert str(finding.verdict) == verdict, (check, finding.sentence, vehicle)


def test_the_random_vehicles_meet_every_verdict_of_every_check():
    dice, met = random.Random(0), {}
    for _ in range(300):
        for check, (_, verdict) in chassis.worked_out(a_vehicle(dice)).items():
            met.setdefault(check, set()).add(verdict)
    assert {check: len(verdicts) for check, verdicts in met.items() if len(verdicts) < 2} == {}
    assert met["unions.clamp.hub.front.left"] == {"holds", "caution", "fails"}


@pytest.mark.parametrize(("one", "other"), list(permutations(chassis.SCREWS, 2)))
def test_every_pair_of_threads_reaches_as_deep(one, other):
    ours = threads.mixing(threads.thread(one), threads.thread(other)).depth
    assert ours == pytest.approx(chassis.engagement(one, other), abs=1e-5)


def test_the_made_up_vehicle_is_the_one_that_is_compared():
    assert FIGURES["wheel.road"]["offset"] == "33 mm"
    assert FIGURES["tyre.road"]["tyre_diameter"] == "728 mm"
