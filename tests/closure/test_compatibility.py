"""The answer "does it fit" never contradicts the whole reasoning of a closure."""

from collections import Counter
from dataclasses import replace

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.closure.answer import Cause, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.compatibility import Compatibility, Fits, FittingPlace, compatible, prove
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.search.possible import Looked
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.closure.words.sentences import compatibility_sentence, sentence
from graftbook.database import reading
from graftbook.rulebook.model import Component, Fitment, Position, RuleBook, Supply, Vehicle
from graftbook.rulebook.scope import Scope
from tests.closure.oracle import Oracle
from tests.closure.shelf import Shelf, at, needs
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import VEHICLE, World

Asked = tuple[RuleBook, Vehicle, dict[str, Compatibility]]
CHASSIS = ("24PL-018412", "16PR-000200")


@pytest.fixture(scope="module", params=CHASSIS)
def asked(request: pytest.FixtureRequest, sqlite_demo: Engine) -> Asked:
    """A rule book, a vehicle, and the answer for every component that the book names."""
    with reading(sqlite_demo) as session:
        vehicle = find_vehicle(session, request.param).vehicle
    book = Books(sqlite_demo).book(vehicle.variant)
    return book, vehicle, {number: compatible(book, vehicle, number) for number in sorted(book.components)}


def test_every_kind_of_answer_occurs(asked: Asked):
    book, _, answers = asked
    assert {answer.verdict for answer in answers.values()} == set(Fits)
    assert all(compatibility_sentence(book, answer).endswith(".") for answer in answers.values())


def test_what_does_not_fit_cannot_be_wished_for(asked: Asked):
    book, vehicle, answers = asked
    refused = [number for number, answer in answers.items() if answer.verdict is Fits.does_not]
    assert len(refused) > 20
    for number in refused:
        wish = Question(vehicle, (FitComponent(number),))
        assert answer_question(book, wish).outcome is Outcome.impossible, number


def test_what_fits_by_itself_brings_nothing_else(asked: Asked):
    book, vehicle, answers = asked
    tried = 0
    for number, answer in answers.items():
        if answer.verdict is not Fits.fits or answer.places[0].sits_today or answer.number != number:
            continue
        if book.components[number].supply is Supply.no_longer_supplied:
            continue  # it fits whoever has one, and a set of what can be bought does without
        place = answer.places[0].position
        solution = answer_question(book, Question(vehicle, (FitComponent(number, place),))).solution
        assert solution is not None, number
        # No change at all where a number that stands for it sits there already.
        assert {change.position for change in solution.changes} <= {place}, number
        tried += 1
    assert tried > 20


def test_the_other_side_of_a_pair_is_a_companion_and_is_named(asked: Asked):
    book, _, answers = asked
    tried = 0
    for answer in answers.values():
        for place in answer.places:
            pair = book.positions[place.position].pair
            if not pair or place.sits_today or place.verdict is Fits.does_not:
                continue
            assert place.verdict is not Fits.fits, place
            sides = [need for need in place.needs if need.cause is Cause.pair]
            assert sides or place.component in today_of(asked).values(), place
            assert all(need.components for need in sides), place
            tried += 1
    assert tried > 20


def today_of(asked: Asked) -> dict[str, str | None]:
    return Scope(asked[0], asked[1]).today


def test_a_sentence_says_how_far_was_looked_where_nothing_is_proved(asked: Asked):
    book, _, answers = asked
    open_ones = [a for a in answers.values() if a.places and not a.places[0].proved]
    assert open_ones
    for answer in open_ones:
        assert answer.places[0].looked_at is Looked.propagation
        assert compatibility_sentence(book, answer).endswith(
            "Only what must follow was looked at; ask for a closure to prove a whole set."
        )


