"""A year of a house, made up with known truth: does the grade rule find the false claims, and how soon?

    python -m tests.reports.year [--years 100] [--reports 100] [--seed 18]

Forty vehicles are built to two specifications on the demo range; the sets are those that the program itself
finds. Of the fitments in them some are false: they never fit, or only from a chassis number on. Workshops
report on what they fitted, with mistakes of their own. Printed is what the rule made of it, over many years.
"""

import argparse
import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question, RemedyFlaws, Wish
from graftbook.rulebook.grading import Evidence, Grade, Report, TrialOutcome, break_in, standing
from graftbook.rulebook.model import Severity, Vehicle
from tests.benchmarks.loaded import load_all, new_database
from tests.conftest import SEED as SEED_DATA

BUILDS, REPORTS, SEED = 40, 100, 18
SPECIFICATIONS: tuple[tuple[Wish, ...], ...] = (
    (FitComponent("QB-3310"), FitComponent("QB-3311")),
    (RemedyFlaws(Severity.moderate, "wheels"), RemedyFlaws(Severity.severe, "electrical")),
)
FALSE, BREAKS = 0.15, 0.4
"""So many of the claims are false, and so many of these hold from a chassis number on."""
WORKSHOPS = ("us", "us", "us", "North Road", "North Road", "Mill Lane", "Quay", "Old Forge")
"""Whoever reports: the house itself most of all."""
HOLDS = (0.95, 0.03, 0.02)
FAILS = (0.05, 0.10, 0.85)
"""How often a workshop reports fitted, after work, did not fit, where a claim holds and where it fails."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A claim that a build relies on, on its vehicle."""

    claim: str
    component: str
    position: str
    evidence: tuple[Evidence, ...]
    worked: bool
    vehicle: Vehicle


@dataclass(slots=True)
class Course:
    """How one claim fared in a year."""

    false: bool
    breaks: bool
    reports: int = 0
    told_after: int | None = None
    lowered_after: int | None = None
    lowered: bool = False
    proposed: bool = False


def builds(engine: Engine, count: int = BUILDS) -> list[list[Tried]]:
    """The claims under the set of each build: vehicles spread over the ranges, two specifications in turn."""
    books = Books(engine)
    made = []
    with Session(engine) as session:
        vehicles = [find_vehicle(session, chassis).vehicle for chassis in _chassis(count)]
    for number, vehicle in enumerate(vehicles):
        wishes = SPECIFICATIONS[number % 2]
        made.append(list(_claims(books, vehicle, wishes)))
    return made


def _chassis(count: int) -> list[str]:
    spans = (("24PL", 1000, 24000), ("24PR", 1000, 26000), ("16PR", 300, 9000), ("24CR", 500, 17000))
    chosen = random.Random(SEED)
    return [
        f"{prefix}-{chosen.randint(first, last):06d}"
        for prefix, first, last in (spans[n % len(spans)] for n in range(count))
    ]


def _claims(books: Books, vehicle: Vehicle, wishes: tuple[Wish, ...]) -> Iterator[Tried]:
    book = books.book(vehicle.variant)
    fitments = {fitment.name: fitment for fitment in book.fitments}
    answer = answer_question(book, Question(vehicle, wishes, seconds=60), next_bests=False)
    for change in answer.solution.changes if answer.solution else ():
        fitment = fitments.get(change.claim or "")
        if fitment is not None and not fitment.from_new:
            place = (fitment.component, fitment.position)
            yield Tried(fitment.name, *place, fitment.evidence, fitment.says_work, vehicle)


def truths(tried: Sequence[Tried], chance: random.Random) -> dict[str, int | None]:
    """The false claims: None, it never holds; else the serial that it holds from, whatever the prefix."""
    serials = defaultdict(list)
    for one in tried:
        serials[one.claim].append(one.vehicle.chassis_serial)
    false = [name for name in sorted(serials) if chance.random() < FALSE]
    return {
        name: chance.choice(sorted(serials[name])) if chance.random() < BREAKS else None for name in false
    }


def holds(claim: str, vehicle: Vehicle, false: dict[str, int | None]) -> bool:
    """Whether a claim is true of a vehicle."""
    if claim not in false:
        return True
    first = false[claim]
    return first is not None and vehicle.chassis_serial >= first


