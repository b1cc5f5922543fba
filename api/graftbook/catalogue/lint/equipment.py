"""Lint of what sits on the vehicles of one variant: against the rules, and against what the checks read."""

from collections.abc import Iterable, Iterator

from graftbook.catalogue.lint.closure import Survey, attainable_somewhere, called
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.lint.vehicles import in_words
from graftbook.checks.set import figures_missed, figures_read
from graftbook.closure.answer import Cause
from graftbook.closure.explain.solution import broken_today
from graftbook.closure.question import ClearPosition, FitComponent, Wish
from graftbook.closure.verify import Broken
from graftbook.rulebook.model import Budget, Companion
from graftbook.rulebook.scope import Fit, Scope

MOST_TRIED = 200
"""Components of a variant that the checks are asked of, one after the other."""

_Found = Iterator[tuple[tuple[Wrong, tuple[str, ...]], str]]


def equipment_findings(survey: Survey) -> _Found:
    """Rules that vehicles break as they left the factory, and those that no equipment of theirs obeys.

    Said of each rule by itself, beside all others: rules of which each can be obeyed, and not two at once,
    are told as broken from new alone.
    """
    broken: dict[str, list[tuple[Scope, list[Wish]]]] = {}
    names: dict[str, str] = {}
    for scope in survey.scopes:
        for rule in broken_today(scope):
            if rule.cause is not Cause.fact:
                names[rule.name] = called(rule.cause, rule.name)
                broken.setdefault(rule.name, []).append((scope, list(_mends(scope, rule))))
    mended = attainable_somewhere(
        (wish, [scope]) for on in broken.values() for scope, mends in on for wish in mends
    )
    for name, on in broken.items():
        breaks = f"{in_words(on[0][0].vehicle)} breaks {names[name]}"
        if mended.isdisjoint(wish for _, mends in on for wish in mends):
            sentence = f"{breaks} from new, and nothing that could be fitted obeys it"
            yield (Wrong.no_equipment, (name,)), sentence
        else:
            yield (Wrong.broken_from_new, (name,)), f"{breaks} as it left the factory"


def _mends(scope: Scope, broken: Broken) -> Iterator[Wish]:
    """The single changes of which every equipment that obeys the rule makes at least one."""
    places = {fit.position for fit in broken.fits}
    if isinstance(broken.ground, Budget):
        places.update(scope.nets_today(broken.ground))
    for place in sorted(places):
        yield from _wishes(scope, (Fit(place, component) for component in scope.options(place)))
    if isinstance(broken.ground, Companion):
        for alternative in broken.ground.alternatives:
            yield from _wishes(scope, scope.meeting(alternative))


def _wishes(scope: Scope, fits: Iterable[Fit]) -> Iterator[Wish]:
    for fit in fits:
        if not scope.is_today(fit):
            yield FitComponent(fit.component, fit.position) if fit.component else ClearPosition(fit.position)


def figure_findings(survey: Survey) -> _Found:
    """Components without a figure that a check reads of what sits in their place from new.

    What lacks one of a kind that the checks read there is put on the vehicle and the checks are asked: a disc
    has no shoes, and they do not ask it for any.
    """
    tried: set[tuple[str, str]] = set()
    read: dict[str, set[str]] = {}
    for scope in survey.scopes:
        today = {place: number for place, number in scope.today.items() if number}
        if not read.keys() >= set(today.values()):
            found = figures_read(survey.book, scope.vehicle, today)
            read.update((number, found.get(number, set())) for number in today.values() if number not in read)
        for place, sitting in today.items():
            for number in sorted(n for n in scope.options(place) if n and survey.index.is_current(n)):
                kinds = [kind for kind in sorted(read[sitting]) if survey.measure(number, kind) is None]
                if not kinds or (number, place) in tried:
                    continue
                if len(tried) == MOST_TRIED:
                    return
                tried.add((number, place))
                after = today | survey.with_its_pair(scope, number, place)
                missed = figures_missed(survey.book, scope.vehicle, today, after)
                if lacking := [kind for kind in kinds if f"{kind} of {number} at {place}" in missed]:
                    kinds = [survey.book.kinds[kind].title for kind in lacking]
                    what = f"{' and '.join(kinds)} of {number} at {place}"
                    sentence = f"{what} would be read by a check, and nobody records it"
                    yield (Wrong.no_figure, (number, *lacking)), sentence
