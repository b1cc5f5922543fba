"""The facts without which a contradiction would be no contradiction: what fits, what is supplied."""

from collections.abc import Iterator

from graftbook.closure.answer import Cause, Note
from graftbook.closure.search.problem import Demand, Problem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.words import phrases
from graftbook.rulebook.model import Alternative, Companion
from graftbook.rulebook.scope import LOOSE, Fit, Scope


def facts_of(problem: Problem) -> tuple[Note, ...]:
    """The facts behind a contradictory problem that holds only the parts of one contradiction."""
    propagation = Propagation(problem)
    try:
        propagation.run()
        involved, places = problem.demands, _places_of(problem.demands)
    except Contradicts as contradicts:
        involved = propagation.used
        places = [contradicts.place] if contradicts.place else _places_of([contradicts.demand])
    notes = [note for demand in involved for note in _of_demand(problem.scope, demand)]
    for position in places:
        notes.extend(_of_place(problem, position, involved))
    unique = {(note.name, note.sentence): note for note in notes}
    return tuple(unique.values())


def _places_of(demands: list[Demand]) -> list[str]:
    return sorted({fit.position for d in demands for fit in (*d.when, *d.one_of) if not fit.is_loose})


def _of_demand(scope: Scope, demand: Demand) -> Iterator[Note]:
    """Why something that a wish or a rule names is no way to satisfy it."""
    if demand.asked and not demand.one_of and not demand.loose:
        position = demand.part
        yield why_absent(scope, demand.asked, position)
    if isinstance(demand.claim, Companion):
        for alternative in demand.claim.alternatives:
            if alternative.loose:
                if not scope.loose_servers(alternative.component):
                    yield why_absent(scope, alternative.component)
            elif not scope.meeting(alternative):
                yield _no_way(scope, alternative)
    if demand.cause is Cause.wish and not demand.asked and not demand.when and not demand.one_of:
        yield Note(Cause.fact, "essential", phrases.essential(scope.book, demand.part), (demand.part,))


def _no_way(scope: Scope, alternative: Alternative) -> Note:
    position = alternative.position
    if alternative.empty:
        return Note(Cause.fact, "essential", phrases.essential(scope.book, position), (position,))
    if alternative.having:
        wanted = " and ".join(phrases.wanted(scope.book, w) for w in alternative.having)
        return Note(Cause.fact, "no component", phrases.none_has(scope.book, position, wanted), (position,))
    return why_absent(scope, alternative.component, position)


def why_absent(scope: Scope, number: str, position: str = "") -> Note:
    """Why a number can be fitted nowhere (or not there) on this vehicle."""
    positions = (position,) if position else ()
    if scope.component(number) is None:
        return Note(Cause.fact, "not known", phrases.not_known(number), positions)
    servers = scope.index.serves(number)
    fitments = [
        f for n in servers for o in scope.index.stands_for(n) for f in scope.index.fitments_of.get(o, ())
    ]
    here = [f for f in fitments if position in ("", f.position)]
    if not here and number not in scope.index.loose:
        return Note(Cause.fact, "no fitment", phrases.no_fitment(scope.book, number, position), positions)
    if not any(scope.obtainable(n) for n in servers):
        return Note(Cause.fact, "no longer supplied", phrases.not_supplied(scope.book, number), positions)
    return Note(
        Cause.fact, "not this vehicle", phrases.not_this_vehicle(scope.book, number, position), positions
    )


def _of_place(problem: Problem, position: str, involved: list[Demand]) -> Iterator[Note]:
    """That only one component can sit in a place, and what else could sit there."""
    if position.startswith(LOOSE):
        return
    scope = problem.scope
    wishes = {
        d.name
        for d in involved
        if d.cause is Cause.wish and d.one_of and all(f.position == position for f in d.one_of)
    }
    if len(wishes) > 1:
        yield Note(Cause.fact, "one component", phrases.one_only(scope.book, position), (position,))
        return
    if wishes or any(d.cause is Cause.limit and _touches(d, position) for d in involved):
        return  # the wish or the limit says enough
    today = scope.today_fit(position)
    candidates = [c for c in scope.options(position) if c is not None and c != today.component]
    if not candidates:
        yield Note(Cause.fact, "no other component", phrases.no_other(scope.book, position), (position,))
    elif not any(Fit(position, c) in d.one_of for c in candidates for d in involved):
        sentence = phrases.none_will_do(scope.book, position, candidates)
        yield Note(Cause.fact, "none will do", sentence, (position,))
    if None not in scope.options(position):
        yield Note(Cause.fact, "essential", phrases.essential(scope.book, position), (position,))


def _touches(demand: Demand, position: str) -> bool:
    return any(fit.position == position for fit in demand.when)
