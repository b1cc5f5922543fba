"""A finished set as the facts of an answer: changes with their reasons, totals, notes."""

from graftbook.closure.answer import Cause, Change, Loose, Other, Outcome, Solution
from graftbook.closure.explain.notes import (
    advised,
    already_so,
    claims_of,
    contradicted_claims,
    flaw_notes,
    not_determined,
    unconfirmed_claims,
)
from graftbook.closure.explain.reasons import Explanation, Reason
from graftbook.closure.grounds import number_asked
from graftbook.closure.search.deadline import EXPLAINED, Deadline
from graftbook.closure.search.limits import effort_of, minutes_each, price_each, shows
from graftbook.closure.search.problem import Found, Problem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.totals import loose_quantities, totals_of
from graftbook.closure.verify import FinishedSet, verify
from graftbook.rulebook.model import Companion, Effort, Fitment, Grade
from graftbook.rulebook.scope import LOOSE, Fit, Scope


def solution_of(
    problem: Problem,
    found: Found,
    propagation: Propagation,
    others: dict[str, tuple[Other, ...]] | None = None,
    explained: Explanation | None = None,
) -> Solution:
    """Verify a set and lay it out. `others`: for chosen changes, what else could sit there; `explained`:
    the set's reasons, where they are known already.

    Raises OutOfTime where that takes longer than the problem's deadline leaves for it.
    """
    changed = sum(component != problem.scope.today.get(place) for place, component in found.values.items())
    with EXPLAINED.timed(changed):
        return _laid_out(problem, found, propagation, others or {}, explained or Explanation(problem, found))


def _laid_out(
    problem: Problem,
    found: Found,
    propagation: Propagation,
    others: dict[str, tuple[Other, ...]],
    explained: Explanation,
) -> Solution:
    scope, until = problem.scope, problem.deadline.extended()
    after = {p: found.values[p] for p in problem.positions}
    quantities = loose_quantities(problem, found)
    verify(scope, problem.question, after, quantities)
    until.check()
    finished = FinishedSet(scope, after, quantities)
    gone, left, brought = flaw_notes(finished)
    until.check()
    return Solution(
        changes=changes_of(problem, found, propagation, explained, others, until),
        loose=_loose(problem, explained, quantities),
        totals=totals_of(problem, found),
        today=dict(scope.today),
        after=finished.after,
        flaws_gone=gone,
        flaws_left=left,
        flaws_brought=brought,
        already_so=tuple(already_so(finished)),
        advised=tuple(advised(finished)),
        not_determined=tuple(not_determined(finished)),
        unconfirmed=tuple(unconfirmed_claims(finished)),
        contradicted=tuple(contradicted_claims(finished)),
        confidence=confidence(finished),
    )


def confidence(finished: FinishedSet) -> Grade | None:
    """The grade of the weakest claim; the factory's own fitting is beyond doubt. None: no claim is needed."""
    grades = [
        claim.grade
        for claim, _ in claims_of(finished)
        if not (isinstance(claim, Fitment) and claim.from_new and not claim.evidence)
    ]
    return min(grades, default=None)


def changes_of(
    problem: Problem,
    found: Found,
    propagation: Propagation,
    explained: Explanation,
    others: dict[str, tuple[Other, ...]],
    until: Deadline,
) -> tuple[Change, ...]:
    """The changes, section by section and position by position. Raises OutOfTime."""
    changes = []
    for place in explained.reasons:
        until.check()
        if not place.startswith(LOOSE):
            changes.append(_change(problem, found, propagation, place, explained, others.get(place)))
    sections = problem.scope.book.sections
    return tuple(
        sorted(
            changes,
            key=lambda c: (sections[c.section].order if c.section in sections else 0, c.section, c.position),
        )
    )


def _change(
    problem: Problem,
    found: Found,
    propagation: Propagation,
    place: str,
    explained: Explanation,
    others: tuple[Other, ...] | None,
) -> Change:
    scope, reason = problem.scope, explained.reasons[place]
    fit = Fit(place, found.values[place])
    option = scope.option(fit)
    fitment = option.fitment
    each = price_each(scope, fit.component)
    choices = count_choices(propagation, found, place, reason)
    return Change(
        position=place,
        section=scope.book.positions[place].section,
        component=fit.component,
        replaces=scope.today.get(place),
        quantity=option.quantity if fit.component else 0,
        effort=fitment.effort if fitment else Effort.direct,
        minutes=fitment.minutes if fitment else 0,
        price=None if each is None else each * option.quantity,
        visible=shows(scope, fit),
        because=reason.because,
        depth=reason.depth,
        also_needed_by=explained.also_needed(place),
        forced=choices <= 1,
        choices=choices,
        others=others or (),
        only_one=others is not None and all(other.outcome is Outcome.impossible for other in others),
        claim=fitment.name if fitment else "",
        grade=fitment.grade if fitment else Grade.none,
        asked_number=asked_number(scope, fit, reason),
    )


def count_choices(propagation: Propagation, found: Found, place: str, reason: Reason) -> int:
    """How many ways the reason leaves open; 1: nothing else could be what it asks for."""
    domain = propagation.domains[place]
    if len(domain) == 1:
        return 1
    demand = reason.demand
    if reason.because.cause is Cause.budget:
        return max(1, len(_supplies(propagation, found, place, reason)))
    if demand is None:
        return len(domain - {propagation.problem.scope.today.get(place)})
    ways = [fit for fit in demand.one_of if propagation.may_be(fit)]
    ways += [need.fit for need in demand.loose if propagation.may_be(need.fit)]
    if any(fit.position == place for fit in demand.when):
        today = propagation.problem.scope.today.get(place)
        ways += [Fit(place, c) for c in domain if c != today and Fit(place, c) not in demand.when]
    return max(1, len(set(ways)))


def _supplies(propagation: Propagation, found: Found, place: str, reason: Reason) -> set[Fit]:
    """What gives a budget more than today at the place, or elsewhere more than the set has there."""
    problem, values = propagation.problem, found.values
    use = next(use for use in problem.budgets if use.budget.name == reason.because.name)
    less = {p: now if p == place else use.contributions[p][values[p]] for p, now in use.today.items()}
    others = less.keys() - {reason.because.parent}
    more = (fit for fit, units in use.each() if fit.position in others and units > less[fit.position])
    return {fit for fit in more if propagation.may_be(fit)}


def asked_number(scope: Scope, fit: Fit, reason: Reason) -> str:
    """The superseded number that the reason names, when another is fitted for it."""
    demand = reason.demand
    if demand is None or fit.component is None:
        return ""
    named = [number] if (number := number_asked(demand.ground)) else []
    if isinstance(demand.ground, Companion):
        named += [a.component for a in demand.ground.alternatives if a.component]
    if fit.component in named:
        return ""
    return next((n for n in named if fit.component in scope.index.serves(n)), "")


def _loose(problem: Problem, explained: Explanation, quantities: dict[str, int]) -> tuple[Loose, ...]:
    parts = []
    for number, quantity in quantities.items():
        place = LOOSE + number
        each = price_each(problem.scope, number)
        parts.append(
            Loose(
                component=number,
                quantity=quantity,
                price=None if each is None else each * quantity,
                because=explained.reasons[place].because,
                also_needed_by=explained.also_needed(place),
                effort=effort_of(problem.scope, Fit(place, number)),
                minutes=minutes_each(problem.scope, number) * quantity,
            )
        )
    return tuple(parts)
