"""The grade of a claim: the rule as a table of cases and as properties, its arithmetic beside a library's."""

from datetime import date, timedelta
from itertools import permutations
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, betabinom, fisher_exact

from graftbook.rulebook.grading import (
    CHANCE,
    MOST,
    WORTH,
    Evidence,
    Grade,
    Report,
    Standing,
    TrialOutcome,
    anywhere,
    break_in,
    each_vehicle,
    lower_bound,
    of_sources,
    one_split,
    standing,
    tally,
)

DAY = date(2026, 3, 2)
FITTED, WORK, NOT = TrialOutcome


def report(
    number: int, outcome: TrialOutcome, shop: str = "", serial: int | None = None, day: int = 0
) -> Report:
    serial = 1000 + number if serial is None else serial
    on = DAY + timedelta(days=day)
    return Report(f"r{number}", outcome, shop or f"shop {number}", on, "24PL", serial)


def told(*outcomes: TrialOutcome, shop: str = "") -> tuple[Report, ...]:
    return tuple(report(number, outcome, shop) for number, outcome in enumerate(outcomes))


def source(grade: Grade) -> tuple[Evidence, ...]:
    return (Evidence("e", grade, "p. 1"),) if grade else ()


def stands(grade: Grade, *reports: Report, worked: bool = False) -> Standing:
    return standing(source(grade), reports, worked)


# What the source says; what independent workshops found; the grade.
CASES = [
    ("none", "", "none"),
    ("none", "+", "hearsay"),
    ("none", "++", "parts_book"),
    ("none", "+++", "measured"),
    ("none", "++++", "trial_fitted"),
    ("none", "++++++++++++", "trial_fitted"),
    ("none", "-", "none"),
    ("none", "+-", "hearsay"),
    ("hearsay", "+", "hearsay"),
    ("hearsay", "++", "workshop_manual"),
    ("hearsay", "+++", "measured"),
    ("hearsay", "-", "hearsay"),
    ("parts_book", "+", "measured"),
    ("parts_book", "++", "trial_fitted"),
    ("parts_book", "-", "hearsay"),
    ("parts_book", "++-", "parts_book"),
    ("parts_book", "++++-", "measured"),
    ("parts_book", "++++++--", "measured"),
    ("workshop_manual", "+", "measured"),
    ("measured", "-", "hearsay"),
    ("measured", "+++-", "measured"),
    ("trial_fitted", "-", "parts_book"),
    ("trial_fitted", "--", "hearsay"),
    ("trial_fitted", "++-", "measured"),
    ("trial_fitted", "+++-", "trial_fitted"),
    ("built_and_driven", "-", "measured"),
    ("built_and_driven", "--", "parts_book"),
    ("built_and_driven", "---", "hearsay"),
    ("built_and_driven", "+++++-", "built_and_driven"),
    ("parts_book", "w", "hearsay"),
    ("trial_fitted", "w", "measured"),
    ("parts_book", "www", "hearsay"),
]
MARKS = {"+": FITTED, "w": WORK, "-": NOT}


@pytest.mark.parametrize(("says", "found", "grade"), CASES)
def test_the_table_of_cases(says: str, found: str, grade: str) -> None:
    assert stands(Grade[says], *told(*(MARKS[mark] for mark in found))).grade is Grade[grade]


@pytest.mark.parametrize("grade", list(Grade))
def test_without_reports_a_claim_is_worth_its_source(grade: Grade) -> None:
    assert stands(grade).grade is grade
    assert not stands(grade).contradicted
    assert not stands(grade).lowered


def test_a_contradiction_is_told_even_where_it_changes_no_grade() -> None:
    after = stands(Grade.trial_fitted, *told(*[FITTED] * 6, NOT))
    assert after.grade is Grade.trial_fitted
    assert after.contradicted
    assert not after.lowered
    assert stands(Grade.trial_fitted, *told(NOT)).lowered


