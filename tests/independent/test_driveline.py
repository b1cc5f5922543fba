"""The checks of driveline, gearing and speedometer against the plain script, vehicle by vehicle."""

import pytest

from graftbook.checks.driveline import driveline, gearing, speedometer
from graftbook.checks.law import Law
from graftbook.checks.verdict import Finding
from tests.checks.made import POSITIONS, Made
from tests.checks.values import agrees, names
from tests.independent import driveline as plain
from tests.independent.vehicles import drawn, recorded
from tests.running import cases

VEHICLES = range(cases(400))


def inspected(vehicle: dict, law: Law = Law.un) -> list[Finding]:
    fitted = Made(*recorded(vehicle)).fitted
    return [
        *driveline.inspect(fitted, fitted),
        *gearing.inspect(fitted, fitted),
        *speedometer.inspect(fitted, fitted, law),
    ]


def found(vehicle: dict, law: Law = Law.un) -> dict[str, Finding]:
    return {finding.check: finding for finding in inspected(vehicle, law)}


@pytest.fixture(scope="module")
def judged() -> list[tuple[dict, dict[str, Finding]]]:
    """Some hundred vehicles, each with its findings; with `--long` a thousand."""
    vehicles = [drawn(seed) for seed in VEHICLES]
    return [(vehicle, found(vehicle)) for vehicle in vehicles]


def _figure(finding: Finding, name: str = "") -> float:
    figure = next(f for f in finding.figures if not name or f.name == name)
    assert figure.after is not None, finding.sentence
    return figure.after


def _shafts(vehicle: dict) -> dict[str, tuple[float, str]]:
    told = {}
    for axle in vehicle["driven"]:
        part = plain.shaft_stress(vehicle, axle) / vehicle[axle]["shear_strength"]
        verdict = "holds" if part <= 1 else "fails"
        told |= {f"driveline.shaft.halfshaft.{axle}.{s}": (100 * part, verdict) for s in ("left", "right")}
        torque, rating = plain.propeller_shaft(vehicle, axle), vehicle[axle]["shaft_rating"]
        told[f"driveline.torque.propshaft.{axle}"] = (torque, "holds" if torque <= rating else "fails")
        limit = 1000 if vehicle[axle]["joints"]["arrangement"] == "single" else 400
        ripple = plain.ripple(vehicle, axle)
        told[f"driveline.joint_ripple.propshaft.{axle}"] = (ripple, "holds" if ripple <= limit else "caution")
    if "front" in vehicle["driven"]:
        part = plain.wind_up(vehicle)
        told["driveline.axle_ratios"] = (100 * part, "holds" if part <= 0.01 else "fails")
    return told


def expected(vehicle: dict) -> dict[str, tuple[float, str]]:
    """Check → judged figure in the unit of the finding, and verdict."""
    worst = max(plain.loads(vehicle).values())
    cruise, first = plain.cruise_part(vehicle), plain.first_gear_speed(vehicle)
    turning = "holds" if cruise <= 0.75 else "caution" if cruise <= 1 else "fails"
    climbed, factor = plain.gradient(vehicle, 0.0), plain.speedometer_factor(vehicle)
    told = _shafts(vehicle) | {
        "driveline.weakest_link": (
            100 * worst,
            "holds" if worst <= 0.9 else "caution" if worst <= 1 else "fails",
        ),
        "gearing.cruise": (100 * cruise, turning),
        "gearing.first": (3.6 * first, "holds" if first >= 10 / 3.6 else "caution"),
        "gearing.start": (100 * climbed, "holds" if climbed >= 0.12 else "caution"),
        "speedometer.speed": (80 * factor, plain.r39_verdict(vehicle)),
        "speedometer.odometer": (100 * (factor - 1), "holds" if abs(factor - 1) <= 0.025 else "caution"),
    }
    if vehicle["towed"] is not None:
        climbed = plain.gradient(vehicle, vehicle["towed"])
        told["gearing.start_towing"] = (100 * climbed, "holds" if climbed >= 0.12 else "caution")
    return told


