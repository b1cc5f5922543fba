"""The life of a build: what was recorded of it, and the state that follows. Pure.

Nothing recorded is ever changed: what was wrong is taken back by another event and counts no more. What
is so on a day follows from the events of that day and before, in the order of their days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Literal

EventWord = Literal[
    "stated", "fitted", "used", "kept", "work", "measured", "decided", "built to", "note", "taken back",
]  # fmt: skip
NOTHING: Mapping[str, str | None] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class BuildEvent:
    """One record of a build. `day`: when it was so; `at`: when it was written down; `detail` by `what`.

    stated: the whole of what is known (the vehicle, what is fitted, what is decided). fitted: `position`,
    `component` (None: emptied), `off`, `kept`, `reason`, `list`. used: a loose `component` and its
    `quantity`. kept: where the `component` that came off at `position` lies now. work: `done`, `minutes`.
    measured: `position`, `characteristic`, `value`. decided: `wishes`, `reason`. built to:
    `specification`. note: `text`. taken back: `event`, `reason`.
    """

    id: int
    day: date
    at: datetime
    who: str
    what: EventWord
    detail: Mapping[str, Any]


@dataclass(slots=True)
class Off:
    """A component that came off, by which event, and where it is kept (empty: nobody said)."""

    position: str
    component: str
    event: BuildEvent
    kept: str


@dataclass(slots=True)
class BuildState:
    """A build as it stood: the vehicle's own facts in `stated`, and what followed from events since.

    `fitted` differs from what the factory fitted; `since` says by which event a position came to be as it
    is.
    """

    taken_in: date
    stated: Mapping[str, Any]
    fitted: dict[str, str | None] = field(default_factory=dict)
    since: dict[str, BuildEvent] = field(default_factory=dict)
    decided: Sequence[Mapping[str, Any]] = ()
    why: str = ""
    built_to: str | None = None
    off: list[Off] = field(default_factory=list)
    used: dict[str, int] = field(default_factory=dict)
    used_since: dict[str, int] = field(default_factory=dict)
    """What of it was used since it was last said what the vehicle shall get."""
    told: list[BuildEvent] = field(default_factory=list)
    """Every event that counts, in the order of their days."""

    def of(self, what: EventWord) -> list[BuildEvent]:
        """The events of one kind."""
        return [event for event in self.told if event.what == what]


def taken_back(events: Iterable[BuildEvent]) -> dict[int, BuildEvent]:
    """Id of an event → the event that took it back."""
    return {event.detail["event"]: event for event in events if event.what == "taken back"}


def state_of(
    events: Sequence[BuildEvent], on: date | None = None, original: Mapping[str, str | None] = NOTHING
) -> BuildState | None:
    """The state that follows, of a day (None: of all that is recorded). None before it was taken in.

    `original`: position → what the factory fitted, by which an original part that came off has its number.
    """
    gone = taken_back(events)
    counts = (e for e in events if e.id not in gone and e.what != "taken back" and (not on or e.day <= on))
    state: BuildState | None = None
    for event in sorted(counts, key=lambda e: (e.day, e.id)):
        if state is None and event.what == "stated":
            state = BuildState(event.day, event.detail)
        if state is not None:
            state.told.append(event)
            _take_in(state, event, original)
    return state


def _take_in(state: BuildState, event: BuildEvent, original: Mapping[str, str | None]) -> None:
    detail = event.detail
    if event.what in ("stated", "decided", "built to"):
        state.used_since = {}
    match event.what:
        case "stated":
            _state_anew(state, event)
        case "fitted":
            _fit(state, event, original)
        case "used":
            for used in (state.used, state.used_since):
                used[detail["component"]] = used.get(detail["component"], 0) + detail["quantity"]
        case "kept":
            for off in state.off:
                if off.component == detail["component"] and detail.get("position") in (None, off.position):
                    off.kept = detail["kept"]
        case "decided":
            state.decided, state.why = detail["wishes"], detail["reason"]
        case "built to":
            state.built_to = detail["specification"]


def _state_anew(state: BuildState, event: BuildEvent) -> None:
    """All that is known is said at once; what came off before stays off, where it was put."""
    before, now = state.fitted, dict(event.detail["fitted"])
    state.stated, state.decided = event.detail, event.detail["decided"]
    state.fitted = now
    for position in {*before, *now}:
        if position not in now:
            state.since.pop(position, None)
        elif position not in before or before[position] != now[position]:
            state.since[position] = event


def _fit(state: BuildState, event: BuildEvent, original: Mapping[str, str | None]) -> None:
    position, component = event.detail["position"], event.detail["component"]
    off = event.detail.get("off") or state.fitted.get(position, original.get(position))
    state.off = [one for one in state.off if (one.position, one.component) != (position, component)]
    if off and off != component:
        state.off.append(Off(position, off, event, event.detail.get("kept", "")))
    state.fitted[position] = component
    state.since[position] = event