def test_past_the_deadline_only_the_next_step_is_looked_at_and_that_is_said(asked: Asked):
    book, vehicle, answers = asked
    late = replace(book)
    number = next(n for n, a in answers.items() if a.places and a.places[0].needs and a.number == n)
    answer = compatible(late, vehicle, number, deadline=Deadline(0.0))
    assert answer.places[0].looked_at is Looked.next_step
    assert not answer.places[0].proved
    assert "Only the next step was looked at; ask for a closure" in compatibility_sentence(late, answer)
    assert compatible(late, vehicle, number) == answers[number], "what was cut short is not kept"


@pytest.mark.parametrize("number", ["QF-7325", "QB-7062", "QW-7611"])
def test_what_propagation_or_a_budget_forbids_does_not_fit_and_the_rules_are_told(
    sqlite_demo: Engine, number: str
):
    with reading(sqlite_demo) as session:
        vehicle = find_vehicle(session, "32XL-009000").vehicle
    book = Books(sqlite_demo).book(vehicle.variant)
    answer = compatible(book, vehicle, number)
    wish = Question(vehicle, (FitComponent(number),))
    assert answer_question(book, wish).outcome is Outcome.impossible
    assert answer.verdict is Fits.does_not
    assert answer.places[0].against
    told = compatibility_sentence(book, answer)
    assert all(sentence(book, part.ground).rstrip(".") in told for part in answer.places[0].against)


def test_what_sits_there_today_fits(asked: Asked):
    book, vehicle, _ = asked
    today = {p: c for p, c in Scope(book, vehicle).today.items() if c}
    for position, number in today.items():
        answer = compatible(book, vehicle, number, position)
        assert (answer.verdict, answer.number) == (Fits.fits, number), position


@pytest.mark.parametrize("block", range(4))
def test_on_random_catalogues_no_verdict_contradicts_the_closure(block: int):
    """Of each place exactly that component is wished for, so that no successor stands in for it."""
    told: dict[Fits, int] = dict.fromkeys(Fits, 0)
    unproved = wrong = 0
    for seed in seeds(90_000_000 + block * 1_000, 60):
        world = World(seed)
        book = world.book()
        for number in sorted(book.components):
            for place in compatible(book, VEHICLE, number).places:
                told[place.verdict] += 1
                possible = can_be(book, number, place)
                if place.proved:
                    assert (place.verdict is not Fits.does_not) == possible, (seed, place)
                else:
                    unproved += 1
                    wrong += not possible
    assert all(told[verdict] for verdict in (Fits.fits, Fits.with_companions, Fits.does_not))
    assert wrong <= unproved / 20


def test_on_random_catalogues_a_proof_says_what_the_solver_says():
    seen: Counter[str] = Counter()
    for seed in range(93_000_000, 93_000_040):
        book = World(seed).book()
        for number in sorted(book.components):
            before = compatible(book, VEHICLE, number)
            proved = prove(book, VEHICLE, before, Deadline(60))
            if not before.places:
                assert (proved.answer, proved.solution) == (before, None)
                continue
            best = proved.answer.places[0]
            seen["open before"] += not before.places[0].proved
            seen["another place"] += best.position != before.places[0].position
            if not best.proved:
                seen["open after"] += 1
                continue
            assert (best.verdict is not Fits.does_not) == can_be(book, number, best), (seed, best)
            assert proved.answer.verdict is best.verdict
            if best.verdict is Fits.does_not:
                assert all(place.verdict is Fits.does_not for place in proved.answer.places)
                assert all(not can_be(book, number, place) for place in proved.answer.places)
            if best.sits_today or best.verdict is Fits.does_not:
                assert proved.solution is None, (seed, best)
            elif proved.solution is None:
                seen["today's serves for it"] += 1
            if proved.solution is not None:
                changes = {(c.position, c.component) for c in proved.solution.changes}
                assert (best.position, best.component) in changes
                seen["a set"] += 1
    assert min(seen["open before"], seen["a set"]) > 5, seen
    assert seen["open after"] <= seen["open before"] / 5, seen
    assert seen["today's serves for it"] < seen["a set"] / 10, seen


