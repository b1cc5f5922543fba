"""No remedy of a flaw has the same fault: the whole demo range is walked, and every meeting is judged."""

from collections import defaultdict

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.lint.vehicles import vehicles_that_differ
from graftbook.catalogue.store.tables import table
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import Fit, scope_for

ANOTHER_FAULT = {
    ("alloy-caliper-touches", "caliper-pistons-rust"), ("alloy-caliper-touches", "drum-fade"),
    ("alloy-caliper-touches", "drum-reverse-weak"), ("caliper-pistons-rust", "drum-fade"),
    ("caliper-pistons-rust", "drum-reverse-weak"), ("caliper-pistons-rust", "hand-adjust-front"),
    ("diagonal-wander", "old-casing"), ("driving-flange-drags", "freewheel-seizes"),
    ("drum-fade", "drum-reverse-weak"), ("drum-reverse-weak", "hand-adjust-front"),
    ("engine.oil-past-guides", "engine.rear-seal"), ("engine.radiator-leaks", "engine.radiator-silts"),
    ("felt-strips-hold-water", "nylon-isolation-lets-water-creep"), ("flat-rim", "flat-rim"),
    ("front-hub-seal-leaks", "metric-stud-mixed"), ("fuel.cork-float", "fuel.lean"),
    ("hand-brake-rods-wear", "transmission-brake-oily"), ("headlamps-dim", "headlamps-dim"),
    ("hose-swells", "hose-swells"), ("kingpin-starved", "stub-bearing-small"),
    ("limited-slip-chatters", "planet-gears-thin"), ("starter-pinion-jams", "starter-six-volts-cold"),
    ("steering.shimmy", "steering.wander"), ("suspension.heavy-springs-hop", "suspension.rear-springs-seize"),
    ("transmission.crash-gears", "transmission.reverse-caught-for-second"),
    ("transmission.crash-gears", "transmission.second-bush"),
    ("transmission.second-bush", "transmission.weak-synchromesh"),
    ("underframe-four-repair-weak-beside-welds", "underframe-rusts"),
    ("underframe-repair-weak-beside-welds", "underframe-rusts"),
    ("dynamo-34-cannot-carry-lights-and-heater", "dynamo-cannot-carry-lights-and-heater"),
}  # fmt: skip
"""What a remedy may bring: read as a fitter, another fault, or a lesser one than what it remedies. A rim
without a ledge against one without a hump; lamps of six volts against a bad switch; a hose that shuts
against one that gives; a dynamo that carries little against one that carries nothing at a halt."""

GENERATIONS = ("16", "24", "32", "17", "21", "640", "670", "left", "right", "early", "late", "long", "rear",
               "four", "minibus", "cab", "van")  # fmt: skip


def fault(flaw: str) -> str:
    """A flaw's name without what only tells which vehicle it is recorded for."""
    words = flaw.split("-")
    return flaw if "repair" in words else "-".join(w for w in words if w not in GENERATIONS)


def meetings(book: RuleBook) -> dict[tuple[str, str], set[str]]:
    """(flaw, flaw that a remedying component has) → those components."""
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for vehicle in vehicles_that_differ(book):
        scope = scope_for(book, vehicle)
        for flaw in filter(scope.holds, book.flaws):
            for position in {fit.position for n in flaw.components for fit in scope.places(n)}:
                for fit in (Fit(position, number) for number in scope.options(position) if number):
                    if not scope.has_flaw(fit, flaw):
                        for other in scope.flaws(fit):
                            found[flaw.name, other.name].add(fit.component or "")
    return found


@pytest.mark.one_engine
def test_no_remedy_in_the_demo_range_has_the_same_fault(sqlite_demo: Engine) -> None:
    judged = ANOTHER_FAULT | {(other, one) for one, other in ANOTHER_FAULT}
    same: set[tuple[str, str, str]] = set()
    met: set[tuple[str, str]] = set()
    with Session(sqlite_demo) as session:
        variants = sorted(session.connection().execute(table("variant").select()).scalars())
        for variant in variants:
            for (one, other), numbers in meetings(compile_book(session, variant)).items():
                met.add((fault(one), fault(other)))
                if (fault(one), fault(other)) not in judged:
                    same |= {(one, number, other) for number in numbers}
    assert same == set()
    assert {pair for pair in ANOTHER_FAULT if pair not in met and pair[::-1] not in met} == set()
