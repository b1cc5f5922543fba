"""A recorded figure that cannot be stops no check and carries no verdict: it is named."""

import math
from collections import defaultdict
from copy import copy
from dataclasses import replace

import pytest

from graftbook.checks import set as checks_of_a_set
from graftbook.checks.curves import curves
from graftbook.checks.findings import FindingKind
from graftbook.checks.fitted import Fitted
from graftbook.checks.law import IN_SERVICE
from graftbook.checks.set import check_set
from graftbook.checks.verdict import Verdict
from graftbook.rulebook.index import index_of
from graftbook.rulebook.sane import SANE, sane
from graftbook.rulebook.scope import Scope
from graftbook.rulebook.units import Measure
from tests.checks.made import KINDS, Made
from tests.conftest import book_and_vehicle

CHASSIS = ["16PR-005000", "24PL-018412", "32XL-012000"]
HOSTILE = ("-x", "0", "1e-9", "1e12", "nan")


def _hostile(word, measure):
    ends = {"-x": (-measure.high, -measure.low), "0": (0.0, 0.0), "1e-9": (1e-9, 1e-9), "1e12": (1e12, 1e12)}
    low, high = ends.get(word, (math.nan, math.nan))
    return Measure(word if word != "-x" else f"-{measure.written}", low, high)


@pytest.fixture(scope="module")
def scopes(sqlite_demo):
    return [Scope(*book_and_vehicle(sqlite_demo, chassis)) for chassis in CHASSIS]


def _figures_fitted(scope):
    """FindingKind → who records it among what is fitted: component numbers, or "" for the variant."""
    found = defaultdict(list)
    for number in dict.fromkeys(n for n in scope.today.values() if n):
        for kind, measure in scope.book.components[number].characteristics.items():
            if measure.low is not None:
                found[kind].append(number)
    for kind, measure in scope.book.variant.facts.items():
        if measure.low is not None:
            found[kind].append("")
    return found


def _with(book, number, kind, measure):
    """The book with one figure recorded otherwise, or not at all."""

    def changed(figures):
        rest = {k: v for k, v in figures.items() if k != kind}
        return rest if measure is None else {**rest, kind: measure}

    if not number:
        other = replace(book, variant=replace(book.variant, facts=changed(book.variant.facts)))
        return _indexed(other, book)
    component = book.components[number]
    changed_one = replace(component, characteristics=changed(component.characteristics))
    other = replace(book, components={**book.components, number: changed_one})
    return _indexed(other, book)


def _indexed(book, like):
    """The book, with the look-up tables of one that differs in figures alone: none of them is of figures."""
    index = copy(index_of(like))
    index.book, index.scopes, index.notebook = book, {}, {}
    object.__setattr__(book, "_index", index)
    return book


def _found(scope, book):
    return {f.check: f for f in check_set(book, scope.vehicle, scope.today, scope.today)}


def _says_the_same(one, other):
    """The same verdict on the same judged figure, which is the first."""
    return one is not None and (one.verdict, one.figures[:1]) == (other.verdict, other.figures[:1])


def _words(at, place, long):
    """Each figure is tried with a wrong sign and with one of the others in turn; the long form tries all."""
    if at:
        return HOSTILE[:2]
    return HOSTILE if long else (HOSTILE[0], HOSTILE[1 + place % (len(HOSTILE) - 1)])


def test_no_figure_that_cannot_be_stops_a_check_or_carries_a_verdict(scopes, request):
    long = request.config.getoption("--long")
    tried = 0
    for at, scope in enumerate(scopes):
        usual = _found(scope, scope.book)
        figures = sorted((k, n) for k, n in _figures_fitted(scope).items() if k in SANE)
        for place, (kind, numbers) in enumerate(figures[at :: 4 if at else 1]):
            number = numbers[0]
            owner = scope.book.components[number].characteristics if number else scope.book.variant.facts
            without = None
            for word in _words(at, place, long):
                measure = _hostile(word, owner[kind])
                if sane(kind, measure.low) and sane(kind, measure.high):
                    continue
                tried += 1
                without = without or _found(scope, _with(scope.book, number, kind, None))
                found = _found(scope, _with(scope.book, number, kind, measure))
                for check, finding in found.items():
                    if finding.verdict is Verdict.not_determined:
                        continue
                    # A verdict beside such a figure is one that never read it.
                    assert _says_the_same(usual.get(check), finding), (kind, word, check)
                    assert _says_the_same(without.get(check), finding), (kind, word, check)
                named = [f for f in found.values() if any(kind in name for name in f.impossible)]
                assert named or set(found) == set(usual), (kind, word)
                assert all(measure.written in f.sentence for f in named), (kind, word)
    assert tried > 100


def test_what_can_be_but_makes_no_sense_together_ends_in_no_exception(scopes):
    """The ends of what each figure can be: the arithmetic may give way, the answer does not."""
    scope = scopes[1]
    for kind, numbers in sorted(_figures_fitted(scope).items()):
        for end in SANE.get(kind, ()):
            book = scope.book
            for number in numbers:
                book = _with(book, number, kind, Measure(f"{end:g}", end, end))
            for finding in _found(scope, book).values():
                assert finding.sentence
                assert all(f.after is None or math.isfinite(f.after) for f in finding.figures)
            curves(book, scope.vehicle, scope.today, scope.today)