def reports_of(
    made: Sequence[Sequence[Tried]], false: dict[str, int | None], count: int, chance: random.Random
) -> list[tuple[Tried, Report]]:
    """So many reports in the order of their days, on what the builds rely on."""
    days = sorted(chance.randrange(365 * max(1, count // REPORTS)) for _ in range(count))
    found = []
    for number, day in enumerate(days):
        one = chance.choice(chance.choice([build for build in made if build]))
        odds = HOLDS if holds(one.claim, one.vehicle, false) else FAILS
        (outcome,) = chance.choices(list(TrialOutcome), odds)
        on, vehicle = date(2026, 1, 1) + timedelta(days=day), one.vehicle
        shop = chance.choice(WORKSHOPS)
        made_of = (vehicle.chassis_prefix, vehicle.chassis_serial)
        found.append((one, Report(f"r{number:04d}", outcome, shop, on, *made_of)))
    return found


def year(made: Sequence[Sequence[Tried]], count: int, chance: random.Random) -> list[Course]:
    """What the rule made of a year's reports, claim by claim, of those that were reported on."""
    false = truths([one for build in made for one in build], chance)
    known: dict[str, list[Report]] = defaultdict(list)
    courses: dict[str, Course] = {}
    for one, report in reports_of(made, false, count, chance):
        known[one.claim].append(report)
        course = courses.setdefault(one.claim, Course(one.claim in false, false.get(one.claim) is not None))
        _follow(course, one, tuple(known[one.claim]))
    for claim, course in courses.items():
        course.proposed = break_in(known[claim]) is not None
    return list(courses.values())


def _follow(course: Course, one: Tried, reports: tuple[Report, ...]) -> None:
    now = standing(one.evidence, reports, one.worked)
    course.reports = len(reports)
    if now.contradicted and course.told_after is None:
        course.told_after = len(reports)
    course.lowered = now.contradicted and (now.lowered or now.grade <= Grade.hearsay)
    if course.lowered and course.lowered_after is None:
        course.lowered_after = len(reports)


@dataclass(frozen=True, slots=True)
class Figures:
    """Shares between 0 and 1, over all years; `soon`: reports on a false claim until it was lowered."""

    tried_false: float
    told: float
    lowered: float
    lowered_of_three: float
    soon: float
    alarm_told: float
    alarm_lowered: float
    breaks_proposed: float
    breaks_wrong: float


def figures(years: Sequence[Sequence[Course]]) -> Figures:
    """What came of many years."""
    every = [course for one in years for course in one]
    false, true = [c for c in every if c.false], [c for c in every if not c.false]
    often = [c for c in false if c.reports >= 3 and not c.breaks]
    breaks = [c for c in false if c.breaks and c.reports >= 8]
    return Figures(
        tried_false=len(false) / len(years),
        told=_share([c.told_after is not None for c in false if not c.breaks]),
        lowered=_share([c.lowered for c in false if not c.breaks]),
        lowered_of_three=_share([c.lowered for c in often]),
        soon=median([c.lowered_after for c in false if c.lowered_after] or [0]),
        alarm_told=_share([c.told_after is not None for c in true]),
        alarm_lowered=_share([c.lowered for c in true]),
        breaks_proposed=_share([c.proposed for c in breaks]),
        breaks_wrong=_share([c.proposed for c in every if not c.breaks]),
    )


def _share(some: list[bool]) -> float:
    return round(sum(some) / len(some), 4) if some else 0.0


def many(made: Sequence[Sequence[Tried]], years: int, count: int, seed: int = SEED) -> Figures:
    """The figures of so many years of so many reports each."""
    return figures([year(made, count, random.Random(f"{seed} {n}")) for n in range(years)])


def told(count: int, found: Figures) -> Iterator[str]:
    """The figures in words."""
    yield f"{count} reports:"
    yield f"  false claims that were reported on        {found.tried_false:.1f}"
    yield f"  of those that never hold: contradicted    {found.told:.0%}"
    yield f"                            lowered         {found.lowered:.0%}"
    yield f"                            after 3 or more {found.lowered_of_three:.0%}"
    yield f"  reports until lowered (median)            {found.soon:g}"
    yield f"  true claims contradicted                  {found.alarm_told:.1%}"
    yield f"  true claims lowered (false alarm)         {found.alarm_lowered:.1%}"
    yield f"  breaks proposed, of 8 reports or more     {found.breaks_proposed:.0%}"
    yield f"  breaks proposed where there is none       {found.breaks_wrong:.2%}"


def main() -> None:
    """Print the figures of one year and of five years' reports together."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=100)
    parser.add_argument("--reports", type=int, default=REPORTS)
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args()
    with new_database() as engine:
        load_all(engine, SEED_DATA)
        made = builds(engine)
    claims = {one.claim for build in made for one in build}
    print(f"{len(made)} builds, {len(claims)} claims that they rely on.")
    for count in (given.reports, 5 * given.reports):
        print(*told(count, many(made, given.years, count, given.seed)), sep="\n")


if __name__ == "__main__":
    main()
