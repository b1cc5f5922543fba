"""What one fit and a whole set cost, criterion by criterion, and what the asker's limits forbid."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from graftbook.closure.answer import Cause
from graftbook.closure.criteria import DEFAULT_PREFERENCE, Criterion, Difference, Totals
from graftbook.closure.question import (
    EvidenceAtLeast,
    KeepPosition,
    KeepSection,
    Limit,
    Limits,
    NothingVisible,
    PriceAtMost,
    RefuseComponent,
    WorkAtMost,
)
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.rulebook.index import kept
from graftbook.rulebook.model import Effort, Grade
from graftbook.rulebook.scope import LOOSE, Fit, Scope


def broken_limits(scope: Scope, limits: Limits, fit: Fit) -> Iterator[Limit]:
    """The limits that forbid putting this in place of what is there today.

    What stays as today breaks no limit. The price ceiling is not among them, except that with a
    ceiling a part of unknown price cannot be chosen.
    """
    if scope.is_today(fit):
        return
    if fit.component is not None and fit.component in limits.refuse:
        yield RefuseComponent(fit.component)
    if limits.price_at_most is not None and price_each(scope, fit.component) is None:
        yield PriceAtMost(limits.price_at_most)
    if effort_of(scope, fit) > limits.effort_at_most:
        yield WorkAtMost(limits.effort_at_most)
    if fit.is_loose:
        return
    if limits.evidence_at_least and not vouched_for(scope, fit, limits.evidence_at_least):
        yield EvidenceAtLeast(limits.evidence_at_least)
    if fit.position in limits.keep:
        yield KeepPosition(fit.position)
    place = scope.book.positions.get(fit.position)
    if place and place.section in limits.keep_sections:
        yield KeepSection(place.section)
    if limits.nothing_visible and shows(scope, fit):
        yield NothingVisible()


def effort_of(scope: Scope, fit: Fit) -> Effort:
    """The work that putting this in asks for: its fitment's, or a loose part's own."""
    if fit.is_loose:
        component = scope.component(fit.component)
        return component.effort if component else Effort.direct
    option = scope.options(fit.position).get(fit.component)
    return option.fitment.effort if option and option.fitment else Effort.direct


def vouched_for(scope: Scope, fit: Fit, least: Grade) -> bool:
    """Whether the claim that this fits is worth a grade at least; the factory's own fitting always is."""
    option = scope.options(fit.position).get(fit.component)
    fitment = option.fitment if option else None
    return fitment is None or fitment.from_new or fitment.grade >= least


def minutes_each(scope: Scope, number: str) -> int:
    """Minutes of labour that one piece of a loose component asks for."""
    component = scope.component(number)
    return component.minutes if component else 0


def shows(scope: Scope, fit: Fit) -> bool:
    """Whether changing to this is seen: the old or the new component is visible."""
    old = scope.component(scope.today.get(fit.position))
    new = scope.component(fit.component)
    return bool((old and old.visible) or (new and new.visible))


def price_each(scope: Scope, number: str | None) -> int | None:
    """What one piece costs the asker in minor units; nothing for what lies on the bench."""
    if number is None or number in scope.on_the_bench:
        return 0
    component = scope.component(number)
    return component.price if component else None


class Cost(NamedTuple):
    """What one change, or one loose part whatever its pieces, costs.

    `unknown` counts parts whose price is not known. What a loose part costs by the piece is not in it.
    """

    irreversible: int = 0
    visible: int = 0
    changes: int = 0
    unknown: int = 0
    price: int = 0
    labour: int = 0
    unconfirmed: int = 0


NO_COST = Cost()


def whole_preference(preference: Iterable[Criterion]) -> tuple[Criterion, ...]:
    """The asked order, each criterion once, with those left out at the end in the usual order."""
    return tuple(dict.fromkeys((*preference, *DEFAULT_PREFERENCE)))


def changes_are_outranked(preference: Iterable[Criterion]) -> bool:
    """Whether a further change may be worth it: for a flaw remedied or a claim made certain."""
    order = whole_preference(preference)
    return order.index(Criterion.changes) > min(
        order.index(Criterion.flaws), order.index(Criterion.unconfirmed)
    )


MOST_KEPT = 50_000
"""Fits of one vehicle of which the cost is remembered; more than these, and all are forgotten."""


@kept
def _costs(_scope: Scope) -> dict[Fit, Cost]:
    return {}


def fit_cost(scope: Scope, fit: Fit) -> Cost:
    """What having this in its position, or ordered loose, costs; nothing when it is there today."""
    if scope.is_today(fit):
        return NO_COST
    known = _costs(scope)
    if (found := known.get(fit)) is None:
        if len(known) >= MOST_KEPT:
            known.clear()
        found = known[fit] = _new_cost(scope, fit)
    return found


