"""Parts that mate against a second, plain working-out, on some hundred random vehicles; and that every check
there is has a plain script of its own."""

import random
from math import degrees

import pytest

from graftbook.checks.fitted import Fitted
from graftbook.checks.joints import unions
from graftbook.checks.law import Rules
from graftbook.checks.set import SUBJECTS
from tests.checks.made import FIGURES, Made
from tests.independent import mating as plain
from tests.running import cases

VEHICLES = cases(340)
FLARES = (None, "double 45", "bubble", "single 37")
SEATS = ("60 degree cone", "ball", "flat")


def _threads(chance: random.Random) -> tuple[str | None, str | None]:
    """Two threads, half of the time the same one; sometimes one that nobody recorded."""
    one, other = chance.choice(list(plain.THREADS)), chance.choice(list(plain.THREADS))
    if chance.random() < 0.5:
        other = one
    return chance.choice([one, one, one, one, None]), other


def _unions(chance: random.Random) -> tuple[dict, dict, dict]:
    """Changed figures; check → verdict; check → what the threads do."""
    change: dict = {}
    expected, met = {}, {}
    ends = list(unions.PIPE_UNIONS)
    chance.shuffle(ends)
    for one, end, other, other_end in ends:
        if one in change or other in change:
            continue  # each part once, so that no end is drawn twice
        first, second = _threads(chance)
        flares = [None if at == "hose" else chance.choice(FLARES) for at in (end, other_end)]
        change[one] = {f"{end}_thread": first}
        change[other] = {f"{other_end}_thread": second}
        if "hose" not in (end, other_end):
            change[one][f"{end}_flare"], change[other][f"{other_end}_flare"] = flares
        check = f"unions.{one}.{end}+{other}.{other_end}"
        expected[check] = plain.union(first, second, *flares)
        if first and second:
            met[check] = plain.thread_met(first, second)
    return change, expected, met


def _wheels(chance: random.Random) -> tuple[dict, dict]:
    nut, wheel, bolt = chance.choice(SEATS), chance.choice(SEATS), chance.choice(list(plain.THREADS))
    stud = chance.choice([bolt, chance.choice(list(plain.THREADS))])
    least = chance.randint(30, 50) / 10
    most, width = round(least + chance.randint(0, 15) / 10, 1), chance.randint(30, 70) / 10
    sealing, contour = chance.choice(["tubed", "tubeless"]), chance.choice(["flat", "hump"])
    tube = chance.random() < 0.5
    road = {"circle": chance.choice([134, 164]), "bolts": 5, "turn": 2220}
    other = {
        **road,
        "bolts": chance.choice([5, 5, 6]),
        "turn": chance.choice([2220, 2264.4, 2265, 2300, 2150]),
    }
    change = {
        "hub.front.left": {"stud_thread": stud, "property_class": None},
        "wheel.nuts": {"stud_thread": bolt, "nut_seat": nut},
        "wheel.road": {
            "nut_seat": wheel, "rim_width": f"{width} in", "rim_contour": contour,
            "bolt_circle": f"{road['circle']} mm", "bolt_count": "5",
        },
        "wheel.spare": {"bolt_circle": f"{other['circle']} mm", "bolt_count": str(other["bolts"])},
        "tyre.road": {"permitted_rim": f"{least} .. {most} in", "tyre_sealing": sealing},
        "tyre.spare": {"rolling_circumference": f"{other['turn']} mm"},
        "tube.road": {"tyre_sealing": "tubed"} if tube else None,
    }  # fmt: skip
    outside, fits = plain.rim(width, least, most)
    apart, serves = plain.spare(road, other)
    expected = {
        "unions.studs.hub.front.left": plain.union(stud, bolt),
        "unions.seat": plain.same(wheel, nut),
        "wheels.tubeless": plain.sealing(sealing, contour, tube),
        "wheels.rim_width": (outside, fits),
        "wheels.spare": (100 * apart, serves),
    }
    return change, expected


