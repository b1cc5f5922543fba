"""One reasoning process as the process that began it sees it."""

import math
import os
import socket
import subprocess
import sys
import time
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable
from pathlib import Path
from typing import Any

from graftbook.catalogue.compiling.books import weight_of
from graftbook.process.reasoning.frames import Channel, Ended
from graftbook.process.reasoning.values import book_bytes, number_of, read_result
from graftbook.process.reasoning.worker import BOOK, FORGET, NUMBER_BYTES, READY, WORK
from graftbook.rulebook.model import RuleBook

_MAIN = "from graftbook.process.reasoning.worker import main; main()"
ROOT = Path(__file__).resolve().parents[3]
SECONDS_TO_START = 60.0
SECONDS_TO_BRING = 60.0
MOST_BOOKS = 16
"""Rule books that one process keeps; those asked for longest ago are forgotten first."""


class Process:
    """A process of its own that does one piece of work at a time. Used by one thread at a time."""

    def __init__(self, most_bytes: float = math.inf) -> None:
        """`most_bytes`: about how much memory its rule books may take."""
        self._most_bytes = most_bytes
        ours, theirs = socket.socketpair()
        self._channel = Channel(ours)
        # Held open by this process alone: when it is gone, however it went, the other one ends.
        alive, self._alive = os.pipe()
        self._books: OrderedDict[int, int] = OrderedDict()
        """The weight of each book by its number."""
        command = [sys.executable, "-P", "-c", _MAIN, str(theirs.fileno()), str(alive)]
        found = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                pass_fds=(theirs.fileno(), alive),
                env=os.environ | {"PYTHONPATH": found},
            )
        except OSError:
            os.close(self._alive)
            self._channel.close()
            raise
        finally:
            theirs.close()
            os.close(alive)

    @property
    def pid(self) -> int:
        """Its number in the operating system."""
        return self._process.pid

    def wait_until_ready(self) -> None:
        """Wait until it can take work. Raises Late and Ended."""
        if self._channel.receive(time.monotonic() + SECONDS_TO_START) != READY:
            raise Ended

    def holds(self, books: Iterable[RuleBook]) -> bool:
        """Whether it has all of these books already."""
        return all(number_of(book) in self._books for book in books)

    def lives(self) -> bool:
        """Whether it has not ended."""
        return self._process.poll() is None

    def bring(self, books: Collection[RuleBook]) -> None:
        """Hand it the books that it lacks, and wait until it has read them. Raises Late and Ended; then it is
        good for nothing."""
        until = time.monotonic() + SECONDS_TO_BRING
        for book in books:
            number = number_of(book)
            if number not in self._books:
                message = BOOK + number.to_bytes(NUMBER_BYTES, "big") + book_bytes(book)
                self._channel.send(message, until)
                if self._channel.receive(until) != READY:
                    raise Ended
            self._books[number] = weight_of(book)
            self._books.move_to_end(number)
        while len(self._books) > len(books) and self._too_much():
            number, _ = self._books.popitem(last=False)
            self._channel.send(FORGET + number.to_bytes(NUMBER_BYTES, "big"), until)

    def _too_much(self) -> bool:
        return len(self._books) > MOST_BOOKS or sum(self._books.values()) > self._most_bytes

    def begin(self, work: bytes, until: float) -> None:
        """Hand it work on books that it has. Raises Late and Ended; then it is good for nothing."""
        self._channel.send(WORK + work, until)

    def result(self, until: float, wanted: Callable[[], bool]) -> Any:
        """What came of the work; waited for while `wanted`. Raises Late, Ended, and what the work raised."""
        good, result = read_result(self._channel.receive(until, wanted))
        if good:
            return result
        error, broke = result
        raise error from broke

    def kill(self) -> None:
        """End it, whatever it does; waits until it is gone. Who waits for its result is told."""
        self._process.kill()
        self._process.wait()

    def end(self) -> None:
        """The same, and let go of what was open to it: nobody else may be using it."""
        self.kill()
        self._channel.close()
        if self._alive >= 0:
            os.close(self._alive)
            self._alive = -1
