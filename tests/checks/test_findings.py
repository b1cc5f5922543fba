"""What every finding has in common, whatever it is about."""

import math
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.checks import verdict as v
from graftbook.checks.fitted import Reading, on_both, only_with
from graftbook.closure.words.sentences import BY_WORD, CUTTING, STANDS
from graftbook.rulebook.units import UNITS
from tests.checks.made import FACTS, FIGURES, KINDS, Made

HOLDS = Made().check()


def test_the_made_vehicle_is_determined_and_holds_throughout():
    assert {f.check: f.sentence for f in HOLDS.values() if f.verdict is not v.Verdict.holds} == {}
    assert len(HOLDS) > 60


def test_nothing_has_changed_when_nothing_changes():
    assert not any(f.changed for f in HOLDS.values())
    assert {f.kind for f in HOLDS.values()} == {v.FindingKind.holds}


@cache
def without(position, kind):
    """What is found where one figure is not recorded; two tests look at it."""
    return Made({position: {kind: None}}).check()


@pytest.mark.parametrize(("position", "kind"), [(p, k) for p, kinds in FIGURES.items() for k in kinds])
def test_a_figure_that_is_not_recorded_never_makes_a_pass(position, kind):
    lacking = without(position, kind)
    for name, finding in lacking.items():
        if finding.verdict is v.Verdict.not_determined:
            assert finding.missing, name
            assert not finding.impossible, name
            assert "cannot be worked out" in finding.sentence or "not recorded" in finding.sentence
        used = f"X-{position}" in HOLDS[name].components if name in HOLDS else False
        same = name in HOLDS and finding.figures[:1] == HOLDS[name].figures[:1]
        # The first figure is the judged one: if it moved, the check was made without the missing figure.
        if finding.verdict is v.Verdict.holds and used and not same:
            assert (position, kind) in TAKES_ANOTHER_WAY, (name, position, kind)


TAKES_ANOTHER_WAY = {
    ("brake.front.left", "shoe_force_arm"),
    *(("gearbox", gear) for gear in ("gear_2", "gear_3")),
    *(
        (position, kind)
        for position in FIGURES
        for kind in ("current_drawn", "torque_rating", "cooling_time")
        if kind in FIGURES[position]
    ),
}
"""Figures whose absence a check may live with: gears between first and top, loads outside the circuit,
links of the driveline that are left out of the ranking, the cooling of a brake, which is left out then."""


DONE_WITHOUT = {
    "pipe_flare", "end_flare", "hose_thread", "circuit_split", "rim_contour", "spline_count",
    "outer_spline_count", "joint_angle_per_lift", "metering", "closed_loop", "polarity_sensitive",
    "rated_voltage",
}  # fmt: skip
"""Kinds that a check compares where they are recorded and asks of nobody."""
READ = [
    (position, kind)
    for position, kinds in FIGURES.items()
    for kind in kinds
    if not position.endswith((".right", ".spare")) and kind not in DONE_WITHOUT
]
"""Figures that some check needs; of a pair the left one is read."""


@pytest.mark.parametrize(("position", "kind"), READ)
def test_a_figure_that_a_check_needs_is_missed(position, kind):
    """It is named as missing, or what is told changes; never is all told as before."""
    lacking = without(position, kind)
    named = any(kind in missing for finding in lacking.values() for missing in finding.missing)
    told = {name: (f.verdict, f.figures) for name, f in lacking.items()}
    assert named or told != {name: (f.verdict, f.figures) for name, f in HOLDS.items()}


@pytest.mark.parametrize("fact", [fact for fact in FACTS if fact != "mass_unladen"])
def test_a_fact_of_the_variant_that_is_not_recorded_is_named(fact):
    unsaid = {"battery": {"rated_voltage": None}} if fact == "system_voltage" else None
    found = Made(unsaid, {fact: None}).check()
    named = [f for f in found.values() if any(fact in missing for missing in f.missing)]
    assert named
    assert all(f.verdict is v.Verdict.not_determined for f in named)


