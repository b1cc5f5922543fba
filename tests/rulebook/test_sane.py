"""What a figure of a kind can be, and what somebody meant who wrote one that cannot."""

import csv
import math
from pathlib import Path

import pytest

from graftbook.rulebook.sane import SANE, sane, sane_range
from graftbook.rulebook.slips import meant
from graftbook.rulebook.units import WORDED, read_measure

SHEET = Path(__file__).parents[2] / "seed_data" / "01-characteristic-kinds.csv"


def quantities() -> dict[str, str]:
    with SHEET.open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.reader(stream) if len(row) == 5]
    return {row[0]: row[2] for row in rows[1:]}


def test_every_measured_kind_of_the_demo_has_a_range_in_its_own_quantity() -> None:
    measured = {kind: quantity for kind, quantity in quantities().items() if quantity not in WORDED}
    assert len(measured) > 100
    for kind, quantity in measured.items():
        assert kind in SANE, kind
        assert sane_range(kind, quantity) == SANE[kind], kind
        assert SANE[kind][0] < SANE[kind][1]


@pytest.mark.parametrize(
    ("kind", "quantity", "smallest", "greatest"),
    [
        ("wheel_cylinder_bore", "length", "12.7 mm", "63.5 mm"),
        ("rim_width", "length", "1.2 in", "13 in"),
        ("offset", "length", "-170 mm", "170 mm"),
        ("displacement", "volume", "49 cc", "28 l"),
        ("axle_ratio", "ratio", "0.5", "14"),
        ("mass_laden", "mass", "150 kg", "12 t"),
        ("power", "power", "0.5 hp", "500 PS"),
        ("tyre_diameter", "length", "350 mm", "1.2 m"),
        ("fuel_pressure", "pressure", "0.01 bar", "2500 bar"),
        ("ride_height_change", "length", "-120 mm", "8 in"),
        ("opening_temperature", "temperature", "150 degF", "95 degC"),
        ("current_drawn", "current", "0 A", "600 A"),
    ],
)
def test_a_moped_and_a_truck_are_both_sane(kind: str, quantity: str, smallest: str, greatest: str) -> None:
    for written in (smallest, greatest):
        assert sane(kind, read_measure(written, quantity).low or 0.0), written


def test_what_is_not_known_is_sane_while_it_is_finite() -> None:
    assert sane("winch_pull", -1e12)
    assert not any(sane(kind, v) for kind in ("winch_pull", "axle_ratio") for v in (math.inf, math.nan))


def test_a_name_of_ours_that_measures_something_else_has_no_range_of_ours() -> None:
    low, high = sane_range("capacity", "volume")
    assert (low, high) == (0.0, math.inf)
    assert sane_range("winch_reach", "length") == (-math.inf, math.inf)


@pytest.mark.parametrize(
    ("written", "quantity", "kind", "peers", "expected"),
    [
        ("-25.4 mm", "length", "wheel_cylinder_bore", None, ["25.4 mm"]),
        ("-0.875 in", "length", "wheel_cylinder_bore", None, ["0.875 in"]),
        ("330 in", "length", "disc_diameter", None, ["330 mm"]),
        ("0.875 mm", "length", "wheel_cylinder_bore", ("22.2 mm", "28.6 mm"), ["0.875 in"]),
        ("222 mm", "length", "wheel_cylinder_bore", ("22.2 mm", "28.6 mm"), ["22.2 mm"]),
        ("2.8 mm", "length", "disc_diameter", ("270 mm", "298 mm"), ["280 mm"]),
        ("27 mm", "length", "disc_diameter", ("270 mm", "298 mm"), ["27 cm"]),
        ("-3.6", "ratio", "axle_ratio", None, ["3.6"]),
        ("430", "ratio", "axle_ratio", ("3.75", "4.7"), ["4.3"]),
        ("85", "ratio", "ethanol_rating", ("0 %", "85 %"), ["85 %", "0.085"]),
        ("4.5 .. 6 mm", "length", "permitted_rim", ("4 in", "7.5 in"), ["4.5 .. 6 in"]),
        ("1e50 mm", "length", "disc_diameter", None, []),
        ("2.800000000001 mm", "length", "disc_diameter", None, ["280.0000000001 mm"]),
    ],
)
def test_what_was_meant(
    written: str, quantity: str, kind: str, peers: tuple[str, str] | None, expected: list[str]
) -> None:
    others = None
    if peers:
        low, high = (read_measure(peer, quantity).low or 0.0 for peer in peers)
        others = (low, high)
    assert meant(written, quantity, SANE[kind], others) == expected


def test_a_sign_too_many_is_likelier_than_another_unit() -> None:
    assert meant("-2 in", "length", (-0.03, 0.5)) == ["2 in", "-2 mm"]


def test_what_lies_at_the_edge_of_a_small_span_is_hardly_meant() -> None:
    assert meant("-0.45 m", "length", (0.1, 0.5)) == []
    assert meant("-0.35 m", "length", (0.1, 0.5)) == ["0.35 m"]
