"""Every limit is where it is said to be: the verdict turns at that figure, not a quarter above it.

One recorded figure of the made-up vehicle is moved until the verdict turns; the judged figure that stands
there is the limit. Limits are written here once more, by hand, in the unit of the judged figure; None: the
one that the finding tells, because the vehicle gives it.
"""

import pytest

from graftbook.checks.fitted import Fitted
from graftbook.checks.law import Binding, Rules, law_for
from graftbook.checks.set import SUBJECTS
from graftbook.checks.verdict import Finding, Verdict
from tests.checks.made import Made, verdict

TURNS = [
    ("brakes.deceleration", "brake.master", "master_bore", "mm", 22.2, 40, 4.903325),
    ("brakes.deceleration.approval", "brake.master", "master_bore", "mm", 22.2, 40, 5.0),
    ("brakes.pedal_force", "brake.master", "master_bore", "mm", 22.2, 40, 700),
    ("brakes.servo_failed", "brake.master", "master_bore", "mm", 22.2, 66, 2.2),
    ("brakes.circuit_failed.approval", "brake.rear.left", "lining_friction", "", 0.38, 0.2, 2.2),
    ("brakes.circuit_travel.front", "brake.master", "fluid_displaced_front", "ml", 6.2, 12, 100),
    ("brakes.circuit_travel.rear", "brake.master", "fluid_displaced_rear", "ml", 4.8, 12, 100),
    ("brakes.displaced.front", "brake.master", "fluid_displaced_front", "ml", 6.2, 2, None),
    ("brakes.displaced.rear", "brake.master", "fluid_displaced_rear", "ml", 4.8, 2, None),
    ("brakes.adhesion.laden", "brake.balance_valve", "balance_ratio", "", 0.35, 0.05, 0),
    ("brakes.hand_grip", "", "axle_load_front_laden", "kg", 860, 1600, 0.8),
    ("brakes.parking", "brake.hand", "hand_lever_ratio", "", 40, 8, 1.569064),
    ("brakes.heat.front", "brake.front.left", "rotor_mass", "kg", 12, 3, None),
    ("brakes.heat.rear", "brake.rear.left", "rotor_mass", "kg", 12, 1, None),
    ("brakes.travel", "brake.front.left", "fluid_demand", "ml", 2.0, 6.0, 200 / 3),
    ("brakes.displaced", "brake.master", "fluid_displaced", "ml", 17, 5, None),
    ("brakes.hand_brake", "brake.hand", "hand_lever_ratio", "", 40, 8, 600),
    ("electrical.charging.day", "charging.machine", "current_supplied", "A", 45, 5.5, 80),
    ("electrical.charging.night", "charging.machine", "current_supplied", "A", 45, 13.5, 80),
    ("electrical.charging.worst", "charging.machine", "current_supplied", "A", 45, 21, 80),
    ("electrical.charging.idle", "engine.unit", "idle_speed", "rpm", 700, 450, 20),
    ("electrical.cranking", "starter", "cranking_current", "A", 220, 500, 8),
    ("electrical.cable_drop", "charging.cable", "cable_length", "m", 1.6, 8, 3),
    ("electrical.cable_current", "charging.machine", "current_supplied", "A", 45, 90, 60),
    ("electrical.fuse_cable", "fuse.box", "fuse_rating", "A", 30, 70, 35),
    ("electrical.fuse_load", "fuse.box", "fuse_load", "A", 20, 34, 80),
    ("wheels.tyre_load.front", "", "axle_load_front_laden", "kg", 860, 2000, None),
    ("wheels.tyre_load.rear", "", "axle_load_rear_laden", "kg", 1040, 2000, None),
    ("wheels.wheel_load.front", "wheel.road", "wheel_load", "kg", 690, 300, 860),
    ("wheels.wheel_load.rear", "wheel.road", "wheel_load", "kg", 690, 300, 1040),
    ("wheels.tyre_speed", "", "top_speed", "km/h", 115, 200, None),
    ("wheels.brake_clearance.front", "wheel.road", "rim_inner_radius", "mm", 186, 150, 3),
    ("wheels.brake_clearance.rear", "wheel.road", "rim_inner_radius", "mm", 186, 150, 3),
    ("wheels.outer_reach", "tyre.road", "tyre_width", "mm", 170, 306, 45),
    ("wheels.inner_reach", "tyre.road", "tyre_width", "mm", 170, 306, 30),
    ("gearing.cruise", "gears.rear", "axle_ratio", "", 3.75, 6.75, 75),
    ("gearing.start", "gears.rear", "axle_ratio", "", 3.75, 1.2, 12),
    ("gearing.first", "gears.rear", "axle_ratio", "", 3.75, 6.75, 10),
    ("speedometer.odometer", "speedo.drive", "speedo_drive_ratio", "", 0.373, 0.41, 2.5),
    ("driveline.shaft.halfshaft.rear.left", "halfshaft.rear.left", "shear_strength", "MPa", 320, 100, 100),
    ("driveline.torque.propshaft.rear", "propshaft.rear", "torque_rating", "Nm", 1100, 330, 492.1875),
    ("driveline.joint_angle.propshaft.rear", "propshaft.rear", "joint_angle_permitted", "deg", 15, 2, 3),
    ("driveline.joint_ripple.propshaft.rear", "propshaft.rear", "far_joint_angle", "deg", 3, 9, 400),
    ("corrosion.zinc.step.wells", "step.wells", "zinc_thickness", "um", 60, 18, 10),
    ("suspension.frequency.front.unladen", "spring.front.left", "leaf_thickness", "mm", 5.5, 9.9, 2.5),
    ("suspension.frequency.front.laden", "spring.front.left", "leaf_width", "mm", 63.5, 19, 0.9),
    ("suspension.damper.front.bump", "damper.front.left", "damper_closed", "mm", 260, 468, 0),
    ("suspension.damper.front.droop", "damper.front.left", "damper_open", "mm", 445, 245, 0),
    ("suspension.hose.rear", "brake.hose.rear", "hose_length", "mm", 340, 187, 0),
    ("suspension.leaf_stress.front", "spring.front.left", "permitted_stress", "MPa", 850, 100, None),
    ("suspension.height.front", "spring.front.left", "ride_height_change", "mm", 0, 100, 30),
    ("suspension.headlamp_aim", "spring.front.left", "ride_height_change", "mm", 0, 100, 0.5),
    ("suspension.castor", "spring.rear.left", "ride_height_change", "mm", 0, 100, -0.5),
    ("suspension.tilt", "tyre.road", "tyre_diameter", "mm", 728, 1100, None),
    ("wheels.scrub", "wheel.road", "offset", "mm", 33, 0, 15),
    ("unions.clamp.hub.front.left", "wheel.nuts", "tightening_torque", "Nm", 100, 205, 90),
    ("fuel.mixture", "", "fuel_ethanol", "%", 10, 30, 3),
    ("fuel.vapour_lock", "", "fuel_vapour_pressure", "kPa", 60, 180, 100),
    ("fuel.pump_flow", "fuel.pump", "pump_flow", "l/h", 60, 18, None),
    ("fuel.pressure.fuel.feed", "fuel.feed", "pressure_rating", "kPa", 200, 10, 25),
    ("fuel.ethanol.fuel.tank", "fuel.tank", "ethanol_rating", "%", 20, 5, 10),
]
"""Check, position ("": the variant itself), what is recorded, unit, where it holds, where not, limit."""

