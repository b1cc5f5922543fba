"""The lint says "never" exactly where brute force finds no set on any vehicle, on random catalogues."""

import random
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import pytest

from graftbook.catalogue.lint import closure as lint_closure
from graftbook.catalogue.lint.closure import AnyOf, Survey, attainable_somewhere
from graftbook.catalogue.lint.equipment import equipment_findings
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.lint.rules import RuleLint
from graftbook.closure.answer import Cause
from graftbook.closure.explain.solution import already_so
from graftbook.closure.question import FitComponent, Question, RemedyFlaw, Wish
from graftbook.closure.search.attainable import attainable
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.closure.verify import FinishedSet
from graftbook.rulebook.model import Budget, ChassisSpan, Fitment, Flaw, RuleBook, Supersession, Vehicle, When
from graftbook.rulebook.scope import Scope
from tests.closure.oracle import Oracle
from tests.closure.shelf import Shelf, amount, at, needs
from tests.closure.worlds import VARIANT, World

FIRST = date(1967, 1, 1)
LAST = FIRST + timedelta(days=730)
SERIALS = (1, 425, 426, 499, 500, 731)
"""Both sides of each bound that a random condition has: 426 was built on the first of March 1968."""


def book_of(seed: int) -> RuleBook:
    spans = tuple(ChassisSpan(prefix, 1, 731, FIRST, LAST) for prefix in ("24L", "24R"))
    variant = replace(VARIANT, spans=spans, options=frozenset({"heater"}))
    return replace(World(seed, positions=3, components=3).book(), variant=variant)


def vehicles() -> list[Vehicle]:
    return [
        Vehicle("v", prefix, serial, FIRST + timedelta(days=serial - 1), options)
        for prefix, serial, options in product(
            ("24L", "24R"), SERIALS, (frozenset[str](), frozenset({"heater"}))
        )
    ]


def possible(book: RuleBook, vehicle: Vehicle, wish: Wish, fitted: dict[str, str | None]) -> bool:
    return Oracle(book, Question(vehicle, (wish,), fitted=fitted)).best() is not None


def expected(book: RuleBook) -> dict[tuple, bool]:
    """What can be had on some vehicle, by what the lint would call it."""
    found: dict[tuple, bool] = {}
    scopes = [Scope(book, vehicle) for vehicle in vehicles()]
    for scope in scopes:
        sitting = {n for position in book.positions for n in scope.options(position) if n}
        for number in filter(scope.index.is_current, sitting):
            if not any(scope.is_today(fit) for fit in scope.serving(number)):
                key = (Wrong.dead, (number,), "")
                found[key] = found.get(key) or possible(book, scope.vehicle, FitComponent(number), {})
    for flaw in book.flaws:
        numbers = (flaw.component, *flaw.also_of)
        with_it = [s for s in scopes if s.holds(flaw) and any(map(s.today_places, numbers))]
        how = "from new" if with_it else "fitted"
        for scope in with_it or (s for s in scopes if s.holds(flaw)):
            for fitted in [{}] if with_it else flawed_with(scope, flaw):
                key = (Wrong.no_remedy, (flaw.name,), how)
                found[key] = found.get(key) or possible(book, scope.vehicle, RemedyFlaw(flaw.name), fitted)
    return found


def flawed_with(scope: Scope, flaw: Flaw) -> list[dict[str, str | None]]:
    return [fitted for number in (flaw.component, *flaw.also_of) for fitted in fitted_with(scope, number)]


def fitted_with(scope: Scope, number: str) -> list[dict[str, str | None]]:
    places = {f.position for f in scope.book.fitments if f.component == number and scope.holds(f)}
    pair_of = {name: position.pair for name, position in scope.book.positions.items()}
    return [
        {p: number for p in places if p == place or (pair_of[p] and pair_of[p] == pair_of[place])}
        for place in places
    ]


@pytest.mark.parametrize("seed", range(40))
def test_what_the_lint_calls_impossible_is_impossible_on_every_vehicle(seed: int) -> None:
    book = book_of(9_000 + seed)
    said = {v.key: v.well for v in RuleLint(book).verdicts() if v.key[0] in (Wrong.dead, Wrong.no_remedy)}
    assert said == expected(book)


def test_among_them_are_both() -> None:
    """The comparison would say nothing if no random catalogue had a dead component or a lasting flaw."""
    told = [v for seed in range(40) for v in RuleLint(book_of(9_000 + seed)).verdicts()]
    for wrong in (Wrong.dead, Wrong.no_remedy):
        assert {v.well for v in told if v.key[0] is wrong} == {True, False}


def test_what_is_impossible_is_explained_by_the_rules_that_stand_against_it() -> None:
    told = 0
    for seed in range(40):
        lint = RuleLint(book_of(9_000 + seed))
        keys = {v.key for v in lint.verdicts() if not v.well}
        for key, sentence in lint.explained(keys):
            assert "breaks" in sentence or key[0] is Wrong.no_remedy, sentence
            told += "breaks" in sentence
    assert told > 20


def told_of_equipment(book: RuleBook) -> dict[str, Wrong]:
    return {records[0]: wrong for (wrong, records), _ in equipment_findings(Survey(book))}


