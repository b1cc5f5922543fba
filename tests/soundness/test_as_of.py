"""Questions as of a revision: the answer of then, and nobody waits where nothing changed since."""

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from tests.soundness.every_kind import CHASSIS, QUESTION
from tests.soundness.test_database_gone import asked, each_connection, file_of

pytestmark = pytest.mark.anyio

LONG = {"deadline_seconds": 30.0}
"""Two answers are the same only where time cut neither short."""
QUESTIONS: dict[str, dict[str, Any]] = {
    "/v1/closures": QUESTION | LONG,
    "/v1/orders": QUESTION | LONG,
    "/v1/closures/why-not": QUESTION | LONG | {"component": "QB-2012"},
    "/v1/closures/what-if": QUESTION | LONG | {"other_vehicle": {"chassis": "24PR-009401"}},
    "/v1/compatibility": {"questions": [{"component": "QB-3310", "chassis": CHASSIS}]},
    "/v1/checks": {"vehicle": {"chassis": CHASSIS}, "positions": {"brake.front.left": "QB-3310"}},
}
PAD = "/v1/records/component/QB-3310"


async def test_the_answers_of_then_come_again_after_an_edit(own_demo_url: str):
    """But for an order, which is always bought today."""
    paths = [path for path in QUESTIONS if path != "/v1/orders"]
    async with asked(own_demo_url) as (_, client):
        first = {path: await client.post(path, json=QUESTIONS[path]) for path in paths}
        assert {answer.status_code for answer in first.values()} == {200}
        held = await client.get(PAD)
        dearer = {"rows": [held.json()["rows"][0] | {"price": "9999.00"}]}
        stored = await client.put(PAD, json=dearer, headers={"If-Match": held.headers["etag"]})
        assert stored.json()["catalogue_revision"] == 2
        for path in paths:
            now = await client.post(path, json=QUESTIONS[path])
            assert now.content != first[path].content, path
            for revision, answer in ((1, first[path]), (2, now)):
                then = await client.post(path, json=QUESTIONS[path] | {"as_of": revision})
                assert then.content == answer.content, (path, revision)
                assert then.headers.get("etag") == answer.headers.get("etag"), (path, revision)
            ahead = await client.post(path, json=QUESTIONS[path] | {"as_of": 3})
            assert ahead.json()["type"] == "/problems/unknown-revision"


@pytest.mark.parametrize("path", QUESTIONS)
async def test_what_no_edit_touched_since_waits_for_no_editor(demo_copy: Callable[[], str], path: str):
    """A page's address carries its revision, so its answer is asked for while others edit."""
    url = demo_copy()
    async with asked(url) as (app, client):
        each_connection(app, "PRAGMA busy_timeout = 100")
        editor = sqlite3.connect(file_of(url), isolation_level=None)
        editor.execute("BEGIN IMMEDIATE")
        answer = await client.post(path, json=QUESTIONS[path] | {"as_of": 1})
        assert answer.status_code == 200, answer.text
        editor.execute("ROLLBACK")
        editor.close()
