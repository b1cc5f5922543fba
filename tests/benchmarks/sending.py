"""How quickly a ready answer leaves, from socket to socket, beside an endpoint of the same framework.

`figures` serves the demo range in one process, and in another an endpoint of the framework that returns the
very same bytes (an `async def` with a ready response, nothing round it). Each is asked over a few connections
kept open by processes that do nothing but write a request and read its answer, so that the client is not what
is measured: `client_share` says how much of a processor it took beside the server. Rounds alternate, so that
a busy machine slows both. Each answer is checked to have the status and the length that are expected.
"""

import json
import multiprocessing
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx

from graftbook.commands.demo import demo_sheets
from graftbook.database import make_engine, migrate
from tests.benchmarks.loaded import load_all

CLIENTS = 2
ROUNDS = 5
SECONDS = 1.0
CLOSURE = "/v1/closures?chassis=24PL-018412&fit=QB-3310"
PART = "/v1/components/QB-3310"
SERVE = """
import sys, uvicorn
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import Response
body = open(sys.argv[1], "rb").read()
app = FastAPI(openapi_url=None)
@app.get("/whole")
async def whole(request: Request) -> Response:
    return Response(body, media_type="application/json")
@app.get("/not-modified")
async def not_modified(request: Request) -> Response:
    return Response(status_code=304, headers={"ETag": request.headers["if-none-match"]})
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="warning", access_log=False)
"""


@dataclass(frozen=True, slots=True)
class Figure:
    """Medians of answers a second, here and beside it; `ratio` is the median of the rounds' ratios."""

    what: str
    size: int
    a_second: float
    beside: float
    ratio: float
    client_share: float


def figures() -> list[Figure]:
    """A ready closure, the same compressed, a 304 of it, and a component's page."""
    with _demo() as base, TemporaryDirectory() as folder:
        return [*_compared(base, Path(folder))]


def run() -> Iterator[tuple[str, str]]:
    """The same as rows."""
    for one in figures():
        yield (
            f"{one.what} ({one.size / 1000:.1f} kB)",
            f"{one.a_second:8.0f} a second, beside it {one.beside:.0f}, ratio {one.ratio:.2f}",
        )


def _compared(base: str, folder: Path) -> Iterator[Figure]:
    asks = [
        ("closure, ready", CLOSURE, {"Accept-Encoding": "identity"}),
        ("closure, ready, in zstd", CLOSURE, {"Accept-Encoding": "zstd"}),
        ("closure, 304", CLOSURE, {"Accept-Encoding": "identity", "If-None-Match": ""}),
        ("component", PART, {"Accept-Encoding": "identity"}),
    ]
    with httpx.Client(base_url=base, timeout=60) as client:
        _made_ready(client)
        for what, path, headers in asks:
            with client.stream("GET", path, headers=headers) as first:
                body = b"".join(first.iter_raw())
            assert first.status_code == 200, body[:300]
            if "If-None-Match" in headers:
                headers["If-None-Match"] = first.headers["etag"]
            (folder / "body").write_bytes(body)
            with on_a_free_port([sys.executable, "-c", SERVE, str(folder / "body")], "/whole") as other:
                there = "/not-modified" if "If-None-Match" in headers else "/whole"
                yield _figure(what, (base, path), (other, there), headers)


def _made_ready(client: httpx.Client) -> None:
    """Ask until the closure is proved, however busy the machine is."""
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "deadline_seconds": 30.0}
    for _ in range(20):
        if "etag" in client.post("/v1/closures", json=asked).headers:
            return
        time.sleep(1)
    raise TimeoutError("the closure was not proved")


def _figure(what: str, here: tuple[str, str], there: tuple[str, str], headers: dict[str, str]) -> Figure:
    rounds = []
    for turn in range(ROUNDS + 1):
        pair = [_rate(*where, headers) for where in (here, there)]
        if turn:  # the first one warms
            rounds.append(pair)
    mine, beside = zip(*rounds, strict=True)
    return Figure(
        what,
        mine[0][2],
        statistics.median(rate for rate, _, _ in mine),
        statistics.median(rate for rate, _, _ in beside),
        statistics.median(a[0] / b[0] for a, b in rounds),
        statistics.median(share for _, share, _ in beside),
    )


def _rate(base: str, path: str, headers: dict[str, str]) -> tuple[float, float, int]:
    """Answers a second of a round, the processors that the clients took, and the length of one answer."""
    with multiprocessing.get_context("fork").Pool(CLIENTS) as clients:
        every = clients.starmap(_client, [(base, path, headers)] * CLIENTS)
    return (
        sum(count / seconds for count, seconds, _, _ in every),
        sum(used / seconds for _, seconds, used, _ in every),
        every[0][3],
    )


def _client(base: str, path: str, headers: dict[str, str]) -> tuple[int, float, float, int]:
    """One connection: how many answers, in how many seconds, of processor time too, and how long one is."""
    host, port = base.removeprefix("http://").split(":")
    lines = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
    request = f"GET {path} HTTP/1.1\r\nHost: {host}\r\n{lines}\r\n".encode()
    with socket.create_connection((host, int(port))) as wire:
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        buffer = bytearray(1 << 20)
        wire.sendall(request)
        length = _whole_answer(wire, buffer, 200 if "If-None-Match" not in headers else 304)
        count, used, began = 0, time.process_time(), time.perf_counter()
        while (now := time.perf_counter()) - began < SECONDS:
            wire.sendall(request)
            got = 0
            while got < length:
                got += wire.recv_into(buffer)
            count += 1
        return count, now - began, time.process_time() - used, length


def _whole_answer(wire: socket.socket, buffer: bytearray, status: int) -> int:
    """Read the first answer to its end; returns its bytes, head and body, which every later one has too."""
    got = b""
    while b"\r\n\r\n" not in got:
        got += buffer[: wire.recv_into(buffer)]
    head, _, rest = got.partition(b"\r\n\r\n")
    assert head.split(b" ")[1] == str(status).encode(), head
    lengths = [
        line.split(b":")[1] for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")
    ]
    left = (int(lengths[0]) if lengths and status != 304 else 0) - len(rest)
    while left > 0:
        left -= wire.recv_into(buffer)
    return len(head) + 4 + (int(lengths[0]) if lengths and status != 304 else 0)


def demo_in(folder: str) -> str:
    """The demo range in a new database of a folder; its address."""
    url = f"sqlite:///{folder}/demo.sqlite3"
    engine = make_engine(url)
    migrate(engine)
    load_all(engine, demo_sheets())
    engine.dispose()
    return url


@contextmanager
def _demo() -> Iterator[str]:
    """The service on the demo range, as `graftbook serve` runs it; its address."""
    with TemporaryDirectory() as folder:
        url = demo_in(folder)
        program = "from graftbook.commands.cli import main; main()"
        command = [sys.executable, "-c", program, "serve", "--database", url, "--port"]
        with on_a_free_port(command, "/livez") as base:
            yield base


@contextmanager
def on_a_free_port(command: list[str], path: str, environment: dict[str, str] | None = None) -> Iterator[str]:
    """A server in a process of its own on a free port, which it is given last; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    base = f"http://127.0.0.1:{port}"
    with subprocess.Popen(
        [*command, str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment
    ) as server:
        try:
            for _ in range(600):
                try:
                    httpx.get(base + path)
                    break
                except httpx.TransportError:
                    time.sleep(0.1)
            yield base
        finally:
            server.terminate()


if __name__ == "__main__":
    print(json.dumps([asdict(one) for one in figures()], indent=1))