BETWEEN_CAUTION_AND_FAILURE = [
    ("electrical.charging.worst", "charging.machine", "current_supplied", "A", 22, 10, 100),
    ("electrical.fuse_load", "fuse.box", "fuse_load", "A", 30, 50, 100),
    ("unions.clamp.hub.front.left", "wheel.nuts", "tightening_torque", "Nm", 205, 400, 100),
]


def made(position: str, kind: str, unit: str, value: float) -> Made:
    written = f"{value:.12g} {unit}".strip()
    return Made({position: {kind: written}}) if position else Made(facts={kind: written})


def at(check: str, position: str, kind: str, unit: str, value: float) -> Finding:
    return made(position, kind, unit, value).check()[check]


def alone(subject: str, check: str, position: str, kind: str, unit: str, value: float) -> Verdict:
    """What `at` finds, without the other subjects, for the many looks of the halving."""
    here = made(position, kind, unit, value)
    rules = Rules(law_for(here.book.variant.market), Binding.in_service)
    found = SUBJECTS[subject](Fitted(here.book, here.today, here.vehicle), here.fitted, rules)
    return next(finding.verdict for finding in found if finding.check == check)


def turning(
    check: str, position: str, kind: str, unit: str, well: float, ill: float, good: set[Verdict]
) -> tuple[Finding, Finding]:
    """The findings on both sides of where the verdict turns, by halving."""
    subject = at(check, position, kind, unit, ill).subject
    for _ in range(24):
        middle = (well + ill) / 2
        if alone(subject, check, position, kind, unit, middle) in good:
            well = middle
        else:
            ill = middle
    return at(check, position, kind, unit, well), at(check, position, kind, unit, ill)


