"""How a build stands on a day: what was recorded, what it is against the vehicle that the factory built, and
what of the decided set is missing.

The comparison is a check like any other: the vehicle as built is today's, what is fitted now is the set. So
its arithmetic tells before and after, its flaws what was remedied, its broken rules what does not go
together.
"""

from dataclasses import dataclass
from datetime import date

from graftbook.builds import service as builds
from graftbook.builds.life.missing import Open, as_built, each_piece, still_open
from graftbook.builds.stored import store
from graftbook.builds.stored.documents import BuildOut, build_on, row_of, state_on
from graftbook.builds.stored.events import Event, State, state_of
from graftbook.closure.search.deadline import OutOfTime
from graftbook.database import reading
from graftbook.problems import InvalidRequest
from graftbook.process.state import Service
from graftbook.questions.checks.service import check_what_is_known
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.service import document_of
from graftbook.questions.schemas import CheckIn
from graftbook.rulebook.scope import Scope

NOT_IN_TIME = "What is still open of it was not worked out in the time there was. Ask again."


@dataclass(frozen=True, slots=True)
class Standing:
    """A build on a day: as recorded, as it follows, and judged."""

    on: date
    asked_on: date | None
    """None: of today, whatever day that is."""
    build: BuildOut
    state: State
    events: list[Event]
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


def standing(service: Service, name: str, on: date | None = None, built_to: str | None = None) -> Standing:
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
    return Standing(
        day,
        on,
        build,
        state,
        events,
        scope,
        proposed.sits,
        check,
        _still_open(service, build, check, state, on),
        [problem.detail for problem in proposed.wrong.values()],
    )


def _still_open(service: Service, build: BuildOut, check: CheckOut, state: State, on: date | None) -> Open:
    """What is left to do; where the time for reasoning was over before, that it is not known."""
    try:
        return still_open(service, build, check, state.used, on)
    except OutOfTime:
        return Open("not proved in time", [NOT_IN_TIME])
