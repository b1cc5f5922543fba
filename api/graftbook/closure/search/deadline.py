"""How long one question may take in all: the proof first, then what explains it.

A deadline is handed down with the problem and looked at inside every loop that a catalogue can make
long. What it stops is said in the answer; nothing that was not proved is claimed.
"""

import math
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import copy
from typing import Any

SHARE_TO_EXPLAIN = 0.5
"""Of the asked seconds, what comes on top for an "impossible" to be explained."""

LEAST_SECONDS = 0.05
"""What an answer may take in any case, however little was asked for: to hand it over and to write it."""

SECONDS_TO_TELL = 0.025
"""Of those, what is kept for telling that the answer was not there in time."""

FEWEST_MEASURED = 200
"""Of fewer pieces it is what stands around them that takes the time; that is not counted as theirs."""

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


class Pace:
    """How long one piece of an answer takes this process, as it was measured the last times.

    `expected` is what it takes on a quiet machine, until it was measured.
    """

    def __init__(self, expected: float) -> None:
        self._expected = self.seconds = expected

    @contextmanager
    def timed(self, pieces: int) -> Iterator[None]:
        """Measure what a block takes for so many; one that is broken off took at least that."""
        began = time.monotonic()
        try:
            yield
        finally:
            each = (time.monotonic() - began) / max(pieces, FEWEST_MEASURED)
            self.seconds = (self.seconds + each) / 2

    def hope(self) -> None:
        """Expect less again: what is always refused is never measured."""
        self.seconds = (self.seconds + self._expected) / 2


EXPLAINED, WRITTEN = Pace(0.0003), Pace(0.0003)
"""One change of a set: verified and explained, then judged by the checks, and its line written."""


class Deadline:
    """A moment on a clock that only goes forward; `seconds` from now, of which some may have `gone` by.

    One deadline goes with a question to its finished document: the proof ends at it, what it takes to
    explain and to lay out has half of the asked seconds more, and `very_end` is when whoever waits is told.
    The clock is the machine's, so a deadline means the same moment in every process of it. It remembers
    whether it, or one made of it, has stopped something.
    """

    def __init__(
        self, seconds: float = math.inf, clock: Callable[[], float] = time.monotonic, gone: float = 0.0
    ) -> None:
        self._clock = clock
        self._end = clock() + seconds - gone
        self._more = seconds * SHARE_TO_EXPLAIN
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
        now = self._clock()
        seconds = min(seconds, max(0.0, self._end - now))
        return self._at(now + seconds, min(self._more, seconds * SHARE_TO_EXPLAIN))

    def halfway(self) -> "Deadline":
        """An earlier one, when half of what is left has passed."""
        return self.within(self.left() / 2)

    def extended(self) -> "Deadline":
        """A later one: half of the asked seconds more, to explain and to lay out. No more is to be had."""
        return self._at(self._end + self._more, 0.0)

    def afresh(self) -> "Deadline":
        """The same moment for one answer more: what that one is stopped in is told of it alone."""
        other = copy(self)
        other._stops = []
        return other

    def _at(self, end: float, more: float) -> "Deadline":
        other = copy(self)
        other._end, other._more = end, more
        return other

    def allows(self, changes: int) -> bool:
        """Whether a set of so many changes can still be laid out, as quick as the last ones were."""
        return self.reserves(changes, EXPLAINED, WRITTEN)

    def reserves(self, pieces: int, *paces: Pace) -> bool:
        """Whether so many pieces can still be done before nothing more is to be had."""
        if pieces * sum(pace.seconds for pace in paces) <= self.extended().left():
            return True
        for pace in paces:
            pace.hope()
        return False

    def very_end(self) -> float:
        """Seconds until nobody waits any more: what is there by then is told, whatever it says."""
        end = self._end + self._more + LEAST_SECONDS - SECONDS_TO_TELL
        return max(0.0, end - self._clock())


NEVER = Deadline()
