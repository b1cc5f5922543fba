"""How a build stands on a day: what was recorded, what it is against the vehicle that the factory built, and
what of the decided set is missing.

The comparison is a check like any other: the vehicle as built is today's, what is fitted now is the set. So
its arithmetic tells before and after, its flaws what was remedied, its broken rules what does not go
together.

What of the decided set is still missing: a closure from how it stands is not enough: what a half-finished
vehicle breaks already is never enforced, so that it would ask for nothing where half is done. So what the
closure changes is laid over what is fitted, and the whole is completed as a set for the vehicle as the
factory built it.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from graftbook.builds import service as builds
from graftbook.builds.stored import store
from graftbook.builds.stored.documents import BuildOut, build_on, row_of, state_on
from graftbook.builds.stored.events import BuildEvent, BuildState, state_of
from graftbook.closure.complete import loose_asked
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.verify import FinishedSet
from graftbook.database import reading
from graftbook.problems import InvalidRequest
from graftbook.process.service import Service
from graftbook.questions.checks.service import check_what_is_known
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.schemas import ChangeOut, ClosureOut, LooseOut, OutcomeWord, WishOut
from graftbook.questions.closures.service import closure_document, document_of
from graftbook.questions.schemas import CheckIn, ClosureIn, VehicleIn
from graftbook.rulebook.scope import Scope

NOT_IN_TIME = "What is still open of it was not worked out in the time there was. Ask again."

Pieces = list[tuple[LooseOut, int]]
"""Loose parts, each with so many of its pieces."""


@dataclass(frozen=True, slots=True)
class Open:
    """What is left to do: changes from how it stands, and pieces of loose parts that were not used yet."""

    outcome: OutcomeWord = "proved"
    sentences: list[str] = field(default_factory=list)
    """Why nothing can be told, where there is no set."""
    wishes: list[WishOut] = field(default_factory=list)
    changes: list[ChangeOut] = field(default_factory=list)
    loose: Pieces = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)


def as_built(build: BuildOut) -> VehicleIn:
    """The vehicle without what was done to it."""
    built = date.fromisoformat(build["built"]) if build["built"] else None
    known = {"chassis": build["chassis"], "variant": build["variant"], "options": build["options"]}
    return VehicleIn(built=built, **known)


def each_piece(parts: Mapping[str, int]) -> list[str]:
    """A number once for each of its pieces."""
    return [number for number, count in parts.items() for _ in range(count)]


def still_open(
    service: Service,
    build: BuildOut,
    check: CheckOut,
    scope: Scope,
    sits: Mapping[str, str | None],
    state: BuildState,
    on: date | None,
) -> Open:
    """What is left to do on a build. `check`: what is fitted as a set for the vehicle as built, `sits`.
    Raises what asking a closure raises."""
    closure = _closure_of_decided(service, build, on)
    wishes = closure["wishes"] if closure else []
    if closure and closure["set"] is None:
        return Open(closure["outcome"], closure["sentences"], wishes, cautions=closure["cautions"])
    wanted = closure["set"] if closure else None
    changes, parts = (wanted["changes"], wanted["loose_parts"]) if wanted else ([], [])
    whole = _laid_over(service, build, state.used, changes, parts) if changes or parts else check
    completed = whole["completed"]
    every = completed["set"] if completed else None
    left = changes
    if every:
        decided = _places(changes)
        new = [c for c in every["changes"] if not _sits(build, c) and c["position"] not in decided]
        left = _in_order([*changes, *new], every["changes"])
    loose = {part["component"]: part for part in [*parts, *(every["loose_parts"] if every else [])]}
    pieces = _pieces_open(scope, sits, changes, left, parts, [*state.used, *loose], state)
    return Open(
        completed["outcome"] if completed else "proved",
        completed["sentences"] if completed and every is None else [],
        wishes,
        left,
        [(part, pieces[number]) for number, part in sorted(loose.items()) if pieces[number] > 0],
        (completed or whole)["cautions"],
    )


def _pieces_open(
    scope: Scope,
    sits: Mapping[str, str | None],
    changes: list[ChangeOut],
    left: list[ChangeOut],
    parts: list[LooseOut],
    numbers: Iterable[str],
    state: BuildState,
) -> Counter[str]:
    """Pieces of each loose part that are still to be used: what the parts yet to be fitted ask for, what is
    wished on its own, and what was not used for the fitted ones, less what waits for those to come. Of a part
    of which one serves all, what was used since it was decided what the vehicle shall get serves both."""
    loose = dict.fromkeys(numbers, 1)
    ahead, now = _places(left), _places(changes)
    today = FinishedSet(scope, sits, loose)
    whole = FinishedSet(scope, {**sits, **ahead}, loose)
    here = loose_asked(whole, [fit for fit in whole.new_fits if fit.position not in ahead])
    gone = loose_asked(today, [fit for fit in today.new_fits if fit.position in ahead])
    coming = loose_asked(whole, [fit for fit in whole.new_fits if fit.position in ahead])
    decided = loose_asked(whole, [fit for fit in whole.new_fits if fit.position in now])
    found = Counter({p["component"]: max(0, p["quantity"] - sum(decided[p["component"]])) for p in parts})
    for number in loose:
        used, since = state.used.get(number, 0), state.used_since.get(number, 0)
        each, shared = here[number]
        there = min(shared, max(0, used - each))
        spare = min(since, max(0, used - each - shared - sum(gone[number])))
        more, once = coming[number]
        found[number] += max(0, each - used) + more + max(shared - there, once - min(there, since)) - spare
    return found


def _places(changes: Iterable[ChangeOut]) -> dict[str, str | None]:
    return {change["position"]: change["component"] for change in changes}


def _closure_of_decided(service: Service, build: BuildOut, on: date | None) -> ClosureOut | None:
    """The closure from how it stands, of what is decided and what it is built to; None when nothing is."""
    if not build["decided"] and not build["built_to"]:
        return None
    body = ClosureIn(vehicle=VehicleIn(build=build["name"], on=on), specification=build["built_to"])
    return closure_document(service, body)[1]


def _laid_over(
    service: Service,
    build: BuildOut,
    used: Mapping[str, int],
    changes: list[ChangeOut],
    parts: list[LooseOut],
) -> CheckOut:
    """What is fitted with what the closure changes, as a set for the vehicle as built."""
    pieces = Counter(used) + Counter({part["component"]: part["quantity"] for part in parts})
    positions = {**build["fitted"], **_places(changes)}
    body = CheckIn(vehicle=as_built(build), positions=positions, components=each_piece(pieces))
    found: CheckOut = document_of(service, check_what_is_known(service, body)[0])
    return found


def _sits(build: BuildOut, change: ChangeOut) -> bool:
    fitted = build["fitted"]
    return change["position"] in fitted and fitted[change["position"]] == change["component"]


def _in_order(changes: Iterable[ChangeOut], whole: Iterable[ChangeOut]) -> list[ChangeOut]:
    """Changes as the whole set has them in order; what it does not have comes last."""
    places = {change["position"]: place for place, change in enumerate(whole)}
    return sorted(changes, key=lambda change: places.get(change["position"], len(places)))


@dataclass(frozen=True, slots=True)
class BuildStanding:
    """A build on a day: as recorded, as it follows, and judged."""

    on: date
    asked_on: date | None
    """None: of today, whatever day that is."""
    build: BuildOut
    state: BuildState
    events: list[BuildEvent]
    scope: Scope
    """The vehicle as the factory built it."""
    sits: dict[str, str | None]
    """What is fitted now and the catalogue can place."""
    check: CheckOut
    """What is fitted now as a set for the vehicle as built."""
    open: Open
    not_understood: list[str]

    @property
    def changed(self) -> list[str]:
        """Positions that are not as the factory left them, in the book's order."""
        today = self.scope.today
        return [p for p in self.scope.book.positions if p in self.sits and self.sits[p] != today.get(p)]


