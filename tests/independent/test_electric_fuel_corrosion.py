"""Current, fuel and metals against a second, plain reckoning, over some hundred random vehicles."""

import random
from dataclasses import replace

import pytest

from graftbook.checks import fuel
from graftbook.checks.electrical import electrical
from graftbook.checks.joints import corrosion
from graftbook.rulebook.model import Budget
from tests.checks.made import Made
from tests.independent import corrosion as plain_corrosion
from tests.independent import electric as plain_electric
from tests.independent import fuel as plain_fuel
from tests.running import cases

VEHICLES = cases(400)

ON = {
    "day": {"always"},
    "night": {"always", "night"},
    "worst": {"always", "night", "rain", "cold"},
}
PLACES = ("ignition.coil", "headlamp.left", "headlamp.right", "wiper.motor", "heater.blower", "flasher.unit")


def _checked(inspect, change, facts=None, budgets=()):
    made = Made(change, facts)
    made.book = replace(made.book, budgets=budgets)
    return {finding.check: finding for finding in inspect(made.fitted, made.fitted)}


def _short(figure):
    """As it is written in a catalogue."""
    return float(f"{figure:.6f}")


def _agrees(finding, value, verdict, slack=1e-9):
    assert finding.figures[0].after == pytest.approx(value, rel=1e-6, abs=slack), finding.sentence
    assert str(finding.verdict) == verdict, (finding.sentence, value)


def _current(chance):
    """One random vehicle; some figures lie at a limit: full, four fifths, the fuse, the cable."""
    consumers = []
    change = {"fuel.pump": {"current_drawn": "0 A"}}
    for place in PLACES:
        when = chance.choice(["always", "night", "rain", "cold", "brief"])
        amperes = chance.randint(0, 16) / 2
        share = chance.choice([None, None, 0.5, 0.25])
        consumers.append((amperes, 1, when, share))
        change[place] = {"current_drawn": f"{amperes} A", "load_time": when}
        if share is not None:
            change[place]["load_share"] = f"{share}"
    worst = plain_electric.load(consumers, ON["worst"])
    machine = _short(
        chance.choice([chance.randint(10, 80), worst or 10, worst / 0.8 or 10, worst * 0.7 or 10])
    )
    pulleys = chance.randint(100, 180), chance.randint(55, 95)
    cut_in = chance.randint(700, 1300)
    rated = cut_in + chance.randint(100, 3000)
    idle_rpm = chance.randint(450, 900)
    fuse = chance.randint(5, 60)
    cable = chance.choice([fuse, chance.randint(5, 60)])
    behind = _short(chance.choice([fuse, fuse * 0.8, chance.randint(1, 70)]))
    standard = chance.choice(list(plain_electric.TABLES))
    area, length = chance.choice(list(plain_electric.TABLES[standard])), chance.randint(1, 90) / 10
    strap, starter = chance.choice([10, 16, 25, 35, 50]), chance.choice([16, 25, 35, 50])
    cold, draws = chance.randint(150, 700), chance.randint(80, 400)
    change |= {
        "charging.machine": {
            "current_supplied": f"{machine:.6f} A", "machine_pulley": f"{pulleys[1]} mm",
            "cut_in_speed": f"{cut_in} rpm", "rated_at_speed": f"{rated} rpm",
        },
        "engine.unit": {"idle_speed": f"{idle_rpm} rpm", "crank_pulley": f"{pulleys[0]} mm"},
        "charging.cable": {
            "cable_area": f"{area} mm2", "cable_length": f"{length} m", "cable_standard": standard,
        },
        "fuse.box": {"fuse_rating": f"{fuse} A", "fuse_load": f"{behind:.6f} A"},
        "harness.main": {"cable_rating": f"{cable} A"},
        "earth.strap": {"cable_area": f"{strap} mm2", "cable_length": "0.4 m"},
        "starter": {
            "cable_area": f"{starter} mm2", "cable_length": "1.3 m", "cranking_current": f"{draws} A",
        },
        "battery": {"cold_cranking": f"{cold} A"},
    }  # fmt: skip
    idle = (idle_rpm, *pulleys, cut_in, rated, machine)
    return (
        change,
        consumers,
        machine,
        idle,
        (fuse, cable, behind),
        (standard, area, length),
        (strap, starter, cold, draws),
    )


def test_current_on_random_vehicles():
    chance = random.Random(1913)
    met = {"holds": 0, "caution": 0, "fails": 0}
    for _ in range(VEHICLES):
        change, consumers, machine, idle, fuse, cable, cranked = _current(chance)
        usable = chance.choice([None, 0.8, 0.7])
        rule = Budget(
            name="charge", supply_kind="current_supplied", demand_kind="current_drawn", circuit="charging",
            usable=usable or 0.8, reason="",
        )  # fmt: skip
        found = _checked(electrical.inspect, change, budgets=(rule,) if usable else ())
        for condition, on in ON.items():
            load = plain_electric.load(consumers, on)
            verdict = plain_electric.judge_load(load, machine, usable or 0.8)
            met[verdict] += 1
            _agrees(found[f"electrical.charging.{condition}"], 100 * load / machine, verdict)
        gives, asks = plain_electric.idle_output(*idle), plain_electric.load(consumers, ON["worst"])
        enough = "holds" if gives >= asks - 1e-9 else "caution"
        _agrees(found["electrical.charging.idle"], gives, enough)
        standard, area, length = cable
        drop = machine * plain_electric.resistance(plain_electric.TABLES[standard], area, length)
        lost = plain_electric.judge_drop(drop, 12, standard == "ISO 6722" and area != 1.5)
        _agrees(found["electrical.cable_drop"], 100 * drop / 12, lost)
        protects, carries = plain_electric.judge_fuse(*fuse)
        _agrees(found["electrical.fuse_cable"], fuse[0], protects)
        _agrees(found["electrical.fuse_load"], 100 * fuse[2] / fuse[0], carries)
        strap, starter, cold, draws = cranked
        cables = [
            plain_electric.resistance(plain_electric.CLASS_5, starter, 1.3),
            plain_electric.resistance(plain_electric.CLASS_5, strap, 0.4),
        ]
        volts = plain_electric.cranking_volts(12, draws, cold, cables)
        _agrees(found["electrical.cranking"], volts, "holds" if volts >= 8 else "caution")
    assert min(met.values()) > 0.1 * VEHICLES, met


