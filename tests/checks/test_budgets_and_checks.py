"""A budget of the rule book and the check of the same subject count one load: they never contradict."""

import random
from collections import Counter
from dataclasses import replace

import pytest

from graftbook.checks.curves import curves
from graftbook.checks.fitted import Fitted
from graftbook.checks.law import Binding, Rules, law_for
from graftbook.checks.set import SUBJECTS
from graftbook.checks.verdict import Finding, Verdict
from graftbook.closure.verify import short_of
from graftbook.rulebook import model as m
from graftbook.rulebook.scope import Scope
from graftbook.rulebook.units import read_measure
from tests.checks.made import KINDS, Made
from tests.conftest import book_and_vehicle
from tests.running import cases

CURRENT = m.Budget(
    name="charge",
    supply_kind="current_supplied",
    demand_kind="current_drawn",
    circuit="charging",
    usable=0.8,
    reason="the rest is lost",
)
FLOW = m.Budget(
    name="flow", supply_kind="pump_flow", demand_kind="fuel_flow", usable=0.8, reason="lines take their share"
)
FLUID = m.Budget(
    name="fluid",
    supply_kind="fluid_displaced",
    demand_kind="fluid_demand",
    usable=0.6,
    reason="the rest is kept for worn linings",
)
JUDGED = {
    "current_supplied": "electrical.charging.worst",
    "pump_flow": "fuel.pump_flow",
    "fluid_displaced": "brakes.displaced",
}
UNJUDGED = {"vacuum_supplied"}
"""Balanced by the rules alone: no check speaks of the vacuum, so none can contradict them."""
CHASSIS = ["16PR-005000", "16ER-009000", "24PR-012000", "24PR-020000", "24FL-020000", "32FR-009000"]


def _judged(book: m.RuleBook, vehicle: m.Vehicle, today, after) -> list[Finding]:
    """What the subjects that a budget has a check in find of a set, without the others."""
    was, new = Fitted(book, today, vehicle), Fitted(book, after, vehicle)
    rules = Rules(law_for(book.variant.market), Binding.in_service)
    subjects = sorted({name.partition(".")[0] for name in JUDGED.values()})
    return [finding for subject in subjects for finding in SUBJECTS[subject](was, new, rules)]


def _agree(scope: Scope, budget: m.Budget, sits, findings) -> bool:
    """Whether the check was determined; it then holds exactly where the budget is covered."""
    verdict = next(f.verdict for f in findings if f.check == JUDGED[budget.supply_kind])
    if verdict is Verdict.not_determined:
        return False
    covered = not short_of(scope, budget, sits)
    assert covered is (verdict is Verdict.holds), (budget.name, verdict, sits)
    return True


def _budget_of_check(book: m.RuleBook) -> list[m.Budget]:
    return [b for b in book.budgets if b.supply_kind in JUDGED]


@pytest.mark.parametrize("chassis", CHASSIS)
def test_on_random_sets_of_the_demo_range(sqlite_demo, chassis):
    scope = Scope(*book_and_vehicle(sqlite_demo, chassis))
    budgets = _budget_of_check(scope.book)
    assert {b.supply_kind for b in scope.book.budgets} <= JUDGED.keys() | UNJUDGED, "each has its check here"
    assert len(budgets) == len(JUDGED)
    inside = sorted({p for b in budgets for p in scope.index.positions_of_budget[b.name]} & set(scope.today))
    chance = random.Random(chassis)
    determined = 0
    for _ in range(60):
        after = dict(scope.today)
        for place in chance.sample(inside, 10):
            after[place] = chance.choice(sorted(scope.options(place), key=str))
        findings = _judged(scope.book, scope.vehicle, scope.today, after)
        determined += sum(_agree(scope, b, after, findings) for b in budgets)
    assert determined > 60


