"""Whose fault a finding is: this set's, or was it already so, or does the set mend it."""

from collections import Counter
from dataclasses import replace

import pytest

from graftbook.checks.findings import FindingKind, counted, headline, verdict_of_set
from graftbook.checks.set import check_set
from graftbook.checks.verdict import Verdict
from graftbook.rulebook.scope import Scope
from tests.checks.made import Made
from tests.checks.test_demo_range import SETS
from tests.conftest import book_and_vehicle

CHASSIS = ["16PR-005000", "24PR-020000", "24PL-018412", "32XL-012000"]


@pytest.fixture(scope="module")
def scopes(sqlite_demo):
    return [Scope(*book_and_vehicle(sqlite_demo, chassis)) for chassis in CHASSIS]


def _sets(scope):
    """The sets of the demo, then one change at a time: a position emptied, or its dearest other part."""
    yield from SETS.values()
    for position in sorted(scope.book.positions)[::8]:
        others = sorted({fit.component for fit in scope.book.fitments if fit.position == position})
        yield {position: None}
        yield from ({position: number} for number in others[-1:] if number != scope.today.get(position))


def _figures(finding):
    return {f.name: f.after for f in finding.figures}


def test_todays_side_of_a_finding_is_the_check_of_the_untouched_vehicle(scopes):
    compared = 0
    for scope in scopes:
        untouched = {f.check: f for f in check_set(scope.book, scope.vehicle, scope.today, scope.today, "")}
        for change in _sets(scope):
            after = {**scope.today, **{p: c for p, c in change.items() if p in scope.book.positions}}
            for finding in check_set(scope.book, scope.vehicle, scope.today, after, ""):
                was = untouched.get(finding.check)
                expected = was and was.verdict
                assert finding.verdict_before is expected, (finding.check, change)
                if was and finding.figures and was.verdict is not Verdict.not_determined:
                    first = finding.figures[0]
                    assert first.before is None or first.before == _figures(was).get(first.name), first
                compared += 1
    assert compared > 3000


def test_nothing_is_the_fault_of_a_set_that_changes_nothing(scopes):
    for scope in scopes:
        found = check_set(scope.book, scope.vehicle, scope.today, scope.today, "")
        kinds = Counter(f.kind for f in found)
        assert set(kinds) <= {FindingKind.already_so, FindingKind.holds, FindingKind.not_determined}
        assert verdict_of_set(found) is Verdict.holds
        assert headline(found) == "This set makes no check fail or worse."


def _kind(check, today, then):
    """One finding when today's figures and the set's are both changed."""
    was, now = Made(today), Made(then)
    components, fitments, after = {**was.book.components}, [*was.book.fitments], dict(now.after)
    for position, number in now.after.items():
        if then.get(position) == today.get(position):
            after[position] = was.after[position]
        elif number and number.startswith("Y-"):
            new = after[position] = f"N-{position}"
            components[new] = replace(now.book.components[number], number=new)
            fitment = next(f for f in now.book.fitments if f.component == number)
            fitments.append(replace(fitment, name=f"{new}@{position}", component=new))
    book = replace(was.book, components=components, fitments=tuple(fitments))
    found = check_set(book, was.vehicle, was.after, after, "")
    return next(f for f in found if f.check == check)


MACHINE = "electrical.charging.worst"


