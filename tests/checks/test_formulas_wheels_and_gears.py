"""Tyre, gearing and speedometer formulas against published values and another path."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from graftbook.checks.chassis import wheel_room, wheels
from graftbook.checks.driveline import gearing
from graftbook.checks.driveline import speedometer as s
from graftbook.checks.law import Law, law_for
from graftbook.rulebook.units import INCH, MILE, STANDARD_GRAVITY
from tests.checks.values import agrees, names

MPH = MILE / 3600


@pytest.mark.parametrize("index", names("load.index"))
def test_load_index(index):
    agrees(f"load.index.{index}", wheels.load_carried_kg(int(index)))


@pytest.mark.parametrize("index", range(71, 126))
def test_the_load_index_table_follows_its_geometric_law(index):
    """The table was rounded from a series of 80 steps a decade, 45 kg at 0."""
    assert wheels.load_carried_kg(index) == pytest.approx(45 * 10 ** (index / 80), rel=0.02)


def test_the_loads_of_the_table_are_rounded_as_it_is_printed():
    """To half of 5 kg, the half left off, below 500 kg, and to 5 kg above; each index carries more."""
    loads = [wheels.load_carried_kg(index) for index in range(65, 126)]
    assert loads == sorted(set(loads))
    halves = {math.floor(2.5 * n) for n in range(200)}
    assert all(load in halves if load < 500 else load % 5 == 0 for load in loads)


@pytest.mark.parametrize("symbol", names("speed.symbol"))
def test_speed_symbol(symbol):
    agrees(f"speed.symbol.{symbol}", wheels.speed_carried_m_s(symbol) * 3.6)


@pytest.mark.parametrize("wrong", [64, 126, -1])
def test_a_load_index_outside_the_table_is_refused(wrong):
    with pytest.raises(ValueError, match="not in the table"):
        wheels.load_carried_kg(wrong)


def test_section_width_follows_the_rim():
    agrees(
        "section.half an inch of rim", 1000 * (wheel_room.section_width_on_rim_m(0.2, 0, 0.5 * INCH) - 0.2)
    )


def test_a_wider_rim_with_less_offset_stays_under_the_arches():
    # Common practice, no published source: a rim one inch wider and 15 mm further out sits under the
    # arches; the tyre's face moves out by less than an inch.
    old = wheel_room.section_reach_m(0.176, 0.033, outward=True)
    new_section = wheel_room.section_width_on_rim_m(0.176, 5 * INCH, 6 * INCH)
    new = wheel_room.section_reach_m(new_section, 0.033 - 0.015, outward=True)
    assert 0 < new - old < INCH
    assert wheel_room.track_change_m(0.033, 0.033 - 0.015) == pytest.approx(0.030)


def test_engine_speed_of_a_published_example():
    speed = gearing.engine_speed_rad_s(70 * MPH, math.pi * 26 * INCH, 3.55)
    agrees("gearing.rpm.70 mph", speed / gearing.RPM)


def test_road_speed_of_a_published_example():
    speed = gearing.road_speed_m_s(3000 * gearing.RPM, 2 * math.pi * 15 * INCH, 3.73)
    agrees("gearing.mph.3000 rpm", speed / MPH)


@pytest.mark.parametrize("ratio", [3.08, 4.10])
@pytest.mark.parametrize("inches", [28, 30, 32, 35])
def test_engine_speed_of_a_published_table(ratio, inches):
    speed = gearing.engine_speed_rad_s(65 * MPH, math.pi * inches * INCH, ratio)
    agrees(f"gearing.65 mph at {ratio:.2f}.{inches}", speed / gearing.RPM)


def test_a_direct_top_cruises_on_32_inch_tyres_with_a_tall_axle():
    # Common practice, no published source: 32 in, 3.75, direct top, 60 mph without an overdrive.
    speed = gearing.engine_speed_rad_s(60 * MPH, 3.05 * 32 * INCH, 3.75) / gearing.RPM
    assert 2300 < speed < 2600
    # Where with 4.875 on the small tyre first gear is too short to be used.
    short = gearing.road_speed_m_s(1000 * gearing.RPM, 2.177, 3.6 * 4.875) * 3.6
    useful = gearing.road_speed_m_s(1000 * gearing.RPM, 3.05 * 32 * INCH, 3.6 * 3.75) * 3.6
    assert short < 10 < useful


@given(st.floats(100, 8000), st.floats(1, 4), st.floats(0.5, 60))
def test_road_speed_and_engine_speed_are_inverse(force, circumference, ratio):
    speed = gearing.road_speed_m_s(force, circumference, ratio)
    assert gearing.engine_speed_rad_s(speed, circumference, ratio) == pytest.approx(force)


@given(st.floats(200, 12000), st.floats(800, 3000))
def test_gradient_balances_the_forces(force, mass):
    slope = gearing.gradient_climbed(force, mass)
    if slope < 3:
        angle = math.atan(slope)
        held = mass * STANDARD_GRAVITY * (math.sin(angle) + gearing.ROLLING_RESISTANCE * math.cos(angle))
        assert held == pytest.approx(force, rel=1e-6, abs=1e-6)


def test_gradient_agrees_with_a_root_finder():
    weight = 2000 * STANDARD_GRAVITY

    def left(angle):
        return weight * (math.sin(angle) + gearing.ROLLING_RESISTANCE * math.cos(angle)) - 6000

    assert gearing.gradient_climbed(6000, 2000) == pytest.approx(math.tan(brentq(left, 0, 1)), rel=1e-9)


@given(st.floats(1.8, 2.6), st.floats(0.01, 0.3))
def test_a_taller_tyre_climbs_less_and_reads_less(circumference, taller):
    def climbed(c):
        return gearing.gradient_climbed(gearing.tractive_force_n(100, 16, 0.9, c), 2000)

    assert climbed(circumference + taller) < climbed(circumference)
    assert s.reading_factor(0.3, 4.7, circumference + taller, 0.63) < s.reading_factor(
        0.3, 4.7, circumference, 0.63
    )


@pytest.mark.parametrize("true", names("r39.most"))
def test_the_greatest_speed_that_may_be_shown(true):
    agrees(f"r39.most.{true}", s.greatest_indicated_kmh(float(true)))


@pytest.mark.parametrize("true", [50, 70, 90, 110, 130])
def test_the_rule_is_one_sided(true):
    assert s.r39_holds(true, true)
    assert not s.r39_holds(true - 0.01, true)
    assert s.r39_holds(s.greatest_indicated_kmh(true), true)
    assert not s.r39_holds(s.greatest_indicated_kmh(true) + 0.01, true)


def test_the_american_rule_is_two_sided():
    agrees("cfr393.band", 80 - next(v for v in range(60, 81) if s.cfr_holds(v, 80)))
    assert s.cfr_holds(78, 80)
    assert not s.r39_holds(78, 80)
    assert not s.cfr_holds(88.1, 80)


def test_the_odometer_band_is_that_of_the_standard_at_65():
    # The same standard allows the speed 0.99 to 1.04.
    agrees("j2976.low", 0.99 * 65)
    agrees("j2976.high", 1.04 * 65)
    assert s.ODOMETER.value == 2.5


def test_a_taller_tyre_with_the_old_drive_fails_one_rule_and_passes_the_other():
    shown = 80 * s.reading_factor(1, 1, 802, 1 / (1.05 * 728))
    agrees("reading.taller tyre.80", shown)
    assert not s.r39_holds(shown, 80)
    assert s.cfr_holds(shown, 80)


@given(st.floats(0.1, 1), st.floats(0.5, 2))
def test_the_corrected_drive_shows_the_true_speed(ratio, factor):
    wanted = s.corrected_drive_ratio(ratio, factor)
    assert factor * wanted / ratio == pytest.approx(1)


@pytest.mark.parametrize(
    ("market", "law"), [("US", Law.us), ("United States", Law.us), ("home", Law.un), ("", Law.un)]
)
def test_law_of_a_market(market, law):
    assert law_for(market) is law
