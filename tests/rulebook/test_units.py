"""What every unit is worth in SI, written out from its definition and not worked out as the program does."""

import pytest

from graftbook.rulebook.units import UNITS, NotAMeasure, number_and_unit, read_measure

WORTH = {
    "length": {
        "m": 1, "mm": 0.001, "cm": 0.01, "um": 0.000001, "km": 1000, "in": 0.0254, "ft": 0.3048,
        "mile": 1609.344,
    },
    "area": {"m2": 1, "mm2": 0.000001, "cm2": 0.0001, "in2": 0.00064516},
    "volume": {
        "m3": 1, "l": 0.001, "ml": 0.000001, "cc": 0.000001, "gal": 0.00454609, "pt": 0.00056826125,
    },
    "mass": {"kg": 1, "g": 0.001, "t": 1000, "lb": 0.45359237, "cwt": 50.80234544},
    "time": {"s": 1, "min": 60, "h": 3600, "ms": 0.001},
    "speed": {"m/s": 1, "km/h": 0.2777777777777778, "mph": 0.44704},
    "rotation": {"rad/s": 1, "rpm": 0.10471975511965977},
    "frequency": {"Hz": 1},
    "force": {"N": 1, "kN": 1000, "kgf": 9.80665, "lbf": 4.4482216152605},
    "torque": {"Nm": 1, "kgfm": 9.80665, "lbfft": 1.3558179483314004},
    "pressure": {
        "Pa": 1, "kPa": 1000, "MPa": 1_000_000, "GPa": 1_000_000_000, "bar": 100_000,
        "psi": 6894.757293168361,
    },
    "power": {"W": 1, "kW": 1000, "hp": 745.6998715822702, "PS": 735.49875},
    "stiffness": {"N/m": 1, "N/mm": 1000, "kgf/mm": 9806.65, "lbf/in": 175.1268352464764},
    "current": {"A": 1, "mA": 0.001},
    "voltage": {"V": 1, "mV": 0.001},
    "resistance": {"ohm": 1, "mohm": 0.001},
    "charge": {"C": 1, "Ah": 3600},
    "angle": {"rad": 1, "deg": 0.017453292519943295},
    "volume flow": {
        "m3/s": 1, "l/h": 2.7777777777777776e-07, "l/min": 1.6666666666666667e-05,
        "cc/min": 1.6666666666666667e-08,
    },
    "mass flow": {"kg/s": 1, "kg/h": 0.0002777777777777778, "lb/h": 0.00012599788055555556},
    "turns per distance": {"1/m": 1, "rev/km": 0.001, "rev/mile": 0.000621371192237334},
    "density": {"kg/m3": 1, "kg/l": 1000},
    "specific consumption": {
        "kg/J": 1, "g/kWh": 2.7777777777777777e-10, "lb/hph": 1.6896594106716e-07,
    },
    "ratio": {"": 1, "%": 0.01},
    "count": {"": 1},
}  # fmt: skip


@pytest.mark.parametrize("quantity", WORTH)
def test_one_of_each_unit_is_what_its_definition_says(quantity: str) -> None:
    worth = {name: unit.factor for (of, name), unit in UNITS.items() if of == quantity}
    assert worth == pytest.approx(WORTH[quantity], rel=1e-9)


def test_temperatures_have_zeros_of_their_own() -> None:
    for written, kelvin in {"1 K": 1, "0 degC": 273.15, "32 degF": 273.15, "212 degF": 373.15}.items():
        assert read_measure(written, "temperature").si == pytest.approx(kelvin, rel=1e-12), written
    assert {of for of, _ in UNITS} == {*WORTH, "temperature"}


@pytest.mark.parametrize(("quantity", "unit"), UNITS)
def test_every_unit_that_is_offered_can_be_written(quantity: str, unit: str) -> None:
    """After a space, as it is shown; a span too. Its parts are those that were put there."""
    worth = UNITS[quantity, unit]
    for number in ("7", "300") if quantity == "count" else ("7", "2.5", "-0.5", "300"):
        written = f"{number} {unit}".strip()
        read = read_measure(written, quantity)
        assert read.written == written
        assert read.si == pytest.approx(float(number) * worth.factor + worth.offset)
        assert number_and_unit(written) == (number, "", unit)
    span = read_measure(f"1 .. 3 {unit}".strip(), quantity)
    assert (span.low, span.high) == pytest.approx(
        (worth.factor + worth.offset, 3 * worth.factor + worth.offset)
    )
    assert number_and_unit(f"1 .. 3 {unit}".strip()) == ("1", "3", unit)


@pytest.mark.parametrize("written", ["41/m", "4 1/", "4 1/m 2", "4 2/m", "1/m", "4 1 /m"])
def test_a_unit_that_begins_with_a_digit_stands_apart_from_its_number(written: str) -> None:
    with pytest.raises(NotAMeasure):
        read_measure(written, "turns per distance")


@pytest.mark.parametrize(
    ("written", "metres"),
    [
        ("1 3/8 in", 0.034925),
        ("1-3/8in", 0.034925),
        ("7/16 in", 0.0111125),
        ('1.375"', 0.034925),
        ("1 3/8″", 0.034925),
        ("2 inches", 0.0508),
    ],
)
def test_inches_are_read_as_rules_and_spanners_are_marked(written: str, metres: float) -> None:
    """Worked out by hand from the inch of 25.4 mm (international yard and pound agreement of 1959)."""
    measure = read_measure(written, "length")
    assert measure.si == pytest.approx(metres, rel=1e-12)
    assert measure.written == written
    assert number_and_unit(written)[2] == "in"


def test_a_span_of_fractions_and_what_is_no_fraction_of_an_inch() -> None:
    measure = read_measure("1/2 .. 3/4 in", "length")
    assert (measure.low, measure.high) == pytest.approx((0.0127, 0.01905))
    assert read_measure("3 1/m", "turns per distance").si == 3
    assert read_measure("5/8 in UNF", "text").text == "5/8 in UNF"
    for text in ("1/3 in", "3/8 mm", "13/8.5 in", "1/2 .. 3/4 mm"):
        with pytest.raises(NotAMeasure):
            read_measure(text, "length")