@pytest.mark.parametrize(
    ("today", "then", "before", "after", "kind"),
    [
        ("45 A", "12 A", "holds", "fails", "worse"),
        ("45 A", "23 A", "holds", "caution", "worse"),
        ("23 A", "12 A", "caution", "fails", "worse"),
        ("12 A", "11 A", "fails", "fails", "worse"),
        ("23 A", "22.5 A", "caution", "caution", "worse"),
        ("12 A", "12.001 A", "fails", "fails", "already so"),
        ("12.001 A", "12 A", "fails", "fails", "already so"),
        ("11 A", "12 A", "fails", "fails", "already so"),
        ("11 A", "23 A", "fails", "caution", "mended"),
        ("11 A", "45 A", "fails", "holds", "mended"),
        ("45 A", "40 A", "holds", "holds", "holds"),
        ("45 A", None, "holds", "not determined", "newly not determined"),
        ("11 A", None, "fails", "not determined", "newly not determined"),
        (None, None, "not determined", "not determined", "not determined"),
        (None, "11 A", "not determined", "fails", "worse"),
        (None, "45 A", "not determined", "holds", "holds"),
    ],
)
def test_the_kind_of_a_finding_with_one_figure(today, then, before, after, kind):
    found = _kind(
        MACHINE,
        {"charging.machine": {"current_supplied": today}},
        {"charging.machine": {"current_supplied": then}},
    )
    assert (found.verdict_before, found.verdict, found.kind) == (before, after, kind), found.sentence


def test_a_caution_today_is_a_failure_today_when_its_own_limit_says_so():
    """The dynamo at twice its output fails today, whether the set mends it or leaves it."""
    weak = {"charging.machine": {"current_supplied": "11 A"}}
    left, mended = _kind(MACHINE, weak, weak), _kind(MACHINE, weak, {})
    assert left.verdict_before is mended.verdict_before is Verdict.fails
    assert (left.kind, mended.kind) == (FindingKind.already_so, FindingKind.mended)


def test_another_stranger_among_the_voltages_is_worse_and_the_same_one_is_not():
    six = {"headlamp.left": {"rated_voltage": "6 V"}}
    more = {**six, "charging.machine": {"rated_voltage": "6 V"}}
    assert _kind("electrical.voltage", six, six).kind is FindingKind.already_so
    assert _kind("electrical.voltage", six, more).kind is FindingKind.worse
    assert _kind("electrical.voltage", more, {}).kind is FindingKind.mended


def test_one_more_of_the_wrong_polarity_is_worse():
    one = {"battery": {"polarity": "positive"}}
    more = {**one, "ignition.coil": {"polarity": "positive"}}
    assert _kind("electrical.polarity", one, one).kind is FindingKind.already_so
    assert _kind("electrical.polarity", one, more).kind is FindingKind.already_so, "one against two, as today"
    assert _kind("electrical.polarity", {}, one).kind is FindingKind.worse


def test_a_check_that_the_set_brings_has_no_today_and_one_that_it_takes_away_is_mended():
    ratios = {"gears.front": {"axle_ratio": "4.7"}}
    brought = Made(ratios).check()["driveline.axle_ratios"]
    assert brought.verdict_before is None
    assert (brought.verdict, brought.kind) == (Verdict.fails, FindingKind.worse)
    was = Made(ratios)
    gone = {**was.after, "gears.front": None}
    found = {f.check: f for f in check_set(was.book, was.vehicle, was.after, gone, "")}
    taken = found["driveline.axle_ratios"]
    assert (taken.verdict_before, taken.verdict, taken.kind) == (
        Verdict.fails,
        Verdict.holds,
        FindingKind.mended,
    )
    assert taken.sentence.startswith("No longer applies with this set. Today: ")


def test_the_headline_speaks_of_the_set_alone():
    weak = {"charging.machine": {"current_supplied": "11 A"}}
    assert headline([_kind(MACHINE, weak, weak)]) == "This set makes no check fail or worse."
    worse, lost = (
        _kind(MACHINE, {}, weak),
        _kind(MACHINE, {}, {"charging.machine": {"current_supplied": None}}),
    )
    assert headline([worse]) == "This set makes 1 check fail or worse."
    assert headline([worse, worse]) == "This set makes 2 checks fail or worse."
    assert headline([lost]) == (
        "This set makes nothing fail, but 1 check cannot be worked out any more, or not for what it brings."
    )
    assert headline([worse, lost]) == (
        "This set makes 1 check fail or worse, and 1 check cannot be worked out any more, "
        "or not for what it brings."
    )
    assert verdict_of_set([lost]) is Verdict.not_determined
    assert verdict_of_set([worse, lost]) is Verdict.fails
    assert counted([worse, lost, worse])[FindingKind.worse] == 2
