"""Sets on the made-up vehicle: leaf stress, stance after a lift, scrub, tilt, twins, bolts, each verdict."""

import math

import pytest

from graftbook.checks.chassis import stance, suspension
from graftbook.checks.joints import bolts
from graftbook.checks.joints.threads import thread
from graftbook.checks.verdict import Provenance, Verdict
from tests.checks.made import Made, verdict
from tests.checks.values import agrees

HOLDS, CAUTION, FAILS, UNKNOWN = Verdict.holds, Verdict.caution, Verdict.fails, Verdict.not_determined


def lifted(front="0 mm", rear="0 mm"):
    return {
        f"spring.{axle}.{side}": {"ride_height_change": lift}
        for axle, lift in (("front", front), ("rear", rear))
        for side in ("left", "right")
    }


class TestFormulas:
    def test_a_twelve_millimetre_stud_at_seven_tenths_of_its_proof_stress(self):
        stud = thread("M12x1.75")
        agrees("bolt.area.M12x1.75", stud.stress_area_m2 * 1e6)
        clamp = 0.7 * bolts.proof_stress_pa("8.8", stud.diameter_m) * stud.stress_area_m2
        agrees("bolt.clamp.M12 8.8", clamp / 1000)
        agrees("bolt.torque.M12 8.8", bolts.torque_nm(clamp, stud.diameter_m))

    def test_fifty_newton_metres_on_ten_millimetres(self):
        stud = thread("M10x1.5")
        clamp = bolts.clamp_n(50, stud.diameter_m)
        agrees("bolt.clamp.M10 at 50 Nm", clamp / 1000)
        agrees("bolt.stress.M10 at 50 Nm", clamp / stud.stress_area_m2 / 1e6)

    def test_an_inch_of_lift_in_front_is_the_usual_dip(self):
        lean = stance.pitch_rad(0.025, 0.0, 2.540)
        agrees("stance.pitch.25 mm over 2540 mm", math.degrees(lean))
        agrees("stance.beam.25 mm over 2540 mm", 100 * math.tan(lean))

    def test_the_stress_of_a_leaf_is_bending_moment_over_section_modulus(self):
        force, half, width, thick = 2354.0, 0.545, 0.0635, 0.0082
        by_hand = force * half / (2 * width * thick**2 / 6)
        assert suspension.leaf_stress_pa(force, half, 2, width, thick) == pytest.approx(by_hand)
        agrees("leaf.stress.two parabolic", by_hand / 1e6)

    @pytest.mark.parametrize("grade", ["", "3.9", "grade 5"])
    def test_an_unknown_class_is_refused(self, grade):
        with pytest.raises(ValueError, match="not known"):
            bolts.proof_stress_pa(grade, 0.012)


class TestLeaves:
    def test_a_thin_spring_is_past_its_steel_at_the_bump_stop(self):
        thin = {"spring.front.left": {"permitted_stress": "550 MPa"}}
        finding = Made(thin).check()["suspension.leaf_stress.front"]
        assert finding.verdict is FAILS
        assert "full bump" in finding.sentence
        assert "bump stop" in finding.mend
        assert verdict("suspension.leaf_stress.front") is HOLDS

    def test_it_names_the_permitted_stress_where_nobody_recorded_it(self):
        finding = Made({"spring.front.left": {"permitted_stress": None}}).check()[
            "suspension.leaf_stress.front"
        ]
        assert finding.verdict is UNKNOWN
        assert "permitted stress of the spring steel" in finding.sentence

    def test_a_coil_has_no_leaves_to_judge(self):
        coil = {"spring.front.left": {"leaf_count": None, "spring_rate": "30 N/mm"}}
        assert "suspension.leaf_stress.front" not in Made(coil).check()


