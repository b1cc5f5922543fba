"""What a figure of a kind can be: a range and a sign for each kind that the checks know.

Common practice, no published source. The bounds are generous: they hold every plausible part of a
vehicle of 1900 to 2030, from a moped of 50 cc to a truck of twelve tonnes, and are there to tell a
slip (inch for millimetre, a lost decimal, a wrong sign) from a figure.
"""

from collections.abc import Mapping
from types import MappingProxyType

from graftbook.rulebook.units import UNITS

Span = tuple[float, float]

BOUNDS: dict[tuple[str, str], dict[str, Span]] = {
    ("length", "mm"): {
        "arch_gap_inner": (0, 1000),
        "arch_gap_outer": (0, 1000),
        "wheel_cylinder_bore": (6, 100),
        "drum_diameter": (50, 600),
        "drum_max_force_arm": (5, 500),
        "shoe_force_arm": (10, 800),
        "shoe_width": (5, 400),
        "disc_diameter": (80, 600),
        "disc_thickness": (2, 80),
        "disc_effective_radius": (30, 300),
        "caliper_gap": (2, 100),
        "master_bore": (6, 80),
        "pedal_travel": (10, 400),
        "servo_diameter": (50, 600),
        "hand_brake_radius": (10, 600),
        "hose_length": (50, 5000),
        "hose_need": (20, 5000),
        "rim_width": (15, 600),
        "rim_diameter": (80, 1000),
        "offset": (-250, 250),
        "bolt_circle": (20, 500),
        "centre_bore": (5, 400),
        "rim_inner_radius": (30, 500),
        "brake_outer_radius": (30, 500),
        "cap_diameter": (5, 500),
        "tyre_diameter": (150, 1800),
        "rolling_circumference": (450, 5700),
        "tyre_width": (20, 700),
        "measuring_rim": (15, 600),
        "permitted_rim": (15, 600),
        "shaft_diameter": (3, 200),
        "hub_bearing": (3, 300),
        "kingpin_diameter": (5, 120),
        "kingpin_offset": (-250, 250),
        "tube_outer": (3, 400),
        "tube_inner": (1, 390),
        "valve_lift": (1, 40),
        "leaf_width": (10, 250),
        "leaf_thickness": (1, 80),
        "leaf_length": (150, 3000),
        "ride_height_change": (-500, 500),
        "lift_permitted": (1, 500),
        "damper_closed": (30, 2000),
        "damper_open": (40, 2000),
        "damper_mount_length": (40, 2000),
        "damper_open_need": (40, 2000),
        "damper_closed_need": (30, 2000),
        "droop_travel": (0, 1000),
        "bump_travel": (0, 1000),
        "bump_stop_height": (0, 500),
        "shackle_length": (10, 600),
        "section_thickness": (0.1, 100),
        "crank_pulley": (20, 500),
        "machine_pulley": (15, 400),
    },
    ("length", "m"): {
        "wheelbase": (0.8, 10),
        "track_front": (0.3, 3.5),
        "track_rear": (0.3, 3.5),
        "gravity_height_unladen": (0.1, 4),
        "gravity_height_laden": (0.1, 4),
        "shaft_length": (0.05, 8),
        "cable_length": (0.005, 200),
        "contents_length": (0.01, 5000),
    },
    ("length", "um"): {"zinc_thickness": (0, 1000)},
    ("area", "mm2"): {"cable_area": (0.05, 400)},
    ("area", "cm2"): {"piston_area": (0.3, 400)},
    ("volume", "ml"): {
        "fluid_demand": (0.02, 300),
        "fluid_displaced": (0.1, 1000),
        "fluid_displaced_front": (0.05, 1000),
        "fluid_displaced_rear": (0.05, 1000),
    },
    ("time", "s"): {"cooling_time": (20, 10_000)},
    ("volume", "cc"): {"displacement": (5, 35_000)},
    ("volume", "l"): {"tank_volume": (0.3, 2500), "contents_volume": (0.0001, 1500)},
    ("mass", "kg"): {
        "mass_unladen": (20, 20_000),
        "mass_laden": (20, 45_000),
        "axle_load_front_unladen": (5, 20_000),
        "axle_load_front_laden": (5, 20_000),
        "axle_load_rear_laden": (5, 30_000),
        "towed_mass": (0, 45_000),
        "unsprung_mass_front": (1, 3000),
        "unsprung_mass_rear": (1, 4000),
        "wheel_load": (20, 10_000),
        "rotor_mass": (0.2, 200),
        "contents_mass": (0.0001, 500),
    },
    ("speed", "km/h"): {"top_speed": (5, 600), "cruise_speed": (5, 500)},
    ("rotation", "rpm"): {
        "power_speed": (50, 30_000),
        "torque_speed": (0, 30_000),
        "idle_speed": (100, 4000),
        "cut_in_speed": (50, 10_000),
        "rated_at_speed": (60, 30_000),
    },
    ("force", "N"): {"servo_run_out": (50, 50_000)},
    ("torque", "Nm"): {
        "torque": (0.5, 10_000),
        "torque_rating": (0.5, 200_000),
        "tightening_torque": (0.5, 5000),
    },
    ("pressure", "bar"): {
        "residual_pressure": (0, 10),
        "balance_knee": (0, 250),
        "fuel_pressure": (0.005, 3500),
        "pressure_rating": (0.005, 5000),
        "inlet_pressure": (0.005, 3500),
    },
    ("pressure", "kPa"): {
        "fuel_vapour_pressure": (0.01, 300),
        "vacuum_supplied": (0, 105),
        "vacuum_drawn": (0, 105),
    },
    ("pressure", "MPa"): {"shear_strength": (10, 3000), "permitted_stress": (50, 3000)},
    ("power", "kW"): {"power": (0.1, 1500)},
    ("stiffness", "N/mm"): {"spring_rate": (0.2, 5000)},
    ("current", "A"): {
        "current_supplied": (0, 2000),
        "current_drawn": (0, 2500),
        "cable_rating": (0.2, 2500),
        "cable_current": (0, 2500),
        "fuse_rating": (0.05, 1500),
        "fuse_load": (0, 1500),
        "ammeter_range": (0.5, 2000),
        "cranking_current": (5, 5000),
        "cold_cranking": (5, 5000),
    },
    ("voltage", "V"): {
        "system_voltage": (1.5, 1000),
        "rated_voltage": (0.5, 1000),
        "gauge_voltage": (0.5, 1000),
        "stabilised_voltage": (0.5, 100),
        "least_voltage": (0.5, 1000),
    },
    ("resistance", "ohm"): {
        "sender_range": (0, 200_000),
        "gauge_range": (0, 200_000),
        "coil_resistance": (0.05, 100),
        "battery_resistance": (0.0001, 5),
    },
    ("charge", "Ah"): {"capacity": (0.3, 1500)},
    ("angle", "deg"): {
        "shoe_angle_start": (-30, 180),
        "shoe_angle_end": (5, 300),
        "joint_angle_static": (0, 90),
        "joint_angle_permitted": (0.2, 90),
        "far_joint_angle": (0, 90),
    },
    ("volume flow", "l/h"): {"pump_flow": (0.1, 3000), "fuel_flow": (0.05, 1500)},
    ("mass flow", "kg/h"): {"injector_flow": (0.05, 500)},
    ("turns per distance", "1/m"): {"speedo_constant": (0.05, 20)},
    ("specific consumption", "g/kWh"): {"specific_consumption": (80, 2000)},
    ("temperature", "degC"): {
        "opening_temperature": (10, 150),
        "line_temperature": (-60, 250),
        "lining_limit": (80, 1200),
    },
    ("ratio", ""): {
        "fuel_ethanol": (0, 1),
        "ethanol_rating": (0, 1),
        "jetting_ethanol": (0, 1),
        "load_share": (0, 1),
        "brake_factor": (0.1, 20),
        "hydraulic_efficiency": (0.3, 1),
        "hand_brake_efficiency": (0.2, 1),
        "lining_friction": (0.05, 1.2),
        "pedal_ratio": (1, 20),
        "servo_ratio": (1, 25),
        "balance_ratio": (0, 2),
        "hand_lever_ratio": (0.5, 1000),
        "hand_brake_factor": (0.05, 20),
        "axle_ratio": (0.3, 30),
        "joint_angle_per_lift": (-25, 25),
        "far_joint_angle_per_lift": (-25, 25),
        "axle_efficiency": (0.5, 1),
        "bias_ratio": (1, 10),
        **{f"gear_{number}": (0.2, 30) for number in range(1, 6)},
        "overdrive_ratio": (0.3, 1.5),
        "transfer_high": (0.4, 3),
        "transfer_low": (1, 12),
        "speedo_drive_ratio": (0.01, 20),
        "driveline_efficiency": (0.3, 1),
        "injector_duty": (0.05, 1),
        "steering_ratio": (1, 60),
        "nut_factor": (0.03, 0.6),
    },
    ("count", ""): {
        "wheel_cylinder_count": (1, 8),
        "piston_count": (1, 16),
        "circuits": (1, 6),
        "flange_studs": (0, 32),
        "bolt_count": (1, 32),
        "load_index": (0, 279),
        "load_index_twin": (0, 279),
        "spline_count": (2, 150),
        "inner_spline_count": (2, 150),
        "outer_spline_count": (2, 150),
        "input_splines": (2, 150),
        "output_splines": (2, 150),
        "crown_wheel_teeth": (5, 200),
        "pinion_teeth": (2, 100),
        "driving_teeth": (1, 100),
        "driven_teeth": (1, 100),
        "synchromesh_from": (0, 20),
        "injector_count": (1, 24),
        "leaf_count": (1, 40),
    },
}

