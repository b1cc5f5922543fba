"""A small run of the made-up year: the grade rule finds the false claims, at the false alarm that is told."""

import random

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.standing import claims_named
from graftbook.database import make_engine
from graftbook.rulebook.grading import Report, TrialOutcome, standing
from tests.catalogue.sheet import sheet
from tests.reports.year import Course, Tried, builds, figures, many, reports_of, truths

pytestmark = pytest.mark.one_engine


@pytest.fixture(scope="module")
def made(sqlite_demo: Engine) -> list[list[Tried]]:
    """Eight builds, two of each kind of vehicle to each specification."""
    return builds(sqlite_demo, 8)


def test_the_rule_finds_false_claims_soon_and_seldom_doubts_true_ones(made: list[list[Tried]]) -> None:
    found = many(made, 12, 100)
    assert found.told > 0.95
    assert found.lowered > 0.9
    assert found.soon <= 2
    assert found.alarm_lowered < 0.08
    assert found.breaks_wrong < 0.02


def test_a_rule_that_believed_everybody_would_be_seen(made: list[list[Tried]]) -> None:
    """The figures can fail: with workshops that report at random they do."""
    honest = many(made, 10, 100)
    chance = random.Random(1)
    courses = []
    for _ in range(10):
        by_claim: dict[str, Course] = {}
        known: dict[str, list[Report]] = {}
        for one, report in reports_of(made, {}, 100, chance):
            blind = Report(report.name, chance.choice(list(TrialOutcome)), "x", report.on, "24PL", len(known))
            known.setdefault(one.claim, []).append(blind)
            now = standing(one.evidence, tuple(known[one.claim]), one.worked)
            course = by_claim.setdefault(one.claim, Course(False, False))
            course.reports, course.lowered = len(known[one.claim]), now.lowered
        courses.append(list(by_claim.values()))
    assert figures(courses).alarm_lowered > 3 * honest.alarm_lowered


def test_the_service_grades_as_the_year_does(demo_copy, made: list[list[Tried]]) -> None:
    """A year's reports as records: every claim stands in the catalogue as it does in the made-up year."""
    engine = make_engine(demo_copy())
    chance = random.Random(18)
    false = truths([one for build in made for one in build], chance)
    tried = reports_of(made, false, 60, chance)
    head = "[report]\nname,outcome,workshop,on,chassis,component,position,options\n"
    rows = [
        f"{report.name},{report.outcome},{report.workshop},{report.on},{report.chassis_prefix}-"
        f"{report.chassis_serial:06d},{one.component},{one.position},\n"
        for one, report in tried
    ]
    loaded = load(engine, sheet(head + "".join(rows)))
    assert loaded.ok, loaded.mistakes[:3]
    names = {one.claim for one, _ in tried}
    with Session(engine) as session:
        claims = {claim.name: claim for claim in claims_named(session.connection(), names)}
    for name in names:
        mine = tuple(report for one, report in tried if one.claim == name)
        (one, *_) = [one for one, _ in tried if one.claim == name]
        assert claims[name].standing.grade == standing(one.evidence, mine, one.worked).grade, name
    engine.dispose()
