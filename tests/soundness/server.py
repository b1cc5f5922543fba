"""A real `graftbook serve` in a process of its own, and a key to edit with.

    with serve(database_url) as served:
        with served.client() as client:
            client.post("/v1/imports", …)

Several services on one database: `with serve(url) as one, serve(url, key=one.key) as other`.
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from tests.conftest import make_key
from tests.logged import faults

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from api.cli import main; main()"]
SECONDS_TO_START = 60


@dataclass
class Served:
    """A running service: its address, a key that may do everything."""

    address: str
    key: str
    process: subprocess.Popen[bytes]
    log: Path

    @property
    def headers(self) -> dict[str, str]:
        """What a request that edits must carry."""
        return {"Authorization": f"Bearer {self.key}"}

    def client(self, **options: Any) -> httpx.Client:
        """A client that carries the key; end it with `with`."""
        return httpx.Client(**({"base_url": self.address, "headers": self.headers, "timeout": 60} | options))

    def async_client(self, **options: Any) -> httpx.AsyncClient:
        """The same for asynchronous code."""
        return httpx.AsyncClient(
            **({"base_url": self.address, "headers": self.headers, "timeout": 60} | options)
        )

    def logged(self) -> str:
        """Everything that the process wrote so far."""
        return self.log.read_text("utf-8", "replace")

    def faults(self) -> list[str]:
        """The lines of its log that tell of a fault."""
        return faults(self.logged())

    def kill(self) -> None:
        """kill -9, and wait until it is gone."""
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        """SIGTERM, as an operator stops it; its exit code. Kills it when it does not end."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(30)
            except subprocess.TimeoutExpired:
                self.kill()
        return self.process.returncode


def graftbook(*arguments: str, database: str, **options: Any) -> subprocess.CompletedProcess[str]:
    """One command in a process of its own, against a database."""
    return subprocess.run(
        [*COMMAND, *arguments, "--database", database],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False, **options,
    )  # fmt: skip


@contextmanager
def serve(database: str, *, key: str | None = None, **settings: Any) -> Iterator[Served]:
    """A service on a free port against a migrated database, ready; stopped when the block ends.

    `key`: one that the database knows already; else one is made. `settings`: fields of the settings,
    such as `pool_size=5`; `workers` is the number of processes behind the address.
    """
    key = key or make_key(database)
    workers = settings.pop("workers", 1)
    environment = os.environ | {f"GRAFTBOOK_{name.upper()}": str(value) for name, value in settings.items()}
    with tempfile.TemporaryDirectory() as folder:
        served = _start(database, key, workers, environment, Path(folder) / "log")
        try:
            yield served
        finally:
            served.stop()


def _start(database: str, key: str, workers: int, environment: dict[str, str], log: Path) -> Served:
    for _attempt in range(3):
        port = _free_port()
        with log.open("wb") as stream:
            process = subprocess.Popen(
                [*COMMAND, "serve", "--port", str(port), "--workers", str(workers), "--database", database],
                cwd=ROOT, env=environment | {"PYTHONUNBUFFERED": "1"}, stdout=stream, stderr=stream,
            )  # fmt: skip
        served = Served(f"http://127.0.0.1:{port}", key, process, log)
        if _ready(served):
            return served
        served.kill()
        if "address already in use" not in served.logged():
            break
    raise AssertionError(f"the service did not get ready:\n{served.logged()}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _ready(served: Served) -> bool:
    until = time.monotonic() + SECONDS_TO_START
    while time.monotonic() < until and served.process.poll() is None:
        try:
            if httpx.get(f"{served.address}/readyz", timeout=5).status_code == 200:
                return True
        except httpx.TransportError:
            pass
        time.sleep(0.05)
    return False
