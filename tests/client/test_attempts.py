"""How the client sends again, waits, remembers and gives up; a script of answers stands for the service."""

import json
import time
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from graftbook.client import Client, ProblemAnswer, Unreachable
from graftbook.client.attempts import Patience

Answering = Callable[[httpx.Request], httpx.Response]
BUSY = httpx.Response(503, headers={"Retry-After": "2"}, json={"type": "/problems/busy", "title": "Busy"})
DONE = httpx.Response(
    201, json={"name": "red-van"}, headers={"ETag": '"1"', "Location": "/v1/builds/red-van"}
)


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How long the client waited, each time; no time passes."""
    waited: list[float] = []
    monkeypatch.setattr(time, "sleep", waited.append)
    return waited


class Script:
    """Answers in order; an error among them is raised. Keeps what was asked."""

    def __init__(self, *answers: httpx.Response | Exception) -> None:
        self.answers, self.asked = list(answers), list[httpx.Request]()

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return httpx.Response(answer.status_code, headers=answer.headers, content=answer.content)

    def header(self, name: str) -> list[str | None]:
        return [request.headers.get(name) for request in self.asked]


def client(script: Answering, **patience: Any) -> Client:
    return Client(
        "http://shop", key="k", transport=httpx.MockTransport(script), patience=Patience(**patience)
    )


def test_a_busy_service_is_asked_again_after_as_long_as_it_says(waits: list[float]):
    script = Script(BUSY, BUSY, httpx.Response(200, json={"outcome": "proved"}))
    with client(script) as shop:
        assert shop.closure("24PL-018412") == {"outcome": "proved"}
    assert len(script.asked) == 3
    assert all(2 <= wait <= 2.5 for wait in waits), "not sooner, and not all at the same moment"
    assert len(set(waits)) == 2


def test_whoever_has_no_patience_gets_the_problem(waits: list[float]):
    with client(Script(BUSY), seconds=1) as shop, pytest.raises(ProblemAnswer) as told:
        shop.build("red-van")
    assert (told.value.status, told.value.type, waits) == (503, "/problems/busy", [])


def test_a_question_is_long_waited_for_only_as_long_as_its_deadline_lets_it_take():
    script = Script(httpx.Response(200, json={}))
    with client(script) as shop:
        shop.closure("24PL-018412", deadline_seconds=20.0)
    assert script.asked[0].extensions["timeout"]["read"] == pytest.approx(40)
    assert json.loads(script.asked[0].content) == {
        "vehicle": {"chassis": "24PL-018412"}, "deadline_seconds": 20.0,
    }  # fmt: skip


def test_a_post_whose_answer_is_lost_is_sent_again_under_the_same_key(waits: list[float]):
    script = Script(
        httpx.ReadError("gone"), httpx.Response(409, json={"type": "/problems/still-at-work"}), DONE
    )
    with client(script) as shop:
        assert shop.create_build("red-van", {"chassis": "24PL-018412"}) == {"name": "red-van"}
        script.answers.append(DONE)
        shop.create_build("blue-van", {"chassis": "24PL-018412"})
    first, second, third, other = script.header("idempotency-key")
    assert first
    assert first == second == third
    assert other != first, "another request has a key of its own"


def test_a_change_whose_answer_is_lost_is_not_sent_again(waits: list[float]):
    """It may have been made: sent again it would be told that somebody changed it meanwhile."""
    script = Script(httpx.ReadError("gone"))
    with client(script) as shop, pytest.raises(Unreachable):
        shop.replace_build("red-van", {"chassis": "24PL-018412"})
    assert (len(script.asked), waits) == (1, [])


def test_what_never_reached_the_service_is_sent_again(waits: list[float]):
    script = Script(httpx.ConnectError("refused"), httpx.ConnectError("refused"), httpx.Response(204))
    with client(script) as shop:
        shop.delete_build("red-van")
    assert len(script.asked) == 3
    assert 0 < waits[0] < waits[1], "longer each time"


def test_nobody_waits_for_ever(waits: list[float]):
    script = Script(*(httpx.ConnectError("refused") for _ in range(5)))
    with client(script, attempts=5) as shop, pytest.raises(Unreachable, match="refused"):
        shop.build("red-van")
    assert len(waits) == 4


def test_what_the_client_has_still_is_not_sent_again():
    read = httpx.Response(200, json={"name": "red-van"}, headers={"ETag": '"7"'})
    script = Script(read, httpx.Response(304, headers={"ETag": '"7"'}))
    with client(script) as shop:
        assert shop.build("red-van") == shop.build("red-van") == {"name": "red-van"}
    assert script.header("if-none-match") == [None, '"7"']


def test_a_change_names_what_was_read_and_then_what_it_made():
    read = httpx.Response(200, json={"version": 1}, headers={"ETag": '"1"'})
    changed = httpx.Response(200, json={"version": 2}, headers={"ETag": '"2"'})
    script = Script(read, changed, httpx.Response(412, json={"type": "/problems/changed-meanwhile"}), read)
    with client(script) as shop:
        shop.build("red-van")
        shop.replace_build("red-van", {})
        with pytest.raises(ProblemAnswer):
            shop.replace_build("red-van", {})
        shop.build("red-van")
    assert script.header("if-match") == [None, '"1"', '"2"', None]
    assert script.header("if-none-match") == [None] * 4, "a change ends what was read before"


def test_what_was_just_stored_needs_no_reading_to_be_changed():
    script = Script(DONE, httpx.Response(204))
    with client(script) as shop:
        shop.create_build("red-van", {"chassis": "24PL-018412"})
        shop.delete_build("red-van")
    assert script.header("if-match") == [None, '"1"']


def test_an_answer_that_is_no_problem_document_is_told_as_it_is():
    with (
        client(Script(httpx.Response(404, text="<h1>nginx</h1>"))) as shop,
        pytest.raises(ProblemAnswer) as told,
    ):
        shop.build("red-van")
    assert (told.value.status, told.value.type, told.value.document) == (404, "about:blank", {})


def test_pages_are_asked_for_as_they_are_wanted():
    script = Script(
        httpx.Response(200, json={"items": ["a", "b"], "next": "more"}),
        httpx.Response(200, json={"items": ["c"], "next": None}),
    )
    with client(script) as shop:
        found = shop.flaws(at_least="severe")
        assert [next(found), next(found)] == ["a", "b"]
        assert len(script.asked) == 1
        assert list(found) == ["c"]
    assert [dict(request.url.params) for request in script.asked] == [
        {"at_least": "severe"}, {"at_least": "severe", "cursor": "more"},
    ]  # fmt: skip


def test_a_name_is_written_so_that_it_stays_one():
    script = Script(httpx.Response(200, json={}))
    with client(script) as shop:
        shop.record("fitment", "QB-3310@brake.front.left/24P")
    assert script.asked[0].url.raw_path == b"/v1/records/fitment/QB-3310%40brake.front.left%2F24P"
