"""The facts without which a contradiction would be no contradiction: what fits, what is supplied."""

from collections.abc import Iterator

from graftbook.closure.answer import (
    Cause,
    NeverEmpty,
    NoFitment,
    NoneHas,
    NoneWillDo,
    NoOther,
    Note,
    NotKnown,
    NotSupplied,
    NotThisVehicle,
    OneOnly,
)
from graftbook.closure.question import ClearPosition, FitComponent
from graftbook.closure.search.problem import Demand, SearchProblem
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.rulebook.model import Alternative, Companion
from graftbook.rulebook.scope import LOOSE, Fit, Scope


def facts_of(problem: SearchProblem) -> tuple[Note, ...]:
    """The facts behind a contradictory problem that holds only the parts of one contradiction."""
    propagation = Propagation(problem)
    try:
        propagation.run()
        involved, places = problem.demands, _places_of(problem.demands)
    except Contradicts as contradicts:
        involved = propagation.used
        places = _places_of([contradicts.demand])
    notes = [note for demand in involved for note in _of_demand(problem.scope, demand)]
    for position in places:
        notes.extend(_of_place(problem, position, involved))
    unique = {(note.name, note.ground): note for note in notes}
    return tuple(unique.values())


def _places_of(demands: list[Demand]) -> list[str]:
    return sorted({fit.position for d in demands for fit in (*d.when, *d.one_of) if not fit.is_loose})


def _of_demand(scope: Scope, demand: Demand) -> Iterator[Note]:
    """Why something that a wish or a rule names is no way to satisfy it."""
    ground = demand.ground
    if isinstance(ground, FitComponent) and not demand.one_of and not demand.loose:
        yield why_absent(scope, ground.component, ground.position)
    if isinstance(ground, Companion):
        for alternative in ground.alternatives:
            if alternative.loose:
                if not scope.loose_servers(alternative.component):
                    yield why_absent(scope, alternative.component)
            elif not scope.meeting(alternative):
                yield _no_way(scope, alternative)
    if isinstance(ground, ClearPosition) and not demand.one_of:
        yield _never_empty(ground.position)


def _no_way(scope: Scope, alternative: Alternative) -> Note:
    position = alternative.position
    if alternative.empty:
        return _never_empty(position)
    if alternative.having:
        return Note(Cause.fact, "no component", NoneHas(position, alternative.having), (position,))
    return why_absent(scope, alternative.component, position)


def _never_empty(position: str) -> Note:
    return Note(Cause.fact, "essential", NeverEmpty(position), (position,))


def why_absent(scope: Scope, number: str, position: str = "") -> Note:
    """Why a number can be fitted nowhere (or not there) on this vehicle."""
    positions = (position,) if position else ()
    if scope.component(number) is None:
        return Note(Cause.fact, "not known", NotKnown(number), positions)
    servers = scope.index.serves(number)
    fitments = [
        f for n in servers for o in scope.index.stands_for(n) for f in scope.index.fitments_of.get(o, ())
    ]
    here = [f for f in fitments if position in ("", f.position)]
    if not here and number not in scope.index.loose:
        return Note(Cause.fact, "no fitment", NoFitment(number, position), positions)
    if not any(scope.obtainable(n) for n in servers):
        return Note(Cause.fact, "no longer supplied", NotSupplied(number), positions)
    return Note(Cause.fact, "not this vehicle", NotThisVehicle(number, position), positions)


def _of_place(problem: SearchProblem, position: str, involved: list[Demand]) -> Iterator[Note]:
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
        yield Note(Cause.fact, "one component", OneOnly(position), (position,))
        return
    if wishes or any(d.cause is Cause.limit and _touches(d, position) for d in involved):
        return  # the wish or the limit says enough
    today = scope.today_fit(position)
    candidates = [c for c in scope.options(position) if c is not None and c != today.component]
    if not candidates:
        yield Note(Cause.fact, "no other component", NoOther(position), (position,))
    elif not any(Fit(position, c) in d.one_of for c in candidates for d in involved):
        yield Note(Cause.fact, "none will do", NoneWillDo(position, tuple(candidates)), (position,))
    if None not in scope.options(position):
        yield _never_empty(position)


def _touches(demand: Demand, position: str) -> bool:
    return any(fit.position == position for fit in demand.when)