class TestStance:
    def test_a_lift_of_one_end_moves_headlamps_and_castor(self):
        found = Made(lifted("25 mm")).check()
        aim, castor = found["suspension.headlamp_aim"], found["suspension.castor"]
        assert (aim.verdict, castor.verdict) == (CAUTION, CAUTION)
        assert "0.0 -> 1.0 %" in aim.sentence
        assert "0.00 -> 0.57 deg" in castor.sentence
        assert "castor wedges of 0.6 degrees" in castor.mend
        assert "heavy" in castor.mend
        assert "wanders" in Made(lifted(rear="25 mm")).check()["suspension.castor"].mend

    def test_a_lift_of_both_ends_alike_moves_neither(self):
        found = Made(lifted("25 mm", "25 mm")).check()
        assert found["suspension.headlamp_aim"].verdict is HOLDS
        assert found["suspension.castor"].verdict is HOLDS
        assert found["suspension.tilt"].verdict is HOLDS

    def test_the_thirty_millimetres_are_named_and_a_recorded_figure_takes_their_place(self):
        usual = Made(lifted("25 mm")).check()["suspension.height.front"]
        assert "at most 30 mm either way" in usual.sentence
        assert "the usual 30 mm" in usual.sentence
        assert usual.limit.provenance is Provenance.common_practice
        own = Made(lifted("25 mm"), {"lift_permitted": "20 mm"}).check()["suspension.height.front"]
        assert own.verdict is CAUTION
        assert "at most 20 mm either way" in own.sentence
        assert own.limit.provenance is Provenance.recorded

    def test_a_tall_and_narrow_stance_tips_sooner(self):
        finding = Made(lifted("120 mm", "120 mm")).check()["suspension.tilt"]
        assert finding.verdict is CAUTION
        was, now = finding.figures[0].before, finding.figures[0].after
        assert was == pytest.approx(math.degrees(math.atan(1.31 / (2 * 0.68))))
        assert now < was
        wide = {**lifted("120 mm", "120 mm"), "wheel.road": {"offset": "-60 mm"}}
        assert Made(wide).check()["suspension.tilt"].figures[0].after > now

    def test_a_taller_tyre_raises_the_centre_of_gravity_by_half_its_growth(self):
        finding = Made({"tyre.road": {"tyre_diameter": "802 mm"}}).check()["suspension.tilt"]
        assert finding.figures[1].after == pytest.approx(1.31 / (2 * (0.68 + 0.037)))

    def test_what_the_vehicle_had_from_new_is_its_original_height(self):
        raised = Made({"shackle.front": {"ride_height_change": "6 mm"}})
        assert raised.check()["suspension.height.front"].figures[0].after == pytest.approx(6)
        raised.from_new("shackle.front")
        assert raised.check()["suspension.height.front"].figures[0].after == pytest.approx(0)


class TestWheels:
    def test_an_offset_changes_the_scrub_radius_by_as_much(self):
        finding = Made({"wheel.road": {"offset": "20.3 mm"}}).check()["wheels.scrub"]
        assert finding.figures[0].after == pytest.approx(12.7)
        assert finding.verdict is HOLDS
        far = Made({"wheel.road": {"offset": "10 mm"}}).check()["wheels.scrub"]
        assert far.verdict is CAUTION
        assert "steering" in far.mend

    def test_twins_carry_by_their_own_index_and_the_load_is_told_for_each(self):
        heavy = {"axle_load_rear_laden": "2000 kg"}
        twins = Made({"tyre.road": {"load_index_twin": "93"}}, heavy)
        assert twins.check()["wheels.tyre_load.rear"].verdict is FAILS
        twins.fit("wheel.road", 6)
        finding = twins.check()["wheels.tyre_load.rear"]
        assert finding.verdict is HOLDS
        assert "four rear tyres carry: 2600 kg; at least the axle load, 2000 kg" in finding.sentence
        assert finding.figures[2].after == pytest.approx(500)
        assert twins.check()["wheels.wheel_load.rear"].verdict is HOLDS
        assert "two front tyres" in twins.check()["wheels.tyre_load.front"].sentence

    def test_twins_without_their_index_are_not_determined(self):
        made = Made({})
        made.fit("wheel.road", 6)
        finding = made.check()["wheels.tyre_load.rear"]
        assert finding.verdict is UNKNOWN
        assert "load index in twin fitment" in finding.sentence


class TestBolts:
    CHECK = "unions.clamp.hub.front.left"

    def test_a_usual_torque_holds_and_names_the_friction_it_counts_with(self):
        finding = Made({}).check()[self.CHECK]
        assert finding.verdict is HOLDS
        assert "9/16-18 UNF of class 8.8: 100 Nm" in finding.sentence
        assert "K 0.20, usual for dry threads; oiled (0.15)" in finding.sentence

    @pytest.mark.parametrize(
        ("torque", "grade", "expected"),
        [
            ("40 Nm", "8.8", CAUTION),
            ("205 Nm", "8.8", CAUTION),
            ("240 Nm", "8.8", FAILS),
            ("300 Nm", "10.9", CAUTION),
            ("350 Nm", "10.9", FAILS),
        ],
    )
    def test_each_verdict(self, torque, grade, expected):
        change = {"wheel.nuts": {"tightening_torque": torque}, "hub.front.left": {"property_class": grade}}
        finding = Made(change).check()[self.CHECK]
        assert finding.verdict is expected, finding.sentence
        assert finding.mend.startswith("Tighten to ")

    def test_a_recorded_nut_factor_takes_the_place_of_the_usual_one(self):
        change = {"wheel.nuts": {"nut_factor": "0.15"}}
        finding = Made(change).check()[self.CHECK]
        assert "K 0.15" in finding.sentence
        assert "usual" not in finding.sentence

    def test_without_a_torque_it_names_it(self):
        finding = Made({"wheel.nuts": {"tightening_torque": None}}).check()[self.CHECK]
        assert finding.verdict is UNKNOWN
        assert "tightening torque" in finding.sentence