def test_work_is_no_contradiction_where_the_claim_says_that_there_is_work() -> None:
    assert stands(Grade.parts_book, *told(WORK, WORK), worked=True).grade is Grade.trial_fitted
    assert stands(Grade.parts_book, *told(WORK, WORK)).contradicted


def test_one_workshop_never_counts_as_three() -> None:
    apart, together = tally(told(*[FITTED] * 40)), tally(told(*[FITTED] * 40, shop="one"))
    assert apart == (40.0, 0.0)
    assert 1.9 < together[0] < 2.0
    assert stands(Grade.none, *told(*[FITTED] * 40, shop="one")).grade is Grade.hearsay


def test_of_one_vehicle_the_last_word_of_a_workshop_counts() -> None:
    first, then = report(0, NOT, "a", 7, day=0), report(1, FITTED, "A", 7, day=3)
    assert each_vehicle([then, first]) == [then]
    same_day = report(2, NOT, "a", 7, day=3)
    assert each_vehicle([same_day, then]) == [same_day]


def test_disputed_sources_are_hearsay() -> None:
    failed = Evidence("e", Grade.measured, "x", fitted=1, not_fitted=2)
    assert of_sources([failed]) is Grade.hearsay
    assert of_sources([failed, *source(Grade.parts_book)]) is Grade.parts_book


OUTCOMES = st.sampled_from(TrialOutcome)
REPORTS = st.lists(
    st.builds(
        report,
        st.integers(0, 10_000),
        OUTCOMES,
        st.sampled_from(["a", "b", "c", "d", "e"]),
        st.integers(0, 30),
        st.integers(0, 9),
    ),
    max_size=14,
    unique_by=lambda one: one.name,
)
GRADES = st.sampled_from(Grade)


@given(GRADES, REPORTS, st.booleans(), st.randoms(use_true_random=False))
def test_the_order_of_reports_does_not_matter(grade, reports, worked, chance) -> None:
    mixed = list(reports)
    chance.shuffle(mixed)
    assert standing(source(grade), tuple(mixed), worked) == standing(source(grade), tuple(reports), worked)


@given(GRADES, REPORTS, st.booleans(), st.integers(0, 30), st.sampled_from(["a", "b", "f"]))
def test_an_agreeing_report_never_lowers_and_a_contradicting_one_never_raises(
    grade, reports, worked, serial, shop
) -> None:
    before = stands(grade, *reports, worked=worked)
    agreeing = stands(grade, *reports, report(-1, FITTED, shop, serial, day=20), worked=worked)
    against = stands(grade, *reports, report(-2, NOT, shop, serial, day=20), worked=worked)
    assert agreeing.grade >= before.grade
    assert agreeing.share >= before.share - 1e-12
    assert against.grade <= before.grade
    assert against.share <= before.share + 1e-12
    assert against.contradicted


@given(st.sampled_from(list(Grade)[:-1]), REPORTS)
def test_a_better_source_never_gives_a_lower_grade(grade: Grade, reports: list[Report]) -> None:
    assert stands(Grade(grade + 1), *reports).grade >= stands(grade, *reports).grade


@given(GRADES, st.lists(OUTCOMES, min_size=1, max_size=8))
def test_reports_of_one_workshop_count_for_less_than_those_of_several(grade, outcomes) -> None:
    held, failed = tally(told(*outcomes))
    held_there, failed_there = tally(told(*outcomes, shop="one"))
    assert held_there <= held
    assert failed_there <= failed
    assert (held_there + failed_there < held + failed) == (len(outcomes) > 1)


@given(GRADES, REPORTS)
def test_reports_alone_never_say_that_it_was_driven(grade: Grade, reports: list[Report]) -> None:
    assert stands(grade, *reports).grade <= max(grade, Grade.trial_fitted)


@given(st.floats(0.5, 300), st.floats(0.5, 300))
def test_the_bound_is_that_of_a_library(a: float, b: float) -> None:
    assert lower_bound(a, b) == pytest.approx(beta.ppf(CHANCE, a, b), abs=1e-10)


