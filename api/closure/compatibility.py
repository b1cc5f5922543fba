"""Does this component go there? One step of reasoning: what fitting it alone would break.

Cheap enough for thousands of questions a second. The whole set that follows is a closure's answer.
"""

from dataclasses import dataclass
from enum import StrEnum

from api.closure.answer import Cause
from api.closure.limits import effort_of
from api.closure.verify import Broken, FinishedSet
from api.rulebook.model import Companion, Effort, Evidence, Fitment, Grade, RuleBook, Vehicle
from api.rulebook.scope import Fit, Scope, loose_fit


class Fits(StrEnum):
    """Whether it fits, best first."""

    fits = "fits"
    with_companions = "fits with companions"
    after_work = "fits after work"
    does_not = "does not fit"
    not_known = "not known"


@dataclass(frozen=True, slots=True)
class Need:
    """A rule that fitting the component alone would break, so that something else must change too.

    `components` are those of a companion rule's alternatives that this vehicle can take; empty for
    other rules. `possible` False: no alternative of a companion rule can be had on this vehicle.
    `effort`: the least work that a companion rule's alternatives ask for.
    """

    cause: Cause
    name: str
    sentence: str
    components: tuple[str, ...]
    grade: Grade
    possible: bool
    effort: Effort = Effort.direct


@dataclass(frozen=True, slots=True)
class Place:
    """One position where it may sit. `sits_today`: it is there already.

    `effort` is the most of its own work and of what each of its needs asks for at least.
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
    needs: tuple[Need, ...]


@dataclass(frozen=True, slots=True)
class Compatibility:
    """The answer to one question: today's number behind the one asked, and every place, best first."""

    verdict: Fits
    number: str
    sentence: str
    obtainable: bool
    places: tuple[Place, ...] = ()


def compatible(book: RuleBook, vehicle: Vehicle, number: str, position: str = "") -> Compatibility:
    """Whether component `number` goes at `position` (anywhere, when empty) on the vehicle.

    `number` may be an old one; it must be in the book's components.
    """
    scope = Scope(book, vehicle, on_the_bench=frozenset({number}))
    index = scope.index
    current = [n for n in index.serves(number) if index.is_current(n)]
    fits = _fits(scope, number, position)
    if not any(scope.is_today(fit) for fit in fits):
        fits = [fit for n in current for fit in _fits(scope, n, position)] or fits
    places = sorted((_place(scope, fit) for fit in fits), key=_best_first)
    if places:
        best = places[0]
        return Compatibility(
            best.verdict, best.component, _of_place(scope, number, best), bool(current), tuple(places)
        )
    today = current[0] if len(current) == 1 else number
    if number in index.loose:
        sentence = f"{number} sits in no position: it goes with other parts. Ask about those."
        return Compatibility(Fits.not_known, today, sentence, bool(current))
    return Compatibility(Fits.does_not, today, _why_not(scope, number, position), bool(current))


def _fits(scope: Scope, number: str, position: str) -> list[Fit]:
    places = [position] if position else scope.positions_of(number)
    return [Fit(p, number) for p in places if number in scope.options(p)]


def _best_first(place: Place) -> tuple[int, int, int, str]:
    return (list(Fits).index(place.verdict), place.effort, place.minutes, place.position)


def _place(scope: Scope, fit: Fit) -> Place:
    fitment = scope.option(fit).fitment
    sits_today = scope.is_today(fit)
    needs = () if sits_today else tuple(_need(scope, b) for b in _broken(scope, fit))
    effort = max(effort_of(scope, fit), *(need.effort for need in needs), Effort.direct)
    return Place(
        position=fit.position,
        component=fit.component or "",
        verdict=_verdict(effort, needs, sits_today),
        effort=effort,
        minutes=fitment.minutes if fitment else 0,
        quantity=fitment.quantity if fitment else 1,
        sits_today=sits_today,
        claim=fitment.name if fitment else "",
        grade=fitment.grade if fitment else Grade.none,
        evidence=fitment.evidence if fitment else (),
        needs=needs,
    )


