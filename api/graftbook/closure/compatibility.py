"""Does this component go there? What fitting it alone would break, and whether what must follow can be.

Cheap enough for hundreds of questions a second. The whole set that follows is a closure's answer.

Where the asker wants proof (the best whole set that holds it, or that there is none), a closure with the wish
for that component alone, without limits, settles each best place of which that left something open.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum

from graftbook.closure.answer import Because, Cause, Contradiction, Ground, Outcome, Solution
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.explain.reasons import Unexplained
from graftbook.closure.explain.solution import solution_of
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.brought import brought_on, pair_values
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import NEVER, Deadline, OutOfTime
from graftbook.closure.search.possible import Followed, Looked, follow
from graftbook.closure.search.problem import Demand
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.closure.search.totals import effort_of
from graftbook.closure.verify import Broken, RoundedAway, short_of
from graftbook.rulebook.index import index_of, kept
from graftbook.rulebook.model import (
    Claim,
    Companion,
    Conflict,
    Effort,
    Evidence,
    Grade,
    RuleBook,
    Vehicle,
    When,
)
from graftbook.rulebook.scope import Fit, Scope, ScopeTooLarge, loose_fit, scope_for

MOST_KEPT = 4_000
"""Answers about one vehicle, and what was found of its places, that are kept; then all are forgotten."""


class Fits(StrEnum):
    """Whether it fits, best first."""

    fits = "fits"
    with_companions = "fits with companions"
    after_work = "fits after work"
    does_not = "does not fit"
    not_known = "not known"


@dataclass(frozen=True, slots=True)
class ChangeNeeded:
    """A rule that fitting the component alone would break, so that something else must change too.

    `components` are what this vehicle can take with it to mend that: of a companion rule's alternatives,
    of a pair's other side, or in place of what sits there today and has the rule; empty for other rules.
    `possible` False: there is none. `effort`: the least work that they ask for.
    """

    cause: Cause
    name: str
    ground: Ground
    components: tuple[str, ...]
    grade: Grade
    possible: bool
    effort: Effort = Effort.direct


@dataclass(frozen=True, slots=True)
class FittingPlace:
    """One position where it may sit. `sits_today`: it is there already.

    `effort` is the most of its own work and of what each of its needs asks for at least.
    `proved`: a whole set with it is known, or it is certain that there is none, `against` it being the
    rules. Else `looked_at` says how far nothing stood in the way.
    """

    position: str
    component: str
    verdict: Fits
    effort: Effort
    minutes: int
    quantity: int
    sits_today: bool
    claim: str
    grade: Grade
    evidence: tuple[Evidence, ...]
    needs: tuple[ChangeNeeded, ...]
    looked_at: Looked
    proved: bool
    against: tuple[Because, ...]


@dataclass(frozen=True, slots=True)
class GoesWithOthers:
    """It is a loose part, and sits in no position."""


@dataclass(frozen=True, slots=True)
class GoesElsewhere:
    """It does not go to the position that was asked for; these are where it goes."""

    positions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GoesOnOthers:
    """It fits the variant, but only vehicles for which one of these holds; without one, other variants."""

    whens: tuple[When, ...] = ()


@dataclass(frozen=True, slots=True)
class Compatibility:
    """The answer to one question: today's number behind the one asked, and every place, best first.

    `nowhere`: why there is no place; None where there is one.
    """

    verdict: Fits
    asked: str
    number: str
    obtainable: bool
    places: tuple[FittingPlace, ...] = ()
    nowhere: GoesWithOthers | GoesElsewhere | GoesOnOthers | None = None


@kept
def _kept_answers(_scope: Scope) -> dict[tuple[str, str], Compatibility]:
    """By number and position what was answered of the vehicle."""
    return {}


@kept
def _kept_places(_scope: Scope) -> dict[Fit, FittingPlace]:
    """What was found of each fit on the vehicle."""
    return {}


def compatible(
    book: RuleBook, vehicle: Vehicle, number: str, position: str = "", deadline: Deadline = NEVER
) -> Compatibility:
    """Whether component `number` goes at `position` (anywhere, when empty) on the vehicle.

    `number` may be an old one; it must be in the book's components. When the deadline has passed, only
    the next step is looked at, and the answer says so.
    """
    scope = scope_for(book, vehicle)
    answers = _kept_answers(scope)
    found = answers.get((number, position))
    if found is None:
        found, lasting = _compatible(scope, number, position, deadline)
        if lasting:
            if len(answers) >= MOST_KEPT:
                answers.clear()
            answers[number, position] = found
    return found


def _compatible(scope: Scope, number: str, position: str, deadline: Deadline) -> tuple[Compatibility, bool]:
    """The answer, and whether it may be kept: nothing in it was cut short."""
    index = scope.index
    today = [n for n in index.serves(number) if index.is_current(n)]
    fits, with_it = _fits(scope, number, position), scope
    newer = (fit for n in today for fit in (fits if n == number else _fits(scope, n, position)))
    if not any(map(scope.is_today, fits)) and (found := list(newer)):
        fits = found
    elif not index.is_current(number) and any(map(index.fitments_of.get, index.stands_for(number))):
        with_it = scope.with_on_the_bench(number)
        fits = _fits(with_it, number, position)
    asked = _Places(with_it, deadline, _kept_places(scope))
    places = asked.of(fits)
    if places:
        best = places[0]
        return Compatibility(best.verdict, number, best.component, bool(today), tuple(places)), asked.lasting
    newest = today[0] if len(today) == 1 else number
    loose = number in index.loose
    nowhere = GoesWithOthers() if loose else _where_else(scope, number, position)
    verdict = Fits.not_known if loose else Fits.does_not
    return Compatibility(verdict, number, newest, bool(today), nowhere=nowhere), True


def _fits(scope: Scope, number: str, position: str) -> list[Fit]:
    places = (position,) if position else scope.positions_of(number)
    return [Fit(p, number) for p in places if number in scope.options(p)]


_RANK = {verdict: rank for rank, verdict in enumerate(Fits)}


def best_first(place: FittingPlace) -> tuple[int, int, int, str]:
    return (_RANK[place.verdict], place.effort, place.minutes, place.position)


class _Places:
    """The places of one question. What was found of a fit is kept as long as the scope."""

    def __init__(self, scope: Scope, deadline: Deadline, known: dict[Fit, FittingPlace]) -> None:
        self.scope = scope
        self.deadline = deadline
        self.known = known
        self.lasting = True
        """Whether the deadline left room to look at every place as far as ever."""
        self.followed: dict[Fit, Followed] = {}

    def of(self, fits: list[Fit]) -> list[FittingPlace]:
        """The places, best first."""
        return sorted((self.place(fit) for fit in fits), key=best_first)

    def place(self, fit: Fit) -> FittingPlace:
        found = self.known.get(fit)
        if found is None:
            found = self.look(fit)
            if found.proved or found.looked_at is Looked.propagation or not self.deadline.passed:
                self.known[fit] = found
            else:
                self.lasting = False
        return found

    def look(self, fit: Fit) -> FittingPlace:
        fitment = self.scope.option(fit).fitment
        sits_today = self.scope.is_today(fit)
        broken = [] if sits_today else broken_alone(self.scope, fit)
        followed = self.follow(fit) if broken else Followed(Looked.next_step, whole=True)
        needs = tuple(_need(self.scope, fit, rule, demand, followed) for rule, demand in broken)
        effort = max(effort_of(self.scope, fit), *(need.effort for need in needs), Effort.direct)
        against = followed.against or tuple(
            Because(need.cause, need.name, need.ground, grade=need.grade)
            for need in needs
            if not need.possible
        )
        return FittingPlace(
            position=fit.position,
            component=fit.component or "",
            verdict=_verdict(effort, needs, against, sits_today),
            effort=effort,
            minutes=fitment.minutes if fitment else 0,
            quantity=fitment.quantity if fitment else 1,
            sits_today=sits_today,
            claim=fitment.name if fitment else "",
            grade=fitment.grade if fitment else Grade.none,
            evidence=fitment.evidence if fitment else (),
            needs=needs,
            looked_at=followed.looked_at,
            proved=followed.whole or bool(against),
            against=against,
        )

    def follow(self, fit: Fit) -> Followed:
        """What must follow from a fit; of a pair without hands, either side says the same."""
        one = _one_for_its_pair(self.scope, fit)
        if one not in self.followed:
            self.followed[one] = follow(self.scope, one, self.deadline)
        return self.followed[one]


def _one_for_its_pair(scope: Scope, fit: Fit) -> Fit:
    pair = scope.book.positions[fit.position].pair
    if not pair or pair_values(scope, fit.component) != {fit.component}:
        return fit
    first = scope.index.pairs[pair][0]
    return Fit(first, fit.component) if fit.component in scope.options(first) else fit


def _verdict(
    effort: Effort, needs: tuple[ChangeNeeded, ...], against: tuple[Because, ...], sits_today: bool
) -> Fits:
    if sits_today:
        return Fits.fits
    if against:
        return Fits.does_not
    if effort >= Effort.machining:
        return Fits.after_work
    return Fits.with_companions if needs else Fits.fits


def broken_alone(scope: Scope, fit: Fit) -> list[tuple[Broken, Demand | None]]:
    """The rules that fitting it alone breaks, as the checker tells them, read off what the fit brings; of
    companions and pairs with the demand, which says what may mend it."""
    brought = brought_on(scope)
    brings = brought.brings(fit)
    found: dict[tuple[Cause, str, tuple[Fit, ...]], tuple[Broken, Demand | None]] = {}

    def sits(one: Fit) -> bool:
        return one.component == fit.component if one.position == fit.position else scope.is_today(one)

    def add(cause: Cause, name: str, ground: Ground, fits: tuple[Fit, ...], by: Demand | None = None) -> None:
        found[cause, name, fits] = Broken(cause, name, ground, fits), by

    for demand in brings.demands:
        if not any(map(sits, demand.one_of)):
            other = (scope.today_fit(demand.part),) if demand.cause is Cause.pair else ()
            add(demand.cause, demand.name, demand.ground, (fit, *other), demand)
    for demand in brought.held_today_by(fit.position):
        if sits(demand.when[0]) and not any(map(sits, demand.one_of)):
            add(demand.cause, demand.name, demand.ground, demand.when, demand)
    for meeting in (*brings.conflicts, *brought.at_joints_today(fit)):
        if meeting.is_today and not meeting.undetermined:
            cause = Cause.conflict if isinstance(meeting.rule, Conflict) else Cause.joint
            add(cause, meeting.rule.name, meeting.rule, tuple(sorted((fit, meeting.other))))
    for bars in brings.within:
        if isinstance(bars, Demand):
            add(bars.cause, bars.name, bars.ground, (fit,))
    for shift in brings.shifts:
        if short_of(scope, shift.budget, {fit.position: fit.component}, (fit.position,)):
            add(Cause.budget, shift.budget.name, shift.budget, (fit,))
    return [found[key] for key in sorted(found, key=lambda key: (key[0], key[1], str(key[2])))]


def _need(scope: Scope, fit: Fit, broken: Broken, demand: Demand | None, followed: Followed) -> ChangeNeeded:
    grade = broken.ground.grade if isinstance(broken.ground, Claim) else Grade.none
    ways, possible = _ways(scope, fit, demand, followed)
    names = tuple(dict.fromkeys(way.component for way in ways if way.component))
    effort = min((effort_of(scope, way) for way in ways), default=Effort.direct)
    return ChangeNeeded(broken.cause, broken.name, broken.ground, names, grade, possible, effort)


def _ways(scope: Scope, fit: Fit, demand: Demand | None, followed: Followed) -> tuple[list[Fit], bool]:
    """What may mend a broken rule, and whether anything may."""
    if demand is None:
        return [], True
    if (stays := demand.when[0]) != fit:
        # A rule of what sits there today: that may make way.
        instead = (Fit(stays.position, n) for n in scope.options(stays.position) if n != stays.component)
        return [other for other in instead if followed.may_be(other)], True
    meeting = [way for way in demand.one_of if followed.may_be(way)]
    loose = [need.fit for need in demand.loose]
    ways = meeting + loose
    if meeting and loose and isinstance(demand.ground, Companion):
        ways = _in_order(scope, demand.ground, ways)
    return ways, bool(ways)


def _in_order(scope: Scope, rule: Companion, ways: list[Fit]) -> list[Fit]:
    """What may meet a companion rule, in the order of its alternatives."""
    every = (
        map(loose_fit, scope.loose_servers(one.component)) if one.loose else scope.meeting(one)
        for one in rule.alternatives
    )
    return [way for each in every for way in each if way in ways]


def _where_else(scope: Scope, number: str, position: str) -> GoesElsewhere | GoesOnOthers:
    recorded = [f for n in scope.index.stands_for(number) for f in scope.index.fitments_of.get(n, ())]
    holding = [f for f in recorded if scope.holds(f)]
    if position and holding:
        return GoesElsewhere(tuple(sorted({f.position for f in holding})))
    return GoesOnOthers(tuple(f.when for f in recorded))


@dataclass(frozen=True, slots=True)
class Proved:
    """An answer whose best place is proved as far as the deadline let it be.

    `solution`: the best set with it there; None where it sits there today, where what sits there serves for
    it already, where there is no set, and where nothing was proved in time.
    """

    answer: Compatibility
    solution: Solution | None = None


def prove(book: RuleBook, vehicle: Vehicle, answer: Compatibility, deadline: Deadline) -> Proved:
    """The answer with its best place proved: where no set has it, the next place is the best."""
    while answer.places and not deadline.passed:
        best = answer.places[0]
        if best.sits_today or best.verdict is Fits.does_not:
            break
        found = answer_question(book, _wish_for(book, vehicle, best), deadline, next_bests=False)
        if found.outcome is not Outcome.impossible:
            solution = found.solution if found.outcome is Outcome.proved else None
            if solution is not None and not _holds(solution, best):
                solution = _with_it_alone(book, _wish_for(book, vehicle, best), best, deadline)
            if solution is None:
                break
            return Proved(_with_best(answer, replace(best, proved=True)), solution)
        answer = _with_best(answer, _none_with(best, found.contradictions))
    return Proved(answer)


def _wish_for(book: RuleBook, vehicle: Vehicle, place: FittingPlace) -> Question:
    at_hand = [] if index_of(book).is_current(place.component) else [place.component]
    wish = FitComponent(place.component, place.position)
    return Question(vehicle, (wish,), on_the_bench=frozenset(at_hand))


def _holds(solution: Solution, place: FittingPlace) -> bool:
    """Whether the set has that very component, and not another that serves for it."""
    return any((c.position, c.component) == (place.position, place.component) for c in solution.changes)


def _with_it_alone(
    book: RuleBook, question: Question, place: FittingPlace, deadline: Deadline
) -> Solution | None:
    """The best set with that very component, where another that serves for it would be better; None where
    none was found."""
    with suppress(Unsolvable, OutOfTime, ScopeTooLarge, Unexplained, RoundedAway):
        problem = reach(scope_of(book, question), question, deadline=deadline)
        problem.domains[place.position] = [place.component]
        solved = solve(problem, deadline.left())
        return solution_of(problem, solved.found, solved.propagation)
    return None


def _none_with(place: FittingPlace, contradictions: Iterable[Contradiction]) -> FittingPlace:
    against = tuple(part for each in contradictions for part in each.parts if part.cause is not Cause.wish)
    return replace(place, verdict=Fits.does_not, proved=True, against=_each_once(against))


def _each_once(parts: Iterable[Because]) -> tuple[Because, ...]:
    return tuple({(part.cause, part.name): part for part in parts}.values())


def _with_best(answer: Compatibility, best: FittingPlace) -> Compatibility:
    places = tuple(sorted((best, *answer.places[1:]), key=best_first))
    return replace(answer, verdict=places[0].verdict, number=places[0].component, places=places)