def test_random_vehicles_are_judged_as_the_plain_script_judges_them(judged):
    met = set()
    for seed, (vehicle, checks) in enumerate(judged):
        for check, (value, verdict) in expected(vehicle).items():
            assert _figure(checks[check]) == pytest.approx(value, rel=1e-9, abs=1e-9), (seed, check)
            assert checks[check].verdict == verdict, (seed, checks[check].sentence)
            met.add((".".join(check.split(".")[:2]), verdict))
        assert ("gearing.start_towing" in checks) == (vehicle["towed"] is not None)
    assert {(check, verdict) for check, verdict in met if verdict == "holds"} >= {
        (check, "holds") for check, _ in met
    }, "every check holds somewhere"
    assert {check for check, verdict in met if verdict != "holds"} == {check for check, _ in met}


def test_every_link_of_a_random_vehicle_carries_what_the_plain_script_says(judged):
    for seed, (vehicle, checks) in enumerate(judged):
        ranking = {f.name: f.after for f in checks["driveline.weakest_link"].figures}
        for place, part in plain.loads(vehicle).items():
            title = POSITIONS[place].title
            assert ranking[title] == pytest.approx(100 * part), (seed, place)
        assert len(ranking) == len(plain.loads(vehicle)), seed


def test_the_american_rule_is_judged_alike():
    verdicts = set()
    for seed in range(100):
        vehicle = drawn(seed)
        finding = found(vehicle, Law.us)["speedometer.speed"]
        assert finding.verdict == plain.cfr_verdict(vehicle), seed
        verdicts.add(finding.verdict)
    assert len(verdicts) == 2


A_HAIR = 1e-6


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize(("hair", "shaft"), [(A_HAIR, "holds"), (-A_HAIR, "fails")])
def test_the_verdict_turns_where_the_plain_script_turns_it(seed, hair, shaft):
    """Each rating is set to what the plain script says that the part must carry, a hair more or less."""
    vehicle = drawn(seed)
    for axle in vehicle["driven"]:
        vehicle[axle]["shaft_rating"] = plain.propeller_shaft(vehicle, axle) * (1 + hair)
        vehicle[axle]["shear_strength"] = plain.shaft_stress(vehicle, axle) * (1 + hair)
    vehicle["rated_speed"] *= plain.cruise_part(vehicle) / 0.75 * (1 + hair)
    vehicle["constant"] *= plain.speedometer_factor(vehicle) / (1 + hair)
    checks = found(vehicle)
    for axle in vehicle["driven"]:
        assert checks[f"driveline.torque.propshaft.{axle}"].verdict == shaft
        assert checks[f"driveline.shaft.halfshaft.{axle}.left"].verdict == shaft
    assert checks["gearing.cruise"].verdict == ("holds" if hair > 0 else "caution")
    assert checks["speedometer.speed"].verdict == ("holds" if hair > 0 else "fails")


@pytest.mark.parametrize("top", [60, 90, 103, 135, 149.9, 150, 180])
def test_the_upper_end_of_the_speedometer_turns_at_the_fastest_test_speed(top):
    vehicle = drawn(1) | {"top_speed": top / 3.6}
    fastest = max(plain.r39_speeds(top))
    for hair, judged in ((-A_HAIR, "holds"), (A_HAIR, "caution" if 80 < fastest < 120 else "fails")):
        wanted = (1.1 + 4 / fastest) * (1 + hair)
        at = dict(vehicle, constant=vehicle["constant"] * plain.speedometer_factor(vehicle) / wanted)
        assert found(at)["speedometer.speed"].verdict == judged, (top, hair)


def test_the_plain_script_gives_the_published_tube():
    # A load far below grip, so that the shaft carries 5000 N m.
    axle = {"ratio": 1.0, "load": 1e9, "axle_efficiency": 1.0, "tube": (0.114, 0.102)}
    vehicle = {"torque": 5000, "gears": [1.0], "low": None, "efficiency": 1.0, "circumference": 2.0}
    agrees("tube.tau", plain.tube_stress(vehicle | {"rear": axle}, "rear") / 1e6)


@pytest.mark.parametrize(("rpm", "left"), [(1500, 7.3), (1600, 6.9)])
def test_the_plain_script_reads_the_published_pairs_of_angles_as_one_residual(rpm, left):
    for first in names(f"joint {rpm}"):
        second = (left**2 + float(first) ** 2) ** 0.5
        agrees(f"joint {rpm}.{first}", second)
        joints = {"arrangement": None, "near": second, "far": float(first), "per_lift": 0, "lift": 0}
        assert plain.left_by_joints(joints) == pytest.approx(left)
