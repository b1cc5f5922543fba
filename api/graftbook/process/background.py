"""Work that goes on after its page was sent: one thread, few jobs, each of one owner.

A job holds no transaction and survives nothing: it ends with the process, and is forgotten some minutes after
it was last looked at. What it finds stands in its own `result`, read and changed under its `lock`.
"""

import logging
import secrets
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from enum import StrEnum
from typing import Any

_LOG = logging.getLogger("graftbook")

MOST_JOBS = 20
"""Kept at once, finished ones included; the oldest that is not at work is forgotten first."""
MOST_WAITING = 4
FORGOTTEN_AFTER = 600.0
"""Seconds since somebody looked."""


class JobState(StrEnum):
    """How far a job is."""

    waiting = "waiting"
    working = "working"
    finished = "finished"
    stopped = "stopped"
    failed = "failed"


class BackgroundJob:
    """One piece of work. `owner` is the only one who is shown it."""

    def __init__(
        self, owner: str, result: Any, work: Callable[["BackgroundJob"], None], clock: Callable[[], float]
    ):
        self.id = secrets.token_urlsafe(12)
        self.owner = owner
        self.result = result
        self.state = JobState.waiting
        self.lock = threading.Lock()
        self._stop = threading.Event()
        self._work: Callable[[BackgroundJob], None] | None = work
        self._clock = clock
        self._looked_at = clock()

    @property
    def to_stop(self) -> bool:
        """Whether the work is to end at its next step: it was stopped, or nobody looks any more."""
        return self._stop.is_set() or self.unseen

    @property
    def goes_on(self) -> bool:
        """Whether there may be more to see."""
        return self.state in (JobState.waiting, JobState.working)

    @property
    def unseen(self) -> bool:
        """Whether nobody looked for so long that it is forgotten."""
        return self._clock() - self._looked_at >= FORGOTTEN_AFTER

    def looked_at(self) -> None:
        """Somebody looks now."""
        self._looked_at = self._clock()

    def stop(self) -> None:
        """End at the next step; what was found stays."""
        self._stop.set()
        if self.state is JobState.waiting:
            self.state = JobState.stopped

    def run(self) -> None:
        """Do the work, and let go of all that it needed."""
        work, self._work = self._work, None
        if work is None or self.to_stop:
            self.state = JobState.stopped
            return
        self.state = JobState.working
        try:
            work(self)
        except Exception:
            _LOG.exception("work in the background broke off")
            self.state = JobState.failed
        else:
            self.state = JobState.stopped if self.to_stop else JobState.finished


class Background:
    """The jobs of one process. Safe for threads; its own thread begins with the first job."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._jobs: OrderedDict[str, BackgroundJob] = OrderedDict()
        self._waiting: deque[BackgroundJob] = deque()
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closed = False

    def begin(self, owner: str, result: Any, work: Callable[[BackgroundJob], None]) -> BackgroundJob | None:
        """Put work in the queue; the owner's earlier jobs are stopped. None when too much waits already."""
        with self._changed:
            self._forget()
            for other in self._jobs.values():
                if other.owner == owner:
                    other.stop()
            self._waiting = deque(job for job in self._waiting if job.state is JobState.waiting)
            if self._closed or len(self._waiting) >= MOST_WAITING:
                return None
            self._make_room()
            job = BackgroundJob(owner, result, work, self._clock)
            self._jobs[job.id] = job
            self._waiting.append(job)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="background", daemon=True)
                self._thread.start()
            self._changed.notify()
            return job

    def find(self, name: str, owner: str) -> BackgroundJob | None:
        """The owner's job of this name, looked at now; None when it is forgotten or somebody else's."""
        with self._changed:
            self._forget()
            job = self._jobs.get(name)
            if job is None or not secrets.compare_digest(job.owner.encode(), owner.encode()):
                return None
            job.looked_at()
            return job

    def close(self) -> None:
        """Stop everything; the thread ends after the step it is at."""
        with self._changed:
            self._closed = True
            for job in self._jobs.values():
                job.stop()
            self._waiting.clear()
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(timeout=1.0)

    def _forget(self) -> None:
        for job in [job for job in self._jobs.values() if job.unseen]:
            job.stop()
            del self._jobs[job.id]

    def _make_room(self) -> None:
        while len(self._jobs) >= MOST_JOBS:
            del self._jobs[next(job.id for job in self._jobs.values() if not job.goes_on)]

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._closed)
                if self._closed:
                    return
                job = self._waiting.popleft()
            job.run()
