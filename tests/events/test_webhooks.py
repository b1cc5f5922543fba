"""Events on their way: signed so that another library verifies them, in order, again until they are taken."""

import asyncio
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine
from standardwebhooks import WebhookVerificationError

from graftbook.catalogue.history.revisions import begin_epoch
from graftbook.database import writing
from graftbook.events import delivering, store, webhooks
from graftbook.events.delivering import SCHEDULE, Delivering, next_parcel, note, take
from graftbook.events.sending import Answered, NotSent
from graftbook.events.service import forget_old
from tests.conftest import client_of
from tests.events.conftest import build_made
from tests.events.receiver import Receiver

pytestmark = pytest.mark.anyio


@pytest.fixture
async def sent(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[None]:
    """The task of a serving process that sends. It looks ten times as often for webhooks that were changed:
    what is not sent within a second is not sent."""
    monkeypatch.setattr(delivering, "LOOK_EVERY", 0.2)
    task = asyncio.create_task(
        Delivering(app.state.service.engine, app.state.waiting, app.state.service.settings).run()
    )
    yield
    task.cancel()
    await asyncio.wait([task])


async def made(house: httpx.AsyncClient, url: str, **more: Any) -> dict[str, Any]:
    answer = await house.post("/v1/webhooks", json={"url": url, **more})
    assert answer.status_code == 201, answer.text
    document: dict[str, Any] = answer.json()
    return document


async def now(house: httpx.AsyncClient, webhook: dict[str, Any]) -> dict[str, Any]:
    document: dict[str, Any] = (await house.get(f"/v1/webhooks/{webhook['id']}")).json()
    return document


async def got(receiver: Receiver, count: int) -> Any:
    return await asyncio.to_thread(receiver.wait_for, count)


async def until(house: httpx.AsyncClient, webhook: dict[str, Any], **wanted: Any) -> dict[str, Any]:
    for _ in range(200):
        found = await now(house, webhook)
        if found.items() >= wanted.items():
            return found
        await asyncio.sleep(0.1)
    raise AssertionError(f"{found} does not get {wanted}")


async def test_what_happens_is_sent_signed_and_in_order(house: httpx.AsyncClient, sent: None):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url, kinds=["build.created"])
        names = [f"b{number}" for number in range(5)]
        for name in names:
            await build_made(house, name)
        deliveries = await got(receiver, 5)
        events = [one.verified(webhook["secret"]) for one in deliveries]
        assert [event["data"]["name"] for event in events] == names
        assert [one.id for one in deliveries] == [event["id"] for event in events]
        assert deliveries[0].headers["content-type"] == "application/json"
        feed = (await house.get("/v1/events", params={"since": webhook["cursor"]})).json()["items"]
        assert events == feed
        with pytest.raises(WebhookVerificationError):
            deliveries[0].verified("whsec_" + "A" * 43 + "=")
        assert (await until(house, webhook, waiting=0))["cursor"] == feed[-1]["cursor"]
    listed = (await house.get(f"/v1/webhooks/{webhook['id']}/deliveries?limit=3")).json()
    assert [line["event"] for line in listed["items"]] == [event["id"] for event in feed[:1:-1]]
    assert {(line["delivered"], line["attempts"], line["answer"]) for line in listed["items"]} == {
        (True, 1, "answered 204")
    }
    rest = await house.get(
        f"/v1/webhooks/{webhook['id']}/deliveries", params={"cursor": listed["next"], "limit": 3}
    )
    assert [line["event"] for line in rest.json()["items"]] == [event["id"] for event in feed[1::-1]]


async def test_the_secret_is_shown_once_and_changed_with_two_signatures(house: httpx.AsyncClient, sent: None):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url)
        for address in ("/v1/webhooks", f"/v1/webhooks/{webhook['id']}"):
            assert "whsec_" not in (await house.get(address)).text
        answer = await house.post(f"/v1/webhooks/{webhook['id']}/secret")
        changed = answer.json()
        assert changed["secret"] != webhook["secret"]
        assert answer.headers["cache-control"] == "no-store"
        assert changed["old_secret_until"]
        await build_made(house, "red")
        (delivery,) = await got(receiver, 1)
        assert len(delivery.headers["webhook-signature"].split(" ")) == 2
        delivery.verified(webhook["secret"])
        delivery.verified(changed["secret"])
        again = await house.post(f"/v1/webhooks/{webhook['id']}/secret")
        assert (again.status_code, again.json()["type"]) == (409, "/problems/secret-still-signs")
        assert again.json()["old_secret_until"] == changed["old_secret_until"]
        assert "another one ends it at once" in again.json()["detail"]
        await build_made(house, "blue")
        (*_, delivery) = await got(receiver, 2)
        delivery.verified(webhook["secret"])
        third = await house.post(f"/v1/webhooks/{webhook['id']}/secret", params={"end_old": "true"})
        await build_made(house, "green")
        (*_, delivery) = await got(receiver, 3)
        for secret in (changed["secret"], third.json()["secret"]):
            delivery.verified(secret)
        with pytest.raises(WebhookVerificationError):
            delivery.verified(webhook["secret"])


