"""A `graftbook` command in a process forked from one that has loaded the program already.

Loading it takes seconds each time; the tests of soundness start services by the dozen. That a process of
one's own starts from nothing as well is what `tests/commands/test_server.py` and `tests/telemetry` are for.
"""

import multiprocessing
import os
import resource
import signal
import sys
from pathlib import Path

from graftbook.commands.cli import main

LOADED = [
    "graftbook.app",
    "graftbook.commands.cli",
    "tests.soundness.forked",
    "tests.soundness.kills",
    "tests.soundness.worst",
    "tests.soundness.ready",  # the last: it looks at what is there by then
]


class Forked:
    """As much of a process of `subprocess` as the tests ask for."""

    def __init__(
        self, arguments: list[str], environment: dict[str, str], log: Path, files: int | None = None
    ) -> None:
        """`files`: so many it may have open, until it asks for more."""
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(LOADED)
        self._inner = context.Process(target=_run, args=(arguments, environment, str(log), files))
        self._inner.start()

    @property
    def pid(self) -> int:
        assert self._inner.pid is not None
        return self._inner.pid

    @property
    def returncode(self) -> int | None:
        """Its exit code, negative when a signal ended it; None while it runs."""
        return self._inner.exitcode

    def kill(self) -> None:
        """kill -9."""
        self._inner.kill()

    def terminate(self) -> None:
        """SIGTERM."""
        self._inner.terminate()

    def wait(self, seconds: float | None = None) -> bool:
        """Whether it ended, within so many seconds."""
        self._inner.join(seconds)
        return self._inner.exitcode is not None


def _run(arguments: list[str], environment: dict[str, str], log: str, files: int | None) -> None:
    if files is not None:
        resource.setrlimit(resource.RLIMIT_NOFILE, (files, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    os.environ.clear()
    os.environ.update(environment)
    stream = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(stream, 1)
    os.dup2(stream, 2)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    sys.argv = ["graftbook", *arguments]
    main()
