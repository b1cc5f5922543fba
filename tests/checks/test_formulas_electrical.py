"""Cable formulas against published tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.checks.electrical import voltage as c
from tests.checks.values import agrees, names

COPPER_OHM_M = 1.7241e-8
"""IEC 60028: annealed copper at 20 C."""


@pytest.mark.parametrize("area", names("class 5"))
def test_flexible_cable_has_its_tabulated_resistance(area):
    agrees(f"class 5.{area}", c.cable_resistance_ohm_per_m(float(area) * 1e-6, "IEC 60228 class 5") * 1e3)


def test_drop_of_the_published_cable_and_not_of_bare_copper():
    agrees("drop.1.5 mm2", c.voltage_drop_v(4.17, 1.5e-6, 5, "ISO 6722"))
    bare = 4.17 * 5 * COPPER_OHM_M / 1.5e-6
    assert bare == pytest.approx(0.240, abs=0.001)
    assert bare < c.voltage_drop_v(4.17, 1.5e-6, 5, "ISO 6722")


def test_drop_of_a_headlamp_cable():
    agrees("drop.2.5 mm2", c.voltage_drop_v(10, 2.5e-6, 4, "ISO 6722"))


@pytest.mark.parametrize("standard", [*c.TABLES, "AWG"])
@given(area=st.floats(0.5, 119), thicker=st.floats(0.01, 1))
def test_a_thicker_cable_never_drops_more(standard, area, thicker):
    thin = c.cable_resistance_ohm_per_m(area * 1e-6, standard)
    assert c.cable_resistance_ohm_per_m((area + thicker) * 1e-6, standard) <= thin * (1 + 1e-12)


@pytest.mark.parametrize("standard", c.TABLES)
@given(area=st.floats(0.5, 120))
def test_a_table_never_flatters_bare_copper(standard, area):
    table = c.cable_resistance_ohm_per_m(area * 1e-6, standard)
    bare = COPPER_OHM_M / (area * 1e-6)
    assert 1.0 < table / bare < 1.2


@pytest.mark.parametrize(
    ("area", "standard"), [(0.4, "ISO 6722"), (130, "ISO 6722"), (1, "a friend"), (math.nan, "AWG")]
)
def test_a_cable_without_a_table_is_refused(area, standard):
    with pytest.raises(ValueError, match="no resistance"):
        c.cable_resistance_ohm_per_m(area * 1e-6, standard)