def _driven(chance: random.Random) -> tuple[dict, dict]:
    counts, pitches = (14, 27, 20), (None, "16/32", "24/48")
    shaft = {"inner": chance.choice(counts), "outer": chance.choice((None, *counts))}
    shaft["pitch"], hub = chance.choice(pitches), chance.choice((None, *counts))
    diff = {"count": chance.choice((shaft["inner"], *counts)), "pitch": chance.choice(pitches)}
    wheel, pinion = chance.randint(35, 45), chance.randint(7, 12)
    ratio = round(wheel / pinion * chance.choice([1, 1, 1.004, 1.006]), 3)
    drives, driven = chance.randint(3, 6), chance.randint(10, 16)
    cable = round(drives / driven * chance.choice([1, 1, 0.996, 0.994]), 4)
    # No joint is made for less than 0.2 degrees, and one is drawn that permits hardly more than its angle.
    near, far, lift = chance.uniform(0.005, 0.2), chance.choice([None, chance.uniform(0, 0.3)]), 0.0
    arrangement = chance.choice([None, "single", "two in phase", "two out of phase", "constant velocity"])
    per_lift, lift = chance.uniform(0.5, 2), chance.choice([0.0, 0.03])
    angle = plain.bent(near, far, arrangement, per_lift, lift)
    most = chance.choice([angle * (1 + 1e-6), angle * (1 - 1e-6), 0.2])

    def text(value: object) -> str | None:
        return None if value is None else str(value)

    change = {
        "halfshaft.rear.left": {
            "inner_spline_count": text(shaft["inner"]), "outer_spline_count": text(shaft["outer"]),
            "spline_pitch": shaft["pitch"],
        },
        "hub.rear.left": {"spline_count": text(hub)},
        "diff.rear": {"spline_count": text(diff["count"]), "spline_pitch": diff["pitch"]},
        "gears.rear": {
            "axle_ratio": f"{ratio}", "crown_wheel_teeth": f"{wheel}", "pinion_teeth": f"{pinion}",
        },
        "speedo.drive": {
            "speedo_drive_ratio": str(cable), "driving_teeth": str(drives), "driven_teeth": str(driven),
        },
        "propshaft.rear": {
            "joint_angle_static": f"{degrees(near):.12f} deg", "joint_arrangement": arrangement,
            "far_joint_angle": None if far is None else f"{degrees(far):.12f} deg",
            "joint_angle_per_lift": f"{per_lift:.12f}",
            "joint_angle_permitted": f"{degrees(most):.12f} deg",
        },
        "spring.rear.left": {"ride_height_change": f"{1000 * lift} mm"},
    }  # fmt: skip
    expected = {
        "driveline.splines.halfshaft.rear.left": plain.splines(shaft, diff, hub),
        "driveline.teeth.gears.rear": plain.teeth(wheel, pinion, ratio),
        "speedometer.teeth.speedo.drive": plain.teeth(drives, driven, cable),
        "driveline.joint_angle.propshaft.rear": (degrees(angle), plain.rated(most, angle)),
    }
    return change, expected


def _rated(chance: random.Random) -> tuple[dict, dict, dict]:
    machine, cable = chance.randint(20, 80), chance.randint(20, 80)
    works = chance.randint(15, 400)
    feed, filtered = chance.choice([works, chance.randint(10, 500)]), chance.randint(10, 500)
    sold = chance.choice([0, 5, 10, 20])
    stands = {
        part: chance.choice([0, 5, 10, 20, 85]) for part in ("tank", "feed", "filter", "metering", "pump")
    }
    hose, needs = chance.choice([320, 319, 321, 400]), 320
    inside, reaches = chance.choice([163, 162.9, 186]), 160
    change = {
        "charging.machine": {"current_supplied": f"{machine} A"},
        "charging.cable": {"cable_rating": f"{cable} A"},
        "fuel.pump": {"fuel_pressure": f"{works} kPa", "ethanol_rating": f"{stands['pump']} %"},
        "fuel.feed": {"pressure_rating": f"{feed} kPa", "ethanol_rating": f"{stands['feed']} %"},
        "fuel.filter": {"pressure_rating": f"{filtered} kPa", "ethanol_rating": f"{stands['filter']} %"},
        "fuel.tank": {"ethanol_rating": f"{stands['tank']} %"},
        "fuel.metering": {"ethanol_rating": f"{stands['metering']} %"},
        "brake.hose.rear": {"hose_length": f"{hose} mm"},
        "brake.rear.left": {"brake_outer_radius": f"{reaches} mm"},
        "wheel.road": {"rim_inner_radius": f"{inside} mm"},
    }
    expected = {
        "electrical.cable_current": (machine, plain.rated(cable, machine)),
        "fuel.pressure.fuel.feed": (feed, plain.rated(feed, works)),
        "fuel.pressure.fuel.filter": (filtered, plain.rated(filtered, works)),
        "suspension.hose.rear": (hose - needs, plain.rated(hose, needs)),
        "wheels.brake_clearance.rear": (inside - reaches, plain.rated(inside - reaches, 3)),
        **{f"fuel.ethanol.fuel.{p}": (part, plain.rated(part, sold)) for p, part in stands.items()},
    }
    return change, expected, {"fuel_ethanol": f"{sold} %"}


def _of_one_system(chance: random.Random) -> tuple[dict, dict, dict]:
    sides = [chance.choice(["negative", "negative", "positive", "either", None]) for _ in range(3)]
    battery, machine, variant = (chance.choice([6, 12, 12]) for _ in range(3))
    spans = [chance.choice([(12, 12), (12, 12), (6, 6), (6, 24)]) for _ in range(2)]

    def rated(low: int, high: int) -> str:
        return f"{low} V" if low == high else f"{low} .. {high} V"

    places = ("battery", "charging.machine", "ignition.coil")
    change = {
        p: {"polarity": side, "polarity_sensitive": "yes"} for p, side in zip(places, sides, strict=True)
    }
    change["battery"]["rated_voltage"] = f"{battery} V"
    change["charging.machine"]["rated_voltage"] = f"{machine} V"
    for side, span in zip(("left", "right"), spans, strict=True):
        change[f"headlamp.{side}"] = {"rated_voltage": rated(*span)}
    expected = {
        "electrical.polarity": plain.earth(sides),
        "electrical.voltage": plain.volts(variant, battery, machine, spans),
    }
    return change, expected, {"system_voltage": f"{variant} V"}