def test_fuel_on_random_vehicles():
    chance = random.Random(1914)
    for _ in range(VEHICLES):
        jets, sold = chance.choice([0, 0.05, 0.1]), chance.choice([0, 0.05, 0.1, 0.2, 0.5, 0.85])
        kind, place = (
            chance.choice(["mechanical", "electric low pressure"]),
            chance.choice([None, "at the tank"]),
        )
        reid, celsius, pump = chance.randint(45, 90), chance.randint(20, 75), chance.randint(15, 400)
        power, consumption = chance.randint(20, 120), chance.randint(240, 420)
        needed = _short(plain_fuel.litres_an_hour(power, consumption))
        flow = _short(chance.choice([needed, needed / 0.8 + 1e-5, chance.randint(10, 120)]))
        injectors, each = chance.choice([1, 2, 4, 6]), chance.randint(30, 200) / 10
        usable = chance.choice([1, 0.8])
        recorded = chance.random() < 0.5
        if not recorded:
            flow += 1e-4
        engine = {"power": f"{power} kW", "specific_consumption": f"{consumption} g/kWh"}
        if recorded:
            engine["fuel_flow"] = f"{needed:.6f} l/h"
        change = {
            "engine.unit": engine,
            "fuel.metering": {
                "metering": "port injection", "jetting_ethanol": f"{jets}", "injector_count": f"{injectors}",
                "injector_flow": f"{each} kg/h", "injector_duty": "85 %",
            },
            "fuel.pump": {
                "pump_kind": kind, "pump_place": place, "fuel_pressure": f"{pump} kPa",
                "pump_flow": f"{flow:.6f} l/h", "line_temperature": f"{celsius} degC",
            },
        }  # fmt: skip
        rule = Budget(name="f", supply_kind="pump_flow", demand_kind="fuel_flow", usable=usable, reason="")
        facts = {"fuel_ethanol": f"{sold}", "fuel_vapour_pressure": f"{reid} kPa"}
        found = _checked(fuel.inspect, change, facts, (rule,))
        lean = plain_fuel.leaner(jets, sold)
        _agrees(found["fuel.mixture"], 100 * lean, plain_fuel.judge_mixture(lean), 1e-6)
        sucks = kind == "mechanical" and place is None
        vapour = 100 * plain_fuel.vapour_pressure_kpa(reid, celsius) / (101.325 + (0 if sucks else pump))
        _agrees(found["fuel.vapour_lock"], vapour, plain_fuel.judge_vapour(reid, celsius, pump, sucks))
        _agrees(found["fuel.pump_flow"], flow, plain_fuel.judge_flow(flow, needed, usable))
        part = plain_fuel.duty(power, consumption, injectors, each)
        _agrees(found["fuel.injector_duty"], 100 * part, "fails" if part > 0.85 + 1e-9 else "holds")
        assert {c for c in found if c.startswith("fuel.pressure.")} == {
            "fuel.pressure.fuel.feed",
            "fuel.pressure.fuel.filter",
        }


def test_metals_on_random_vehicles():
    chance = random.Random(1915)
    coatings = ["none", "paint", "zinc", "zinc and paint", "powder coat"]
    met = {"holds": 0, "caution": 0, "fails": 0}
    for _ in range(VEHICLES):
        sides = [(chance.choice(list(plain_corrosion.INDEX)), chance.choice(coatings)) for _ in range(2)]
        environment = chance.choice(list(plain_corrosion.ALLOWED))
        names = chance.choice([None, "underframe + roof", "doors.front + step.wells"])
        change = {
            place: {"material": metal, "coating": coating}
            for place, (metal, coating) in zip(("underframe", "roof"), sides, strict=True)
        }
        if names:
            change["isolation"] = {"isolates": names}
        um, corrosivity = chance.randint(1, 100), chance.choice(list(plain_corrosion.ZINC_A_YEAR))
        change["step.wells"] = {"zinc_thickness": f"{um} um"}
        facts = {"environment": environment, "corrosivity": corrosivity}
        found = _checked(corrosion.inspect, change, facts)
        years = plain_corrosion.zinc_years(um, corrosivity)
        _agrees(found["corrosion.zinc.step.wells"], years, "holds" if years >= 10 - 1e-9 else "caution")
        if sides[0] == sides[1]:
            assert "corrosion.underframe+roof" not in found
            continue
        isolated = names == "underframe + roof"
        verdict = plain_corrosion.judge(*sides, environment, isolated)
        met[verdict] += 1
        assert str(found["corrosion.underframe+roof"].verdict) == verdict, (sides, environment, names)
    assert min(met.values()) > 0.05 * VEHICLES, met
