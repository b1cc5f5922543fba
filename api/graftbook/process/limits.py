"""How many expensive requests a process does at once.

Reasoning and loading hold a processor. A gate lets a few through at a time and lets a few more wait;
whoever comes beyond that, or waits too long, is told to come again (503 with Retry-After). So look-ups,
ready answers and `/livez` stay quick whatever is asked.
"""

import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from graftbook.problems import Busy
from graftbook.settings import Settings

MOST_WAITING = 8
WAITING_FOR_THE_SAME = 40
"""So many wait for an answer that somebody else is making; whoever comes beyond that comes again."""
THREADS = 40 + WAITING_FOR_THE_SAME
"""Of a process: who waits for an answer keeps one, and look-ups must not wait for want of them."""
SECONDS_WAITING = 10.0
SECONDS_WAITING_TO_IMPORT = 60.0


class Gate:
    """Lets `at_once` through at a time while up to `waiting` others wait, `seconds` each at most."""

    def __init__(self, what: str, at_once: int, waiting: int, seconds: float) -> None:
        self._what = what
        self._seconds = seconds
        self._room = threading.BoundedSemaphore(at_once + waiting)
        self._turn = threading.BoundedSemaphore(at_once)

    @contextmanager
    def turn(self, seconds: float = math.inf) -> Iterator[None]:
        """Wait for a turn, so long at most, and keep it as long as the block runs. Raises Busy."""
        if not self._room.acquire(blocking=False):
            raise Busy(self._what)
        try:
            if not self._turn.acquire(timeout=min(seconds, self._seconds)):
                raise Busy(self._what)
            try:
                yield
            finally:
                self._turn.release()
        finally:
            self._room.release()


def gates_of(settings: Settings) -> dict[str, Gate]:
    """The gates of a process, by what goes through them.

    A question about the past keeps editors waiting, so there is one at a time.
    """
    at_once = min(settings.questions_at_once, settings.reasoning_processes or settings.questions_at_once)
    return {
        "questions": Gate("questions", at_once, settings.questions_waiting, SECONDS_WAITING),
        "past": Gate("questions about the past", 1, MOST_WAITING, SECONDS_WAITING),
        "imports": Gate("imports", settings.imports_at_once, MOST_WAITING, SECONDS_WAITING_TO_IMPORT),
    }
