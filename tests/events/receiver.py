"""A receiver of webhooks as a house would write it: a process's thread on this machine, verified by a library
that is not ours."""

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from standardwebhooks import Webhook


@dataclass
class Got:
    """One delivery as it came."""

    headers: dict[str, str]
    body: bytes

    @property
    def id(self) -> str:
        return self.headers["webhook-id"]

    @property
    def event(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.body)
        return found

    def verified(self, secret: str) -> dict[str, Any]:
        """Raises WebhookVerificationError."""
        found: dict[str, Any] = Webhook(secret).verify(self.body, self.headers)
        return found


@dataclass
class Receiver:
    """Answers each delivery with what `answer` says; `port` 0: any."""

    answer: Callable[[Got], tuple[int, dict[str, str]]] = lambda _got: (204, {})
    port: int = 0
    got: list[Got] = field(default_factory=list)
    _server: Any = None

    def __enter__(self) -> "Receiver":
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                got = Got({name.lower(): value for name, value in self.headers.items()}, body)
                receiver.got.append(got)
                status, headers = receiver.answer(got)
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, *_said: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()
        return self

    def __exit__(self, *_raised: object) -> None:
        self._server.shutdown()
        self._server.server_close()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/events?of=graftbook"

    def wait_for(self, count: int, seconds: float = 60) -> list[Got]:
        """The deliveries once there are so many."""
        until = time.monotonic() + seconds
        while len(self.got) < count and time.monotonic() < until:
            time.sleep(0.05)
        return list(self.got)
