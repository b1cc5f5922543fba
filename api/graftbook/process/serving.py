"""The server process: one or several workers, their log lines, and how they end."""

import asyncio
import os
import resource
import tempfile
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import uvicorn
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from graftbook.settings import Settings
from graftbook.telemetry.logs import log_config
from graftbook.telemetry.metrics import FOLDER
from graftbook.temporary_files import work_folder

FIGURES = "graftbook-figures-"
"""How the folder of the figures of several workers begins to be called."""
SECONDS_TO_BE_HEARD_OF = 60
"""A worker that says nothing for so long is replaced. On a busy machine loading the program alone takes many:
one that was ended meanwhile would be begun again without end."""

SECONDS_FOR_A_HEAD = 30.0
"""Who connects, or was answered, says in so many what he wants next, or the connection is closed."""
MOST_FILES = 65_536
"""That are asked of the system: each connection is one, and by default a process has about a thousand, which
as many strangers would take."""


class Prompt(HttpToolsProtocol):
    """One connection on which nobody waits for a head that does not come."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._wait()

    def on_headers_complete(self) -> None:
        self._wait_no_more()
        super().on_headers_complete()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._wait_no_more()
        self._waiting = self.loop.call_later(SECONDS_FOR_A_HEAD, self._end)

    def _wait_no_more(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _end(self) -> None:
        """But for one whose next request is at work already."""
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()


def serve(settings: Settings, workers: int = 1) -> None:
    """Answer over HTTP until a signal ends it; settings reach the workers through the environment.

    It reasons in further processes unless the settings say otherwise. Several workers leave their
    figures in a folder of their own, so that `/metrics` tells of all.
    """
    _allow_many_connections()
    os.environ.setdefault("GRAFTBOOK_REASONING_PROCESSES", str(settings.questions_at_once))
    with ExitStack() as ends:
        if workers > 1:  # one alone ends by the signal that it was sent, and would clear nothing away
            folder = ends.enter_context(work_folder(Path(tempfile.gettempdir()), FIGURES))
            os.environ.setdefault(FOLDER, str(folder))
        uvicorn.run(
            "graftbook.app:served_app",
            factory=True,
            http=Prompt,
            host=settings.host,
            port=settings.port,
            workers=workers,
            server_header=False,
            access_log=False,
            # Believed from everybody here, anybody here could pass for anybody.
            proxy_headers=bool(settings.trusted_proxies),
            forwarded_allow_ips=settings.trusted_proxies,
            log_config=log_config(settings.log_format, settings.log_level),
            timeout_graceful_shutdown=settings.finish_seconds,
            timeout_worker_healthcheck=SECONDS_TO_BE_HEARD_OF,
        )


def _allow_many_connections() -> None:
    """As many files as the system lets this process have, and those that it begins."""
    now, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MOST_FILES if most == resource.RLIM_INFINITY else min(most, MOST_FILES)
    if now != resource.RLIM_INFINITY and now < wanted:
        with suppress(OSError, ValueError):  # some systems have a bound of their own
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
