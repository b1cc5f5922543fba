"""Brakes by class and by the law that binds: axle by axle, over the range of braking, circuit by circuit."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from graftbook.checks.brakes import grip, heat
from graftbook.checks.brakes.formulas import Axles, BalanceValve, Loading
from graftbook.checks.brakes.hand import grip_needed
from graftbook.checks.brakes.rules import CATEGORIES, brake_rule, in_service
from graftbook.checks.findings import FindingKind
from graftbook.checks.law import Binding, Law, Rules
from graftbook.checks.set import check_set
from graftbook.checks.verdict import Provenance, Verdict
from tests.checks.made import FACTS, Made
from tests.checks.values import agrees

HOLDS, CAUTION, FAILS = Verdict.holds, Verdict.caution, Verdict.fails
PICKUP = Loading(1925, 810 / 1925, 0.73, 2.54)
LIGHT = Loading(1355, 720 / 1355, 0.645, 2.54)
STRONG_FRONT = {
    position: {"lining_friction": "0.38", "wheel_cylinder_bore": "44 mm"}
    for position in ("brake.front.left", "brake.front.right")
}


def of(check, change=None, facts=None, binding=Binding.in_service, market=""):
    made = Made(change, facts)
    found = check_set(made.book, made.vehicle, made.today, made.after, market, binding)
    return next(f for f in found if f.check == check)


class TestAxleByAxle:
    def test_an_axle_brakes_with_no_more_than_the_grip_under_it(self):
        """The front locks: what it cannot put on the road is lost, however strong its brakes are."""
        finding = of("brakes.deceleration", STRONG_FRONT)
        made = Made(STRONG_FRONT)
        rear_n = 1900 * finding.figures[0].after - 0.8 * (
            860 * 9.80665 + 1900 * finding.figures[0].after * 0.68 / 2.5
        )
        stronger = {p: {**kinds, "wheel_cylinder_bore": "60 mm"} for p, kinds in STRONG_FRONT.items()}
        assert of("brakes.deceleration", stronger).figures[0].after == pytest.approx(
            finding.figures[0].after, rel=1e-9
        )
        assert 0 < rear_n < 0.8 * 1040 * 9.80665
        assert finding.figures[0].after < 0.8 * 9.80665 - 0.2
        assert made.check()["brakes.deceleration"].verdict is HOLDS

    def test_type_approval_counts_only_while_every_wheel_turns(self):
        capped = of("brakes.deceleration", STRONG_FRONT).figures[0].after
        turning = of("brakes.deceleration.approval", STRONG_FRONT)
        assert turning.figures[0].after < capped
        assert "the front wheels lock first" in turning.sentence

    @given(
        st.floats(0.3, 0.7),
        st.floats(0.1, 0.5),
        st.floats(0, 2e4),
        st.floats(0, 2e4),
        st.floats(0.1, 1),
    )
    def test_the_rate_is_the_one_at_which_forces_and_loads_agree(self, front, lean, ff, fr, mu):
        load = Loading(1500, front, lean * 2.5, 2.5)
        rate = grip.braked_rate(load, ff, fr, mu)
        n_front, n_rear = load.axle_loads_n(rate)
        assert min(ff, mu * n_front) + min(fr, mu * n_rear) == pytest.approx(
            rate * 1500 * 9.80665, rel=1e-9, abs=1e-6
        )

    @given(st.floats(1e-3, 8e-3), st.floats(1e-3, 8e-3), st.floats(0, 6e6), st.floats(0.1, 1.5))
    def test_at_its_locking_pressure_an_axle_uses_just_the_grip(self, front, rear, knee, ratio):
        axles = Axles(front, rear, BalanceValve(knee, ratio))
        for at, pressure in enumerate(grip.locking_pa(axles, PICKUP, 0.8)):
            if math.isfinite(pressure):
                rate = grip.rate_at(axles, PICKUP, pressure)
                forces = front * pressure, rear * axles.valve.rear_pa(pressure)
                assert forces[at] == pytest.approx(0.8 * PICKUP.axle_loads_n(rate)[at], rel=1e-6)


class TestGripOverTheRange:
    def test_the_curve_of_the_directive(self):
        for name, rate in (("0.2", 0.1), ("0.8", 0.61)):
            agrees(f"adhesion.curve.{name}", grip.greatest_grip(rate))

    def test_a_front_that_uses_too_much_is_told_from_where(self):
        finding = of("brakes.adhesion.laden", STRONG_FRONT)
        assert finding.verdict is CAUTION
        first = float(finding.sentence.split("too much grip from ")[1].split(" g")[0])
        axles, load = Axles(*_per_pa(STRONG_FRONT)), Loading(1900, 860 / 1900, 0.68, 2.5)
        for rate, beyond in ((first, True), (first - 0.01, False)):
            front, _ = grip.grip_used(axles, load, rate)
            # Below its knee the made valve passes everything, so that the plain shares are those.
            assert (front > (rate + 0.07) / 0.85) is beyond, rate

    @pytest.mark.parametrize(("category", "last"), [("N1", 0.5), ("M1", 0.8)])
    def test_the_lock_order_binds_each_class_as_far_as_it_is_said_to(self, category, last):
        limit = brake_rule(Law.un, category).locks
        assert f"to {last:.1f} g" in limit.text
        assert limit.provenance is Provenance.seen
        meets = Axles(*_meeting_at(last + 0.05))
        too_soon = Axles(*_meeting_at(last - 0.05))
        order = brake_rule(Law.un, category).order
        plain = grip.LockOrder(order.last, order.inversion)
        assert grip.order_broken_from(meets, PICKUP, plain) == math.inf
        assert grip.order_broken_from(too_soon, PICKUP, plain) == pytest.approx(last - 0.04, abs=0.011)

    def test_a_car_may_cross_over_between_0_3_and_0_45_while_it_keeps_near_the_rate(self):
        order = grip.LockOrder(0.8, inversion=True)
        assert order.holds_at(0.40, 0.38, 0.44)
        assert not order.holds_at(0.40, 0.38, 0.46)
        assert not order.holds_at(0.50, 0.48, 0.52)
        assert not grip.LockOrder(0.5).holds_at(0.40, 0.38, 0.44)

    def test_a_light_goods_vehicle_may_keep_to_the_band_instead(self):
        order = brake_rule(Law.un, "N1").order
        assert order.in_band(0.2, 0.2, 0.27)
        assert not order.in_band(0.2, 0.29, 0.2)
        assert order.in_band(0.45, 0.4, 0.53)
        assert not order.in_band(0.45, 0.4, 0.54)
        assert order.in_band(0.56, 0.5, 0.70)
        assert not order.in_band(0.56, 0.5, 0.71)


def _per_pa(change):
    from graftbook.checks.brakes.system import system
    from graftbook.checks.fitted import Reading

    axles = system(Reading(Made(change).fitted)).axles
    return axles.front_n_per_pa, axles.rear_n_per_pa


def _meeting_at(rate):
    share = PICKUP.ideal_front_share(rate)
    return share * 1e-2, (1 - share) * 1e-2


class TestWhatBinds:
    def test_type_approval_is_there_to_compare_with_and_never_fails_a_vehicle_in_service(self):
        bad = {"brake.balance_valve": None, "brake.master": {"master_bore": "60 mm"}}
        made = Made(bad)
        found = check_set(made.book, made.vehicle, made.today, made.after)
        approval = [f for f in found if f.limit and f.limit.text.startswith("type approval")]
        assert {f.verdict for f in approval} == {HOLDS, CAUTION}
        assert of("brakes.deceleration", bad).verdict is FAILS

    def test_type_approval_fails_where_it_binds_and_is_read_in_a_published_text(self):
        bad = {"brake.balance_valve": None, "brake.rear.left": {"wheel_cylinder_bore": "34 mm"}}
        check = "brakes.lock_order.unladen"
        assert of(check, bad).verdict is CAUTION
        assert of(check, bad, binding=Binding.type_approval).verdict is FAILS
        remembered = {"brake.master": {"master_bore": "40 mm"}}
        assert (
            of("brakes.deceleration.approval", remembered, binding=Binding.type_approval).verdict is CAUTION
        )

    def test_in_service_it_fails_whatever_binds(self):
        for binding in Binding:
            assert (
                of("brakes.deceleration", {"brake.master": {"master_bore": "40 mm"}}, None, binding).verdict
                is FAILS
            )

    def test_each_class_and_law_has_its_own_figures(self):
        assert in_service(Law.un, "N1").service_g == in_service(Law.un, "M1").service_g == 0.5
        assert (in_service(Law.us, "N1").service_g, in_service(Law.us, "M1").service_g) == (0.528, 0.652)
        assert [brake_rule(Law.un, c).hand_n for c in CATEGORIES] == [400, 600]
        assert [brake_rule(Law.un, c).slope for c in CATEGORIES] == [0.20, 0.18]
        assert not brake_rule(Law.us, "N1").hand_is_secondary

    def test_a_hand_brake_is_no_secondary_brake_in_the_united_states(self):
        single = {"brake.master": {"circuits": "1"}}
        check = "brakes.circuit_failed.approval"
        assert of(check, single).verdict is HOLDS
        assert of(check, single, market="United States").figures[0].after == 0

    def test_rules_of_approval_caution_unless_they_bind(self):
        assert Rules().of_approval is CAUTION
        assert Rules(binding=Binding.type_approval).of_approval is FAILS

    @pytest.mark.parametrize(
        "change",
        [
            {"brake.master": {"master_bore": "60 mm"}},
            {"brake.master": {"circuits": "1"}},
            {"brake.servo": None},
        ],
    )
    def test_todays_verdict_never_depends_on_the_set(self, change):
        usual = {f.check: f for f in Made().check().values() if f.subject == "brakes"}
        told = {check: f.today for check, f in Made(change).check().items() if check in usual and f.today}
        assert len(told) > len(usual) / 2
        for check, today in told.items():
            assert today.verdict is usual[check].verdict
            assert today.limit == usual[check].limit


class TestInputs:
    def test_a_recorded_efficiency_of_the_hydraulics_takes_the_place_of_the_usual_one(self):
        usual = of("brakes.pedal_force")
        assert "hydraulics pass on 0.85, the usual value" in usual.sentence
        for at_cylinder, of_variant in (("0.9", None), (None, "0.9"), ("0.9", "0.7")):
            change = {"brake.master": {"hydraulic_efficiency": at_cylinder}} if at_cylinder else {}
            facts = {"hydraulic_efficiency": of_variant} if of_variant else {}
            better = of("brakes.pedal_force", change, facts)
            assert "hydraulics pass on 0.90, as recorded" in better.sentence
            assert better.figures[0].after == pytest.approx(usual.figures[0].after * 0.85 / 0.9)

    def test_a_recorded_efficiency_of_the_hand_brake_too(self):
        poor = of("brakes.hand_brake", {"brake.hand": {"hand_brake_efficiency": "0.4"}})
        assert poor.figures[0].after == pytest.approx(2 * of("brakes.hand_brake").figures[0].after)

    def test_a_pedal_may_be_too_light_in_a_car(self):
        servo = {"brake.servo": {"servo_ratio": "20", "servo_run_out": "50 kN"}}
        car = {**FACTS, "vehicle_category": "M1"}
        light = of("brakes.pedal_force", servo, car)
        assert light.verdict is CAUTION
        assert light.figures[0].after < 65
        assert "weaker servo" in light.mend
        assert light.figures[1].after > 500
        assert of("brakes.pedal_force", servo).verdict is HOLDS, "goods vehicles have no lower force"


class TestCircuits:
    def test_each_lost_circuit_has_its_deceleration_fluid_and_travel(self):
        found = Made().check()
        sentence = found["brakes.circuit_failed"].sentence
        for circuit in ("front", "rear"):
            figure = next(f for f in found["brakes.circuit_failed"].figures if f"{circuit} circuit" in f.name)
            assert f"{figure.after:.2f} with the {circuit} one lost" in sentence
        # (6.2 + 2.8) ml and (4.8 + 4.0) ml on 22.2 mm, 5.5 to 1, of 150 mm.
        area = math.pi / 4 * 22.2e-3**2
        for lost, ml in (("front", 9.0), ("rear", 8.8)):
            part = 100 * ml * 1e-6 / area * 5.5 / 0.150
            assert found[f"brakes.circuit_travel.{lost}"].figures[0].after == pytest.approx(part)
        assert found["brakes.displaced.front"].figures[1].after == pytest.approx(4.0)

    def test_a_chamber_that_takes_the_pedal_to_the_floor_fails(self):
        assert (
            of("brakes.circuit_travel.front", {"brake.master": {"fluid_displaced_front": "8 ml"}}).verdict
            is FAILS
        )
        assert (
            of("brakes.displaced.rear", {"brake.master": {"fluid_displaced_rear": "2.7 ml"}}).verdict is FAILS
        )

    def test_the_hand_brake_counts_where_the_foot_gives_too_little_and_that_is_a_caution(self):
        weak = {
            "brake.rear.left": {"lining_friction": "0.30"},
            "brake.rear.right": {"lining_friction": "0.30"},
        }
        finding = of("brakes.circuit_failed", weak)
        assert finding.verdict is CAUTION
        assert finding.figures[0].after == pytest.approx(finding.figures[1].after)
        assert (
            of("brakes.circuit_failed", {**weak, "brake.hand": {"hand_lever_ratio": "10"}}).verdict is FAILS
        )

    def test_what_nobody_recorded_of_a_chamber_is_named_and_no_pass(self):
        finding = of("brakes.circuit_travel.front", {"brake.master": {"fluid_displaced_front": None}})
        assert finding.verdict is Verdict.not_determined
        assert finding.missing == ("fluid_displaced_front of Y-brake.master at brake.master",)

    def test_a_dual_cylinder_mends_a_single_circuit(self):
        single, dual = Made({"brake.master": {"circuits": "1"}}), Made()
        found = check_set(single.book, single.vehicle, single.after, dual.today)
        kinds = {f.check: f.kind for f in found}
        assert kinds["brakes.circuit_failed"] is FindingKind.mended


class TestSlopeAndHeat:
    @pytest.mark.parametrize(("load", "name"), [(PICKUP, "laden"), (LIGHT, "unladen")])
    def test_grip_on_the_slope(self, load, name):
        agrees(f"slope.grip.{name}", grip_needed(load, 0.18))

    def test_the_grip_is_that_of_the_forces_on_the_slope(self):
        slope = math.atan(0.18)
        weight = PICKUP.mass_kg * 9.80665
        moved = weight * math.sin(slope) * PICKUP.gravity_height_m / PICKUP.wheelbase_m
        rear = weight * math.cos(slope) * (1 - PICKUP.front_part) - moved
        assert grip_needed(PICKUP, 0.18) == pytest.approx(weight * math.sin(slope) / rear)

    def test_one_stop_heats_as_the_published_examples_say(self):
        pounds, mph = 0.45359237, 0.44704
        c = 0.130 * 4186.8
        kelvin = heat.rise_k(3000 * pounds, 60 * mph, 0, 1, 40 * pounds) * heat.IRON_J_PER_KG_K / c
        agrees("brake heat.3000 lb", kelvin * 1.8)
        agrees("brake heat.1500 kg", heat.rise_k(1500, 30, 0, 1, 32))

    def test_the_cycle_is_that_of_the_directive(self):
        slow, fast = heat.fade_cycle(30, "N1"), heat.fade_cycle(70, "M1")
        assert (slow.fast, slow.slow, slow.seconds, heat.STOPS) == (24, 12, 55, 15)
        assert (fast.fast * 3.6, fast.slow * 3.6, fast.seconds) == (pytest.approx(120), pytest.approx(60), 45)

    def test_cooling_follows_the_equation_of_cooling(self):
        cycle, tau, rise = heat.fade_cycle(30, "N1"), 400.0, 25.0
        temperature = heat.COLD_K
        for stop in range(15):
            if stop:
                lost = quad(lambda t, at=temperature: (at - 293.15) / tau * math.exp(-t / tau), 0, 55)[0]
                temperature -= lost
            temperature += rise
        assert heat.hottest_k(rise, cycle, tau) == pytest.approx(temperature)
        assert heat.hottest_k(rise, cycle, None) == pytest.approx(373.15 + 15 * 25)

    def test_heat_is_shared_as_the_brakes_share_the_work(self):
        found = Made().check()
        rises = [found[f"brakes.heat.{axle}"].figures[1].after for axle in ("front", "rear")]
        top = 0.8 * 115 / 3.6
        energy = 1900 * (top**2 - (top / 2) ** 2) / 2
        assert sum(rises) * 24 * 448 == pytest.approx(energy)

    def test_without_a_recorded_cooling_it_is_said_that_it_is_left_out(self):
        hot = {"brake.front.left": {"cooling_time": None, "rotor_mass": "5 kg"}}
        finding = of("brakes.heat.front", hot)
        assert finding.verdict is CAUTION
        assert "cooling left out" in finding.sentence
        assert "change down" in finding.mend
