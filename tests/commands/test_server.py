"""The installed command in a process of its own, asked over a real socket."""

import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from tests.conftest import bearer
from tests.logged import faults

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from graftbook.commands.cli import main; main()"]


@pytest.fixture
def own(demo_copy: Callable[[], str]) -> str:
    """The address of a copy of the demo range."""
    return demo_copy()


@pytest.fixture
def served(own: str) -> Iterator[str]:
    """The address of a service in a process of its own, on that copy."""
    process = subprocess.Popen(
        [*COMMAND, "serve", "--port", "0", "--database", own],
        cwd=ROOT, env=os.environ | {"PYTHONUNBUFFERED": "1", "GRAFTBOOK_SECONDS_TO_REASON": "120"}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        yield _address(process)
    finally:
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=60)
        assert not faults(errors)


def _address(process: subprocess.Popen[str]) -> str:
    """The address in the server's log: with port 0 the system chose one."""
    assert process.stderr is not None
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if select.select([process.stderr], [], [], 1)[0]:
            line = process.stderr.readline()
            if found := re.search(r"running on (http://[\d.]+:\d+)", line):
                return found.group(1)
            assert line or process.poll() is None
    raise AssertionError("the service did not say where it listens")


def test_a_real_server_answers_writes_and_keeps_connections(served: str, own: str):
    with httpx.Client(base_url=served, timeout=60) as client:
        assert client.get("/readyz").json()["status"] == "ready"
        body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}
        closure = client.post(
            "/v1/closures", json=body | {"deadline_seconds": 30.0}
        )  # the machine may be busy
        assert closure.json()["proved"]
        again = client.get(
            "/v1/closures?chassis=24PL-018412&fit=QB-3310", headers={"If-None-Match": closure.headers["etag"]}
        )
        assert (again.status_code, again.content) == (304, b"")
        assert "server" not in closure.headers
        body = {"name": "red", "chassis": "24PL-018412"}
        build = client.post("/v1/builds", json=body, headers=bearer(own))
        assert build.status_code == 201
        with client.stream("GET", "/v1/exports") as export:
            assert sum(len(chunk) for chunk in export.iter_bytes()) > 100_000


def test_the_command_runs_away_from_the_checkout(tmp_path: Path, sqlite_demo_url: str):
    result = subprocess.run(
        [*COMMAND, "order", "--chassis", "24PL-018412", "--fit", "QB-3310", "--format", "csv"],
        cwd=tmp_path, env=os.environ
        | {"PYTHONPATH": str(ROOT / "api"), "GRAFTBOOK_DATABASE_URL": sqlite_demo_url},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    assert result.stdout.startswith("row,line,number")
    assert result.stderr == ""