def _verdict(effort: Effort, needs: tuple[Need, ...], sits_today: bool) -> Fits:
    if sits_today:
        return Fits.fits
    if not all(need.possible for need in needs):
        return Fits.does_not
    if effort >= Effort.machining:
        return Fits.after_work
    return Fits.with_companions if needs else Fits.fits


def _broken(scope: Scope, fit: Fit) -> list[Broken]:
    """The rules that fitting it breaks; that a pair is changed together goes without saying."""
    broken = FinishedSet(scope, {fit.position: fit.component}).broken_rules()
    return [b for b in broken if b.cause is not Cause.pair]


def _need(scope: Scope, broken: Broken) -> Need:
    grade = broken.claim.grade if broken.claim else Grade.none
    if not isinstance(broken.claim, Companion):
        return Need(broken.cause, broken.name, broken.sentence, (), grade, broken.cause is not Cause.fact)
    ways: list[Fit] = []
    for alternative in broken.claim.alternatives:
        loose = scope.loose_servers(alternative.component) if alternative.loose else ()
        ways += [*scope.meeting(alternative), *(loose_fit(number) for number in loose)]
    components = tuple(dict.fromkeys(fit.component for fit in ways if fit.component))
    effort = min((effort_of(scope, fit) for fit in ways), default=Effort.direct)
    return Need(broken.cause, broken.name, broken.sentence, components, grade, bool(ways), effort)


def _of_place(scope: Scope, asked: str, place: Place) -> str:
    title = scope.book.positions[place.position].title
    part = place.component if place.component == asked else f"{asked} is now {place.component}; it"
    if place.sits_today:
        return f"{part} sits there today: {title}."
    if place.verdict is Fits.does_not:
        need = next(need for need in place.needs if not need.possible)
        return f"{part} does not fit: {title}. {need.sentence}"
    work = {Effort.machining: ", after machining", Effort.cutting: ", after cutting or welding"}.get(
        place.effort, ""
    )
    others = f", and {len(place.needs)} more must change with it" if place.needs else ""
    return f"{part} fits{work}: {title}{others}."


def _why_not(scope: Scope, number: str, position: str) -> str:
    recorded = [f for n in scope.index.stands_for(number) for f in scope.index.fitments_of.get(n, ())]
    holding = [f for f in recorded if scope.holds(f)]
    if position and holding:
        elsewhere = ", ".join(sorted({scope.book.positions[f.position].title for f in holding}))
        return f"{number} does not go there; it goes here: {elsewhere}."
    if recorded:
        return f"{number} fits this variant, but not this vehicle: it is recorded for {_spans(recorded)}."
    return f"No record says that {number} fits this variant; it is recorded for others."


def _spans(fitments: list[Fitment]) -> str:
    """The conditions of some fitments in words, each once."""
    words = [_when(fitment) for fitment in fitments]
    return "; or ".join(dict.fromkeys(words))


def _when(fitment: Fitment) -> str:
    when = fitment.when
    parts = []
    if when.chassis_prefix is not None:
        first = f"from {when.chassis_from}" if when.chassis_from is not None else ""
        last = f"to {when.chassis_to}" if when.chassis_to is not None else ""
        parts.append(" ".join(word for word in (f"chassis {when.chassis_prefix}", first, last) if word))
    if when.built_from or when.built_to:
        days = (
            f"from {when.built_from}" if when.built_from else "",
            f"to {when.built_to}" if when.built_to else "",
        )
        parts.append("built " + " ".join(day for day in days if day))
    if when.options:
        parts.append("with " + ", ".join(sorted(when.options)))
    if when.without:
        parts.append("without " + ", ".join(sorted(when.without)))
    return ", ".join(parts) or "every vehicle of it"
