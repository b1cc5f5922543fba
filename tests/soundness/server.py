"""A real `graftbook serve` in a process of its own, and a key to edit with.

    with serve(database_url) as served:
        with served.client() as client:
            client.post("/v1/imports", …)

Several services on one database: `with serve(url) as one, serve(url, key=one.key) as other`.
"""

import os
import re
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from tests.conftest import make_key
from tests.logged import faults
from tests.soundness.forked import Forked

ROOT = Path(__file__).resolve().parents[2]
SECONDS_TO_START = 60
UNHURRIED: dict[str, Any] = {"seconds_to_reason": 60, "reasoning_processes": 0}
"""What a service gets unless it is told otherwise: on a busy machine too it proves what it is asked, and it
reasons where it serves, since a process that has to load the solver costs more than most of these ask."""
AS_IT_COMES: dict[str, Any] = dict.fromkeys(UNHURRIED)
"""What leaves these as the program has them."""
_LISTENS = re.compile(r"running on (http://[\d.]+:\d+)")


@dataclass
class Served:
    """A running service: its address, a key that may do everything."""

    address: str
    key: str
    process: Forked
    log: Path

    @property
    def headers(self) -> dict[str, str]:
        """What a request that edits must carry."""
        return {"Authorization": f"Bearer {self.key}"}

    def client(self, **options: Any) -> httpx.Client:
        """A client that carries the key; end it with `with`."""
        return httpx.Client(**(self._usual() | options))

    def async_client(self, **options: Any) -> httpx.AsyncClient:
        """The same for asynchronous code."""
        return httpx.AsyncClient(**(self._usual() | options))

    def _usual(self) -> dict[str, Any]:
        """No certificates are read: a twentieth of a second for each client, and none is looked at."""
        return {"base_url": self.address, "headers": self.headers, "timeout": 60, "verify": False}

    def logged(self) -> str:
        """Everything that the process wrote so far."""
        return self.log.read_text("utf-8", "replace") if self.log.exists() else ""

    def faults(self) -> list[str]:
        """The lines of its log that tell of a fault."""
        return faults(self.logged())

    def kill(self) -> None:
        """kill -9, and wait until it is gone."""
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        """SIGTERM, as an operator stops it; its exit code. Kills it when it does not end."""
        if self.process.returncode is None:
            self.process.terminate()
            if not self.process.wait(30):
                self.kill()
        assert self.process.returncode is not None
        return self.process.returncode


def graftbook(
    *arguments: str, database: str, env: Mapping[str, str] = os.environ
) -> subprocess.CompletedProcess[str]:
    """One command in a process of its own, against a database; what it says on either stream is `stderr`."""
    with tempfile.TemporaryDirectory() as folder:
        said = Path(folder) / "said"
        process = Forked([*arguments, "--database", database], dict(env), said)
        assert process.wait(120), f"{arguments} does not end"
        code = process.returncode
        assert code is not None
        return subprocess.CompletedProcess(arguments, code, "", said.read_text("utf-8"))


@contextmanager
def serve(database: str, *, key: str | None = None, **settings: Any) -> Iterator[Served]:
    """A service on a free port against a migrated database, ready; stopped when the block ends.

    `key`: one that the database knows already; else one is made. `settings`: fields of the settings beside
    those of `UNHURRIED`, such as `pool_size=5`; `workers` is the number of processes behind the address,
    `files` how many files the first may have open.
    """
    workers, files = settings.pop("workers", 1), settings.pop("files", None)
    given = {name: value for name, value in (UNHURRIED | settings).items() if value is not None}
    environment = os.environ | {f"GRAFTBOOK_{name.upper()}": str(value) for name, value in given.items()}
    key = key or make_key(database)
    with tempfile.TemporaryDirectory() as folder:
        served = _start(database, key, workers, environment, Path(folder) / "log", files)
        try:
            yield served
        finally:
            served.stop()


def _start(
    database: str, key: str, workers: int, environment: dict[str, str], log: Path, files: int | None
) -> Served:
    """The system chooses the port, so that no other process can take it first."""
    process = Forked(
        ["serve", "--port", "0", "--workers", str(workers), "--database", database], environment, log, files
    )
    served = Served("", key, process, log)
    until = time.monotonic() + SECONDS_TO_START
    while time.monotonic() < until and process.returncode is None:
        if not served.address and (said := _LISTENS.search(served.logged())):
            served.address = said.group(1)
        if served.address and _ready(served):
            return served
        time.sleep(0.05)
    served.kill()
    raise AssertionError(f"the service did not get ready:\n{served.logged()}")


def _ready(served: Served) -> bool:
    try:
        return httpx.get(f"{served.address}/readyz", timeout=5, verify=False).status_code == 200
    except httpx.TransportError:
        return False
