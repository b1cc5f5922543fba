"""Sets on the made-up vehicle: four driven wheels, joints, teeth, and which way the speedometer errs."""

import math
import random
from dataclasses import replace

import pytest

from graftbook.checks.driveline import driveline, gearing, speedometer
from graftbook.checks.driveline.torque import half_shaft_nm, input_nm, propshaft_nm
from graftbook.checks.fitted import Reading
from graftbook.checks.law import Law
from graftbook.checks.set import check_set
from graftbook.checks.verdict import Verdict
from tests.checks.made import FIGURES, TALL, Made, verdict

HOLDS, CAUTION, FAILS = Verdict.holds, Verdict.caution, Verdict.fails

LOW = {"transfer": {"transfer_high": "1.15", "transfer_low": "2.35"}}
FRONT = {
    "gears.front": {"axle_ratio": "3.75", "torque_rating": "4000 Nm"},
    "diff.front": {"spline_count": "14", "differential": "open", "torque_rating": "4000 Nm"},
    "propshaft.front": {
        "torque_rating": "1100 Nm",
        "tube_outer": "50.8 mm",
        "tube_inner": "46 mm",
        "joint_angle_static": "10.5 deg",
        "joint_angle_permitted": "14 deg",
        "joint_angle_per_lift": "1.5",
    },
    **{f"halfshaft.front.{s}": dict(FIGURES[f"halfshaft.rear.{s}"]) for s in ("left", "right")},
}
FOUR = {**LOW, **FRONT}

REAR_GRIP = 0.8 * 1040 * 9.80665 * 2.220 / (2 * math.pi)
FRONT_GRIP = 0.8 * 860 * 9.80665 * 2.220 / (2 * math.pi)


def reading(change):
    return Reading(Made(change).fitted)


def loads(change):
    return {f.name: f.after for f in Made(change).check()["driveline.weakest_link"].figures}