@pytest.mark.parametrize(
    "check",
    [
        *(
            "deceleration",
            "deceleration.approval",
            "pedal_force",
            "servo_failed",
            "circuit_failed",
            "hand_brake",
        ),
        *("circuit_failed.approval", "lock_order.laden", "lock_order.unladen", "parking"),
        *("heat.front", "heat.rear"),
    ],
)
def test_no_brake_is_judged_by_the_rule_of_a_category_that_nobody_recorded(check):
    finding = Made(facts={"vehicle_category": None}).check()[f"brakes.{check}"]
    assert finding.verdict is v.Verdict.not_determined
    assert finding.missing == ("vehicle_category of variant light",)


def test_an_unladen_mass_that_is_not_recorded_is_said_or_not_needed():
    """No check of the made-up vehicle reads it alone; none of them gets another figure without it."""
    lacking = Made(facts={"mass_unladen": None}).check()
    assert set(lacking) == set(HOLDS)
    for name, finding in lacking.items():
        named = any("mass_unladen" in missing for missing in finding.missing)
        assert named or finding.figures[:1] == HOLDS[name].figures[:1], name


@pytest.mark.parametrize("position", FIGURES)
def test_an_empty_position_is_said_and_not_fallen_over(position):
    for finding in Made({position: None}).check().values():
        assert finding.sentence
        if finding.verdict is v.Verdict.not_determined:
            assert finding.missing


def _zero(kind: str) -> str | None:
    unit = next(
        (name for of, name in UNITS if of == KINDS[kind].quantity and not name.startswith("1/")), None
    )
    return None if unit is None else f"0 {unit}".strip()


@pytest.mark.parametrize(
    ("position", "kind"), [(p, k) for p, kinds in FIGURES.items() for k in kinds if _zero(k) is not None]
)
def test_a_recorded_zero_is_no_crash(position, kind):
    for finding in Made({position: {kind: _zero(kind)}}).check().values():
        for figure in finding.figures:
            assert figure.after is None or math.isfinite(figure.after)


@pytest.mark.parametrize("finding", HOLDS.values(), ids=HOLDS)
def test_a_finding_says_what_it_rests_on(finding):
    assert finding.sentence.endswith(".")
    assert finding.sentence[0].isupper()
    assert finding.limit is not None
    assert finding.limit.source
    assert finding.limit.text
    assert finding.components
    assert not finding.mend
    if finding.subject not in ("gearing", "speedometer"):
        assert finding.caution == v.CAUTIONS[finding.subject]


def test_dangerous_subjects_defer_to_licensed_practice_or_inspection():
    for subject in ("brakes", "driveline", "fuel", "electrical", "corrosion", "unions"):
        assert "licensed" in v.CAUTIONS[subject]
    for subject in ("brakes", "fuel", "suspension"):
        assert "Local rules" in v.CAUTIONS[subject]


def test_a_limit_from_memory_is_never_the_only_reason_to_fail():
    remembered = v.Limit("at most 1", "a standard", v.Provenance.memory)
    seen = v.Limit("at most 1", "a standard", v.Provenance.seen)
    assert v.judge(False, remembered) is v.Verdict.caution
    assert v.judge(False, seen) is v.Verdict.fails
    assert v.judge(None, seen) is v.Verdict.not_determined
    assert "from memory" in remembered.cited
    assert "from memory" not in seen.cited


@given(st.sampled_from(sorted(FIGURES)), st.sampled_from(["0.1", "10"]))
def test_no_finding_fails_on_memory_alone(position, factor):
    """Scale every number of one component: whatever fails then rests on more than memory."""
    change = {k: _scaled(value, float(factor)) for k, value in FIGURES[position].items()}
    for finding in Made({position: change}).check().values():
        if finding.verdict is v.Verdict.fails and finding.limit:
            assert finding.limit.provenance is not v.Provenance.memory, finding.sentence


