"""A mend names what can be done to this vehicle: nothing that it has already, nothing that it has not."""

from dataclasses import replace

import pytest

from graftbook.checks.fitted import Fitted
from graftbook.checks.verdict import Finding, Verdict
from tests.checks.made import FIGURES, Made

LIFT = {"ride_height_change": "40 mm"}
RAISED = {"spring.rear.left": LIFT, "spring.rear.right": LIFT}
SERVO = {"brake.servo": {"servo_ratio": "1.5", "servo_run_out": "4000 N"}}


def _of(check: str, change: dict, facts: dict | None = None) -> Finding:
    found = Made(change, facts).check()[check]
    assert found.verdict in (Verdict.caution, Verdict.fails), found.sentence
    assert found.mend
    return found


def _mend(check: str, change: dict, facts: dict | None = None) -> str:
    return _of(check, change, facts).mend


@pytest.mark.parametrize(
    ("check", "shaft"),
    [
        ("driveline.joint_angle.propshaft.rear", {"joint_angle_permitted": "2 deg"}),
        (
            "driveline.joint_ripple.propshaft.rear",
            {"joint_arrangement": "single", "joint_angle_static": "9 deg"},
        ),
        ("driveline.joint_ripple.propshaft.rear", {"far_joint_angle": "12 deg"}),
    ],
)
def test_less_lift_is_advised_only_where_something_is_lifted(check, shaft):
    assert "lift" not in _mend(check, {"propshaft.rear": shaft}).lower()
    assert "lift" in _mend(check, {"propshaft.rear": shaft, **RAISED}).lower()


def test_no_wedges_are_advised_under_the_front_springs():
    """They would turn the castor with the axle."""
    bent = {"propshaft.front": {**FIGURES["propshaft.rear"], "far_joint_angle": "12 deg"}}
    front = {f"{part}.front": FIGURES[f"{part}.rear"] for part in ("gears", "diff")}
    mend = _mend("driveline.joint_ripple.propshaft.front", {**front, **bent})
    assert "wedge" not in mend
    assert "double joint" in mend


def test_what_tips_sideways_is_told_what_made_it_so():
    tall = {"tyre_diameter": "1100 mm"}
    narrow = {"track_front": "1.31 m", "track_rear": "1.31 m"}
    by_tyre = _mend("suspension.tilt", {"tyre.road": tall}, narrow)
    assert by_tyre.startswith("A lower tyre or a wider track would do it;")
    front = {"spring.front.left": LIFT, "spring.front.right": LIFT}
    high = {p: {"ride_height_change": "150 mm"} for p in (*RAISED, *front)}
    assert _mend("suspension.tilt", high).startswith("Less lift or a wider track would do it;")
    both = _mend("suspension.tilt", {**high, "tyre.road": tall})
    assert both.startswith("Less lift, a lower tyre or a wider track would do it;")
    far_in = _mend("suspension.tilt", {"wheel.road": {"offset": "150 mm"}})
    assert far_in.startswith("A wider track would do it;")


def test_a_servo_that_is_there_is_not_advised_anew():
    weak = {"brake.master": {"master_bore": "60 mm"}}
    for check in ("brakes.deceleration", "brakes.deceleration.approval"):
        assert "A servo, " in _mend(check, weak)
        assert "A stronger servo, " in _mend(check, {"brake.master": {"master_bore": "80 mm"}, **SERVO})


def test_the_servo_that_would_do_it_would_do_it():
    """The boost that is named is that of the whole servo, not what is to come on top of the one there."""
    wide = {"brake.master": {"master_bore": "45 mm"}}
    for servo in ({}, SERVO):
        mend = _mend("brakes.pedal_force", {**wide, **servo})
        boost = float(mend.split("multiplies by ")[1].split(",")[0])
        strong = {"brake.servo": {"servo_ratio": f"{boost + 0.05}", "servo_run_out": "29000 N"}}
        assert Made({**wide, **strong}).check()["brakes.pedal_force"].verdict is Verdict.holds
        short = {"brake.servo": {"servo_ratio": f"{boost - 0.15}", "servo_run_out": "29000 N"}}
        assert Made({**wide, **short}).check()["brakes.pedal_force"].verdict is Verdict.caution


def test_without_a_servo_none_is_spoken_of():
    wide = {"brake.master": {"master_bore": "75 mm"}}
    assert "servo" not in _mend("brakes.servo_failed", wide)
    assert "without the servo" in _mend("brakes.servo_failed", {**wide, **SERVO})
    light = {"brake.master": {"master_bore": "6 mm"}}
    found = _of("brakes.pedal_force", light, {"vehicle_category": "M1"})
    assert "servo" not in found.mend
    assert "weaker servo" in _mend("brakes.pedal_force", {**light, **SERVO}, {"vehicle_category": "M1"})


def test_two_circuits_are_not_advised_to_get_two():
    weak = {"brake.rear.left": {"lining_friction": "0.1"}, "brake.rear.right": {"lining_friction": "0.1"}}
    assert "dual-circuit" not in _mend("brakes.circuit_failed.approval", weak)
    single = {"brake.master": {"circuits": "1"}, "brake.hand": {"hand_lever_ratio": "5"}}
    assert "dual-circuit" in _mend("brakes.circuit_failed.approval", single)


def test_a_hand_brake_with_discs_is_not_advised_a_larger_drum():
    disc = {"brake_type": "disc", "piston_area": "13 cm2", "disc_effective_radius": "104 mm"}
    cable = {"hand_lever_ratio": "4", "hand_brake_radius": "104 mm"}
    rear = {"brake.rear.left": disc, "brake.rear.right": disc, "brake.hand": cable}
    for check in ("brakes.hand_brake", "brakes.parking"):
        assert "drum" not in _mend(check, rear)
        assert "larger drum" in _mend(check, {"brake.hand": {"hand_lever_ratio": "4"}})