def standing(
    service: Service, name: str, on: date | None = None, built_to: str | None = None
) -> BuildStanding:
    """A build as it stands on a day (None: today). `built_to`: as if it were built to this specification.

    Raises UnknownBuild, InvalidRequest for a day before it was taken in or to come, Busy.
    """
    day = on or builds.today()
    if day > builds.today():
        raise InvalidRequest(f"{day} has not come yet", pointer="/on")
    with reading(service.engine) as session:
        row, events = row_of(session, name), store.events_of(session, name)
        recorded = state_on(session, name, day)
        build, used = build_on(row, recorded), each_piece(recorded.used)
    if built_to:
        build["built_to"] = built_to
    body = CheckIn(vehicle=as_built(build), positions=build["fitted"], components=used)
    answering, proposed = check_what_is_known(service, body)
    check: CheckOut = document_of(service, answering)
    scope = Scope(proposed.asked.book, proposed.asked.question.vehicle)
    state = state_of(events, day, scope.today)
    assert state is not None, "it was found above"
    try:
        left = still_open(service, build, check, scope, proposed.sits, state, on)
    except OutOfTime:
        left = Open("not proved in time", [NOT_IN_TIME])
    return BuildStanding(
        day,
        on,
        build,
        state,
        events,
        scope,
        proposed.sits,
        check,
        left,
        [problem.detail for problem in proposed.wrong.values()],
    )
