"""Several processes on one database, many editors at once: nothing is lost, nothing is half seen.

A long run: `python -m tests.soundness contest`.
"""

import asyncio
from collections import Counter
from typing import Any

import httpx
import pytest

from tests.soundness.conftest import Serve
from tests.soundness.contest import Contest
from tests.soundness.server import Served


def test_every_accepted_change_is_there_and_every_answer_is_of_one_revision(own_demo_url: str, start: Serve):
    first = start(own_demo_url)
    services = [first, start(own_demo_url, key=first.key)]
    contest = Contest(services, own_demo_url, threads=5, rounds=6, seed=4)
    contest.prepare()
    contest.load_by_command()
    contest.run()
    contest.judge()
    assert sum(n for (what, status), n in contest.statuses.items() if status == 200) > 25
    assert any(contest.refused.values()), "nobody competed"
    for service in services:
        assert not service.faults()


def test_of_many_who_create_the_same_build_one_does(own_demo_url: str, start: Serve):
    first = start(own_demo_url)
    second = start(own_demo_url, key=first.key)

    async def everybody() -> list[httpx.Response]:
        async with first.async_client() as one, second.async_client() as other:
            body = {"name": "only", "chassis": "24PL-018412"}
            asked = [client.post("/v1/builds", json=body) for client in (one, other) * 10]
            return await asyncio.gather(*asked)

    assert Counter(answer.status_code for answer in asyncio.run(everybody())) == {201: 1, 409: 19}


def test_an_etag_never_stands_for_two_contents_also_after_a_build_was_made_anew(served: Served):
    with served.client() as client:
        seen: dict[str, Any] = {}
        for note in ("first", "second", "third"):
            made = client.post("/v1/builds", json={"name": "anew", "chassis": "24PL-018412", "note": note})
            assert made.status_code == 201, made.text
            assert made.headers["etag"] not in seen
            seen[made.headers["etag"]] = note
            stale = client.put(
                "/v1/builds/anew",
                json={"chassis": "24PL-018412", "note": "over it"},
                headers={"If-Match": next(iter(seen))},
            )
            assert stale.status_code == (200 if note == "first" else 412)
            etag = client.get("/v1/builds/anew").headers["etag"]
            seen.setdefault(etag, "over it")
            assert client.delete("/v1/builds/anew", headers={"If-Match": etag}).status_code == 204


@pytest.mark.one_engine
def test_an_etag_of_an_answer_follows_what_it_tells_of_components_that_fit_nowhere(served: Served):
    """A part of another vehicle is named in the answer, though the vehicle's rule book lacks it."""
    question = {"chassis": "24PL-018412", "fit": "QE-9999"}
    with served.client() as client:
        seen: dict[str, str] = {}
        for name in ("a stove", "a better stove"):
            record = {
                "record": "component", "number": "QE-9999", "name": name, "section": "engine",
                "origin": "modern",
            }  # fmt: skip
            assert client.post("/v1/imports", json=[record]).status_code == 200
            answer = client.get("/v1/closures", params=question)
            assert name in answer.text
            assert seen.setdefault(answer.headers["etag"], answer.text) == answer.text


LOOK_UPS = (
    "/v1/vehicles/24PL-018412", "/v1/components?number=QB-3", "/v1/components/QB-3310", "/v1/flaws",
    "/v1/compatibility?component=QB-3310&chassis=24PL-018412", "/v1/builds", "/v1/positions?section=brakes",
    "/v1/records/component/QB-3310", "/v1/revisions", "/readyz",
)  # fmt: skip


BURST = 80


def at_once(served: Served, requests: list[tuple[str, str, Any]]) -> list[httpx.Response]:
    """The answers to requests (method, address, body) that all come at the same time."""

    async def burst() -> list[httpx.Response]:
        limits = httpx.Limits(max_connections=len(requests))
        async with served.async_client(limits=limits, timeout=120) as client:
            return await asyncio.gather(
                *(client.request(method, to, json=body) for method, to, body in requests)
            )

    return asyncio.run(burst())


def test_a_burst_beyond_the_pool_is_answered_whole(own_demo_url: str, start: Serve):
    """Twice as many at once as there are threads, far more than the pool has connections: each session is
    closed before the next is opened."""
    served = start(own_demo_url, pool_size=5)
    looked = at_once(served, [("GET", LOOK_UPS[n % len(LOOK_UPS)], None) for n in range(BURST)])
    assert Counter(answer.status_code for answer in looked) == {200: BURST}
    bodies = [{"name": f"build-{n}", "chassis": "24PL-018412"} for n in range(BURST)]
    made = at_once(served, [("POST", "/v1/builds", body) for body in bodies])
    assert Counter(answer.status_code for answer in made) == {201: BURST}


@pytest.mark.one_engine
def test_more_questions_than_the_process_takes_are_answered_or_told_to_come_again(
    own_demo_url: str, start: Serve
):
    served = start(own_demo_url, pool_size=5, questions_at_once=2, questions_waiting=4)
    addresses = [f"/v1/closures?chassis=24PL-0184{n:02d}&fit=QB-3310" for n in range(30)]
    answers = at_once(served, [("GET", address, None) for address in addresses])
    statuses = Counter(answer.status_code for answer in answers)
    assert statuses.keys() == {200, 503}
    assert statuses[200] >= 2, "who was let in at once; on a slow machine the others wait in vain"
    told = [answer for answer in answers if answer.status_code == 503]
    assert all(answer.headers["retry-after"] for answer in told)
    again = at_once(served, [("GET", str(answer.request.url.raw_path, "ascii"), None) for answer in told[:2]])
    assert Counter(answer.status_code for answer in again) == {200: len(again)}
