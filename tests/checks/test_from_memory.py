"""What is known from memory cautions and never fails, whatever the figures: the whole table of limits.

Every module of the checks whose text says "from memory" has a case here that misses what is remembered by
far; a module that comes to say it and has none makes the first test fail.
"""

import random
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from graftbook import checks
from graftbook.checks.brakes import brakes
from graftbook.checks.brakes.rules import CATEGORIES, brake_rule, danger_line, in_service
from graftbook.checks.law import Binding, Law, Rules
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, judge
from graftbook.guide.made import limits_of_checks
from tests.checks.made import Made
from tests.independent import test_brakes as plain_brakes
from tests.independent.vehicles import drawn, recorded

HERE = Path(checks.__file__).parent
MEMORY = Provenance.memory


def _brakes(category: str, law: Law, **figures: float) -> list[Finding]:
    """Brakes that hardly brake, judged as if to be approved anew."""
    rules = Rules(law, Binding.type_approval)
    v = plain_brakes.a_random_one(random.Random(1)) | {"category": category, **figures}
    return list(plain_brakes.inspected(v, rules))


def _weak(category: str, law: Law) -> list[Finding]:
    nothing = {"front_friction": 0.05, "rear_friction": 0.05, "lever": 1.0, "circuits": 1, "bore": 0.05}
    strong = {"rear_piston_area": 0.01, "rear_cylinder": 0.09, "lever": 1.0}
    return [*_brakes(category, law, **nothing), *_brakes(category, law, **strong)]


def _made(change: Mapping, facts: Mapping | None = None) -> list[Finding]:
    return list(Made(change, facts).check().values())


def _slow_climber() -> list[Finding]:
    return _made({"gears.rear": {"axle_ratio": "1.0"}}, {"towed_mass": "9000 kg"})


def _hopeless_cable() -> list[Finding]:
    thin = {"cable_standard": "ISO 6722", "cable_area": "0.5 mm2", "cable_length": "20 m"}
    return _made({"charging.cable": thin})


def _flat_battery() -> list[Finding]:
    return _made({"battery": {"cold_cranking": "30 A"}, "starter": {"cranking_current": "900 A"}})


def _flattering_speedometer() -> list[Finding]:
    vehicle = drawn(1) | {"top_speed": 135 / 3.6}
    vehicle["constant"] *= 1.0 / 1.145 * _factor(vehicle)
    return list(Made(*recorded(vehicle)).check().values())


def _factor(vehicle: dict) -> float:
    turns = vehicle["drive_ratio"] * vehicle["rear"]["ratio"] / vehicle["circumference"]
    return turns / vehicle["constant"]


MISSED: dict[str, tuple[str, Callable[[], list[Finding]]]] = {
    "driveline/gearing.py": ("gearing.start", _slow_climber),
    "driveline/speedometer.py": ("speedometer.speed", _flattering_speedometer),
    "electrical/voltage.py": ("electrical.cable_drop", _hopeless_cable),
    "electrical/charging.py": ("electrical.cable_drop", _hopeless_cable),
    "electrical/cranking.py": ("electrical.cranking", _flat_battery),
    "brakes/rules.py": ("brakes.deceleration.approval", lambda: _weak("N1", Law.un)),
    "brakes/brakes.py": ("brakes.pedal_force", lambda: _weak("N1", Law.un)),
}
"""Module that speaks of memory → the check that it decides, and findings where that is missed by far."""

SAY_SO_OF_OTHERS = {"verdict.py", "chassis/wheels.py"}
"""What the word means; and a rim's hump, which a published text asks for too."""


def _speaking() -> set[str]:
    """Modules of the checks in whose text something is from memory."""
    files = {path.relative_to(HERE).as_posix(): path.read_text("utf-8") for path in HERE.rglob("*.py")}
    said = ("from memory", "Provenance.memory")
    return {name for name, text in files.items() if any(words in text for words in said)}


def test_every_module_that_speaks_of_memory_has_a_case():
    assert _speaking() - SAY_SO_OF_OTHERS == set(MISSED)


@pytest.mark.parametrize("module", sorted(MISSED))
def test_what_is_remembered_is_missed_by_far_and_cautions(module):
    check, worst = MISSED[module]
    findings = worst()
    for finding in findings:
        if finding.verdict is Verdict.fails and finding.limit:
            assert finding.limit.provenance is not MEMORY, finding.sentence
    judged = [finding for finding in findings if finding.check == check]
    assert any(f.verdict is Verdict.caution and "from memory" in f.sentence for f in judged) or (
        {f.verdict for f in judged} == {Verdict.caution}
    ), [(f.verdict, f.sentence) for f in judged]


@pytest.mark.parametrize("law", Law)
@pytest.mark.parametrize("category", CATEGORIES)
def test_weak_brakes_fail_on_nothing_from_memory(category, law):
    found = _weak(category, law)
    assert any(finding.verdict is Verdict.fails for finding in found), "they are bad enough to fail"
    for finding in found:
        if finding.verdict is Verdict.fails:
            assert finding.limit
            assert finding.limit.provenance is not MEMORY, finding.sentence


def _whole_table() -> list[Limit]:
    return [limit for _, limit in limits_of_checks()]


def test_the_table_has_the_rules_in_service_too():
    listed = set(_whole_table())
    for law in Law:
        for category in CATEGORIES:
            inspected = in_service(law, category)
            wanted = {inspected.service, inspected.secondary, inspected.parking}
            assert wanted | {danger_line(brake_rule(law, category))} <= listed


def test_no_limit_of_the_table_that_is_from_memory_can_fail():
    remembered = [limit for limit in _whole_table() if limit.provenance is MEMORY]
    assert len(remembered) >= 8, "the table has such limits"
    for limit in remembered:
        assert judge(False, limit, Verdict.fails) is Verdict.caution, limit.text


def test_of_un_r13h_only_what_was_read_is_said_to_be_seen():
    """6.43 m/s2 and 65 to 500 N are seen in a copy; of 2.44 m/s2 what was seen is of 49 CFR 571.135."""
    rule = brake_rule(Law.un, "M1")
    assert {rule.service.provenance, rule.foot.provenance} == {Provenance.seen}
    assert {limit.provenance for limit in (rule.least, rule.by_hand, rule.hand)} == {MEMORY}
    assert brakes.brake_rule(Law.us, "M1").least.provenance is Provenance.seen