class TestFourDrivenWheels:
    def test_a_gearbox_that_the_engine_breaks_on_two_driven_wheels_breaks_on_four(self):
        weak = {"gearbox": {"torque_rating": "100 Nm"}, "clutch": {"torque_rating": "100 Nm"}}
        for change in (weak, {**weak, **LOW}, {**weak, **FOUR}):
            assert loads(change)["gearbox"] == pytest.approx(150)
            assert loads(change)["clutch"] == pytest.approx(150)
            assert verdict("driveline.weakest_link", change) is FAILS

    def test_the_engine_reaches_the_gearbox_whole_in_every_gear_that_the_tyres_hold(self):
        strong = {"engine.unit": {"torque": "600 Nm"}}
        assert input_nm(reading({**strong, **FOUR})) == pytest.approx(600)
        sentence = Made({"gearbox": {"torque_rating": "100 Nm"}}).check()["driveline.weakest_link"].sentence
        assert sentence.startswith("The weakest link with all the engine's torque is the gearbox, at 150%")

    def test_no_more_reaches_the_gearbox_than_all_driven_tyres_hold_in_the_tallest_gear(self):
        strong = {"engine.unit": {"torque": "5000 Nm"}}
        two, four = input_nm(reading(strong)), input_nm(reading({**strong, **FRONT}))
        assert two == pytest.approx(REAR_GRIP / (1.0 * 3.75 * 0.9))
        assert four == pytest.approx((REAR_GRIP + FRONT_GRIP) / (1.0 * 3.75 * 0.9))

    def test_the_transfer_box_carries_what_both_axles_hold(self):
        rated = {"transfer": {**LOW["transfer"], "torque_rating": "1000 Nm"}}
        held = {"rear": REAR_GRIP / 3.75 / 0.96, "front": FRONT_GRIP / 3.75 / 0.96}
        sent = 150 * 3.5 * 2.35 * 0.9 / 0.96
        assert loads(rated)["transfer box"] == pytest.approx(100 * min(sent, held["rear"]) / 1000)
        both = loads({**FRONT, **rated})["transfer box"]
        assert both == pytest.approx(100 * min(sent, sum(held.values())) / 1000)
        assert both > loads(rated)["transfer box"]

    def test_the_front_propeller_shaft_carries_the_front_grip_through_the_front_ratio(self):
        shorter = {**FOUR, "gears.front": {"axle_ratio": "4.5"}}
        assert propshaft_nm(reading(FOUR), "propshaft.front") == pytest.approx(FRONT_GRIP / 3.75 / 0.96)
        assert propshaft_nm(reading(shorter), "propshaft.front") == pytest.approx(FRONT_GRIP / 4.5 / 0.96)
        assert propshaft_nm(reading(shorter), "propshaft.rear") == pytest.approx(REAR_GRIP / 3.75 / 0.96)

    def test_a_front_half_shaft_is_turned_by_the_front_ratio(self):
        weak = {**FRONT, "engine.unit": {"torque": "60 Nm"}, "gears.front": {"axle_ratio": "4.5"}}
        assert half_shaft_nm(reading(weak), "halfshaft.front.left") == pytest.approx(60 * 3.5 * 4.5 * 0.9 / 2)
        assert half_shaft_nm(reading(weak), "halfshaft.rear.left") == pytest.approx(60 * 3.5 * 3.75 * 0.9 / 2)

    def test_every_part_of_the_front_axle_is_in_the_ranking(self):
        hubs = {f"freewheel.{side}": {"torque_rating": "2200 Nm"} for side in ("left", "right")}
        found = loads({**FOUR, **hubs})
        for part in ("front half shaft, left", "front crown wheel and pinion", "front propeller shaft"):
            assert part in found
        assert found["driving flange or free-wheeling hub, left"] == pytest.approx(
            100 * FRONT_GRIP / 2 / 2200
        )

    def test_an_overdrive_carries_the_engine_in_top_gear(self):
        rated = {"overdrive": {"overdrive_ratio": "0.78", "torque_rating": "200 Nm"}}
        assert loads(rated)["overdrive"] == pytest.approx(75)

    def test_a_limited_slip_differential_sends_more_to_the_wheel_that_grips(self):
        weak = {"engine.unit": {"torque": "60 Nm"}}
        sent = 60 * 3.5 * 3.75 * 0.9

        def torque(**kinds):
            return half_shaft_nm(reading({**weak, "diff.rear": kinds}), "halfshaft.rear.left")

        assert torque(differential="open") == pytest.approx(sent / 2)
        assert torque(differential="limited slip") == pytest.approx(sent * 2.5 / 3.5)
        assert torque(differential="limited slip", bias_ratio="4") == pytest.approx(sent * 0.8)
        assert torque(differential="locking") == pytest.approx(sent)

    def test_the_usual_efficiency_of_the_axle_is_named_and_a_recorded_one_takes_its_place(self):
        def told(change):
            figures = Made(change).check()["driveline.torque.propshaft.rear"].figures
            return next(f for f in figures if "efficiency" in f.name)

        assert (told(LOW).name, told(LOW).after) == ("usual efficiency of the crown wheel and pinion", 96)
        recorded = {**LOW, "gears.rear": {"axle_efficiency": "0.93"}}
        assert told(recorded).name == "efficiency of the crown wheel and pinion"
        assert propshaft_nm(reading(recorded), "propshaft.rear") == pytest.approx(REAR_GRIP / 3.75 / 0.93)

    def test_tyres_of_two_sizes_wind_up_shafts_of_one_ratio(self):
        tyre = FIGURES["tyre.road"]
        smaller = {**tyre, "rolling_circumference": "2150 mm"}
        each = {"tyre.road": None, "tyre.rear": tyre, "tyre.front": smaller}
        finding = Made({**FRONT, **each}).check()["driveline.axle_ratios"]
        assert finding.verdict is FAILS
        assert finding.figures[0].after == pytest.approx(100 * (2220 / 2150 - 1))
        assert verdict("driveline.axle_ratios", {**FRONT, **each, "tyre.front": tyre}) is HOLDS

    def test_an_open_differential_is_no_mend_where_one_is_fitted(self):
        thin = {"halfshaft.rear.left": {"shaft_diameter": "20 mm"}}
        check = "driveline.shaft.halfshaft.rear.left"
        locked = {
            "halfshaft.rear.left": {"shaft_diameter": "28 mm"},
            "diff.rear": {"differential": "locking"},
        }
        assert "open differential" not in Made(thin).check()[check].mend
        assert "open differential" in Made(locked).check()[check].mend


