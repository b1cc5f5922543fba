"""How long one question may take in all: the proof first, then what explains it.

A deadline is handed down with the problem and looked at inside every loop that a catalogue can make
long. What it stops is said in the answer; nothing that was not proved is claimed.
"""

import math
import time
from collections.abc import Callable
from copy import copy
from typing import Any

SHARE_TO_EXPLAIN = 0.5
"""Of the asked seconds, what comes on top for an "impossible" to be explained."""

LEAST_SECONDS = 0.05
"""What an answer may take in any case, however little was asked for: to hand it over and to write it."""

SECONDS_A_CHANGE = 0.0003
"""What it takes to verify, to explain and to lay out one change, its line in the document included: some
twice of what was seen on a quiet machine. A set that cannot be laid out in time is not told."""

LOOK_EVERY = 256
"""Demands between two looks at the clock, where looking each time would cost more than the work."""


class OutOfTime(Exception):
    """Time ran out before the proof. `found` is the best set so far; `gap` what is open.

    `propagation` is what propagation alone gave, where it came to its end.
    """

    def __init__(self, found: Any = None, gap: float | None = None) -> None:
        super().__init__("the time limit stopped the proof")
        self.found = found
        self.gap = gap
        self.propagation: Any = None


class Deadline:
    """A moment on a clock that only goes forward; `seconds` from now, of which some may have `gone` by.

    The clock is the machine's, so a deadline means the same moment in every process of it. It remembers
    whether it, or one made of it, has stopped something.
    """

    def __init__(
        self, seconds: float = math.inf, clock: Callable[[], float] = time.monotonic, gone: float = 0.0
    ) -> None:
        self._clock = clock
        self._seconds = seconds
        self._end = clock() + seconds - gone
        self._stops: list[bool] = []

    def left(self) -> float:
        """Seconds left; never negative."""
        return max(0.0, self._end - self._clock())

    @property
    def passed(self) -> bool:
        """Whether it is over."""
        return self._clock() >= self._end

    def check(self) -> None:
        """Raise OutOfTime when it is over."""
        if self._clock() >= self._end:
            raise self.over()

    def over(self, found: Any = None, gap: float | None = None) -> OutOfTime:
        """What to raise where it stops something. A solver gives up a moment before its time has passed."""
        self._stops.append(True)
        return OutOfTime(found, gap)

    @property
    def stopped(self) -> bool:
        """Whether it has stopped anything: what came of it may be another thing another time."""
        return bool(self._stops)

    def within(self, seconds: float) -> "Deadline":
        """This one, or an earlier one so many seconds from now."""
        return self._sharing(Deadline(min(seconds, self.left()), self._clock))

    def halfway(self) -> "Deadline":
        """An earlier one, when half of what is left has passed."""
        return self._sharing(Deadline(self.left() / 2, self._clock))

    def extended(self) -> "Deadline":
        """A later one: half of the asked seconds more, for explaining."""
        later = Deadline(self._seconds, self._clock)
        later._end = self._end + self._seconds * SHARE_TO_EXPLAIN
        return self._sharing(later)

    def afresh(self) -> "Deadline":
        """The same moment for one answer more: what that one is stopped in is told of it alone."""
        other = copy(self)
        other._stops = []
        return other

    def _sharing(self, other: "Deadline") -> "Deadline":
        other._stops = self._stops
        return other

    def allows(self, changes: int) -> bool:
        """Whether a set of so many changes can still be laid out."""
        return changes * SECONDS_A_CHANGE <= self.extended().left()

    def very_end(self) -> float:
        """Seconds until the whole answer is to be there, whatever it says by then."""
        return self.extended().left() + LEAST_SECONDS


NEVER = Deadline()
