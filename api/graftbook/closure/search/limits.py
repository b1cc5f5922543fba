"""The asker's limits, one by one, each with its name: what they forbid."""

from collections.abc import Iterator

from graftbook.closure.question import Limits
from graftbook.rulebook.model import Effort
from graftbook.rulebook.scope import Fit, Scope

CUTTING_WORDS = {
    Effort.direct: "only direct fitting",
    Effort.with_companions: "no machining, cutting or welding",
    Effort.machining: "nothing cut or welded",
    Effort.cutting: "any work",
}


def keep_name(position: str) -> str:
    return f"limit: keep {position}"


def keep_section_name(section: str) -> str:
    return f"limit: keep section {section}"


def refuse_name(number: str) -> str:
    return f"limit: refuse {number}"


def effort_name(effort: Effort) -> str:
    return f"limit: {CUTTING_WORDS[effort]}"


VISIBLE_NAME = "limit: nothing visible"
CEILING_NAME = "limit: price ceiling"


def broken_limits(scope: Scope, limits: Limits, fit: Fit) -> Iterator[str]:
    """The names of the limits that forbid putting this in place of what is there today.

    What stays as today breaks no limit. The price ceiling is not among them, except that with a
    ceiling a part of unknown price cannot be chosen.
    """
    if scope.is_today(fit):
        return
    if fit.component in limits.refuse:
        yield refuse_name(fit.component)
    if limits.price_at_most is not None and price_each(scope, fit.component) is None:
        yield CEILING_NAME
    if effort_of(scope, fit) > limits.effort_at_most:
        yield effort_name(limits.effort_at_most)
    if fit.is_loose:
        return
    if fit.position in limits.keep:
        yield keep_name(fit.position)
    place = scope.book.positions.get(fit.position)
    if place and place.section in limits.keep_sections:
        yield keep_section_name(place.section)
    if limits.nothing_visible and shows(scope, fit):
        yield VISIBLE_NAME


def effort_of(scope: Scope, fit: Fit) -> Effort:
    """The work that putting this in asks for: its fitment's, or a loose part's own."""
    if fit.is_loose:
        component = scope.component(fit.component)
        return component.effort if component else Effort.direct
    option = scope.options(fit.position).get(fit.component)
    return option.fitment.effort if option and option.fitment else Effort.direct


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
