"""A mechanic can follow every fitting sequence: on the demo's questions, single wishes and random worlds."""

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest

from graftbook.closure.answer import Solution
from graftbook.closure.answering import answer_question
from graftbook.orders.fitting.jobs import fitting_sequence
from graftbook.orders.fitting.schedule import earliest_finish
from graftbook.orders.fitting.service import sequence_facts
from graftbook.orders.question_schemas import FittingIn
from graftbook.problems import Problem
from graftbook.process.service import Service
from graftbook.questions.reading import ask, at_revision
from graftbook.rulebook.model import Access, Companion, Precedence, RuleBook, Vehicle
from tests.closure.worlds import VEHICLE, World
from tests.conftest import application
from tests.orders.mechanic import Step, Vexed, follow
from tests.running import cases
from tests.scenarios.reading import Scenario, scenarios

ASKED = [case for case in scenarios() if case.path == "/v1/closures"]
CHASSIS = ("16PR-011000", "24PL-018412", "32XL-009000")
STATES = ("disconnected", "depressurised", "on stands", "drained", "bled")
Work = tuple[RuleBook, Vehicle, Solution, list[Step]]


@pytest.fixture(scope="module")
def demo(sqlite_demo_url: str) -> Iterator[Service]:
    with application(sqlite_demo_url, seconds_to_reason=30) as app:
        yield app.state.service


def work_of(service: Service, body: dict[str, Any]) -> Work | None:
    """The set of a question and its steps as they are sent; None where it has no set."""
    given = FittingIn.model_validate({k: v for k, v in body.items() if k in FittingIn.model_fields})
    asked = at_revision(service, given, lambda then: ask(then, given))
    answer = answer_question(asked.book, asked.question, next_bests=False)
    if answer.solution is None:
        return None
    return (
        asked.book,
        asked.question.vehicle,
        answer.solution,
        steps_of(asked.book, asked.question.vehicle, answer.solution),
    )


def steps_of(book: RuleBook, vehicle: Vehicle, solution: Solution) -> list[Step]:
    found = fitting_sequence(book, vehicle, solution)
    facts = sequence_facts(found, earliest_finish(found, 1), 1, {})
    assert facts["circles"] == []
    assert facts["minutes"] == solution.totals.labour
    return facts["steps"]


@pytest.mark.parametrize("case", ASKED, ids=lambda case: case.file.removesuffix(".toml"))
def test_the_set_of_a_scenario_can_be_fitted_step_by_step(case: Scenario, demo: Service) -> None:
    if work := work_of(demo, case.ask):
        follow(*work)


@pytest.mark.parametrize("chassis", CHASSIS)
def test_a_single_wish_can_be_fitted_step_by_step(chassis: str, demo: Service) -> None:
    given = FittingIn.model_validate({"vehicle": {"chassis": chassis}, "wishes": []})
    book = at_revision(demo, given, lambda then: ask(then, given)).book
    numbers = sorted({fitment.component for fitment in book.fitments})
    loose = sorted(number for number, part in book.components.items() if part.loose)
    chance = random.Random(chassis)
    some = [*chance.sample(numbers, cases(10)), *chance.sample(loose, min(cases(2), len(loose)))]
    done = 0
    for number in some:
        try:
            work = work_of(demo, {"vehicle": {"chassis": chassis}, "wishes": [{"fit": number}]})
        except Problem:
            continue
        if work:
            follow(*work)
            done += 1
    assert done > len(some) // 3


# Random worlds ------------------------------------------------------------------------------------------


def random_access(chance: random.Random, places: list[str]) -> tuple[Access, ...]:
    """What is off lies further out than the place that it is off for, so nothing is in a circle."""
    found = []
    for number, (inner, outer) in enumerate(combinations(places, 2)):
        if chance.random() < 0.6:
            found.append(Access(name=f"a{number}", position=inner, other_position=outer, reason="r"))
    for number, place in enumerate(places):
        state, other = chance.choice(STATES), chance.choice(places)
        if chance.random() < 0.6 and not (state == "bled" and other != places[-1]):
            found.append(
                Access(name=f"s{number}", position=place, other_position=other, reason="r", state=state)
            )
    return tuple(found)


def ordered_rules(chance: random.Random, rules: tuple[Companion, ...]) -> tuple[Companion, ...]:
    def ordered(rule: Companion) -> Companion:
        return replace(
            rule,
            alternatives=tuple(
                replace(a, goes_on=chance.choice(["", "before", "after"]) if a.loose else "")
                for a in rule.alternatives
            ),
        )

    return tuple(map(ordered, rules))


