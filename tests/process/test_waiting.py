"""Many who wait for one answer: it is made once, and look-ups do not wait with them."""

import asyncio

import httpx
import pytest
from fastapi import FastAPI

from graftbook.app import create_app
from graftbook.process import limits
from graftbook.process.limits import WAITING_FOR_THE_SAME
from graftbook.settings import Settings
from tests.conftest import client_of
from tests.process.test_served import ALTERNATOR, LONG

Asked = asyncio.Task[httpx.Response]
pytestmark = pytest.mark.anyio


@pytest.fixture
def one_at_a_time(sqlite_demo_url: str, monkeypatch: pytest.MonkeyPatch) -> FastAPI:
    monkeypatch.setattr(limits, "SECONDS_WAITING", 120.0)
    return create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=60, questions_at_once=1))


async def test_look_ups_do_not_wait_with_those_who_wait_for_one_answer(one_at_a_time: FastAPI) -> None:
    app, askers = one_at_a_time, WAITING_FOR_THE_SAME + 8
    async with app.router.lifespan_context(app), client_of(app) as client:
        assert (await client.get("/v1/components/QB-3310")).status_code == 200
        await client.post("/v1/closures", json={"vehicle": ALTERNATOR["vehicle"]} | LONG)
        with app.state.service.turn():
            ask = [client.post("/v1/closures", json=ALTERNATOR | LONG) for _ in range(askers)]
            asked = [asyncio.create_task(one) for one in ask]
            refused = [task for task in await until_some_are_done(asked) if task.result().status_code == 503]
            assert len(refused) == askers - WAITING_FOR_THE_SAME - 1
            assert all("retry-after" in task.result().headers for task in refused)
            async with asyncio.timeout(60):
                assert (await client.get("/v1/components/QL-7075")).status_code == 200
        answers = [task.result() for task in asked if await task and task not in refused]
    assert [answer.status_code for answer in answers] == [200] * (WAITING_FOR_THE_SAME + 1)
    assert len({answer.content for answer in answers}) == 1


async def until_some_are_done(tasks: list[Asked]) -> set[Asked]:
    """Those that were refused at once; the others are waiting by then."""
    done: set[Asked] = set()
    for _ in range(6_000):
        done = {task for task in tasks if task.done()}
        if len(done) >= len(tasks) - WAITING_FOR_THE_SAME - 1:
            break
        await asyncio.sleep(0.01)
    return done