async def test_what_fails_comes_again_and_what_is_behind_it_waits(
    house: httpx.AsyncClient, sent: None, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(delivering, "SCHEDULE", (timedelta(seconds=0.3),) * 9)
    refused = [503, 302, 200]
    with Receiver(lambda _got: (refused.pop(0) if refused else 204, {"Location": "/elsewhere"})) as receiver:
        webhook = await made(house, receiver.url)
        for name in ("red", "blue"):
            await build_made(house, name)
        deliveries = await got(receiver, 4)
    assert [one.event["data"]["name"] for one in deliveries] == ["red", "red", "red", "blue"]
    assert len({one.id for one in deliveries[:3]}) == 1
    assert (await until(house, webhook, waiting=0))["attempts"] == 0


async def test_a_redirect_is_told_as_what_nobody_follows(house: httpx.AsyncClient, sent: None):
    with Receiver(lambda _got: (301, {"Location": "/elsewhere"})) as receiver:
        webhook = await made(house, receiver.url)
        await build_made(house, "red")
        await until(house, webhook, attempts=1)
        rows = (await house.get(f"/v1/webhooks/{webhook['id']}/deliveries")).json()["items"]
    assert rows[0]["answer"] == "answered 301: it leads elsewhere, and that is not followed"


async def test_gone_ends_it(house: httpx.AsyncClient, sent: None):
    with Receiver(lambda _got: (410, {})) as receiver:
        webhook = await made(house, receiver.url)
        for name in ("red", "blue"):
            await build_made(house, name)
        disabled = await until(house, webhook, state="disabled")
        assert "410" in disabled["why"]
        assert disabled["waiting"] == 2
        assert len(receiver.got) == 1


async def test_who_is_paused_is_sent_everything_when_active_again(house: httpx.AsyncClient, sent: None):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url)
        address = f"/v1/webhooks/{webhook['id']}"
        body = {"url": receiver.url, "state": "paused"}
        assert (await house.put(address, json=body)).status_code == 428
        etag = (await house.get(address)).headers["etag"]
        paused = await house.put(address, json=body, headers={"If-Match": etag})
        assert paused.json()["state"] == "paused"
        assert (await house.put(address, json=body, headers={"If-Match": etag})).status_code == 412
        for name in ("red", "blue"):
            await build_made(house, name)
        await asyncio.sleep(1)
        assert not receiver.got
        active = body | {"state": "active"}
        await house.put(address, json=active, headers={"If-Match": paused.headers["etag"]})
        assert [one.event["data"]["name"] for one in await got(receiver, 2)] == ["red", "blue"]


async def test_all_behind_a_cursor_is_sent_again_under_the_same_ids(house: httpx.AsyncClient, sent: None):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url)
        for name in ("red", "blue"):
            await build_made(house, name)
        first = await got(receiver, 2)
        await until(house, webhook, waiting=0)
        address = f"/v1/webhooks/{webhook['id']}/send-again"
        assert (await house.post(address, json={"since": webhook["cursor"]})).status_code == 200
        assert [one.id for one in await got(receiver, 4)] == [one.id for one in first] * 2
        assert (await house.post(address, json={"since": "nothing"})).status_code == 400


async def test_nothing_is_sent_to_who_is_removed(house: httpx.AsyncClient, sent: None):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url)
        assert (await house.delete(f"/v1/webhooks/{webhook['id']}")).status_code == 204
        for method, path in (("GET", ""), ("DELETE", ""), ("GET", "/deliveries"), ("POST", "/secret")):
            answer = await house.request(method, f"/v1/webhooks/{webhook['id']}{path}")
            assert (answer.status_code, answer.json()["type"]) == (404, "/problems/unknown-webhook")
        await build_made(house, "red")
        await asyncio.sleep(1)
        assert not receiver.got


async def test_a_restored_database_sends_nothing_by_itself(
    house: httpx.AsyncClient, engine: Engine, sent: None
):
    with Receiver() as receiver:
        webhook = await made(house, receiver.url)
        with writing(engine) as session:
            begin_epoch(session.connection())
        await build_made(house, "red")
        await asyncio.sleep(1)
        assert not receiver.got
        answer = await house.get(f"/v1/webhooks/{webhook['id']}")
        assert answer.json()["state"] == "paused"
        assert "restored" in answer.json()["why"]
        body = {"url": receiver.url, "state": "active"}
        address = f"/v1/webhooks/{webhook['id']}"
        await house.put(address, json=body, headers={"If-Match": answer.headers["etag"]})
        assert len(await got(receiver, 1)) == 1


async def test_an_administrator_alone_has_to_do_with_webhooks(app: FastAPI):
    for scope in ("read", "order", "edit"):
        async with client_of(app, scope=scope) as other:
            assert (await other.get("/v1/webhooks")).status_code == 403
            answer = await other.post("/v1/webhooks", json={"url": "https://receiver.example/"})
            assert answer.status_code == 403