@pytest.mark.parametrize("seed", range(cases(60)))
def test_the_set_of_a_random_world_can_be_fitted_step_by_step(seed: int) -> None:
    world = World(seed + 70_000)
    chance = random.Random(seed)
    accesses = random_access(chance, world.places)
    orders = tuple(
        Precedence(name=f"p{a}{b}", first=a, then=b, reason="r")
        for a, b in combinations(world.places, 2) if chance.random() < 0.3
    )  # fmt: skip
    book = world.book()
    book = replace(
        book, accesses=accesses, precedences=orders, companions=ordered_rules(chance, book.companions)
    )
    answer = answer_question(book, world.question(), next_bests=False)
    if answer.solution is not None:
        follow(book, VEHICLE, answer.solution, steps_of(book, VEHICLE, answer.solution))


# The mechanic is not easily pleased -----------------------------------------------------------------------


def at(steps: list[Step], job: str, work: str) -> int:
    return next(n for n, step in enumerate(steps) if (step["job"], step["work"]) == (job, work))


def moved(job: str, work: str, to: str, to_work: str) -> Callable[[list[Step]], None]:
    """The step is done right before another."""

    def spoil(steps: list[Step]) -> None:
        step = steps.pop(at(steps, job, work))
        steps.insert(at(steps, to, to_work), step)

    return spoil


def left_out(job: str, work: str) -> Callable[[list[Step]], None]:
    return lambda steps: steps.pop(at(steps, job, work)) and None


def used(job: str, *, times: int) -> Callable[[list[Step]], None]:
    def spoil(steps: list[Step]) -> None:
        step = steps[at(steps, job, "fitting")]
        step["loose_parts"] = step["loose_parts"] * times

    return spoil


def apart(job: str) -> Callable[[list[Step]], None]:
    """The loose parts of a step become steps of their own."""

    def spoil(steps: list[Step]) -> None:
        here = at(steps, job, "fitting")
        use, *rest = steps[here]["loose_parts"]
        steps[here] = steps[here] | {"loose_parts": rest}
        own = steps[here] | {"job": f"loose {use['component']}", "loose_parts": [use]}
        steps.insert(here, own)

    return spoil


def elsewhere(job: str, to: str) -> Callable[[list[Step]], None]:
    def spoil(steps: list[Step]) -> None:
        here, there = steps[at(steps, job, "fitting")], steps[at(steps, to, "fitting")]
        there["loose_parts"], here["loose_parts"] = here["loose_parts"], []

    return spoil


SPOILT: dict[str, tuple[str, Callable[[list[Step]], None]]] = {
    "a drum before its wheel": ("QB-3302", moved("rotor.front.left", "removing", "wheel.road", "removing")),
    "a wheel before the stands": (
        "QB-3302", moved("wheel.road", "removing", "on stands underframe", "removing"),
    ),
    "a wheel on before the brakes are bled": (
        "QB-3302", moved("wheel.road", "fitting", "bled brake.master", "fitting"),
    ),
    "a caliper before its disc": (
        "QB-3302", moved("brake.front.left", "fitting", "rotor.front.left", "fitting"),
    ),
    "a hub under its drum": (
        "QB-3302", moved("hub.front.left", "removing", "rotor.front.left", "removing"),
    ),
    "seals apart from the hub": ("QB-3302", apart("hub.front.left")),
    "seals in the servo": ("QB-3302", elsewhere("hub.front.left", "brake.pipes.rear")),
    "bolts used twice": ("QB-3302", used("brake.front.left", times=2)),
    "bolts left over": ("QB-3302", used("brake.front.left", times=0)),
    "the panel left out of its place": ("QB-3302", left_out("speedometer", "fitting")),
    "the brakes not bled": ("QB-3302", left_out("bled brake.master", "fitting")),
    "let down without nuts": ("QB-3302", moved("on stands underframe", "fitting", "wheel.nuts", "fitting")),
    "left on its stands": ("QB-3302", left_out("on stands underframe", "fitting")),
    "the propeller shaft with the gearbox out": (
        "QT-7000", moved("propshaft.rear", "fitting", "gearbox", "fitting"),
    ),
    "the clutch over the gearbox": ("QT-7000", moved("gearbox", "fitting", "clutch", "fitting")),
    "the gearbox not emptied": ("QT-7000", moved("gearbox", "removing", "drained gearbox", "removing")),
    "the battery joined too soon": (
        "QF-7000", moved("disconnected battery", "fitting", "fuel.metering", "fitting"),
    ),
    "fuel joints under pressure": ("QF-7000", left_out("depressurised fuel.feed", "removing")),
    "no look at the joints under pressure": ("QF-7000", left_out("depressurised fuel.feed", "fitting")),
}  # fmt: skip


@pytest.mark.parametrize("name", SPOILT)
def test_a_sequence_that_cannot_be_done_vexes_the_mechanic(name: str, demo: Service) -> None:
    wish, spoil = SPOILT[name]
    work = work_of(demo, {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": wish}]})
    assert work is not None
    *known, steps = work
    follow(*known, steps)
    spoil(steps)
    with pytest.raises(Vexed):
        follow(*known, steps)
