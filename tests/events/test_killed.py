"""Whoever is killed, receiver or service: every event arrives, in order. Real processes, killed by -9."""

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import select, update
from standardwebhooks import WebhookVerificationError

from graftbook.database import make_engine, writing
from graftbook.events.delivering import LEASE
from graftbook.events.tables import WebhookRow
from graftbook.guide.book import page_text
from tests.events.receiver import Got, Receiver
from tests.soundness.server import serve

pytestmark = pytest.mark.timeout(300)
HERE = "127.0.0.0/8"


def make(client: httpx.Client, name: str) -> None:
    answer = client.post("/v1/builds", json={"name": name, "chassis": "2L-0001"})
    assert answer.status_code == 201, answer.text


def until(true: Callable[[], Any], seconds: float = 60) -> None:
    over = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < over, "it does not come about"
        time.sleep(0.1)


def example() -> str:
    """The receiver of the guide, as it stands there."""
    (text,) = re.findall(r"```python\n(.*?)```", page_text("events"), re.DOTALL)
    return str(text)


def free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


@contextmanager
def receiving(folder: Path, port: int, secret: str) -> Iterator[subprocess.Popen[bytes]]:
    """The guide's receiver in a process of its own; killed when the block ends."""
    (folder / "receiver.py").write_text(example())
    process = subprocess.Popen(
        [sys.executable, "receiver.py", str(port)],
        cwd=folder,
        env=os.environ | {"WEBHOOK_SECRET": secret},
        stderr=subprocess.DEVNULL,
    )
    try:
        until(lambda: _listens(port))
        yield process
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()


def _listens(port: int) -> bool:
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


def kept_in(folder: Path) -> list[str]:
    """The names of the builds that the receiver was told of, in the order in which it kept them."""
    with sqlite3.connect(folder / "events.sqlite3") as kept:
        rows = kept.execute("SELECT body FROM event ORDER BY rowid").fetchall()
    kept.close()
    return [json.loads(body)["data"]["name"] for (body,) in rows]


@pytest.mark.one_engine
def test_a_receiver_that_is_killed_and_comes_again_misses_nothing(url: str, tmp_path: Path) -> None:
    port = free_port()
    with serve(url, webhook_networks=HERE) as served, served.client() as client:
        body = {"url": f"http://127.0.0.1:{port}/"}
        webhook = client.post("/v1/webhooks", json=body).json()
        address = f"/v1/webhooks/{webhook['id']}"
        names = [f"b{number:02}" for number in range(12)]
        with receiving(tmp_path, port, webhook["secret"]):
            for name in names[:4]:
                make(client, name)
            until(lambda: kept_in(tmp_path) == names[:4])
        for name in names[4:8]:
            make(client, name)
        until(lambda: client.get(address).json()["attempts"])
        assert "refused" in client.get(f"{address}/deliveries").json()["items"][0]["answer"]
        with receiving(tmp_path, port, webhook["secret"]):
            assert client.post(f"{address}/send-again", json={}).status_code == 200
            for name in names[8:]:
                make(client, name)
            until(lambda: kept_in(tmp_path) == names)
        assert not served.faults()
        assert "whsec_" not in served.logged()


def lease_passes(url: str) -> None:
    """Others leave the webhook to the process that was killed for some seconds yet; as if these were over."""
    engine = make_engine(url)
    with writing(engine) as session:
        connection = session.connection()
        (until,) = connection.execute(select(WebhookRow.lease_until)).scalars()
        left = until - datetime.now(UTC)
        assert timedelta() < left <= LEASE
        connection.execute(update(WebhookRow).values(lease_until=until - LEASE))
    engine.dispose()


def test_a_service_that_is_killed_between_effect_and_delivery_sends_it_when_it_is_back(url: str) -> None:
    """The first event is on its way when the service is killed, two more are only written."""
    arrived, go_on = threading.Event(), threading.Event()

    def never(_got: Got) -> tuple[int, dict[str, str]]:
        arrived.set()
        go_on.wait(60)
        return 204, {}

    with Receiver(never) as receiver:
        with serve(url, webhook_networks=HERE) as served, served.client() as client:
            webhook = client.post("/v1/webhooks", json={"url": receiver.url}).json()
            make(client, "first")
            assert arrived.wait(30)
            make(client, "second")
            make(client, "third")
            served.kill()
        go_on.set()
        assert len(receiver.got) == 1
        lease_passes(url)
        with serve(url, key=served.key, webhook_networks=HERE) as again, again.client() as client:
            got = receiver.wait_for(4)
            until(lambda: client.get(f"/v1/webhooks/{webhook['id']}").json()["waiting"] == 0)
        assert [one.event["data"]["name"] for one in got] == ["first", "first", "second", "third"]
        assert got[0].id == got[1].id
        for one in got:
            one.verified(webhook["secret"])


def test_several_processes_share_and_send_each_event_once(url: str) -> None:
    with (
        Receiver() as receiver,
        serve(url, webhook_networks=HERE) as one,
        serve(url, key=one.key, webhook_networks=HERE) as other,
        one.client() as client,
        other.client() as beside,
    ):
        webhooks = [client.post("/v1/webhooks", json={"url": receiver.url}).json() for _ in range(3)]
        names = [f"b{number:02}" for number in range(16)]
        for name in names:
            make(client if name < "b08" else beside, name)
        receiver.wait_for(48)
        until(lambda: not any(one["waiting"] for one in client.get("/v1/webhooks").json()["items"]))
        assert len(receiver.got) == 48
        for webhook in webhooks:
            mine = [got for got in receiver.got if _is_of(got, webhook["secret"])]
            assert [got.event["data"]["name"] for got in mine] == names


def _is_of(got: Got, secret: str) -> bool:
    try:
        got.verified(secret)
    except WebhookVerificationError:
        return False
    return True


@pytest.mark.one_engine
def test_a_service_that_ends_lets_its_readers_go(url: str) -> None:
    """Who waits or follows a stream is answered, and keeps nobody from ending."""
    with serve(url) as served:
        begun, ended = threading.Event(), [threading.Event() for _ in range(2)]

        def wait() -> None:
            answer = httpx.get(f"{served.address}/v1/events?since=now&wait=60", timeout=70)
            assert answer.json()["items"] == []
            ended[0].set()

        def follow() -> None:
            headers = {"Accept": "text/event-stream"}
            with httpx.stream("GET", f"{served.address}/v1/events", headers=headers, timeout=70) as stream:
                for _ in stream.iter_raw():
                    begun.set()
            ended[1].set()

        for work in (wait, follow):
            threading.Thread(target=work, daemon=True).start()
        assert begun.wait(60)
        time.sleep(2)
        assert not any(one.is_set() for one in ended)
        began = time.monotonic()
        served.stop()
        assert all(one.wait(10) for one in ended)
        assert time.monotonic() - began < 20
        assert not served.faults()