def _new_cost(scope: Scope, fit: Fit) -> Cost:
    if fit.is_loose:
        unknown = int(price_each(scope, fit.component) is None)
        return Cost(irreversible=int(not effort_of(scope, fit).reversible), unknown=unknown)
    visible = int(shows(scope, fit))
    fitment = scope.option(fit).fitment
    if fit.component is None or fitment is None:
        return Cost(visible=visible, changes=1)
    each = price_each(scope, fit.component)
    return Cost(
        irreversible=int(not fitment.effort.reversible),
        visible=visible,
        changes=1,
        unknown=int(each is None),
        price=(each or 0) * fitment.quantity,
        labour=fitment.minutes,
        unconfirmed=int(not fitment.confirmed),
    )


def loose_quantities(problem: SearchProblem, found: Found) -> dict[str, int]:
    """Pieces of each loose component that is ordered.

    Demands add up; those of rules where one serves all count once, with the greatest of theirs, and so
    do the wishes; an add-on that only remedies a flaw is one piece.
    """
    added: dict[str, int] = defaultdict(int)
    shared: dict[tuple[str, str], int] = defaultdict(int)
    for number, need in found.orders.items():
        if group := problem.demands[number].shares_with:
            shared[need.component, group] = max(shared[need.component, group], need.quantity)
        else:
            added[need.component] += need.quantity
    for (component, _), most in shared.items():
        added[component] += most
    ordered = sorted([c for place, c in found.values.items() if c and place.startswith(LOOSE)])
    return {number: added[number] or 1 for number in ordered}


def totals_of(problem: SearchProblem, found: Found) -> Totals:
    """The totals of a finished set."""
    scope = problem.scope
    new = [fit for p, c in found.values.items() if not scope.is_today(fit := Fit(p, c))]
    summed = Cost(*(sum(column) for column in zip(NO_COST, *(fit_cost(scope, f) for f in new), strict=True)))
    loose = loose_quantities(problem, found)
    flaws, undetermined = _regrets(problem, found)
    return Totals(
        summed.irreversible,
        summed.visible,
        summed.changes,
        flaws,
        summed.price + sum((price_each(scope, number) or 0) * pieces for number, pieces in loose.items()),
        summed.labour + sum(minutes_each(scope, number) * pieces for number, pieces in loose.items()),
        summed.unconfirmed + undetermined + _unconfirmed_rules(problem, found),
        _unknown_pieces(scope, new, loose),
        with_effort(scope, new, Effort.cutting),
        with_effort(scope, new, Effort.machining),
    )


def with_effort(scope: Scope, new: Iterable[Fit], effort: Effort) -> tuple[str, ...]:
    """The numbers whose fitting asks for this work, once a change and once a loose part, sorted."""
    return tuple(sorted(f.component for f in new if f.component and effort_of(scope, f) is effort))


def _unknown_pieces(scope: Scope, new: list[Fit], loose: dict[str, int]) -> tuple[tuple[str, int], ...]:
    """The numbers whose price is not known, with their pieces."""
    pieces: Counter[str] = Counter()
    for fit in new:
        if fit.component and price_each(scope, fit.component) is None:
            pieces[fit.component] += loose[fit.component] if fit.is_loose else scope.option(fit).quantity
    return tuple(sorted(pieces.items()))


def _regrets(problem: SearchProblem, found: Found) -> tuple[int, int]:
    """Weight of the flaws brought, and number of rules that cannot be determined."""
    flaws, undetermined = 0, set()
    for regret in problem.regrets:
        if not all(problem.true_in(found.values, fit) for fit in regret.when):
            continue
        if regret.cause is not Cause.flaw:
            undetermined.add((regret.cause, regret.name))
        elif not any(problem.true_in(found.values, fit) for fit in regret.unless):
            flaws += regret.weight
    return flaws, len(undetermined)


def _unconfirmed_rules(problem: SearchProblem, found: Found) -> int:
    return sum([all(problem.true_in(found.values, fit) for fit in d.when) for d in problem.unconfirmed])


def unknown_count(problem: SearchProblem, found: Found) -> int:
    """Parts of unknown price: each change counts, and each loose component once."""
    return sum(fit_cost(problem.scope, Fit(p, c)).unknown for p, c in found.values.items())


def score(problem: SearchProblem, found: Found) -> tuple[int, ...]:
    """The set's place in the order of preference, smaller is better.

    Price is two figures: parts of unknown price, then the sum of the known ones.
    """
    totals = totals_of(problem, found)
    figures: list[int] = []
    for criterion in whole_preference(problem.question.preference):
        if criterion is Criterion.price:
            figures.append(unknown_count(problem, found))
        figures.append(figure(totals, criterion))
    return tuple(figures)


def figure(totals: Totals, criterion: Criterion) -> int:
    """One criterion's figure."""
    found: int = getattr(totals, criterion.name)
    return found


def difference(one: Totals, other: Totals) -> Difference:
    """What `other` has more than `one`; only what differs."""
    found = {c: figure(other, c) - figure(one, c) for c in Criterion}
    here, there = Counter(dict(one.unknown_pieces)), Counter(dict(other.unknown_pieces))
    return Difference(
        {c: value for c, value in found.items() if value},
        tuple(sorted(there - here)),
        tuple(sorted(here - there)),
    )