def test_a_proof_takes_no_longer_than_its_deadline_and_leaves_the_rest_as_it_was(asked: Asked):
    book, vehicle, answers = asked
    open_one = next(a for a in answers.values() if a.places and not a.places[0].proved)
    proved = prove(book, vehicle, open_one, Deadline(0.0))
    assert (proved.answer, proved.solution) == (open_one, None)


class Paired(World):
    """Two places are changed together; what fits one of them fits the other too, or has a twin that does."""

    def _positions(self) -> dict[str, Position]:
        found = super()._positions()
        return found | {p: replace(found[p], pair="front") for p in self.places[:2]}

    def _components(self) -> list[Component]:
        one, other = (self.at[p] for p in self.places[:2])
        self.twins = {a: b for a, b in zip(one, other, strict=True) if self.chance(0.4)}
        self.twins |= {b: a for a, b in self.twins.items()}
        return [replace(part, twin=self.twins.get(part.number, "")) for part in super()._components()]

    def _fitments(self) -> list[Fitment]:
        one, other = self.places[:2]
        across = [(n, other) for n in self.at[one]] + [(n, one) for n in self.at[other]]
        return super()._fitments() + [
            self._fitment(n, p, from_new=False) for n, p in across if n not in self.twins and self.chance(0.8)
        ]


@pytest.mark.parametrize("block", range(2))
def test_on_random_pairs_the_other_side_is_a_companion_where_it_must_change_too(block: int):
    told: Counter[str] = Counter()
    for seed in seeds(91_000_000 + block * 1_000, 30):
        world = Paired(seed, dense=0.4)
        book, sides = world.book(), dict(zip(world.places[:2], world.places[1::-1], strict=True))
        for number in sorted(book.components):
            oracle = Oracle(book, Question(VEHICLE, (), on_the_bench=frozenset({number})))
            for place in compatible(book, VEHICLE, number).places:
                if place.sits_today or place.position not in sides:
                    continue
                other = sides[place.position]
                there = oracle.today[other]
                stays = there == place.component or oracle.twins(there, place.component)
                needs = [need for need in place.needs if need.cause is Cause.pair]
                assert bool(needs) != stays, (seed, place)
                if place.verdict is Fits.does_not:
                    told["does not"] += 1
                    continue
                told["stays" if stays else "changes"] += 1
                if stays:
                    continue
                assert place.verdict in (Fits.with_companions, Fits.after_work), (seed, place)
                assert all(n in oracle.can[other] for need in needs for n in need.components), (seed, place)
                if (after := set_with(book, number, place)) is not None:
                    told["solved"] += 1
                    assert after[other] != there, (seed, place)
                    assert after[other] in {n for need in needs for n in need.components}, (seed, place)
    assert min(told[word] for word in ("stays", "changes", "solved", "does not")) > 3, told


def can_be(book: RuleBook, asked: str, place: FittingPlace) -> bool:
    """Whether some set has this very component at the place, by the solver."""
    return place.sits_today or set_with(book, asked, place) is not None


def set_with(book: RuleBook, asked: str, place: FittingPlace) -> dict[str, str | None] | None:
    """What sits where in the best set that has this very component at the place; None where there is none."""
    wish = FitComponent(place.component, place.position)
    question = Question(VEHICLE, (wish,), on_the_bench=frozenset({asked}))
    problem = reach(Scope(book, VEHICLE, on_the_bench=frozenset({asked})), question)
    problem.domains[place.position] = [place.component]
    try:
        return solve(problem, 60).found.values
    except Unsolvable:
        return None


def test_what_has_the_rule_today_may_make_way_and_what_may_come_for_it_is_named():
    shelf = Shelf(horn="horn loud", lamp="lamp lamp2 lamp3")
    book = shelf.add("companions", needs("lamp rule", "lamp", at("horn", "horn"))).book()
    (place,) = compatible(book, VEHICLE, "loud").places
    assert place.verdict is Fits.with_companions
    (need,) = place.needs
    assert (need.name, need.components, need.possible) == ("lamp rule", ("lamp2", "lamp3"), True)