class TestJoints:
    CHECK = "driveline.joint_ripple.propshaft.front"

    def _finding(self, **kinds):
        return Made({**FOUR, "propshaft.front": {**FRONT["propshaft.front"], **kinds}}).check()[self.CHECK]

    def test_two_joints_in_phase_at_one_angle_pass_on_nothing(self):
        finding = self._finding()
        assert (finding.verdict, finding.figures[0].after) == (HOLDS, 0)
        assert "two joints in phase, as is usual" in finding.sentence

    def test_one_joint_at_that_angle_passes_on_more_than_it_may(self):
        finding = self._finding(joint_arrangement="single")
        assert finding.verdict is CAUTION
        turning = 60 * 1609.344 / 3600 / 2.220 * 2 * math.pi * 3.75
        assert finding.figures[0].after == pytest.approx(turning**2 * math.radians(10.5) ** 2)

    def test_angles_that_differ_leave_something(self):
        assert self._finding(far_joint_angle="10 deg").verdict is HOLDS
        assert self._finding(far_joint_angle="8 deg").verdict is CAUTION
        assert self._finding(far_joint_angle="8 deg").mend == "A shaft with a double joint would do it."

    def test_two_joints_out_of_phase_add_up_and_the_mend_says_so(self):
        finding = self._finding(joint_arrangement="two out of phase")
        one = self._finding(joint_arrangement="single").figures[0].after
        assert finding.figures[0].after == pytest.approx(2 * one)
        assert "two yokes brought into line" in finding.mend

    def test_of_a_double_joint_only_the_single_one_behind_it_counts(self):
        assert self._finding(joint_arrangement="double and single", far_joint_angle="1 deg").verdict is HOLDS
        bent = self._finding(joint_arrangement="double and single", far_joint_angle="6 deg")
        assert bent.verdict is CAUTION
        unknown = self._finding(joint_arrangement="double and single")
        assert unknown.verdict is Verdict.not_determined
        assert any("far_joint_angle" in missing for missing in unknown.missing)

    def test_joints_of_constant_velocity_pass_on_nothing(self):
        assert self._finding(joint_arrangement="constant velocity").figures[0].after == 0

    def test_the_wider_of_both_angles_is_judged(self):
        wide = {**FRONT["propshaft.front"], "far_joint_angle": "16 deg"}
        finding = Made({**FOUR, "propshaft.front": wide}).check()["driveline.joint_angle.propshaft.front"]
        assert (finding.verdict, finding.figures[0].after) == (FAILS, pytest.approx(16))


class TestTeeth:
    def test_teeth_that_do_not_make_the_ratio_are_told(self):
        twelve = {"driving_teeth": "5", "driven_teeth": "12"}
        wrong = Made({"speedo.drive": {**twelve, "speedo_drive_ratio": "0.404"}}).check()
        assert wrong["speedometer.teeth.speedo.drive"].verdict is CAUTION
        assert (
            "5 and 12 teeth make 0.417, and 0.404 is recorded"
            in wrong["speedometer.teeth.speedo.drive"].sentence
        )
        right = {"speedo.drive": {**twelve, "speedo_drive_ratio": "0.417"}}
        assert verdict("speedometer.teeth.speedo.drive", right) is HOLDS

    @pytest.mark.parametrize(("ratio", "expected"), [("3.73", HOLDS), ("3.70", CAUTION), ("3.75", CAUTION)])
    def test_crown_wheel_over_pinion(self, ratio, expected):
        teeth = {"crown_wheel_teeth": "41", "pinion_teeth": "11", "axle_ratio": ratio}
        finding = Made({"gears.rear": teeth}).check()["driveline.teeth.gears.rear"]
        assert finding.verdict is expected
        assert ("Count the teeth" in finding.mend) == (expected is CAUTION)
        assert "driveline.teeth.gears.rear" not in Made({"gears.rear": {"pinion_teeth": "11"}}).check()


class TestSpeedometer:
    def test_it_says_which_way_it_errs_and_which_is_the_dangerous_one(self):
        taller = {"tyre.road": {"rolling_circumference": "2400 mm"}}
        sentence = Made(taller).check()["speedometer.speed"].sentence
        assert "81.3 -> 75.2 km/h, 6.0 % low: the vehicle is faster than it shows" in sentence
        assert "81.3 km/h, 1.6 % high;" in Made().check()["speedometer.speed"].sentence
        assert "too little" in Made(taller).check()["speedometer.odometer"].sentence

    def test_a_drive_and_an_instrument_together_are_named_where_neither_does_alone(self):
        spare = {
            "speedo.drive": {"speedo_drive_ratio": "0.286"},
            "speedometer": {"speedo_constant": "429 rev/km"},
        }
        made = Made(TALL, spare_parts=spare)
        mend = made.check()["speedometer.speed"].mend
        assert "the drive Z-speedo.drive and the instrument Z-speedometer together would" in mend
        together = {**TALL, **{p: dict(FIGURES[p], **kinds) for p, kinds in spare.items()}}
        assert verdict("speedometer.speed", together) is HOLDS

    def test_an_instrument_in_other_units_is_not_named(self):
        own = {"speedometer": {"speedo_units": "mph"}}
        spare = {"speedometer": {"speedo_constant": "560 rev/km", "speedo_units": "km/h"}}
        mend = Made({**TALL, **own}, spare_parts=spare).check()["speedometer.speed"].mend
        assert "Z-speedometer" not in mend
        assert "recalibrated to 920 turns a mile" in mend

    def test_recalibration_says_to_how_many_turns(self):
        mend = Made(TALL).check()["speedometer.speed"].mend
        assert "recalibrated to 572 turns a kilometre" in mend
        set_so = {**TALL, "speedometer": {"speedo_constant": "571.8 rev/km"}}
        assert verdict("speedometer.speed", set_so) is HOLDS

    def test_a_test_speed_from_memory_is_never_the_only_reason_to_fail(self):
        # At 108 km/h the limit is a factor of 1.137; at 80, which is seen, 1.15.
        def at(factor, top):
            constant = 0.373 * 3.75 / 2.220 / factor * 1000
            change = {"speedometer": {"speedo_constant": f"{constant:.6f} rev/km"}}
            return Made(change, {"top_speed": top}).check()["speedometer.speed"]

        assert at(1.136, "135 km/h").verdict is HOLDS, "which a test speed of 120 km/h would have failed"
        assert at(1.14, "135 km/h").verdict is CAUTION
        assert "from memory" in at(1.14, "135 km/h").sentence
        assert at(1.151, "135 km/h").verdict is FAILS
        assert at(0.999, "135 km/h").verdict is FAILS
        # Of a vehicle that reaches 150 km/h all three test speeds are seen: at 120 the limit is 1.1333.
        assert at(1.132, "160 km/h").verdict is HOLDS
        assert at(1.14, "160 km/h").verdict is FAILS
        assert "from memory" not in at(1.14, "160 km/h").sentence
        assert at(1.14, None).verdict is CAUTION, "whether 120 km/h are tested hangs on the top speed"