def _scaled(written: str, factor: float) -> str:
    head, _, unit = written.partition(" ")
    if ".." in written or " " in unit:  # a span, or a choice that begins with a number
        return written
    try:
        number = float(head)
    except ValueError:
        return written
    scaled = number * factor
    return f"{round(scaled)}" if not unit and number == int(number) else f"{scaled:.6f} {unit}".strip()


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        ([], "holds"),
        (["holds", "caution"], "caution"),
        (["caution", "not determined"], "not determined"),
        (["fails", "not determined", "holds"], "fails"),
    ],
)
def test_the_worst_of_several_verdicts(verdicts, expected):
    assert v.worst([v.Verdict(word) for word in verdicts]) is v.Verdict(expected)


def test_missing_figures_of_one_pass_are_all_named():
    made = Made({"brake.master": {"master_bore": None}, "brake.pedal_box": {"pedal_ratio": None}})
    finding = made.check()["brakes.pedal_force"]
    assert finding.missing == (
        "master_bore of Y-brake.master at brake.master",
        "pedal_ratio of Y-brake.pedal_box at brake.pedal_box",
    )
    assert "master cylinder bore of Y-brake.master (master cylinder) is not recorded" in finding.sentence


def test_a_span_is_no_single_number():
    made = Made({"wheel.road": {"rim_width": "4 .. 5 in"}})
    reading = Reading(made.fitted)
    assert math.isnan(reading.value("wheel.road", "rim_width"))
    assert reading.span("wheel.road", "rim_width") == pytest.approx((0.1016, 0.127))
    assert reading.missing


def test_what_was_not_known_today_does_not_stop_the_new_number():
    made = Made({"wheel.road": {"rim_width": "5 in"}})
    before, after = Made({"wheel.road": {"rim_width": None}}).fitted, made.fitted
    sides = on_both(before, after, lambda r: r.value("wheel.road", "rim_width"))
    assert sides.before is None
    assert sides.after == pytest.approx(0.127)
    assert sides.missing == ()


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [(5.1, 7.9, "5.1 -> 7.9 N"), (5.01, 5.04, "5.0 N"), (None, 2.0, "2.0 N")],
)
def test_numbers_before_and_after(before, after, text):
    assert v.before_after(before, after, 1, "N") == text


@pytest.mark.parametrize(
    ("si", "unit", "number"),
    [
        (293.15, "degC", 20),
        (0.0254, "in", 1),
        (0.12, "%", 12),
        (6.43, "m/s2", 6.43),
        (5.0, "", 5),
        (1e5, "bar", 1),
    ],
)
def test_a_figure_is_written_in_its_unit(si, unit, number):
    assert v.shown(si, unit) == pytest.approx(number)
    assert v.figure("f", None, si, unit) == v.Figure("f", None, pytest.approx(number), unit)


def test_a_figure_that_needs_another_names_that_one_as_missing_and_is_unchanged_by_it():
    assert only_with(3.0, 7.0, -1.0) == 3.0
    assert math.isnan(only_with(3.0, 7.0, math.nan))
    assert math.isnan(only_with(math.nan, 7.0))
    assert math.isnan(only_with(3.0, math.inf)), "what cannot be is no figure to compare with"
    assert only_with(3.0) == 3.0


def test_no_caution_presumes_a_frame_that_the_vehicle_may_not_have():
    """A vehicle may carry itself: whoever speaks of a frame says what holds where there is none."""
    told = [*BY_WORD.values(), CUTTING, STANDS, *v.CAUTIONS.values()]
    for caution in told:
        if "frame" in caution.lower():
            assert "body" in caution, caution
    assert any("body" in caution for caution in (BY_WORD["chassis"], STANDS, v.CAUTIONS["corrosion"]))
    assert BY_WORD["structure"] == BY_WORD["chassis"]
