"""Starts releases in processes of their own, and asks them the same in turns.

with now() as ours, then() as theirs:
    ours.ask(do="load", sheets=[…])
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

OLD = "d4cf6e3"
"""The release that ours is held against; the repository's own history has it."""

ROOT = Path(__file__).resolve().parents[3]
AGENT = Path(__file__).with_name("agent.py")

Facts = dict[str, Any]


class Fault(RuntimeError):
    """A release could not answer; the message is its own."""


class Side:
    """A release that answers."""

    def __init__(self, package: str, path: Path) -> None:
        environment = os.environ | {"PYTHONPATH": str(path), "PYTHONHASHSEED": "0"}
        self._process = subprocess.Popen(
            [sys.executable, str(AGENT), package],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment, cwd=path,
        )  # fmt: skip
        self._read()

    def ask(self, **what: Any) -> Facts:
        """What it answers. Raises Fault."""
        assert self._process.stdin is not None
        print(json.dumps(what), file=self._process.stdin, flush=True)
        return self._read()

    def _read(self) -> Facts:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise Fault(f"the process of the release ended with {self._process.wait()}")
        told: Facts = json.loads(line)
        if "fault" in told:
            raise Fault(told["fault"])
        return told

    def stop(self) -> None:
        """End it, and wait until it is gone."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


@contextmanager
def now() -> Iterator[Side]:
    """This checkout."""
    yield from _running("graftbook", ROOT / "api")


@contextmanager
def then(commit: str = OLD) -> Iterator[Side]:
    """The old release, taken out of the repository's history into a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        archive = subprocess.Popen(
            ["git", "archive", commit, "api", "migrations"], cwd=ROOT, stdout=subprocess.PIPE
        )
        subprocess.run(["tar", "-x", "-C", folder], stdin=archive.stdout, check=True)
        if archive.wait():
            raise Fault(f"the repository's history does not hold {commit}: fetch it whole")
        yield from _running("api", Path(folder))


def _running(package: str, path: Path) -> Iterator[Side]:
    side = Side(package, path)
    try:
        yield side
    finally:
        side.stop()
