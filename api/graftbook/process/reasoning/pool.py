"""The reasoning processes of one serving process: begun when they are wanted, replaced when they are gone.

The standard library's pool of processes is not used: when one of its processes is killed it fails every
question in hand and all that come after, and it can neither stop a piece of work nor say which process holds
a rule book already.
"""

import logging
import math
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from graftbook.process.reasoning.frames import Ended, Late, always
from graftbook.process.reasoning.process import Process
from graftbook.process.reasoning.values import work_bytes
from graftbook.rulebook.model import RuleBook

_LOG = logging.getLogger("graftbook")
Result = TypeVar("Result")

SECONDS_OF_GRACE = 2.0
"""So long a process may still be at work for nobody before it is ended."""
SECONDS_BETWEEN_TRIES = 1.0
"""After a process that could not be started."""


class Lost(Exception):
    """The process that did the work was ended before it was done."""


class GoesOn(Late):
    """A rule book was not there in time; it is still on its way to the process."""


class NoneFree(Exception):
    """Every process was at work until it was too late."""


class Pool:
    """At most `most` processes, each doing one piece of work at a time; one more than are at work is kept
    ready. Safe for threads."""

    def __init__(self, most: int, most_bytes: float = math.inf) -> None:
        """`most_bytes`: about how much memory the rule books of each process may take."""
        self._most = most
        self._most_bytes = most_bytes
        self._idle: list[Process] = []
        self._every: set[Process] = set()
        self._starting = 0
        self._changed = threading.Condition()
        self._closed = False
        self.lost = 0
        """Processes that ended, or were ended, while they were at work."""

    @property
    def at_work(self) -> int:
        """Processes that are at work now."""
        return len(self._every) - len(self._idle)

    @property
    def idle(self) -> int:
        """Processes that wait for work."""
        return len(self._idle)

    def pids(self) -> list[int]:
        """The numbers of the processes in the operating system."""
        with self._changed:
            return sorted(process.pid for process in self._every)

    def start(self) -> None:
        """Begin the first process; the first question then waits for less."""
        with self._changed:
            self._keep_one_ready()

    def run(
        self,
        work: Callable[..., Result],
        *arguments: Any,
        seconds: float,
        wanted: Callable[[], bool] = always,
    ) -> Result:
        """What a module's function returns, worked out in another process.

        `seconds` is for all of it, waiting for a process included; once `wanted` says no it is given up.
        Raises NoneFree, Late, Lost, and what the work raises.
        """
        until = time.monotonic() + seconds
        written, books = work_bytes(work, arguments)
        process = self._give_to_process(written, books, until)
        try:
            result: Result = process.result(until, wanted)
        except Late:
            self._leave_to_finish(process)
            raise
        except Ended:
            self._drop(process)
            raise Lost from None
        except BaseException:
            self._give_back(process)
            raise
        self._give_back(process)
        return result

    def _give_to_process(self, written: bytes, books: list[RuleBook], until: float) -> Process:
        """A process that has got the work; one that ended in idleness is passed over."""
        while True:
            process = self._take(books, until)
            if not process.lives():
                self._drop(process)
                continue
            try:
                self._bring(process, books, until)
                process.begin(written, until)
            except Ended:
                self._drop(process)
            except GoesOn:
                raise
            except BaseException:
                self._drop(process)
                raise
            else:
                return process

    def _bring(self, process: Process, books: list[RuleBook], until: float) -> None:
        """Bring a process the books that it lacks. Raises Ended, and GoesOn where it takes too long for the
        asker: a process that is about to have a large book is not ended, and the next one finds it there."""
        if process.holds(books):
            process.bring(books)
            return
        brought: Future[None] = Future()
        threading.Thread(target=_bring, args=(process, books, brought), name="book", daemon=True).start()
        try:
            brought.result(max(0.0, until - time.monotonic()))
        except TimeoutError:
            brought.add_done_callback(lambda done: self._brought_for_nobody(process, done))
            raise GoesOn from None

    def _brought_for_nobody(self, process: Process, done: "Future[None]") -> None:
        if done.exception():
            self._drop(process)
        else:
            self._give_back(process)

    def _take(self, books: list[RuleBook], until: float) -> Process:
        with self._changed:
            while not self._idle:
                self._keep_one_ready()
                left = until - time.monotonic()
                if self._closed or left <= 0:
                    raise NoneFree
                self._changed.wait(left)
            having = (process for process in self._idle if process.holds(books))
            process = next(having, self._idle[-1])
            self._idle.remove(process)
            self._keep_one_ready()
            return process

    def _keep_one_ready(self) -> None:
        """Begin a process when none is idle or on its way, and there may be one more (the lock is held)."""
        room = len(self._every) + self._starting < self._most
        if not self._closed and not self._idle and not self._starting and room:
            self._starting += 1
            threading.Thread(target=self._begin_one, name="reasoning-start", daemon=True).start()

    def _begin_one(self) -> None:
        process = _new_process(self._most_bytes)
        if process is None:
            time.sleep(SECONDS_BETWEEN_TRIES)
        with self._changed:
            self._starting -= 1
            if process is not None and not self._closed:
                self._every.add(process)
                self._idle.append(process)
            elif process is not None:
                process.end()
            elif not self._every:
                self._keep_one_ready()
            self._changed.notify_all()

    def _give_back(self, process: Process) -> None:
        with self._changed:
            if not self._closed and process.lives():
                self._idle.append(process)
                self._changed.notify()
                return
        self._drop(process, lost=0)

    def _drop(self, process: Process, lost: int = 1) -> None:
        process.end()
        with self._changed:
            self._every.discard(process)
            self.lost += lost
            self._keep_one_ready()
            self._changed.notify_all()
        if lost and not self._closed:
            _LOG.warning("a reasoning process ended at work; another takes its place")

    def _leave_to_finish(self, process: Process) -> None:
        """Nobody waits for it any more: it may come to its end by itself, else it is ended."""
        threading.Thread(target=self._finish, args=(process,), name="reasoning-late", daemon=True).start()

    def _finish(self, process: Process) -> None:
        try:
            process.result(time.monotonic() + SECONDS_OF_GRACE, self._open)
        except (Late, Ended):
            self._drop(process)
        except Exception:
            self._give_back(process)
        else:
            self._give_back(process)

    def _open(self) -> bool:
        return not self._closed

    def close(self) -> None:
        """End every process, whatever it does."""
        with self._changed:
            self._closed = True
            idle, at_work = list(self._idle), self._every - set(self._idle)
            self._every.clear()
            self._idle.clear()
            self._changed.notify_all()
        for process in at_work:
            process.kill()  # whoever waits for it lets go of it
        for process in idle:
            process.end()


def _bring(process: Process, books: list[RuleBook], brought: "Future[None]") -> None:
    try:
        process.bring(books)
    except Late:
        brought.set_exception(Ended())
    except BaseException as error:
        brought.set_exception(error)
    else:
        brought.set_result(None)


def _new_process(most_bytes: float) -> Process | None:
    """One that is ready for work; None, and a line in the log, when that fails."""
    process = None
    try:
        process = Process(most_bytes)
        process.wait_until_ready()
    except OSError:
        _LOG.exception("a reasoning process could not be started")
        return None
    except (Late, Ended):
        _LOG.warning("a reasoning process ended before it was ready")
        if process is not None:
            process.end()
        return None
    else:
        return process