def _random_book(chance: random.Random) -> Made:
    """The made vehicle with random loads: spans, shares, times, places outside the circuit, pieces."""

    def amps(most):
        low = round(chance.uniform(0, most), 1)
        return chance.choice([f"{low} A", f"{low} .. {low + 1} A"])

    change = {}
    for place in ("fuel.pump", "ignition.coil", "headlamp.left", "wiper.motor", "flasher.unit", "radio"):
        time = chance.choice(["always", "night", "rain", "cold", "brief"])
        change[place] = {"current_drawn": amps(8), "load_time": time}
        if chance.random() < 0.3:
            change[place]["load_share"] = f"{chance.randint(0, 100)} %"
    change["gauge.ammeter"] = {"current_drawn": "40 A", "load_time": "always"}
    change["charging.machine"] = {"current_supplied": amps(60)}
    change["fuel.pump"]["pump_flow"] = f"{chance.randint(10, 60)} l/h"
    change["engine.unit"] = {"fuel_flow": f"{chance.randint(10, 40)} l/h"}
    for place in ("brake.front.left", "brake.front.right", "brake.rear.left", "brake.rear.right"):
        change[place] = {"fluid_demand": f"{chance.uniform(0.6, 2):.2f} ml"}
    change["brake.master"] = {"fluid_displaced": f"{chance.uniform(4, 14):.1f} ml"}
    made = Made(change)
    made.book = replace(made.book, budgets=(CURRENT, FLOW, FLUID))
    if chance.random() < 0.5:
        made.fit("headlamp.left", 2)
    return made


def test_on_random_vehicles():
    chance = random.Random(13)
    determined, verdicts = 0, Counter()
    count = cases(300)
    for _ in range(count):
        made = _random_book(chance)
        scope = Scope(made.book, made.vehicle)
        findings = _judged(made.book, made.vehicle, made.after, made.after)
        for budget in made.book.budgets:
            determined += _agree(scope, budget, made.after, findings)
            verdicts[budget.name] += bool(short_of(scope, budget, made.after))
    assert determined == 3 * count
    assert all(0.2 * count < verdicts[name] < 0.8 * count for name in ("charge", "flow", "fluid")), verdicts


@pytest.mark.parametrize(("machine", "expected"), [("17.5 A", Verdict.holds), ("17.4 A", Verdict.caution)])
def test_at_the_limit_both_turn_together(machine, expected):
    """3.5 + 1.5 + 2.5 + 4.5 + 2.0 are 14.0 A, four fifths of 17.5."""
    change = {"charging.machine": {"current_supplied": machine}}
    for place, amps in {"headlamp.left": "1 A", "headlamp.right": "1 A"}.items():
        change[place] = {"current_drawn": amps}
    made = Made(change)
    made.book = replace(made.book, budgets=(CURRENT,))
    assert made.check()["electrical.charging.worst"].verdict is expected
    assert short_of(Scope(made.book, made.vehicle), CURRENT, made.after) is (expected is Verdict.caution)


def test_the_rule_says_how_much_of_the_machine_may_be_used():
    made = Made({"charging.machine": {"current_supplied": "35 A"}})
    assert made.check()["electrical.charging.worst"].verdict is Verdict.holds
    made.book = replace(made.book, budgets=(replace(CURRENT, usable=0.5),))
    worst = made.check()["electrical.charging.worst"]
    assert worst.verdict is Verdict.caution
    assert "at most 50 % of what the machine gives" in worst.sentence


def test_of_two_rules_for_the_machine_the_chart_draws_the_first():
    made = Made({"charging.machine": {"current_supplied": "35 A"}})
    made.book = replace(made.book, budgets=(CURRENT, replace(CURRENT, name="second", usable=0.5)))
    drawn = curves(made.book, made.vehicle, made.after, made.after).charging
    assert (drawn.gives_after, drawn.usable) == (pytest.approx(35), 0.8)


def test_a_brief_load_counts_with_the_part_that_is_recorded_of_it():
    def load(share: str | None) -> float | None:
        unit = {"current_drawn": "10 A", "load_time": "brief", "load_share": share}
        made = Made({"flasher.unit": {k: v for k, v in unit.items() if v}})
        return made.check()["electrical.charging.day"].figures[1].after

    assert load("40 %") == pytest.approx(load(None) + 4.0)


def test_both_ends_of_a_span_count_at_their_worse():
    worst = Made({"wiper.motor": {"current_drawn": "2 .. 3 A"}}).check()["electrical.charging.worst"]
    assert worst.figures[1].after == pytest.approx(3.5 + 1.5 + 8 + 3 + 4.5)


def test_kinds_are_known():
    assert read_measure("40 %", KINDS["load_share"].quantity).si == pytest.approx(0.4)