class TestStart:
    def test_no_gradient_is_climbed_that_the_driven_tyres_do_not_hold(self):
        rear, four = Made(LOW).check()["gearing.start"], Made(FOUR).check()["gearing.start"]
        assert rear.figures[0].after == pytest.approx(100 * (0.8 * 1040 / 1900 - 0.015))
        assert four.figures[0].after > rear.figures[0].after

    def test_a_trailer_is_asked_of_only_where_one_may_be_towed(self):
        assert "gearing.start_towing" not in Made().check()
        towing = Made(facts={"towed_mass": "2000 kg"}).check()["gearing.start_towing"]
        alone = Made().check()["gearing.start"]
        assert towing.figures[0].after < alone.figures[0].after / 2 + 1
        heavy = Made(facts={"towed_mass": "6000 kg"}).check()["gearing.start_towing"]
        assert heavy.verdict is CAUTION, "the rule is from memory"


def _random_set(draw):
    """A set that changes ratios, tyres, drives and shafts at random."""
    return {
        "gears.rear": {"axle_ratio": f"{draw.uniform(2.5, 7):.3f}"},
        "tyre.road": {"rolling_circumference": f"{draw.uniform(1900, 2600):.0f} mm"},
        "speedo.drive": {"speedo_drive_ratio": f"{draw.uniform(0.2, 0.5):.3f}"},
        "engine.unit": {"torque": f"{draw.uniform(60, 400):.0f} Nm"},
        "halfshaft.rear.left": {"shaft_diameter": f"{draw.uniform(20, 40):.1f} mm"},
        **draw.choice([{}, LOW, FOUR, FRONT]),
    }


def test_what_is_said_of_today_is_of_today_alone():
    """Whatever set stands beside it, the vehicle as it stands is judged alike, and by the same limit."""
    draw = random.Random(13)
    subjects = ("driveline", "gearing", "speedometer")
    for vehicle in ({}, {"gears.rear": {"axle_ratio": "5.3"}}, {"gears.rear": {"axle_ratio": "6.8"}}):
        alone = {f.check: f for f in _inspected(vehicle)}
        for _ in range(40):
            before, after = Made(vehicle), Made({**_random_set(draw)})
            book = _joined(before, after)
            found = check_set(book, before.vehicle, before.after, after.after, "")
            told = [f for f in found if f.subject in subjects and f.today is not None]
            assert len(told) > len(alone) / 2
            for finding in told:
                was = alone[finding.check]
                assert (finding.today.verdict, finding.today.limit) == (was.verdict, was.limit)


def _inspected(vehicle):
    fitted = Made(vehicle).fitted
    return [
        *driveline.inspect(fitted, fitted),
        *gearing.inspect(fitted, fitted),
        *speedometer.inspect(fitted, fitted, Law.un),
    ]


def _joined(before, after):
    """One book that knows the parts of both; those of the same number are told apart by a prefix."""
    renamed = {number: f"B-{number}" for number in before.book.components if number.startswith("Y-")}
    before.after = {p: renamed.get(n, n) if n else n for p, n in before.after.items()}
    parts = {
        renamed.get(n, n): replace(c, number=renamed.get(n, n)) for n, c in before.book.components.items()
    }
    return replace(after.book, components={**parts, **after.book.components})