def judged(found: Finding) -> float:
    assert found.figures[0].after is not None
    return found.figures[0].after


@pytest.mark.parametrize(("check", "position", "kind", "unit", "well", "ill", "limit"), TURNS)
def test_the_verdict_turns_at_the_limit(check, position, kind, unit, well, ill, limit):
    last, first = turning(check, position, kind, unit, well, ill, {Verdict.holds})
    assert (last.verdict, first.verdict in (Verdict.caution, Verdict.fails)) == (Verdict.holds, True)
    told = last.limit.value if limit is None else limit
    assert judged(last) == pytest.approx(told, rel=1e-5, abs=1e-4)
    assert judged(first) == pytest.approx(told, rel=1e-5, abs=1e-4)


@pytest.mark.parametrize(
    ("check", "position", "kind", "unit", "well", "ill", "limit"), BETWEEN_CAUTION_AND_FAILURE
)
def test_a_caution_becomes_a_failure_at_its_limit(check, position, kind, unit, well, ill, limit):
    assert at(check, position, kind, unit, well).verdict is Verdict.caution
    last, first = turning(check, position, kind, unit, well, ill, {Verdict.caution})
    assert (last.verdict, first.verdict) == (Verdict.caution, Verdict.fails)
    assert judged(last) == pytest.approx(limit, rel=1e-5)
    assert judged(first) == pytest.approx(limit, rel=1e-5)


@pytest.mark.parametrize(
    ("check", "change", "expected"),
    [
        ("electrical.fuse_cable", {"fuse.box": {"fuse_rating": "35 A"}}, Verdict.holds),
        ("electrical.fuse_cable", {"fuse.box": {"fuse_rating": "36 A"}}, Verdict.fails),
        ("electrical.cable_current", {"charging.machine": {"current_supplied": "60 A"}}, Verdict.holds),
        ("electrical.cable_current", {"charging.machine": {"current_supplied": "61 A"}}, Verdict.fails),
        ("electrical.fuse_load", {"fuse.box": {"fuse_load": "28 A"}}, Verdict.holds),
        ("electrical.fuse_load", {"fuse.box": {"fuse_load": "29 A"}}, Verdict.caution),
        ("electrical.fuse_load", {"fuse.box": {"fuse_load": "35 A"}}, Verdict.caution),
        ("electrical.fuse_load", {"fuse.box": {"fuse_load": "36 A"}}, Verdict.fails),
        ("wheels.rim_width", {"wheel.road": {"rim_width": "4 in"}}, Verdict.holds),
        ("wheels.rim_width", {"wheel.road": {"rim_width": "5 in"}}, Verdict.holds),
        ("wheels.rim_width", {"wheel.road": {"rim_width": "3.9 in"}}, Verdict.fails),
        ("wheels.rim_width", {"wheel.road": {"rim_width": "5.1 in"}}, Verdict.fails),
    ],
)
def test_at_the_limit_it_holds_and_one_step_above_it_does_not(check, change, expected):
    assert verdict(check, change) is expected


@pytest.mark.parametrize(
    ("one", "other", "machine"), [("1.1", "2.2", "3.3"), ("2.2", "4.4", "6.6"), ("4", "5", "9")]
)
def test_no_rounding_makes_all_that_the_machine_gives_a_pass(one, other, machine):
    """1.1 and 2.2 are 3.3 A, a caution, though a machine adds them up to a little more."""
    change = {
        "fuel.pump": {"current_drawn": f"{one} A"},
        "ignition.coil": {"current_drawn": f"{other} A"},
        "charging.machine": {"current_supplied": f"{machine} A"},
    }
    assert verdict("electrical.charging.day", change) is Verdict.caution


def test_every_piece_of_a_load_draws_its_current():
    """Two lamps at one position, and a fitment that puts both of them there."""
    one, two = (
        Made({"headlamp.left": {"current_drawn": "5 A"}}),
        Made({"headlamp.left": {"current_drawn": "5 A"}}),
    )
    two.fit("headlamp.left", 2)
    load = [
        next(f for f in made.check()["electrical.charging.night"].figures if f.name == "continuous load")
        for made in (one, two)
    ]
    assert [figure.after for figure in load] == [pytest.approx(14.0), pytest.approx(19.0)]
    assert two.fitted.quantity("headlamp.left") == 2
    assert two.fitted.quantity("nowhere") == 0
