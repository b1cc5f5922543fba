"""Many who wait for one answer: it is made once, and look-ups do not wait with them."""

import asyncio
import gc
import threading
import weakref
from typing import Any

import httpx
import pytest
from starlette.types import Message

from graftbook.app import create_app
from graftbook.process.service import WAITING_FOR_THE_SAME, Made, Make, Service
from graftbook.questions.closures import service as closures
from graftbook.settings import Settings
from graftbook.telemetry.requests import Asker
from tests.conftest import client_of

Asked = asyncio.Task[httpx.Response]
pytestmark = pytest.mark.anyio
LONG = {"deadline_seconds": 30.0}
QUESTION = {"vehicle": {"chassis": "24PL-018412"}} | LONG
ANOTHER = {"vehicle": {"chassis": "24PL-018413"}} | LONG


class Reasoning:
    """In the place of reasoning: an answer that is there when the test says so."""

    def __init__(self) -> None:
        self.over = threading.Event()
        self.made = 0

    def document_maker(self, service: Service, *_: Any) -> Make:
        def make() -> Made:
            self.made += 1
            assert self.over.wait(120)
            return b'{"outcome":"proved"}', True

        return service.in_turn(make)


@pytest.fixture
def reasoning(monkeypatch: pytest.MonkeyPatch) -> Reasoning:
    found = Reasoning()
    monkeypatch.setattr(closures, "document_maker", found.document_maker)
    return found


async def test_look_ups_do_not_wait_with_those_who_wait_for_one_answer(
    sqlite_demo_url: str, reasoning: Reasoning
) -> None:
    app = create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=60))
    async with app.router.lifespan_context(app), client_of(app) as client:
        reasoning.over.set()
        assert (await client.post("/v1/closures", json=ANOTHER)).status_code == 200  # compiles the rule book
        reasoning.over.clear()
        ask = [client.post("/v1/closures", json=QUESTION) for _ in range(WAITING_FOR_THE_SAME + 8)]
        asked = [asyncio.create_task(one) for one in ask]
        try:
            refused = [task.result() for task in await done_at_once(asked, 7)]
            assert [answer.status_code for answer in refused] == [503] * 7
            assert all("retry-after" in answer.headers for answer in refused)
            async with asyncio.timeout(60):
                assert (await client.get("/v1/components/QL-7075")).status_code == 200
        finally:
            reasoning.over.set()
            answers = await asyncio.gather(*asked)
    assert reasoning.made == 2
    assert sum(answer.status_code == 200 for answer in answers) == WAITING_FOR_THE_SAME + 1


async def done_at_once(asked: list[Asked], so_many: int) -> list[Asked]:
    """Those that are answered while the others wait."""
    done: list[Asked] = []
    for _ in range(6_000):
        done = [task for task in asked if task.done()]
        if len(done) >= so_many:
            break
        await asyncio.sleep(0.01)
    return done


async def test_a_request_that_was_watched_does_not_wait_for_the_collector() -> None:
    """How the watch ended held the request, which held the watch: each that reasoned left all that it had
    looked up, rule books of the past too, and the collector stood still over a million objects, a writer with
    it."""

    async def receive() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    asker = Asker(receive)
    gc.collect()
    gc.disable()
    try:
        assert asker.there()
        await asyncio.sleep(0.01)
        asker.left()
        await asyncio.sleep(0.01)
        gone = weakref.ref(asker)
        del asker
        assert gone() is None
    finally:
        gc.enable()