@pytest.mark.parametrize(
    ("change", "check", "sentence"),
    [
        (
            {"gearbox": {"gear_1": "-3.6"}},
            "gearing.start",
            "first gear ratio of X-gearbox (gearbox) is recorded as -3.6, which cannot be",
        ),
        (
            {"halfshaft.rear.left": {"shaft_diameter": "-30 mm"}},
            "driveline.shaft.halfshaft.rear.left",
            "is recorded as -30 mm, which cannot be",
        ),
        (
            {"tyre.road": {"rolling_circumference": "-2177 mm"}},
            "brakes.deceleration",
            "rolling circumference of Y-tyre.road (road tyres) is recorded as -2177 mm, which cannot be",
        ),
        (
            {"brake.master": {"master_bore": "-25.4 mm"}},
            "brakes.pedal_force",
            "master cylinder bore of Y-brake.master (master cylinder) is recorded as -25.4 mm",
        ),
    ],
)
def test_a_slip_of_the_pen_is_named_and_is_no_verdict(change, check, sentence):
    finding = Made(change).check()[check]
    assert finding.verdict is Verdict.not_determined
    assert finding.kind is FindingKind.newly_not_determined
    assert sentence.replace("X-", "Y-") in finding.sentence
    assert [name.split(" ")[0] for name in finding.impossible] == list(*map(list, change.values()))
    assert not finding.missing


def test_a_load_that_cannot_be_is_not_left_out_of_the_sum():
    finding = Made({"wiper.motor": {"current_drawn": "-2.5 A"}}).check()["electrical.charging.worst"]
    assert finding.verdict is Verdict.not_determined
    assert "is recorded as -2.5 A, which cannot be" in finding.sentence


def test_zinc_that_cannot_be_is_said():
    finding = Made({"step.wells": {"zinc_thickness": "-60 um"}}).check()["corrosion.zinc.step.wells"]
    assert finding.verdict is Verdict.not_determined


def test_a_part_that_cannot_be_is_not_suggested():
    spare = {"brake.master": {"master_bore": "-20 mm"}}
    made = Made({"brake.master": {"master_bore": "40 mm"}}, spare_parts=spare)
    assert "Z-brake.master" not in made.check()["brakes.pedal_force"].mend
    assert made.fitted.candidates("brake.master", "master_bore")


@pytest.mark.parametrize("fault", [ZeroDivisionError, OverflowError, TypeError, ValueError])
@pytest.mark.parametrize("subject", checks_of_a_set.SUBJECTS)
def test_a_subject_whose_arithmetic_gives_way_is_one_finding(monkeypatch, subject, fault):
    usual = checks_of_a_set.SUBJECTS[subject]

    def gives_way(was, new, law):
        usual(was, new, law)
        raise fault("nothing that a reader could use")

    monkeypatch.setattr(checks_of_a_set, "SUBJECTS", {**checks_of_a_set.SUBJECTS, subject: gives_way})
    found = [f for f in Made().check().values() if f.subject == subject]
    assert [f.check for f in found] == [subject]
    assert found[0].verdict is Verdict.not_determined
    assert found[0].impossible
    assert all(name in found[0].sentence for name in found[0].impossible)
    assert "nothing that a reader could use" not in found[0].sentence


def test_a_subject_that_gives_way_with_the_set_alone_mends_nothing(monkeypatch):
    usual = checks_of_a_set.SUBJECTS["brakes"]

    def gives_way(was, new, law):
        if was is not new:
            raise TypeError
        return usual(was, new, law)

    monkeypatch.setattr(checks_of_a_set, "SUBJECTS", {**checks_of_a_set.SUBJECTS, "brakes": gives_way})
    found = Made({"brake.master": {"circuits": "1"}}).check()
    assert found["brakes"].kind is FindingKind.newly_not_determined
    assert not [f for f in found.values() if f.kind is FindingKind.mended]


def test_a_result_that_is_no_number_is_not_determined(monkeypatch):
    usual = checks_of_a_set.SUBJECTS["gearing"]

    def no_number(was, new, law):
        first, *rest = usual(was, new, law)
        figure = replace(first.figures[0], after=complex(1, 1))
        return [replace(first, figures=(figure,)), *rest]

    monkeypatch.setattr(checks_of_a_set, "SUBJECTS", {**checks_of_a_set.SUBJECTS, "gearing": no_number})
    assert [f.check for f in Made().check().values() if f.subject == "gearing"] == ["gearing"]


def test_every_figure_that_the_checks_read_has_a_range():
    read = set()
    for change in ({}, {"spring.front.left": {"spring_rate": "25 N/mm"}}):
        made = Made(change)
        fitted = Fitted(made.book, made.after, made.vehicle)
        for inspect in checks_of_a_set.SUBJECTS.values():
            inspect(fitted, fitted, IN_SERVICE)
        read |= {name.split(" ")[0] for name in fitted.read}
    numbers = {kind for kind in read if KINDS[kind].quantity not in ("text", "choice")}
    assert len(numbers) > 60
    assert numbers - SANE.keys() == set()
