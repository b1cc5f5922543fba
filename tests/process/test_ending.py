"""A real process that is told to end: it says so first, answers on, finishes what it began, then ends."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import httpx
import pytest

from graftbook.process import draining
from tests.logged import faults
from tests.soundness.server import serve

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from graftbook.commands.cli import main; main()", "serve", "--port", "0"]
BODY = json.dumps({"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}).encode()
HEAD = (
    "POST /v1/closures HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
    f"Content-Length: {len(BODY)}\r\n\r\n"
).encode()


NOBODYS = "the database is only read"
"""A key that is not asked for."""


class Process:
    """`graftbook serve` in a process of its own; its log is read as it comes."""

    def __init__(self, url: str, drain_seconds: float, *options: str) -> None:
        settings = {
            "GRAFTBOOK_DATABASE_URL": url,
            "GRAFTBOOK_DRAIN_SECONDS": str(drain_seconds),
            "GRAFTBOOK_LOG_FORMAT": "json",
        }
        self.inner = subprocess.Popen(
            [*COMMAND, *options], cwd=ROOT, env=os.environ | settings, text=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip
        self.log: list[str] = []
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.inner.stderr is not None
        self.log.extend(iter(self.inner.stderr.readline, ""))

    def end(self) -> None:
        """Nothing of it is left, neither its workers nor the pipe."""
        with suppress(ProcessLookupError):
            os.killpg(self.inner.pid, signal.SIGKILL)
        self.inner.wait(60)
        self._reader.join(10)
        assert self.inner.stderr is not None
        self.inner.stderr.close()

    def until(self, pattern: str, seconds: float = 60) -> re.Match[str]:
        """Wait for a line."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if found := re.search(pattern, "".join(self.log)):
                return found
            time.sleep(0.02)
        raise AssertionError(f"no line with {pattern}: {self.log}")

    def port(self) -> int:
        return int(self.until(r"running on http://127\.0\.0\.1:(\d+)").group(1))


@contextmanager
def serving(url: str, drain_seconds: float, *options: str) -> Iterator[Process]:
    process = Process(url, drain_seconds, *options)
    try:
        yield process
    finally:
        process.end()


def half_sent(port: int) -> socket.socket:
    """A request whose body has only half arrived."""
    connection = socket.create_connection(("127.0.0.1", port), timeout=30)
    connection.sendall(HEAD + BODY[:20])
    return connection


def answer_of(connection: socket.socket) -> tuple[bytes, bytes]:
    """Head and body of an answer, read until the server closes the connection."""
    with connection:
        received = b"".join(iter(lambda: connection.recv(65_536), b""))
    head, _, body = received.partition(b"\r\n\r\n")
    return head, body


def asked(address: str) -> httpx.Response:
    """On a busy machine too; the certificates that nobody needs would take longer than the answer."""
    return httpx.get(address, timeout=30, verify=False)


def metrics_are_of_one_service(base: str) -> None:
    """However many workers it has. Each request on a connection of its own, so that each worker gets some."""
    for _ in range(30):
        asked(f"{base}/livez")
    told = asked(f"{base}/metrics").text
    assert 'graftbook_request_seconds_count{method="GET",route="/livez",status="2xx"} 30.0' in told


@pytest.mark.parametrize("workers", ["1", "2"])
def test_at_sigterm_it_says_not_ready_answers_on_and_finishes_what_is_in_flight(
    sqlite_demo_url: str, workers: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    with serving(sqlite_demo_url, 4.0, "--workers", workers) as process:
        base = f"http://127.0.0.1:{process.port()}"
        process.until("Application startup complete")
        assert asked(f"{base}/readyz").status_code == 200
        assert asked(f"{base}/v1/components/QL-7075").status_code == 200
        metrics_are_of_one_service(base)
        slow = half_sent(process.port())
        time.sleep(0.3)
        told = time.monotonic()
        process.inner.send_signal(signal.SIGTERM)
        process.until("draining")

        not_ready = asked(f"{base}/readyz")
        assert not_ready.status_code == 503
        assert "about to end" in not_ready.json()["detail"]
        assert not_ready.headers["retry-after"]
        assert asked(f"{base}/livez").status_code == 200
        assert asked(f"{base}/v1/components/QL-7075").status_code == 200

        process.until(f"(?s)(Shutting down.*){{{workers}}}")
        assert time.monotonic() - told >= 3.9, "the drain time was given"
        with pytest.raises(httpx.TransportError):
            httpx.get(f"{base}/livez", timeout=0.5)
        slow.sendall(BODY[20:])
        head, body = answer_of(slow)
        assert head.startswith(b"HTTP/1.1 200 ")
        assert json.loads(body)["outcome"] == "proved"
        assert f"content-length: {len(body)}".encode() in head
        process.inner.wait(60)
    assert not list(tmp_path.iterdir()), "it cleared everything away"
    assert not faults("".join(process.log))
    assert all(json.loads(line) for line in process.log)
    served = [json.loads(line) for line in process.log]
    assert [line["outcome"] for line in served if line.get("method") == "POST"] == ["proved"]


def test_what_killed_services_left_goes_with_the_next_and_what_one_at_work_has_stays(
    sqlite_demo_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """One by itself leaves nothing; several workers share a folder for their figures."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))

    def left_by_a_killed(*options: str) -> set[Path]:
        with serving(sqlite_demo_url, 0, *options) as process:
            process.until("Application startup complete")
        return set(tmp_path.iterdir())

    assert left_by_a_killed() == set()
    (left,) = left_by_a_killed("--workers", "2")
    with serving(sqlite_demo_url, 0, "--workers", "2") as process:
        process.until("Application startup complete")
        (at_work,) = tmp_path.iterdir()
        assert at_work != left
        assert at_work in left_by_a_killed("--workers", "2")
        metrics_are_of_one_service(f"http://127.0.0.1:{process.port()}")


def test_a_second_sigterm_or_an_interrupt_does_not_wait(sqlite_demo_url: str):
    for signals in ((signal.SIGTERM, signal.SIGTERM), (signal.SIGINT,)):
        with serve(sqlite_demo_url, key=NOBODYS, drain_seconds=600) as served:
            for number in signals:
                os.kill(served.process.pid, number)
                time.sleep(0.3)
            assert served.process.wait(60)


def test_a_request_that_never_ends_does_not_keep_the_process(sqlite_demo_url: str):
    with serve(sqlite_demo_url, key=NOBODYS, drain_seconds=0, finish_seconds=1) as served:
        stuck = half_sent(int(served.address.rpartition(":")[2]))
        time.sleep(0.3)
        served.process.terminate()
        assert served.process.wait(60)
        stuck.close()
        assert "graceful shutdown exceeded" in served.logged()


def test_outside_the_main_thread_nothing_is_taken_over():
    before = signal.getsignal(signal.SIGTERM)
    seen: list[object] = []

    def elsewhere() -> None:
        seen.append(draining.drain_before_the_end(1.0))

    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert seen
    assert signal.getsignal(signal.SIGTERM) is before
    assert not draining.draining()
