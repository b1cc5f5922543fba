"""The server process: one or several workers, their log lines, and how they end."""

import os
import tempfile
from contextlib import ExitStack
from pathlib import Path

import uvicorn

from graftbook.settings import Settings
from graftbook.telemetry.logs import log_config
from graftbook.telemetry.metrics import FOLDER
from graftbook.temporary_files import work_folder

FIGURES = "graftbook-figures-"
"""How the folder of the figures of several workers begins to be called."""
SECONDS_TO_BE_HEARD_OF = 60
"""A worker that says nothing for so long is replaced. On a busy machine loading the program alone takes many:
one that was ended meanwhile would be begun again without end."""


def serve(settings: Settings, workers: int = 1) -> None:
    """Answer over HTTP until a signal ends it; settings reach the workers through the environment.

    It reasons in further processes unless the settings say otherwise. Several workers leave their
    figures in a folder of their own, so that `/metrics` tells of all.
    """
    os.environ.setdefault("GRAFTBOOK_REASONING_PROCESSES", str(settings.questions_at_once))
    with ExitStack() as ends:
        if workers > 1:  # one alone ends by the signal that it was sent, and would clear nothing away
            folder = ends.enter_context(work_folder(Path(tempfile.gettempdir()), FIGURES))
            os.environ.setdefault(FOLDER, str(folder))
        uvicorn.run(
            "graftbook.app:served_app",
            factory=True,
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