def _found(change: dict, facts: dict | None = None) -> dict:
    made = Made(change, facts)
    fitted = Fitted(made.book, made.after, made.vehicle)
    return {f.check: f for inspect in SUBJECTS.values() for f in inspect(fitted, fitted, Rules())}


def _merged(*changes: dict) -> dict:
    whole: dict = {}
    for change in changes:
        for place, figures in change.items():
            before = whole.get(place) or {}
            whole[place] = None if figures is None else {**before, **figures}
    return whole


WORDS = {
    "same": (" is ", "both "),
    "apart": ("they do not engage",),
    "jams": ("starts, jams within one diameter",),
    "loose": ("goes together but is not a joint",),
}


def test_random_vehicles_mate_as_the_plain_script_says():
    chance, verdicts = random.Random(1919), {}
    for _ in range(VEHICLES):
        pipes, expected, met = _unions(chance)
        wheels, more = _wheels(chance)
        driven, further = _driven(chance)
        rated, ratings, fuel = _rated(chance)
        system, agreed, volts = _of_one_system(chance)
        found = _found(_merged(pipes, wheels, driven, rated, system), {**fuel, **volts})
        for check, wanted in {**expected, **more, **further, **ratings, **agreed}.items():
            value, verdict = wanted if isinstance(wanted, tuple) else (None, wanted)
            told = found[check]
            assert str(told.verdict) == verdict, (check, told.sentence, wanted)
            verdicts.setdefault(check.split("+")[0], set()).add(verdict)
            if value is not None:
                assert told.figures[0].after == pytest.approx(value, rel=1e-9, abs=1e-9), (
                    check,
                    told.sentence,
                )
        for check, how in met.items():
            assert any(words in found[check].sentence for words in WORDS[how]), (how, found[check].sentence)
    few = {check: seen for check, seen in verdicts.items() if len(seen) < 2}
    assert few == {}, "each check holds somewhere and somewhere not"


def test_every_pair_of_threads_does_what_the_plain_script_says():
    for one in plain.THREADS:
        for other in plain.THREADS:
            verdict, words = unions.threads_meet(one, other)
            how = plain.thread_met(one, other)
            assert str(verdict) == ("holds" if how == "same" else "fails"), (one, other)
            assert any(said in words for said in WORDS[how]), (one, other, words)


COMPARED = {
    "brakes": (
        "deceleration", "pedal_force", "servo_failed", "circuit_failed", "circuit_travel", "displaced",
        "travel", "lock_order", "adhesion", "residual", "hand_brake", "hand_grip", "parking", "heat",
    ),
    "electrical": (
        "charging", "cranking", "cable_drop", "cable_current", "fuse_cable", "fuse_load", "polarity",
        "voltage",
    ),
    "wheels": (
        "rim_width", "tubeless", "tyre_load", "wheel_load", "tyre_speed", "brake_clearance", "outer_reach",
        "inner_reach", "scrub", "spare",
    ),
    "gearing": ("cruise", "start", "start_towing", "first"),
    "speedometer": ("speed", "odometer", "teeth"),
    "driveline": (
        "shaft", "torque", "splines", "joint_angle", "joint_ripple", "axle_ratios", "teeth", "weakest_link",
    ),
    "unions": ("brake", "fuel", "studs", "seat", "clamp"),
    "suspension": (
        "frequency", "leaf_stress", "damper", "hose", "height", "headlamp_aim", "castor", "tilt",
    ),
    "fuel": ("mixture", "vapour_lock", "pump_flow", "injector_duty", "pressure", "ethanol"),
}  # fmt: skip
"""Subject → families of its checks that a plain script works out a second time (corrosion: every pair)."""


def _everything() -> dict:
    """A vehicle to which every check applies: four driven wheels, injection, a disc that drags."""
    disc = {"brake_type": "disc", "piston_area": "25 cm2", "disc_effective_radius": "109 mm"}
    teeth = {"crown_wheel_teeth": "30", "pinion_teeth": "8"}
    front = {f"{place}.front": dict(of) for place, of in _rear_of_made().items()}
    return _merged(
        front,
        {
            "brake.front.left": disc,
            "brake.residual_valve": {"residual_pressure": "0.6 bar"},
            "gears.rear": teeth,
            "speedo.drive": {"driving_teeth": "5", "driven_teeth": "13"},
            "fuel.metering": {"metering": "port injection"},
            "fuel.tank": {"pipe_thread": "1/2-20 UNF"},
        },
    )


def _rear_of_made() -> dict:
    return {place: FIGURES[f"{place}.rear"] for place in ("gears", "diff", "propshaft")}


def test_every_check_there_is_has_a_plain_script():
    found = _found(_everything(), {"towed_mass": "1000 kg"})
    met = {tuple(check.split(".")[:2]) for check in found if not check.startswith("corrosion.")}
    listed = {(subject, family) for subject, families in COMPARED.items() for family in families}
    assert met == listed
    assert {check.split(".")[0] for check in found} == set(SUBJECTS)
