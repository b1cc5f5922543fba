"""Tyre, gearing and speedometer formulas against published values and another path."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from graftbook.checks.chassis import tyres
from graftbook.checks.driveline import gearing
from graftbook.checks.driveline import speedometer as s
from graftbook.checks.law import Law, law_for
from graftbook.rulebook.units import INCH, MILE, STANDARD_GRAVITY
from tests.checks.values import agrees, names

MPH = MILE / 3600


@pytest.mark.parametrize("code", names("tyre.od"))
def test_overall_diameter_of_a_size_as_moulded(code):
    agrees(f"tyre.od.{code}", tyres.tyre_size(code).overall_diameter_m * 1000)


def test_ratio_of_two_tyres():
    first, second = (tyres.tyre_size(code).overall_diameter_m for code in ("185/70R14", "195/50R15"))
    agrees("tyre.ratio.185/70R14 over 195/50R15", first / second)


def test_a_numeric_size_never_borrows_an_aspect_ratio():
    # A secondary page that assumes 80 % gives 26.4 in for 6.50-16: too small.
    assert tyres.tyre_size("6.50-16").overall_diameter_m > 26.4 * INCH * 1.09
    with pytest.raises(ValueError, match="not known"):
        tyres.tyre_size("8.25-16")


def test_listed_numeric_sizes_have_the_high_aspect_ratio_of_their_kind():
    for (_, rim), (diameter, width) in tyres.NUMERIC_SIZES_M.items():
        assert 0.93 < (diameter - rim * INCH) / 2 / width < 0.96


def test_a_larger_number_is_a_taller_tyre():
    heights = [tyres.tyre_size(f"{number}R16").overall_diameter_m for number in ("6.00", "6.50", "7.00")]
    assert heights == sorted(set(heights))
    # Common practice, no published source: the trade calls 7.00 R 16 a tyre of some 31 inches.
    assert heights[-1] / INCH == pytest.approx(31, abs=0.6)


@pytest.mark.parametrize("code", names("tyre.turns"))
def test_turns_per_mile(code):
    agrees(f"tyre.turns.{code}", tyres.turns_per_mile(tyres.tyre_size(code).circumference_m))


def test_a_published_rolling_circumference_lies_between_the_factor_and_pi():
    # 245/35R17: a regression gives 1854 mm, so its factor is 3.073.
    factor = 1.854 / tyres.tyre_size("245/35R17").overall_diameter_m
    assert tyres.RADIAL_FACTOR < factor < math.pi


@pytest.mark.parametrize("index", names("load.index"))
def test_load_index(index):
    agrees(f"load.index.{index}", tyres.load_carried_kg(int(index)))


@pytest.mark.parametrize("index", range(71, 126))
def test_the_load_index_table_follows_its_geometric_law(index):
    """The table was rounded from a series of 80 steps a decade, 45 kg at 0."""
    assert tyres.load_carried_kg(index) == pytest.approx(45 * 10 ** (index / 80), rel=0.02)


@pytest.mark.parametrize("symbol", names("speed.symbol"))
def test_speed_symbol(symbol):
    agrees(f"speed.symbol.{symbol}", tyres.speed_carried_m_s(symbol) * 3.6)


@pytest.mark.parametrize("wrong", [64, 126, -1])
def test_a_load_index_outside_the_table_is_refused(wrong):
    with pytest.raises(ValueError, match="not in the table"):
        tyres.load_carried_kg(wrong)


def test_backspace_with_and_without_the_lip():
    agrees("backspace.lip.8 in", tyres.backspace_m(8 * INCH, 0, lip_m=0.5 * INCH) / INCH)
    agrees("backspace.bare.10 in", tyres.backspace_m(10 * INCH, 4 * INCH) / INCH)


def test_section_width_follows_the_rim():
    agrees("section.half an inch of rim", 1000 * (tyres.section_width_on_rim_m(0.2, 0, 0.5 * INCH) - 0.2))


def test_a_wider_rim_with_less_offset_stays_under_the_arches():
    # Common practice, no published source: a rim one inch wider and 15 mm further out sits under the
    # arches; the tyre's face moves out by less than an inch.
    old = tyres.section_reach_m(0.176, 0.033, outward=True)
    new_section = tyres.section_width_on_rim_m(0.176, 5 * INCH, 6 * INCH)
    new = tyres.section_reach_m(new_section, 0.033 - 0.015, outward=True)
    assert 0 < new - old < INCH
    assert tyres.track_change_m(0.033, 0.033 - 0.015) == pytest.approx(0.030)


def test_the_rim_moves_out_with_width_and_against_offset():
    assert (
        tyres.outer_face_m(5.5 * INCH, 0.02)
        > tyres.outer_face_m(5 * INCH, 0.02)
        > tyres.outer_face_m(5 * INCH, 0.03)
    )


def test_engine_speed_of_a_published_example():
    speed = gearing.engine_speed_rad_s(70 * MPH, math.pi * 26 * INCH, 3.55)
    agrees("gearing.rpm.70 mph", speed / gearing.RPM)


def test_road_speed_of_a_published_example():
    speed = gearing.road_speed_m_s(3000 * gearing.RPM, 2 * math.pi * 15 * INCH, 3.73)
    agrees("gearing.mph.3000 rpm", speed / MPH)


def test_turns_of_a_28_inch_tyre():
    agrees("gearing.turns.28 in", tyres.turns_per_mile(math.pi * 28 * INCH))


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
    shown = 80 * s.changed_reading(0.05, 728, 802, 1, 1)
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


def test_the_letter_of_a_tyre_size_says_radial_and_a_dash_does_not():
    """A radial rolls otherwise than a cross-ply of the same diameter; the letter alone decides."""
    radial, cross = tyres.tyre_size("7.50R16"), tyres.tyre_size("7.50-16")
    assert (radial.radial, cross.radial) == (True, False)
    assert radial.overall_diameter_m == cross.overall_diameter_m
    assert radial.circumference_m != cross.circumference_m
    assert tyres.tyre_size("185/70R14").radial


def test_the_outer_face_is_half_the_rim_less_the_offset():
    """A rim of 120 mm with 30 mm of offset stands 30 mm out and, without its lips, 90 mm in."""
    assert tyres.outer_face_m(0.120, 0.030) == pytest.approx(0.030)
    assert tyres.outer_face_m(0.120, -0.010) == pytest.approx(0.070)
    assert tyres.outer_face_m(0.120, 0.030) + tyres.backspace_m(0.120, 0.030) == pytest.approx(0.120)