def test_the_bound_promises_what_it_says_of_the_next_vehicles() -> None:
    """With a flat start, after three that held: the share whose fourth power is the chance."""
    assert lower_bound(4, 1) == pytest.approx(CHANCE**0.25)
    assert betabinom.pmf(1, 1, 4, 1) == pytest.approx(4 / 5)
    assert list(WORTH.values()) == sorted(set(WORTH.values()))


# Breaks.


def along(marks: str, prefix: str = "24PL") -> list[Report]:
    """Reports in the order of chassis numbers, a workshop for each."""
    return [
        Report(f"r{n}", MARKS[mark], f"shop {n}", DAY, prefix, 18000 + 100 * n)
        for n, mark in enumerate(marks)
    ]


def test_failures_before_a_number_propose_a_break() -> None:
    found = break_in(along("-----++++++"))
    assert found is not None
    assert found.early
    assert (found.before, found.after) == (18400, 18500)
    assert (found.failed_low, found.low, found.failed_high, found.high) == (5, 5, 0, 6)
    assert found.p == pytest.approx(2 / 462)


def test_failures_after_a_number_propose_a_break_the_other_way() -> None:
    found = break_in(along("+++++++----"))
    assert found is not None
    assert not found.early
    assert (found.before, found.after) == (18600, 18700)


@pytest.mark.parametrize("marks", ["", "+", "-", "----", "++++", "-+", "--++", "-+-+-+-+", "++-+++-++"])
def test_what_chance_explains_proposes_nothing(marks: str) -> None:
    assert break_in(along(marks)) is None


def test_prefixes_are_looked_at_apart() -> None:
    two = along("-----", "16PL") + along("+++++++", "24PL")
    assert break_in(two) is None
    found = break_in([*along("-----+++++", "16PL"), *along("+++++++", "24PL")])
    assert found is not None
    assert found.prefix == "16PL"


@given(st.integers(2, 30), st.data())
def test_one_split_is_fishers_exact_test(vehicles: int, data: st.DataObject) -> None:
    failures = data.draw(st.integers(1, vehicles - 1))
    passed = data.draw(st.integers(1, vehicles - 1))
    failed = data.draw(st.integers(max(0, failures - vehicles + passed), min(failures, passed)))
    table = [[failed, passed - failed], [failures - failed, vehicles - passed - failures + failed]]
    sides = [fisher_exact(table, alternative=side).pvalue for side in ("less", "greater")]
    expected = min(1.0, 2 * min(sides))
    assert float(one_split(vehicles, failures, passed, failed)) == pytest.approx(expected)


@pytest.mark.parametrize(("vehicles", "failures"), [(6, 2), (7, 3), (8, 4)])
def test_the_strength_is_the_share_of_all_orders(vehicles: int, failures: int) -> None:
    """Every order of the outcomes is made, and its best split looked for."""
    places = set(range(1, vehicles))
    orders = set(permutations([1] * failures + [0] * (vehicles - failures)))

    def best(order: tuple[int, ...]):
        return min(one_split(vehicles, failures, n, sum(order[:n])) for n in places)

    for wanted in {best(order) for order in orders}:
        share = sum(best(order) <= wanted for order in orders) / len(orders)
        assert float(anywhere(vehicles, failures, wanted, places)) == pytest.approx(share)


def test_two_reports_of_one_number_are_never_on_two_sides() -> None:
    marks = along("---+++")
    twice = [Report("x", FITTED, "other", DAY, "24PL", 18200), *marks]
    found = break_in(twice)
    assert found is None or found.before != found.after


def test_many_vehicles_are_corrected_by_the_number_of_splits() -> None:
    marks = "-" * 20 + "+" * (MOST + 1)
    found = break_in(along(marks))
    assert found is not None
    assert found.before == 18000 + 1900
    # One order of so many has them all first, and one all last; there are as many places less one to look at.
    assert found.p == pytest.approx((len(marks) - 1) * 2 / comb(len(marks), 20), abs=0)
