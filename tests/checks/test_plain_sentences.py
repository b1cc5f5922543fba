"""What the checks say to a fitter: no more than is so, and no less."""

from graftbook.checks import verdict as v
from graftbook.checks.findings import FindingKind, headline
from graftbook.questions.checks.documents import finding_document, of_today
from tests.checks.made import Made
from tests.checks.test_kinds import _kind


def _told(finding):
    return f"{finding.sentence} {of_today(finding_document(finding))}".rstrip()


def test_a_set_that_makes_no_check_worse_does_not_say_that_nothing_is_worse():
    assert headline([]) == "This set makes no check fail or worse."


def test_what_is_not_there_today_is_not_said_to_be_unrecorded():
    assert v.before_after(None, 2.0, 1, "N") == "2.0 N"
    assert v.before_after(5.0, None, 1, "N") == "5.0 -> not recorded N"


def test_what_still_fails_but_less_says_so():
    weak = {"charging.machine": {"current_supplied": "11 A"}}
    better = {"charging.machine": {"current_supplied": "12 A"}}
    finding = _kind("electrical.charging.worst", weak, better)
    assert finding.kind is FindingKind.already_so
    assert _told(finding).endswith("Better than today, but still not as it should be.")
    same = _kind("electrical.charging.worst", weak, weak)
    assert "Better than today" not in _told(same)


def test_parts_that_do_not_touch_are_not_said_to_be_eaten():
    zinc = {"material": "galvanised steel", "coating": "zinc", "bolted_to": "underframe"}
    both = {"isolates": "underframe + roof; bumper.front + underframe"}
    parted = Made({"isolation": both, "bumper.front": zinc}).check()
    for check in ("corrosion.underframe+roof", "corrosion.underframe+bumper.front"):
        assert parted[check].verdict is v.Verdict.holds
        assert "is eaten" not in parted[check].sentence
        assert "parted by Y-isolation" in parted[check].sentence


def test_a_barrier_on_one_side_only_is_not_said_to_be_bare():
    bare = {"underframe": {"coating": "paint"}, "roof": {"coating": "none"}, "isolation": None}
    sentence = Made(bare).check()["corrosion.underframe+roof"].sentence
    assert "a barrier on the plain steel only; steel and aluminium want a barrier on both sides" in sentence


def test_a_title_of_many_things_takes_no_verb_of_one():
    found = Made({"fuel.feed": {"ethanol_rating": "0 %", "pressure_rating": "1 kPa"}}).check()
    ethanol = found["fuel.ethanol.fuel.feed"]
    assert "withstands" not in ethanol.sentence
    assert ethanol.mend.startswith("Change the ")
    assert "hoses is" not in found["fuel.pressure.fuel.feed"].sentence


def test_the_battery_decides_which_side_is_the_wrong_one():
    turned = {p: {"polarity": "positive"} for p in ("charging.machine", "ignition.coil")}
    half = {"ignition.coil": {"polarity": "positive"}}
    finding = _kind("electrical.polarity", turned, half)
    assert finding.kind is FindingKind.already_so, "one of two that stand against the battery is put right"
    assert "The earth polarity is mixed. Negative earth: " in finding.sentence
    assert finding.mend.endswith(", the fewer, from positive to negative earth.")
    assert "ignition.coil (" in finding.mend


def test_the_weakest_link_is_told_once_where_it_is_the_same_today():
    sentence = Made({}).check()["driveline.weakest_link"].sentence
    assert "today it is" not in sentence


def test_a_link_that_is_within_its_rating_says_why_it_is_a_caution_and_what_would_mend_it():
    weakest = Made({"gearbox": {"torque_rating": "160 Nm"}}).check()["driveline.weakest_link"]
    assert weakest.verdict is v.Verdict.caution
    assert "gearbox, at 94% of what it carries" in weakest.sentence
    assert "at most 90 % of what it is rated for" in weakest.sentence
    assert "gearbox" in weakest.mend
    broken = Made({"gearbox": {"torque_rating": "100 Nm"}}).check()["driveline.weakest_link"]
    assert "at most what it is rated for (component data)" in broken.sentence


def test_what_a_set_makes_worse_at_idle_reads_so():
    dim = {"charging.machine": {"current_supplied": "5 A"}}
    brighter = {**dim, "ignition.coil": {"current_drawn": "3.9 A"}}
    finding = _kind("electrical.charging.idle", dim, brighter)
    assert finding.kind is FindingKind.worse
    asked = finding.figures[1]
    assert f"{asked.before:.1f} -> {asked.after:.1f} A" in finding.sentence


def test_two_figures_of_one_hand_brake_say_what_each_rests_on():
    """At rest on the test rollers the rear wheels carry more than in a stop, so they hold more there."""
    found = Made().check()
    assert "a grip of 0.8 under every wheel" in found["brakes.circuit_failed"].sentence
    assert "a grip of 0.8 at rest" in found["brakes.parking"].sentence
