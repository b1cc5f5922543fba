"""Braking formulas against published values, integration and root finding."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from graftbook.checks.brakes import formulas as b
from graftbook.checks.brakes import grip
from graftbook.rulebook.units import STANDARD_GRAVITY
from tests.checks.values import agrees

TEXTBOOK = b.Shoe(0.150, 0.125, 2 * 0.125 * math.cos(math.radians(30)), 0.0, math.radians(120))
"""A machine-design textbook's problem 16-1: drum 300 mm, lining 0 to 120 degrees, pivot 125 mm out."""

LADEN = b.Loading(1500, 0.7 / 1.5, 0.5, 1.5)


def test_a_leading_shoe_peaks_at_the_textbook_pressure():
    agrees("drum.peak.leading", TEXTBOOK.peak_pressure_pa(2200, 0.040, 0.28, leading=True) / 1000)


def test_both_shoes_give_the_textbook_torques():
    leading = TEXTBOOK.torque_nm(2200, 0.040, 0.28, leading=True)
    trailing = TEXTBOOK.torque_nm(2200, 0.040, 0.28, leading=False)
    agrees("drum.torque.leading", leading)
    agrees("drum.torque.trailing", trailing)
    agrees("drum.torque.total", leading + trailing)


def test_the_textbook_example_with_another_pivot():
    shoe = b.Shoe(0.150, math.hypot(0.112, 0.050), 0.212, 0.0, math.radians(126))
    force = 2280
    agrees("drum.example.leading", shoe.torque_nm(force, 0.032, 0.32, leading=True))
    agrees("drum.example.trailing", shoe.torque_nm(force, 0.032, 0.32, leading=False))


@pytest.mark.parametrize("leading", [True, False])
@pytest.mark.parametrize("friction", [0.2, 0.28, 0.38, 0.45])
def test_the_shoe_agrees_with_integration_of_its_pressure(friction, leading):
    r, a, c = TEXTBOOK.drum_radius_m, TEXTBOOK.pivot_m, TEXTBOOK.force_arm_m
    end = TEXTBOOK.end_rad
    rubbing = quad(lambda t: friction * math.sin(t) * r * (r - a * math.cos(t)), 0, end)[0]
    normal = quad(lambda t: math.sin(t) ** 2 * r * a, 0, end)[0]
    torque = quad(lambda t: friction * math.sin(t) * r**2, 0, end)[0]
    per_newton = c / (normal - rubbing if leading else normal + rubbing)
    assert TEXTBOOK.torque_nm(1.0, 1.0, friction, leading) == pytest.approx(per_newton * torque, rel=1e-9)


@pytest.mark.parametrize("friction", [0.30, 0.35, 0.38, 0.40])
def test_brake_factors_of_simplex_and_duplex_drums(friction):
    agrees(f"drum.simplex.{friction}", TEXTBOOK.simplex_factor(friction))
    agrees(f"drum.duplex.{friction}", TEXTBOOK.duplex_factor(friction))


def test_a_shoe_that_grabs_is_refused():
    with pytest.raises(ValueError, match="locks by itself"):
        TEXTBOOK.factor(1.5, leading=True)


def test_the_textbook_pressure_in_a_narrow_master_cylinder():
    agrees("pressure.500 N on 5 mm", b.line_pressure_pa(500, 0.005))


def test_a_pressed_piston_multiplies_by_area():
    small = math.sqrt(5e-4 * 4 / math.pi)
    pressure = b.line_pressure_pa(500, small)
    agrees("pressure.500 N on 5 cm2", pressure)
    assert pressure * 50e-4 == pytest.approx(5000)


def test_load_transfer_of_the_published_exercise():
    front, rear = LADEN.axle_loads_n(0.3)
    agrees("load.front", front * 9.81 / STANDARD_GRAVITY)
    agrees("load.rear", rear * 9.81 / STANDARD_GRAVITY)


@pytest.mark.parametrize("bore", [19.05, 22.2, 25.4])
def test_pedal_travel_and_force_pull_against_each_other(bore):
    agrees(f"pedal.{bore}", b.pedal_stroke_m(5e-6, bore / 1000, 4.0) * 1000)


def test_a_disc_needs_servo_or_area_to_replace_a_drum_at_the_same_pressure():
    drum = b.drum_torque_nm(1.0, 1.0, 1.0, TEXTBOOK.simplex_factor(0.38))
    disc = b.disc_torque_nm(1.0, 1.0, 1.0, 0.38)
    assert drum / disc == pytest.approx(2.5, rel=0.02)


def test_rear_lock_is_found_where_the_two_curves_cross():
    def difference(rate):
        front, rear = LADEN.axle_loads_n(rate)
        return 0.6 / front - 0.4 / rear

    axles = b.Axles(0.6, 0.4)
    crossing = brentq(difference, 0.1, 1.3)
    found = grip.order_broken_from(axles, LADEN, grip.LockOrder(0.8))
    assert found == pytest.approx(crossing, abs=0.011)


def test_a_balance_valve_keeps_the_rear_from_locking_first():
    plain = b.Axles(6e-3, 4e-3)
    weighed = b.Axles(6e-3, 4e-3, b.BalanceValve(2e5, 0.3))
    order = grip.LockOrder(0.8)
    assert grip.order_broken_from(plain, LADEN, order) < 0.8
    assert grip.order_broken_from(weighed, LADEN, order) == math.inf


@given(st.floats(1e3, 2e7), st.floats(0.1, 1), st.floats(0, 1e7))
def test_pressure_and_force_are_inverse_with_a_balance_valve(pressure, ratio, knee):
    axles = b.Axles(3e-3, 2e-3, b.BalanceValve(knee, ratio))
    assert axles.pressure_pa(axles.force_n(pressure)) == pytest.approx(pressure, rel=1e-9)


@given(st.floats(1, 5000), st.floats(1, 5), st.floats(10, 5000))
def test_servo_in_and_out_are_inverse(force, ratio, run_out):
    out = b.servo_output_n(force, ratio, run_out)
    assert b.servo_input_n(out, ratio, run_out) == pytest.approx(force, rel=1e-9)
    assert out >= force * (1 - 1e-9)


@given(st.floats(0, 1))
def test_load_transfer_conserves_the_weight(rate):
    front, rear = LADEN.axle_loads_n(rate)
    assert front + rear == pytest.approx(1500 * STANDARD_GRAVITY)


@given(st.floats(0.015, 0.03), st.floats(0.0005, 0.01))
def test_a_larger_master_bore_lowers_pressure_and_travel_together(bore, wider):
    assert b.line_pressure_pa(1000, bore + wider) < b.line_pressure_pa(1000, bore)
    assert b.pedal_stroke_m(5e-6, bore + wider, 4) < b.pedal_stroke_m(5e-6, bore, 4)


def test_one_axle_alone_is_limited_by_its_own_load():
    rate = LADEN.rear_only_rate(0.8)
    assert 0 < rate < 0.8
    _, rear_load = LADEN.axle_loads_n(rate)
    assert 0.8 * rear_load == pytest.approx(rate * 1500 * STANDARD_GRAVITY)


def test_a_drum_s_torque_grows_with_the_pressure():
    """2 MPa on 6 cm2 is 1,200 N; twice that at 0.14 m for a brake of factor 2."""
    assert b.drum_torque_nm(2e6, 6e-4, 0.14, 2.0) == pytest.approx(336.0)
    assert b.drum_torque_nm(4e6, 6e-4, 0.14, 2.0) == pytest.approx(672.0)
    assert b.drum_torque_nm(0.0, 6e-4, 0.14, 2.0) == 0.0