def test_a_valve_that_is_not_there_does_not_begin_at_a_lower_pressure():
    light = {"mass_unladen": "1000 kg", "axle_load_front_unladen": "800 kg"}
    weak = {"brake.front.left": {"lining_friction": "0.2"}, "brake.balance_valve": None}
    assert "lower pressure" not in _mend("brakes.lock_order.unladen", weak, light)


def test_what_the_tyres_do_not_hold_no_gear_mends():
    heavy = {"towed_mass": "9000 kg"}
    grip = _mend("gearing.start_towing", {"gearbox": {"gear_1": "12"}}, heavy)
    assert "axle" not in grip.split("driven")[0]
    assert "lighter trailer" in grip
    gears = _mend("gearing.start", {"gears.rear": {"axle_ratio": "1.1"}})
    assert "low range" not in gears, "there is no transfer box"
    low = {"transfer": {"transfer_high": "1", "transfer_low": "1"}}
    assert "low range" in _mend("gearing.start", {"gears.rear": {"axle_ratio": "1.1"}, **low})


def test_an_overdrive_that_is_there_is_not_advised_anew():
    short = {"gears.rear": {"axle_ratio": "7"}}
    assert "an overdrive of at most 0." in _mend("gearing.cruise", short)
    there = {"gears.rear": {"axle_ratio": "9"}, "overdrive": {"overdrive_ratio": "0.8"}}
    assert "overdrive" not in _mend("gearing.cruise", there)


def test_jets_are_spoken_of_where_there_are_jets():
    lean = {"fuel_ethanol": "30 %"}
    assert "Larger jets" in _mend("fuel.mixture", {}, lean)
    assert "jets" not in _mend(
        "fuel.mixture", {"fuel.metering": {"metering": "throttle-body injection"}}, lean
    )


def test_a_pump_at_the_tank_is_not_advised_anew():
    hot = {"fuel.pump": {"line_temperature": "99 degC"}}
    assert "pump at the tank" not in _mend("fuel.vapour_lock", hot)
    sucking = {"fuel.pump": {"line_temperature": "99 degC", "pump_kind": "mechanical"}}
    assert "pump at the tank" in _mend("fuel.vapour_lock", sucking)


def test_a_filter_is_mended_by_a_filter():
    weak = {"fuel.filter": {"pressure_rating": "5 kPa"}, "fuel.feed": {"pressure_rating": "5 kPa"}}
    assert "line and hose" not in _mend("fuel.pressure.fuel.filter", weak)
    assert "line and hose" in _mend("fuel.pressure.fuel.feed", weak)


def test_a_spring_too_hard_is_not_advised_a_harder_one():
    hard = {"spring.front.left": {"leaf_thickness": "12 mm"}}
    soft = {"spring.front.left": {"leaf_width": "15 mm"}}
    check = "suspension.frequency.front.laden"
    assert _mend("suspension.frequency.front.unladen", hard) == "A softer spring would lower it."
    assert _mend(check, soft) == "A stiffer spring would raise it."


def test_nobody_is_advised_to_zinc_aluminium():
    bare = {"underframe": {"coating": "none"}, "roof": {"coating": "none"}}
    mend = _mend("corrosion.underframe+roof", bare)
    assert "zinc under it on the steel" in mend
    assert "Zinc and paint on both sides" not in mend


def test_paint_over_zinc_is_not_advised_to_what_has_it():
    thin = {"step.wells": {"zinc_thickness": "5 um"}}
    assert "paint" not in _mend("corrosion.zinc.step.wells", thin)
    bare = {"step.wells": {"zinc_thickness": "5 um", "coating": "zinc"}}
    assert "paint over the zinc" in _mend("corrosion.zinc.step.wells", bare)


def test_an_open_differential_is_named_only_where_it_is_enough():
    locked = {"diff.rear": {"differential": "locking"}}
    weak = {"halfshaft.rear.left": {"shear_strength": "290 MPa"}}
    hopeless = {"halfshaft.rear.left": {"shear_strength": "100 MPa"}}
    check = "driveline.shaft.halfshaft.rear.left"
    assert "an open differential" in _mend(check, {**locked, **weak})
    assert "an open differential" not in _mend(check, {**locked, **hopeless})


def test_the_tyres_are_mended_by_tyres_and_the_wheels_by_wheels():
    heavy = {"axle_load_rear_laden": "2600 kg"}
    assert _mend("wheels.tyre_load.rear", {}, heavy).startswith("Fit tyres of ")
    assert _mend("wheels.wheel_load.rear", {}, heavy).startswith("Fit wheels of ")


def test_of_what_would_do_it_the_cheapest_comes_first_and_what_has_no_price_last():
    made = Made(spare_parts={"brake.master": {"master_bore": "20 mm"}})
    for today, spare, order in ((500, 400, "ZX"), (400, 500, "XZ"), (None, 500, "ZX"), (500, None, "XZ")):
        prices = {"X-brake.master": today, "Z-brake.master": spare}
        parts = {
            number: replace(made.book.components[number], price=price) for number, price in prices.items()
        }
        book = replace(made.book, components={**made.book.components, **parts})
        found = Fitted(book, made.after, made.vehicle).candidates("brake.master", "master_bore")
        assert [part.number[0] for part, _ in found] == list(order), prices
