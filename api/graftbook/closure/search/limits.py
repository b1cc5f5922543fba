"""What the asker's limits forbid."""

from collections.abc import Iterator

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
from graftbook.rulebook.model import Effort, Grade
from graftbook.rulebook.scope import Fit, Scope


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
