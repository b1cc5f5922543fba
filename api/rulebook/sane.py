"""What a figure of a vehicle can be at all: for each kind of characteristic the least and greatest in SI.

The ranges are wide: far outside what any light vehicle has, so that only a slip of the pen, a lost
sign or a wrong unit falls out of them. A figure outside is no evidence of anything.
"""

import math
from collections.abc import Mapping
from types import MappingProxyType

Range = tuple[float, float]

_MASS: Range = (50.0, 20_000.0)
_PART_LENGTH: Range = (0.001, 3.0)
_RATIO: Range = (0.1, 30.0)
_COUNT: Range = (1.0, 100.0)
_CURRENT: Range = (0.0, 2_000.0)
_PRESSURE: Range = (100.0, 1e8)
_PART: Range = (0.0, 1.0)
_ANGLE: Range = (0.0, math.pi)

SANE: Mapping[str, Range] = MappingProxyType(
    {
        "wheelbase": (0.5, 10.0),
        "track_front": (0.3, 4.0),
        "track_rear": (0.3, 4.0),
        **dict.fromkeys(("mass_unladen", "mass_laden"), _MASS),
        **dict.fromkeys(
            ("axle_load_front_unladen", "axle_load_front_laden", "axle_load_rear_laden", "wheel_load"), _MASS
        ),
        **dict.fromkeys(("unsprung_mass_front", "unsprung_mass_rear"), (5.0, 3_000.0)),
        **dict.fromkeys(("gravity_height_unladen", "gravity_height_laden"), (0.1, 4.0)),
        **dict.fromkeys(("arch_gap_inner", "arch_gap_outer"), (0.0, 1.0)),
        **dict.fromkeys(("top_speed", "cruise_speed"), (2.0, 150.0)),
        **dict.fromkeys(("system_voltage", "rated_voltage"), (1.0, 1_000.0)),
        **dict.fromkeys(("fuel_ethanol", "jetting_ethanol", "ethanol_rating"), _PART),
        "fuel_vapour_pressure": (1_000.0, 500_000.0),
        **dict.fromkeys(("wheel_cylinder_bore", "master_bore"), (0.005, 0.2)),
        "piston_area": (1e-5, 0.1),
        **dict.fromkeys(("drum_diameter", "disc_diameter"), (0.05, 2.0)),
        **dict.fromkeys(
            ("drum_max_force_arm", "shoe_force_arm", "disc_effective_radius", "hand_brake_radius"),
            (0.01, 1.0),
        ),
        "brake_factor": (0.05, 30.0),
        **dict.fromkeys(("shoe_angle_start", "shoe_angle_end"), _ANGLE),
        "lining_friction": (0.05, 1.5),
        "fluid_demand": (1e-8, 1e-3),
        "fluid_displaced": (1e-7, 1e-2),
        "circuits": (1.0, 4.0),
        "pedal_ratio": (1.0, 30.0),
        "pedal_travel": (0.01, 1.0),
        "servo_ratio": (1.0, 50.0),
        "servo_run_out": (10.0, 1e6),
        "residual_pressure": (0.0, 1e7),
        "balance_ratio": _PART,
        "balance_knee": (0.0, 1e8),
        "hand_lever_ratio": (1.0, 1_000.0),
        "hand_brake_factor": (0.05, 30.0),
        **dict.fromkeys(("hose_length", "hose_need"), _PART_LENGTH),
        "rim_width": (0.02, 1.0),
        "rim_diameter": (0.1, 2.0),
        "offset": (-0.5, 0.5),
        "bolt_circle": (0.02, 1.0),
        "bolt_count": (1.0, 20.0),
        **dict.fromkeys(("rim_inner_radius", "brake_outer_radius"), (0.02, 1.0)),
        **dict.fromkeys(("tyre_diameter", "rolling_circumference"), (0.2, 8.0)),
        **dict.fromkeys(("tyre_width", "measuring_rim", "permitted_rim"), (0.02, 1.0)),
        "load_index": (0.0, 279.0),
        **dict.fromkeys(("spline_count", "inner_spline_count", "outer_spline_count"), _COUNT),
        "shaft_diameter": (0.003, 0.5),
        "shear_strength": (1e6, 5e9),
        "torque_rating": (1.0, 1e6),
        "torque": (1.0, 1e5),
        "axle_ratio": (0.5, 30.0),
        **dict.fromkeys(("tube_outer", "tube_inner"), (0.003, 0.5)),
        **dict.fromkeys(("joint_angle_static", "joint_angle_permitted"), (0.0, math.pi / 2)),
        "joint_angle_per_lift": (0.0, 20.0),
        **dict.fromkeys(("gear_1", "gear_2", "gear_3", "gear_4", "gear_5"), _RATIO),
        **dict.fromkeys(("overdrive_ratio", "transfer_high", "transfer_low"), _RATIO),
        "speedo_drive_ratio": (0.01, 10.0),
        "speedo_constant": (0.01, 100.0),
        "driveline_efficiency": (0.1, 1.0),
        "power": (100.0, 5e6),
        "power_speed": (5.0, 5_000.0),
        "specific_consumption": (1e-8, 1e-6),
        "fuel_flow": (1e-8, 0.1),
        "pump_flow": (1e-8, 0.1),
        "injector_count": (1.0, 50.0),
        "injector_flow": (1e-6, 1.0),
        "injector_duty": (0.01, 1.0),
        "line_temperature": (220.0, 600.0),
        **dict.fromkeys(("fuel_pressure", "pressure_rating"), _PRESSURE),
        **dict.fromkeys(
            ("current_supplied", "current_drawn", "cable_rating", "cable_current", "fuse_load"), _CURRENT
        ),
        "fuse_rating": (0.1, 2_000.0),
        "cable_area": (1e-8, 1e-3),
        "cable_length": (0.01, 100.0),
        "spring_rate": (10.0, 1e8),
        "leaf_count": (1.0, 50.0),
        **dict.fromkeys(("leaf_width", "leaf_thickness"), (0.0005, 0.5)),
        "leaf_length": (0.1, 5.0),
        "ride_height_change": (-0.5, 0.5),
        **dict.fromkeys(
            ("damper_closed", "damper_open", "damper_open_need", "damper_closed_need"), _PART_LENGTH
        ),
        "zinc_thickness": (0.0, 0.005),
    }
)
"""Kind → the least and the greatest SI value that it can have, ends included."""


def sane(kind: str, value: float) -> bool:
    """Whether a figure of `kind` can be `value`, in SI; a kind without a range can be any finite number."""
    if not math.isfinite(value):
        return False
    low, high = SANE.get(kind, (-math.inf, math.inf))
    return low <= value <= high