NEVER_BELOW_ZERO = frozenset(
    {"area", "volume", "mass", "time", "density", "resistance", "charge", "count", "frequency", "power"}
)
"""Quantities of which nothing is below zero, whatever a catalogue's own kind is called."""


def _in_si(bound: float, quantity: str, unit: str) -> float:
    known = UNITS[quantity, unit]
    return bound * known.factor + known.offset


SANE: Mapping[str, Span] = MappingProxyType(
    {
        kind: (_in_si(low, quantity, unit), _in_si(high, quantity, unit))
        for (quantity, unit), kinds in BOUNDS.items()
        for kind, (low, high) in kinds.items()
    }
)
"""Kind of characteristic → least and greatest sane value in SI."""

_QUANTITY = {kind: quantity for (quantity, _), kinds in BOUNDS.items() for kind in kinds}
ANY: Span = (float("-inf"), float("inf"))


def sane(kind: str, value: float) -> bool:
    """Whether an SI value can be a figure of that kind; of an unknown kind, whether it is finite."""
    return inside(SANE.get(kind, ANY), value)


def inside(span: Span, value: float) -> bool:
    """Whether a value is finite and in a range; what differs by rounding only is in it."""
    low, high = span
    slack = 1e-9 * abs(value)
    return abs(value) < ANY[1] and low - slack <= value <= high + slack


def sane_range(kind: str, quantity: str) -> Span:
    """What a catalogue's kind can be in SI, where it says nothing of that itself.

    A kind that is called as one of ours but measures something else has no range of ours.
    """
    if _QUANTITY.get(kind) == quantity:
        return SANE[kind]
    return (0.0, ANY[1]) if quantity in NEVER_BELOW_ZERO | {"temperature"} else ANY