class TestSteps:
    """The steps of a delivery, one by one, without a task that does them."""

    @pytest.fixture
    async def webhook(self, house: httpx.AsyncClient) -> dict[str, Any]:
        webhook = await made(house, "http://127.0.0.1:9/")
        await build_made(house, "red")
        return webhook

    async def test_one_worker_sends_at_a_time(self, webhook: dict[str, Any], engine: Engine):
        assert take(engine, "one", 10)[1] == [webhook["id"]]
        assert take(engine, "other", 10)[1] == []
        assert next_parcel(engine, webhook["id"], "other") is None
        parcel = next_parcel(engine, webhook["id"], "one")
        assert parcel is not None
        assert not note(engine, webhook["id"], "other", parcel.number, Answered(204))
        assert note(engine, webhook["id"], "one", parcel.number, Answered(204))
        assert next_parcel(engine, webhook["id"], "one") is None
        assert take(engine, "other", 10)[1] == []

    async def test_the_lease_of_one_who_died_runs_out(
        self, webhook: dict[str, Any], engine: Engine, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(delivering, "LEASE", timedelta(seconds=0))
        assert take(engine, "dead", 10)[1] == [webhook["id"]]
        assert take(engine, "other", 10)[1] == [webhook["id"]]
        parcel = next_parcel(engine, webhook["id"], "other")
        assert parcel is not None
        assert not note(engine, webhook["id"], "dead", parcel.number, Answered(204)), "he was late"

    async def test_the_schedule_is_followed_to_its_end(
        self, webhook: dict[str, Any], engine: Engine, house: httpx.AsyncClient
    ):
        for attempt, wait in enumerate(SCHEDULE, 1):
            before = datetime.now(UTC)
            failed(engine, webhook["id"], NotSent("the connection was refused"))
            found = await now(house, webhook)
            assert (found["state"], found["attempts"]) == ("active", attempt)
            waits = datetime.fromisoformat(found["next_attempt"]) - before
            assert wait <= waits <= wait * 1.1 + timedelta(seconds=5)
            assert take(engine, "early", 10)[1] == []
            await house.post(f"/v1/webhooks/{webhook['id']}/send-again", json={})
            with writing(engine) as session:
                row = store.webhook(session, webhook["id"])
                assert row is not None
                assert row.attempts == 0, "tried again at once, the schedule begins anew"
                row.attempts = attempt
        failed(engine, webhook["id"], Answered(500))
        found = await now(house, webhook)
        assert (found["state"], found["waiting"]) == ("disabled", 1)
        assert found["why"] == "10 attempts over three days failed; the last: answered 500"

    async def test_the_receiver_may_ask_for_more_time(
        self, webhook: dict[str, Any], engine: Engine, house: httpx.AsyncClient
    ):
        failed(engine, webhook["id"], Answered(429, retry_after=1_000))
        waits = datetime.fromisoformat((await now(house, webhook))["next_attempt"]) - datetime.now(UTC)
        assert timedelta(seconds=980) < waits <= timedelta(seconds=1_000)

    async def test_what_an_active_webhook_waits_for_is_kept(
        self, webhook: dict[str, Any], engine: Engine, house: httpx.AsyncClient
    ):
        assert forget_old(engine, -1) == 1, "the load before it was made"
        assert forget_old(engine, -1) == 0
        parcel = taken(engine, webhook["id"])
        note(engine, webhook["id"], "mine", parcel.number, Answered(200))
        assert forget_old(engine, -1) == 1
        assert (await house.get(f"/v1/webhooks/{webhook['id']}/deliveries")).json()["items"] == []

    async def test_what_a_paused_one_missed_for_good_is_told(
        self, webhook: dict[str, Any], engine: Engine, house: httpx.AsyncClient
    ):
        address = f"/v1/webhooks/{webhook['id']}"
        body = {"url": webhook["url"], "state": "paused"}
        etag = (await house.get(address)).headers["etag"]
        paused = await house.put(address, json=body, headers={"If-Match": etag})
        forget_old(engine, -1)
        found = await now(house, webhook)
        assert (found["waiting"], found["lost"]) == (0, 1)
        active = body | {"state": "active"}
        again = await house.put(address, json=active, headers={"If-Match": paused.headers["etag"]})
        assert again.json()["lost"] == 0

    async def test_a_change_while_it_is_sent_is_not_undone_by_the_note(
        self, webhook: dict[str, Any], engine: Engine, house: httpx.AsyncClient
    ):
        parcel = taken(engine, webhook["id"])
        webhooks.send_again(engine, webhook["id"], webhook["cursor"])
        assert not note(engine, webhook["id"], "mine", parcel.number, Answered(200))
        assert (await now(house, webhook))["cursor"] == webhook["cursor"]


def taken(engine: Engine, webhook: str) -> Any:
    assert take(engine, "mine", 10)[1] == [webhook]
    parcel = next_parcel(engine, webhook, "mine")
    assert parcel is not None
    return parcel


def failed(engine: Engine, webhook: str, answer: Answered | NotSent) -> None:
    with writing(engine) as session:
        row = store.webhook(session, webhook)
        assert row is not None
        row.due = datetime.now(UTC)
    parcel = taken(engine, webhook)
    assert not note(engine, webhook, "mine", parcel.number, answer)
