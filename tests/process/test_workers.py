"""Several workers behind one address: each sees what was changed through another, also after a kill."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest

from graftbook.process.present import BELIEVED
from tests.process.test_pool import eventually
from tests.soundness.server import Served, serve

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="finds out in /proc which worker answers")
PART = "/v1/components/QB-3310"
ROW = "/v1/records/component/QB-3310"


@pytest.fixture
def served(databases: Any, untouched_demo_url: str) -> Iterator[Served]:
    """On each engine in turn."""
    with serve(databases.copy(untouched_demo_url), workers=2, reasoning_processes=1) as served:
        yield served


def sockets(pid: int) -> set[str]:
    """The sockets that a process has open, by their inodes."""
    found = set()
    for one in Path(f"/proc/{pid}/fd").iterdir():
        try:
            found.add(os.readlink(one))
        except OSError:
            continue
    return found


def answering(served: Served, client: httpx.Client) -> int | None:
    """The process at the other end of a client's connection; None while nobody has taken it."""
    client.get("/livez")
    (connection,) = client._transport._pool.connections  # type: ignore[attr-defined]
    port = connection._connection._network_stream.get_extra_info("client_addr")[1]
    server = int(served.address.rsplit(":", 1)[1])
    for line in Path("/proc/net/tcp").read_text().splitlines()[1:]:
        _, local, remote, *_rest = line.split()
        if int(local[-4:], 16) == server and int(remote[-4:], 16) == port:
            socket = f"socket:[{line.split()[9]}]"
            return next((pid for pid in children(served) if socket in sockets(pid)), None)
    return None


def children(served: Served) -> list[int]:
    """The processes that the service began: its workers among them."""
    listed = Path(f"/proc/{served.process.pid}/task/{served.process.pid}/children").read_text()
    return [int(pid) for pid in listed.split()]


class Clients:
    """One client, with a connection kept open, for each worker."""

    def __init__(self, served: Served, stack: ExitStack) -> None:
        self.by_worker: dict[int, httpx.Client] = {}
        self._served, self._stack = served, stack

    def find(self, workers: int = 2) -> dict[int, httpx.Client]:
        """Connect until every worker has taken a connection."""

        def another() -> bool:
            client = self._stack.enter_context(self._served.client())
            pid = answering(self._served, client)
            if pid is not None:
                self.by_worker.setdefault(pid, client)
            return len(self.by_worker) == workers

        assert eventually(another), self.by_worker
        return self.by_worker


def priced(client: httpx.Client, price: str) -> None:
    """An edit through this client's worker."""
    now = client.get(ROW)
    rows = [row | {"price": price} for row in now.json()["rows"]]
    answer = client.put(ROW, json={"rows": rows}, headers={"If-Match": now.headers["etag"]})
    assert answer.is_success, answer.text


def price_of(client: httpx.Client) -> str:
    answer = client.get(PART)
    assert answer.status_code == 200, answer.text
    found: str = answer.json()["component"]["price"]
    return found


def seen_by_all(clients: dict[int, httpx.Client], price: str) -> None:
    """Within a second, though each has the old answer ready."""
    time.sleep(BELIEVED + 0.1)
    for client in clients.values():
        assert price_of(client) == price


def test_an_edit_through_one_worker_is_seen_by_the_other_also_after_a_kill(served: Served) -> None:
    with ExitStack() as stack:
        found = Clients(served, stack)
        clients = found.find()
        (one, here), (other, there) = clients.items()
        for number, writer in enumerate((here, there, here)):
            for client in clients.values():
                price_of(client), price_of(client)
            priced(writer, f"61{number}.00")
            seen_by_all(clients, f"61{number}.00")
        os.kill(one, signal.SIGKILL)
        del found.by_worker[one]
        priced(there, "621.00")
        clients = found.find()
        assert one not in clients
        assert other in clients
        seen_by_all(clients, "621.00")
        (reborn,) = (client for pid, client in clients.items() if pid != other)
        price_of(there), price_of(there)
        priced(reborn, "622.00")
        seen_by_all(clients, "622.00")


def test_a_key_revoked_through_one_worker_opens_nothing_in_the_other(served: Served) -> None:
    with ExitStack() as stack:
        here, there = Clients(served, stack).find().values()
        made = here.post("/v1/keys", json={"label": "a reader", "scope": "read"}).json()
        reader = {"Authorization": f"Bearer {made['key']}"}
        for client in (here, there):
            for _ in range(3):
                assert client.get(PART, headers=reader).status_code == 200
        assert here.delete(f"/v1/keys/{made['id']}").status_code == 204
        assert here.get(PART, headers=reader).status_code == 401
        time.sleep(BELIEVED + 0.1)
        assert there.get(PART, headers=reader).status_code == 401
