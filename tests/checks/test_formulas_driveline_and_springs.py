"""Shaft, spline, joint and spring formulas against published values, integration and motion."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from graftbook.checks.chassis import suspension as s
from graftbook.checks.driveline import torque as d
from graftbook.checks.driveline.joints import RIPPLE, residual_angle_rad, ripple_rad_s2
from graftbook.rulebook.units import STANDARD_GRAVITY
from tests.checks.values import agrees, names


def test_tube_of_the_published_problem():
    agrees("tube.J", d.tube_polar_m4(0.114, 0.102) * 1e12)
    agrees("tube.tau", d.tube_shear_pa(5000, 0.114, 0.102) / 1e6)


def test_polar_moment_agrees_with_integration():
    integral = quad(lambda r: 2 * math.pi * r**3, 0.051, 0.057)[0]
    assert d.tube_polar_m4(0.114, 0.102) == pytest.approx(integral, rel=1e-10)


@pytest.mark.parametrize("torque", names("shaft"))
def test_stress_in_a_30_mm_shaft(torque):
    agrees(f"shaft.{torque}", d.solid_shear_pa(float(torque), 0.030) / 1e6)


@given(st.floats(10, 5000), st.floats(0.015, 0.08))
def test_a_solid_shaft_is_a_tube_without_a_hole(torque, diameter):
    assert d.solid_shear_pa(torque, diameter) == pytest.approx(d.tube_shear_pa(torque, diameter, 0))


def test_capacity_grows_with_the_cube_of_the_diameter():
    assert d.solid_shear_pa(1000, 0.030) / d.solid_shear_pa(1000, 0.035) == pytest.approx(1.588, abs=0.001)


def test_the_smaller_of_engine_and_grip_reaches_a_half_shaft():
    opened = d.shaft_torque_nm(160, 39, 0.9, 1500, 3000, locked=False)
    locked = d.shaft_torque_nm(160, 39, 0.9, 1500, 3000, locked=True)
    assert opened == 1500
    assert locked == 3000
    assert d.shaft_torque_nm(50, 10, 0.9, 1500, 3000, locked=False) == pytest.approx(225)


@given(st.floats(10, 400), st.floats(3, 60), st.floats(100, 4000))
def test_locking_a_differential_never_relieves_a_shaft(engine, ratio, grip):
    opened = d.shaft_torque_nm(engine, ratio, 0.9, grip, 2 * grip, locked=False)
    locked = d.shaft_torque_nm(engine, ratio, 0.9, grip, 2 * grip, locked=True)
    assert opened <= locked <= 2 * opened + 1e-9


@pytest.mark.parametrize(("rpm", "left"), [(1500, 7.3), (1600, 6.9)])
def test_published_pairs_of_joint_angles_leave_the_same_residual(rpm, left):
    for first in names(f"joint {rpm}"):
        second = math.degrees(math.hypot(math.radians(left), math.radians(float(first))))
        agrees(f"joint {rpm}.{first}", second)
        residual = residual_angle_rad(math.radians(second), math.radians(float(first)))
        assert math.degrees(residual) == pytest.approx(left, abs=0.02)


@pytest.mark.parametrize("degrees", [3, 6, 10, 15])
def test_ripple_agrees_with_the_joint_turned_through_a_circle(degrees):
    angle = math.radians(degrees)
    turned = np.linspace(0, 2 * math.pi, 200_001)
    speed = math.cos(angle) / (1 - math.sin(angle) ** 2 * np.cos(turned) ** 2)
    acceleration = np.abs(np.gradient(speed, turned) * speed).max()
    assert ripple_rad_s2(1.0, angle) == pytest.approx(acceleration, rel=0.05)


@pytest.mark.parametrize(("rpm", "degrees"), [(5000, 3.2), (4500, 3.7), (4000, 4.2), (3500, 5.0)])
def test_published_greatest_single_angles_stay_near_the_limit(rpm, degrees):
    # A component maker's rule of thumb; the limit of 1000 rad/s2 is read off it.
    found = ripple_rad_s2(rpm * 2 * math.pi / 60, math.radians(degrees))
    assert 0.85 * RIPPLE.value < found < 1.03 * RIPPLE.value


@pytest.mark.parametrize("sag", names("ride"))
def test_frequency_of_a_sag(sag):
    """What sags so far under a kilogram has this rate."""
    agrees(f"ride.{sag}", s.frequency_hz(STANDARD_GRAVITY / (float(sag) / 1000), 1.0))


def test_leaf_rates_of_the_published_formulas():
    agrees("leaf.nine leaves", s.leaf_rate_n_m(9, 0.0635, 0.0055, 1.2) / 1000)
    agrees("leaf.two parabolic", s.parabolic_rate_n_m(2, 0.0635, 0.011, 1.2) / 1000)


def test_leaf_rate_agrees_with_bending_of_the_triangular_beam():
    # Leaves of one thickness stacked are a beam whose width tapers to the eye: EI falls with x.
    half, leaves, width, thick = 0.6, 9, 0.0635, 0.0055
    deflection = quad(
        lambda x: x**2 / (s.STEEL_PA * leaves * width * x / half * thick**3 / 12) if x else 0.0, 0, half
    )[0]
    assert s.leaf_rate_n_m(leaves, width, thick, 2 * half) == pytest.approx(2 / deflection, rel=1e-6)


def test_parabolic_rate_agrees_with_bending_of_the_tapered_leaf():
    half, width, root = 0.6, 0.0635, 0.011

    def flexibility(x):
        return x**2 / (s.STEEL_PA * width * (root * math.sqrt(x / half)) ** 3 / 12) if x else 0.0

    deflection = quad(flexibility, 0, half)[0]
    assert s.parabolic_rate_n_m(2, width, root, 2 * half) == pytest.approx(2 * 2 / deflection, rel=1e-6)


@given(st.integers(1, 12), st.floats(0.004, 0.012))
def test_a_quarter_elliptic_of_half_the_length_is_half_a_semi_elliptic(leaves, thickness):
    quarter = s.STEEL_PA * leaves * 0.06 * thickness**3 / (6 * 0.6**3)
    assert s.leaf_rate_n_m(leaves, 0.06, thickness, 1.2) == pytest.approx(2 * quarter)
