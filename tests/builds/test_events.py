"""The state of a build follows from its events: by their days, whatever order they were written down in."""

import random
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from graftbook.builds.stored.events import BuildEvent, EventWord, state_of
from tests.running import cases

BEGIN = date(2026, 3, 1)
ORIGINAL = {"servo": None, "drum": "X-1", "wheel": "X-2"}
STATED: dict[str, Any] = {"fitted": {}, "decided": [], "chassis": "Z-1"}


class Life:
    """Events written down one after the other."""

    def __init__(self, **stated: object) -> None:
        self.events: list[BuildEvent] = []
        self.add(0, "stated", **(STATED | stated))

    def add(self, days: int, what: EventWord, **detail: Any) -> int:
        day = BEGIN + timedelta(days=days)
        number = len(self.events) + 1
        self.events.append(BuildEvent(number, day, datetime.now(UTC), "me", what, detail))
        return number

    def fitted(self, days: int, position: str, component: str | None, **more: object) -> int:
        return self.add(days, "fitted", position=position, component=component, **more)

    def on(self, days: int) -> Any:
        return state_of(self.events, BEGIN + timedelta(days=days), ORIGINAL)


def test_nothing_is_known_before_it_was_taken_in() -> None:
    assert Life().on(-1) is None
    assert state_of([]) is None


def test_what_comes_off_is_what_was_there_by_then() -> None:
    life = Life()
    life.fitted(5, "drum", "N-2")
    life.fitted(3, "drum", "N-1", kept="rack 1")
    life.fitted(4, "servo", "S-1")
    assert life.on(2).fitted == {}
    assert life.on(3).fitted == {"drum": "N-1"}
    now = life.on(9)
    assert now.fitted == {"drum": "N-2", "servo": "S-1"}
    assert [(o.position, o.component, o.kept) for o in now.off] == [
        ("drum", "X-1", "rack 1"),
        ("drum", "N-1", ""),
    ], "nothing came off where nothing sat"


def test_what_goes_back_is_no_longer_off() -> None:
    life = Life()
    life.fitted(1, "drum", "N-1", kept="rack 1")
    life.add(2, "kept", component="X-1", position=None, kept="sold")
    assert [o.kept for o in life.on(2).off] == ["sold"]
    life.fitted(3, "drum", "X-1")
    assert [o.component for o in life.on(3).off] == ["N-1"]
    life.fitted(4, "drum", None)
    assert [o.component for o in life.on(4).off] == ["N-1", "X-1"]


def test_a_statement_says_all_of_it_and_keeps_whence_the_rest_came() -> None:
    life = Life(fitted={"servo": "S-0"})
    first = life.fitted(1, "drum", "N-1")
    again = life.add(2, "stated", **(STATED | {"fitted": {"drum": "N-1", "wheel": "W-1"}}))
    now = life.on(3)
    assert now.fitted == {"drum": "N-1", "wheel": "W-1"}
    assert {place: event.id for place, event in now.since.items()} == {"drum": first, "wheel": again}
    assert life.on(1).since["servo"].id == 1


def test_what_is_taken_back_never_was() -> None:
    life = Life()
    wrong = life.fitted(1, "drum", "N-1")
    life.add(1, "used", component="B-1", quantity=2)
    life.add(6, "taken back", event=wrong, reason="other van")
    assert life.on(1).fitted == {}, "also of the days before it was noticed"
    assert life.on(1).used == {"B-1": 2}


@pytest.mark.parametrize("seed", range(cases(40)))
def test_the_order_of_writing_makes_no_difference_where_days_differ(seed: int) -> None:
    draw = random.Random(seed)
    what = [
        (days, draw.choice(list(ORIGINAL)), draw.choice(["N-1", "N-2", "X-1", None])) for days in range(1, 9)
    ]
    by_day, shuffled = Life(), Life()
    for days, position, component in what:
        by_day.fitted(days, position, component)
    draw.shuffle(what)
    for days, position, component in what:
        shuffled.fitted(days, position, component)
    for days in range(10):
        one, other = by_day.on(days), shuffled.on(days)
        assert one.fitted == other.fitted
        assert [(o.position, o.component) for o in one.off] == [(o.position, o.component) for o in other.off]
        for off in one.off:
            assert one.fitted.get(off.position, ORIGINAL[off.position]) != off.component
