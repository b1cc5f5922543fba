"""A small made-up vehicle with every figure that the checks read, to be changed one figure at a time."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

from graftbook.catalogue.format.records import CharacteristicKindRecord, PositionRecord
from graftbook.catalogue.format.sources import records_in
from graftbook.checks import set as sets
from graftbook.checks.fitted import Fitted
from graftbook.checks.set import check_set
from graftbook.checks.verdict import Finding, Verdict
from graftbook.rulebook import model as m
from graftbook.rulebook.index import index_of
from graftbook.rulebook.units import read_measure

SEED = Path(__file__).resolve().parents[2] / "seed_data"
_RECORDS = [
    placed.record
    for name in ("00-range", "01-characteristic-kinds")
    for placed in records_in(SEED / f"{name}.csv")
]
KINDS = {
    r.name: m.Kind(r.name, r.title, r.quantity, tuple(r.choices))
    for r in _RECORDS
    if isinstance(r, CharacteristicKindRecord)
}
POSITIONS = {
    r.name: m.Position(r.name, r.section, r.title, r.essential, r.side, r.pair, r.circuit)
    for r in _RECORDS
    if isinstance(r, PositionRecord)
}

FACTS = {
    "wheelbase": "2.5 m",
    "track_front": "1.31 m",
    "track_rear": "1.31 m",
    "mass_unladen": "1360 kg",
    "mass_laden": "1900 kg",
    "axle_load_front_unladen": "740 kg",
    "axle_load_front_laden": "860 kg",
    "axle_load_rear_laden": "1040 kg",
    "gravity_height_unladen": "0.60 m",
    "gravity_height_laden": "0.68 m",
    "unsprung_mass_front": "110 kg",
    "unsprung_mass_rear": "150 kg",
    "arch_gap_outer": "45 mm",
    "arch_gap_inner": "30 mm",
    "top_speed": "115 km/h",
    "cruise_speed": "60 mph",
    "system_voltage": "12 V",
    "environment": "normal",
    "corrosivity": "C3",
    "fuel_ethanol": "10 %",
    "fuel_vapour_pressure": "60 kPa",
    "driveline_efficiency": "0.9",
    "vehicle_category": "N1",
}

_DRUM = {
    "brake_type": "simplex drum",
    "wheel_cylinder_bore": "28.6 mm",
    "drum_diameter": "280 mm",
    "lining_friction": "0.38",
    "rotor_mass": "12 kg",
    "lining_limit": "350 degC",
    "cooling_time": "400 s",
    "drum_max_force_arm": "114 mm",
    "shoe_force_arm": "197 mm",
    "shoe_angle_start": "10 deg",
    "shoe_angle_end": "125 deg",
    "fluid_demand": "2.0 ml",
    "brake_outer_radius": "160 mm",
    "hose_thread": "3/8-24 UNF",
}
_REAR_DRUM = {
    **{k: v for k, v in _DRUM.items() if k != "hose_thread"},
    "wheel_cylinder_bore": "22.2 mm",
    "fluid_demand": "1.4 ml",
    "pipe_thread": "3/8-24 UNF",
    "pipe_flare": "double 45",
}
_PIPES = {
    "pipe_thread": "3/8-24 UNF",
    "pipe_flare": "double 45",
    "end_thread": "3/8-24 UNF",
    "end_flare": "double 45",
}
_HOSE = {
    "hose_length": "340 mm",
    "pipe_thread": "3/8-24 UNF",
    "pipe_flare": "double 45",
    "hose_thread": "3/8-24 UNF",
}
_SHAFT = {
    "inner_spline_count": "14",
    "outer_spline_count": "14",
    "shaft_diameter": "30 mm",
    "shear_strength": "320 MPa",
}
_SPRING = {
    "spring_kind": "semi-elliptic",
    "leaf_count": "9",
    "leaf_width": "63.5 mm",
    "leaf_thickness": "5.5 mm",
    "leaf_length": "1.2 m",
    "ride_height_change": "0 mm",
    "damper_open_need": "430 mm",
    "damper_closed_need": "270 mm",
    "hose_need": "320 mm",
    "bump_travel": "75 mm",
    "permitted_stress": "850 MPa",
}
_DAMPER = {"damper_closed": "260 mm", "damper_open": "445 mm"}
_LAMP = {"current_drawn": "4 A", "load_time": "night", "rated_voltage": "12 V"}
_TYRE = {
    "rolling_circumference": "2220 mm",
    "tyre_diameter": "728 mm",
    "tyre_width": "170 mm",
    "measuring_rim": "4.5 in",
    "permitted_rim": "4 .. 5 in",
    "tyre_sealing": "tubed",
    "load_index": "95",
    "speed_symbol": "Q",
}
_WHEEL = {
    "rim_width": "4.5 in",
    "offset": "33 mm",
    "rim_contour": "flat",
    "rim_inner_radius": "186 mm",
    "wheel_load": "690 kg",
    "bolt_circle": "6.25 in",
    "bolt_count": "5",
    "nut_seat": "60 degree cone",
}
_HUB = {"stud_thread": "9/16-18 UNF", "spline_count": "14", "property_class": "8.8"}

FIGURES: dict[str, dict[str, str]] = {
    "brake.front.left": _DRUM,
    "brake.front.right": _DRUM,
    "brake.rear.left": _REAR_DRUM,
    "brake.rear.right": _REAR_DRUM,
    "brake.master": {
        "master_bore": "22.2 mm",
        "fluid_displaced": "11 ml",
        "fluid_displaced_front": "6.2 ml",
        "fluid_displaced_rear": "4.8 ml",
        "circuits": "2",
        "circuit_split": "front/rear",
        "pipe_thread": "3/8-24 UNF",
        "pipe_flare": "double 45",
    },
    "brake.pedal_box": {"pedal_ratio": "5.5", "pedal_travel": "150 mm"},
    "brake.pipes.front": _PIPES,
    "brake.pipes.rear": _PIPES,
    "brake.hose.front.left": _HOSE,
    "brake.hose.front.right": _HOSE,
    "brake.hose.rear": _HOSE,
    "brake.balance_valve": {"balance_knee": "20 bar", "balance_ratio": "0.35"},
    "brake.hand": {
        "hand_lever_ratio": "40",
        "hand_brake_factor": "1.8",
        "hand_brake_shaft": "rear wheels",
    },
    "wheel.road": _WHEEL,
    "wheel.spare": _WHEEL,
    "tyre.road": _TYRE,
    "tyre.spare": _TYRE,
    "wheel.nuts": {"nut_seat": "60 degree cone", "stud_thread": "9/16-18 UNF", "tightening_torque": "100 Nm"},
    **{f"hub.{axle}.{side}": _HUB for axle in ("front", "rear") for side in ("left", "right")},
    "halfshaft.rear.left": _SHAFT,
    "halfshaft.rear.right": _SHAFT,
    "diff.rear": {"spline_count": "14", "differential": "open", "torque_rating": "4000 Nm"},
    "gears.rear": {"axle_ratio": "3.75", "torque_rating": "4000 Nm"},
    "gearbox": {
        "gear_1": "3.5",
        "gear_2": "2.2",
        "gear_3": "1.4",
        "gear_4": "1.0",
        "torque_rating": "190 Nm",
    },
    "clutch": {"torque_rating": "190 Nm"},
    "propshaft.rear": {
        "torque_rating": "1100 Nm",
        "tube_outer": "50.8 mm",
        "tube_inner": "46 mm",
        "joint_angle_static": "3 deg",
        "joint_angle_permitted": "15 deg",
        "joint_angle_per_lift": "0.75",
    },
    "speedo.drive": {"speedo_drive_ratio": "0.373"},
    "speedometer": {"speedo_constant": "620 rev/km"},
    "engine.unit": {
        "power": "52 kW",
        "power_speed": "4000 rpm",
        "torque": "150 Nm",
        "specific_consumption": "330 g/kWh",
        "idle_speed": "700 rpm",
        "crank_pulley": "150 mm",
    },
    "engine.fan": {"current_drawn": "0 A"},
    "fuel.metering": {
        "metering": "carburettor",
        "jetting_ethanol": "10 %",
        "closed_loop": "no",
        "ethanol_rating": "20 %",
    },
    "fuel.pump": {
        "pump_kind": "electric low pressure",
        "fuel_pressure": "25 kPa",
        "pump_flow": "60 l/h",
        "line_temperature": "45 degC",
        "ethanol_rating": "20 %",
        "current_drawn": "1.5 A",
        "load_time": "always",
    },
    "fuel.tank": {
        "ethanol_rating": "20 %",
        "material": "plain steel",
        "coating": "zinc and paint",
        "bolted_to": "underframe",
    },
    "fuel.feed": {"pressure_rating": "200 kPa", "ethanol_rating": "20 %"},
    "fuel.filter": {"pressure_rating": "100 kPa", "ethanol_rating": "20 %"},
    "charging.machine": {
        "current_supplied": "45 A",
        "machine_pulley": "70 mm",
        "cut_in_speed": "900 rpm",
        "rated_at_speed": "2000 rpm",
        "polarity": "negative",
        "polarity_sensitive": "yes",
        "rated_voltage": "12 V",
    },
    "charging.cable": {
        "cable_area": "10 mm2",
        "cable_length": "1.6 m",
        "cable_standard": "ISO 6722",
        "cable_rating": "60 A",
    },
    "battery": {
        "polarity": "negative",
        "polarity_sensitive": "yes",
        "rated_voltage": "12 V",
        "cold_cranking": "420 A",
    },
    "starter": {
        "cranking_current": "220 A",
        "cable_area": "25 mm2",
        "cable_length": "1.2 m",
        "cable_standard": "IEC 60228 class 5",
    },
    "earth.strap": {"cable_area": "25 mm2", "cable_length": "0.4 m", "cable_standard": "IEC 60228 class 5"},
    "ignition.coil": {
        "current_drawn": "3.5 A",
        "load_time": "always",
        "polarity": "negative",
        "polarity_sensitive": "yes",
    },
    "headlamp.left": _LAMP,
    "headlamp.right": _LAMP,
    "wiper.motor": {"current_drawn": "2.5 A", "load_time": "rain"},
    "heater.blower": {"current_drawn": "4.5 A", "load_time": "cold"},
    "flasher.unit": {"current_drawn": "3.5 A", "load_time": "brief"},
    "harness.main": {"cable_rating": "35 A"},
    "fuse.box": {"fuse_rating": "35 A", "fuse_load": "20 A"},
    **{f"spring.{axle}.{side}": _SPRING for axle in ("front", "rear") for side in ("left", "right")},
    **{f"damper.{axle}.{side}": _DAMPER for axle in ("front", "rear") for side in ("left", "right")},
    "underframe": {"material": "plain steel", "coating": "paint"},
    "step.wells": {
        "material": "galvanised steel",
        "coating": "zinc and paint",
        "zinc_thickness": "60 um",
        "bolted_to": "underframe",
    },
    "doors.front": {"material": "wrought aluminium", "coating": "paint", "bolted_to": "step.wells"},
    "roof": {"material": "wrought aluminium", "coating": "paint", "bolted_to": "underframe"},
}

Change = Mapping[str, Mapping[str, str | None] | None]
"""Position to changed figures; None as a figure takes it away, None as a position empties it."""


def changed(change: Change) -> dict[str, dict[str, str]]:
    figures = {position: dict(kinds) for position, kinds in FIGURES.items()}
    for position, kinds in change.items():
        if kinds is None:
            figures.pop(position, None)
            continue
        into = figures.setdefault(position, {})
        for kind, value in kinds.items():
            if value is None:
                into.pop(kind, None)
            else:
                into[kind] = value
    return figures


@cache
def _measure(kind: str, written: str) -> m.Measure:
    """Read once: each vehicle has hundreds of figures, and nearly all are those of the one before."""
    return read_measure(written, KINDS[kind].quantity, KINDS[kind].choices)


def _measures(figures: Mapping[str, str]) -> dict[str, m.Measure]:
    return {kind: _measure(kind, written) for kind, written in figures.items()}


_SUBJECTS = sets.SUBJECTS
_stands: dict[object, object] = {}
"""What is found of the made-up vehicle as it stands: the same beside whatever a set changes."""


class Made:
    """A book that holds today's components (X-…) and a set's components (Y-…) side by side."""

    def __init__(
        self,
        change: Change | None = None,
        facts: Mapping[str, str | None] | None = None,
        spare_parts: Change | None = None,
    ):
        known = {k: v for k, v in {**FACTS, **(facts or {})}.items() if v is not None}
        variant = m.Variant(
            "light",
            "made",
            "Made van",
            "1",
            "van",
            "a",
            "rear",
            "right",
            "home",
            facts=_measures(known),
        )
        components: dict[str, m.Component] = {}
        fitments = []

        def add(number: str, position: str, figures: Mapping[str, str]) -> str:
            components[number] = m.Component(
                number, number, "made", m.Origin.original, price=1000, characteristics=_measures(figures)
            )
            fitments.append(
                m.Fitment(
                    name=f"{number}@{position}", component=number, position=position, effort=m.Effort.direct
                )
            )
            return number

        self.today = {
            position: add(f"X-{position}", position, figures) for position, figures in FIGURES.items()
        }
        self.after: dict[str, str | None] = dict(self.today)
        new = changed(change or {})
        for position in set(FIGURES) | set(new):
            if position not in new:
                self.after[position] = None
            elif new[position] != FIGURES.get(position):
                self.after[position] = add(f"Y-{position}", position, new[position])
        for position, figures in (spare_parts or {}).items():
            add(f"Z-{position}", position, {k: v for k, v in (figures or {}).items() if v})
        for position in self.after:
            self.today.setdefault(position, None)
        self.vehicle = m.Vehicle("light", "X", 1, date(1965, 1, 1))
        self.book = self._first = m.RuleBook(
            variant, 1, kinds=KINDS, positions=POSITIONS, components=components, fitments=tuple(fitments)
        )
        self._usual = known == FACTS and not spare_parts

    def fit(self, position: str, pieces: int) -> None:
        """So many pieces of what sits at `position` make up its fitment."""
        number = self.after[position]
        fitments = tuple(
            replace(f, quantity=pieces) if (f.position, f.component) == (position, number) else f
            for f in self.book.fitments
        )
        self.book = replace(self.book, fitments=fitments)

    def from_new(self, position: str) -> None:
        """What sits at `position` is what the factory fitted there."""
        number = self.after[position]
        fitments = tuple(
            replace(f, from_new=True) if (f.position, f.component) == (position, number) else f
            for f in self.book.fitments
        )
        self.book = replace(self.book, fitments=fitments)

    @property
    def fitted(self) -> Fitted:
        return Fitted(self.book, self.after, self.vehicle)

    def check(self, market: str = "") -> dict[str, Finding]:
        """Every finding by the name of its check. What is found of today is worked out once for all sets, and
        each time where there is nothing else to look at."""
        usual = self._usual and not market and self.book is self._first and sets.SUBJECTS is _SUBJECTS
        if usual and self.after != self.today:
            index_of(self.book).notebook[sets._standing] = _stands
        return {f.check: f for f in check_set(self.book, self.vehicle, self.today, self.after, market)}


def verdict(
    check: str, change: Change | None = None, facts: Mapping[str, str | None] | None = None, market: str = ""
) -> Verdict:
    """The verdict of one check with some figures changed."""
    return Made(change, facts).check(market)[check].verdict


TALL_TYRE = {
    "tyre_diameter": "802 mm",
    "rolling_circumference": "2446 mm",
    "tyre_width": "210 mm",
    "measuring_rim": "6 in",
    "permitted_rim": "5 .. 6.5 in",
    "tyre_sealing": "tubeless",
    "load_index": "112",
}
WIDE_WHEEL = {
    "rim_width": "6 in",
    "offset": "20.3 mm",
    "rim_contour": "hump",
    "rim_inner_radius": "196 mm",
    "wheel_load": "950 kg",
}
TALL = {"tyre.road": TALL_TYRE, "tyre.spare": TALL_TYRE, "wheel.road": WIDE_WHEEL, "wheel.spare": WIDE_WHEEL}