def expected_of_equipment(book: RuleBook) -> dict[str, Wrong]:
    """The rules that some vehicle breaks from new, and whether of all its sets one mends it."""
    found: dict[str, bool] = {}
    for scope in (Scope(book, vehicle) for vehicle in vehicles()):
        left = [note for note in already_so(FinishedSet(scope, {})) if note.cause is not Cause.fact]
        if left:
            sets = [best for _, best in Oracle(book, Question(scope.vehicle, ())).sets()]
        for note in left:
            mended = any(
                note not in already_so(FinishedSet(scope, dict(b.after), dict(b.loose))) for b in sets
            )
            found[note.name] = found.get(note.name, False) or mended
    return {name: Wrong.broken_from_new if had else Wrong.no_equipment for name, had in found.items()}


@pytest.mark.parametrize("seed", range(40))
def test_what_no_equipment_obeys_is_broken_by_every_set_there_is(seed: int) -> None:
    book = book_of(9_000 + seed)
    assert told_of_equipment(book) == expected_of_equipment(book)


def test_among_the_rules_broken_from_new_are_both() -> None:
    told = [wrong for seed in range(40) for wrong in told_of_equipment(book_of(9_000 + seed)).values()]
    assert {*told} == {Wrong.broken_from_new, Wrong.no_equipment}


def bounded(seed: int) -> RuleBook:
    """A random catalogue whose fitments hold for chassis numbers of their own, some in two quantities."""
    book, chance = book_of(seed), random.Random(seed)

    def held(fitment: Fitment, name: str, more: int) -> Fitment:
        first, last = sorted(chance.sample(range(1, 732), 2))
        when = When(chassis_prefix="24L", chassis_from=first, chassis_to=last)
        return replace(fitment, name=name, quantity=fitment.quantity + more, when=when)

    fitments = []
    for one in book.fitments:
        fitments.append(one if chance.random() < 0.3 else held(one, one.name, 0))
        if chance.random() < 0.2:
            fitments.append(held(one, f"{one.name} too", 5))
    return replace(book, fitments=tuple(fitments))


def test_asking_vehicles_together_finds_what_asking_each_does(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: Counter[str] = Counter()
    here: list[set[Wish]] = []

    def noted(scope: Scope, wishes: list[Wish], deadline: Deadline) -> set[Wish]:
        had = attainable(scope, wishes, deadline)
        if isinstance(scope, AnyOf):
            seen["vehicles together"] += len(scope.vehicles)
            here.append(had)
        return had

    monkeypatch.setattr(lint_closure, "attainable", noted)
    for seed in range(60):
        here.clear()
        survey = Survey(bounded(9_000 + seed))
        asked: list[tuple[Wish, list[Scope]]] = [
            (FitComponent(number), survey.places_for(number)) for number in survey.candidates
        ]
        asked += [(RemedyFlaw(flaw.name), survey.flawed(flaw)[1]) for flaw in survey.book.flaws]
        each = {wish for wish, scopes in asked if any(attainable(s, [wish], NEVER) for s in scopes)}
        assert attainable_somewhere(asked) == each, seed
        seen["had"] += len(each)
        seen["not"] += sum(bool(scopes) for _, scopes in asked) - len(each)
        seen["of vehicles together alone"] += len(set().union(*here) - each)
    assert min(seen.values()) > 1, seen


def within(first: int, last: int) -> When:
    return When(chassis_prefix="24L", chassis_from=first, chassis_to=last)


EARLY, LATE = within(1, 199), within(200, 399)


def had_of(shelf: Shelf, number: str) -> set[Wish]:
    """Whether one of the four kinds of vehicle that chassis numbers tell apart there can have a number."""
    shelf.fits("bracket", "lamp", when=within(100, 199))
    shelf.fits("shade", "lamp", when=within(300, 399))
    survey = Survey(replace(shelf.book(), variant=book_of(0).variant))
    scopes = survey.places_for(number)
    assert len(scopes) == 4
    return attainable_somewhere([(FitComponent(number), scopes)])


def test_how_many_sit_there_tells_vehicles_apart_though_the_part_is_the_same() -> None:
    """Of the early ones five lamps draw more than is given, and of the late ones one draws less."""
    shelf = (
        Shelf(lamp="old new bracket shade", dynamo="dynamo")
        .place("lamp", circuit="c")
        .place("dynamo", circuit="c")
    )
    shelf.part("dynamo", characteristics={"gives": amount(3)}).part(
        "new", characteristics={"takes": amount(1)}
    )
    shelf.fits("new", "lamp", when=EARLY, quantity=5)
    shelf.fitments.append(replace(shelf.fitments[-1], name="one new", when=LATE, quantity=1))
    shelf.add(
        "budgets", Budget(name="lamps", circuit="c", supply_kind="gives", demand_kind="takes", reason="")
    )
    assert had_of(shelf, "new") == {FitComponent("new")}


def test_what_a_successor_stands_for_tells_vehicles_apart() -> None:
    """On the early ones it stands for a part that nobody can please, on the late ones for another."""
    shelf = (
        Shelf(lamp="old first second bracket shade", horn="horn").retire("first").retire("second").part("new")
    )
    shelf.fits("first", "lamp", when=EARLY).fits("second", "lamp", when=LATE)
    shelf.add("supersessions", *(Supersession(name=n, old=n, new="new") for n in ("first", "second")))
    shelf.add("companions", needs("a bell", "first", at("bell", "horn")))
    assert had_of(shelf, "new") == {FitComponent("new")}
